//! Where the level of a record changes: narrowest over threshold on seeded intervals.
//!
//! Over each of a fixed family of intervals ("seeded", about n log n of them in all lengths: Kovács, Bühlmann,
//! Li & Munk, Biometrika 110, 2023) the largest standardised difference of means of its two parts is found; of the
//! intervals where that exceeds a threshold the narrowest is taken first, its split is a change, and all
//! intervals that hold it are done with (Baranowski, Chen & Fryzlewicz, JRSS B 81, 2019). Narrow intervals hold
//! one change each, so slopes and humps become stairs whose steps stand where the record really moves.
//!
//! Limit: the noise of neighbours is taken to be independent. Where it is not, rest breaks into pieces that differ
//! by little; who reads them puts them together on the scale that matters there.

/// Intervals shrink by this factor from one layer to the next.
const DECAY: f64 = std::f64::consts::SQRT_2;

/// A difference of means must exceed this many standard deviations in long records of white noise ...
const LEAST: f64 = 5.0;

/// ... or this many times sqrt(2 ln n), what the largest of n reaches.
const OF_LARGEST: f64 = 1.3;

/// The first places of the pieces after the first, in rising order; `noise` is the standard deviation of one value.
pub(super) fn changes(value: &[f64], noise: f64) -> Vec<usize> {
    let count = value.len();
    if count < 2 {
        return Vec::new();
    }
    let threshold = noise * LEAST.max(OF_LARGEST * (2.0 * (count as f64).ln()).sqrt());
    // From the first value on, so that a large constant costs no digits.
    let sums: Vec<f64> = std::iter::once(0.0)
        .chain(value.iter().scan(0.0, |sum, one| {
            *sum += one - value[0];
            Some(*sum)
        }))
        .collect();
    let mut found: Vec<Split> = seeded(count)
        .filter_map(|(from, to)| split(&sums, from, to))
        .filter(|split| split.height > threshold)
        .collect();
    found.sort_by(|a, b| {
        let length = |one: &Split| one.to - one.from;
        length(a)
            .cmp(&length(b))
            .then(b.height.total_cmp(&a.height))
    });
    let mut out = std::collections::BTreeSet::new();
    for one in found {
        if out.range(one.from + 1..one.to).next().is_none() {
            out.insert(one.at);
        }
    }
    out.into_iter().collect()
}

/// The best split of an interval.
struct Split {
    from: usize,
    to: usize,
    at: usize,
    height: f64,
}

/// The split of an interval with the largest standardised difference of means (CUSUM).
fn split(sums: &[f64], from: usize, to: usize) -> Option<Split> {
    let all = (to - from) as f64;
    let height = |at: usize| {
        let (left, right) = ((at - from) as f64, (to - at) as f64);
        let means = (sums[at] - sums[from]) / left - (sums[to] - sums[at]) / right;
        means.abs() * (left * right / all).sqrt()
    };
    (from + 1..to)
        .map(|at| Split {
            from,
            to,
            at,
            height: height(at),
        })
        .max_by(|a, b| a.height.total_cmp(&b.height))
}

/// Seeded intervals of all lengths from two up, each half over the next.
fn seeded(count: usize) -> impl Iterator<Item = (usize, usize)> {
    let layers = ((count as f64).ln() / DECAY.ln()).floor() as i32;
    (0..=layers).flat_map(move |layer| {
        let length = (count as f64 * DECAY.powi(-layer)).max(2.0);
        let number = 2 * (count as f64 / length).ceil() as usize - 1;
        let shift = if number > 1 {
            (count as f64 - length) / (number - 1) as f64
        } else {
            0.0
        };
        (0..number).map(move |at| {
            let from = (at as f64 * shift).floor() as usize;
            let to = ((at as f64 * shift + length).ceil() as usize).min(count);
            (from, to)
        })
    })
}
