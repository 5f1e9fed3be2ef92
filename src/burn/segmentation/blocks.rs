//! Means of short blocks of readings: what the segmentation looks at, so that its cost does not grow with the
//! rate of the recorder, and the noise of such a mean.

/// Blocks are at least this long, s: shorter than any edge that tells a burn from a push.
const SHORTEST_S: f64 = 2.5e-3;

/// The floor of the noise is no more than this share of all that a record spans.
const LARGEST_FLOOR: f64 = 0.01;

/// Blocks of one record at most.
const MOST: usize = 60_000;

/// Noise is judged in stretches of so many blocks, in short records of a twelfth of it ...
const STRETCH: usize = 48;
const SHORTEST_STRETCH: usize = 8;

/// ... and one of so many is taken to rest: a burn is rough, and may take most of a record.
const QUIET: usize = 4;

/// Means of blocks in the order of time.
pub(super) struct Blocks {
    /// First row of each block, and after them the number of rows.
    pub row: Vec<usize>,
    /// Middle of each, s.
    pub time_s: Vec<f64>,
    /// Mean of each, N.
    pub mean_n: Vec<f64>,
    /// Standard deviation of the noise of one mean, N.
    pub noise_n: f64,
}

impl Blocks {
    /// Blocks of a record.
    pub(super) fn of(time_s: &[f64], load_n: &[f64]) -> Self {
        let span_s = time_s
            .first()
            .zip(time_s.last())
            .map_or(0.0, |(first, last)| last - first);
        let length_s = (span_s / MOST as f64).max(SHORTEST_S);
        let mut row = Vec::new();
        let mut next_s = f64::NEG_INFINITY;
        for (at, time) in time_s.iter().enumerate() {
            if *time >= next_s {
                row.push(at);
                // On a grid of whole blocks from the last first row: a steady recorder gives even blocks.
                next_s = time + length_s * (1.0 - 1e-6);
            }
        }
        row.push(time_s.len());
        let mean = |of: &[f64]| -> Vec<f64> {
            row.windows(2)
                .map(|pair| of[pair[0]..pair[1]].iter().sum::<f64>() / (pair[1] - pair[0]) as f64)
                .collect()
        };
        let (time_s, mean_n) = (mean(time_s), mean(load_n));
        Self {
            noise_n: noise_of(&mean_n),
            row,
            time_s,
            mean_n,
        }
    }

    /// Number of blocks.
    pub(super) fn len(&self) -> usize {
        self.mean_n.len()
    }
}

/// Noise of a mean, from neighbours' differences: that of a quiet stretch, and never less than the
/// smallest step that the recorder resolves allows.
fn noise_of(mean_n: &[f64]) -> f64 {
    let stretch = (mean_n.len() / 12).clamp(SHORTEST_STRETCH, STRETCH);
    let mut stretches: Vec<f64> = mean_n
        .chunks(stretch)
        .filter(|part| part.len() > stretch / 4)
        .map(rms_of_differences)
        .collect();
    stretches.sort_by(f64::total_cmp);
    let quiet = stretches.get(stretches.len() / QUIET).copied();
    let quiet = quiet.unwrap_or_else(|| rms_of_differences(mean_n));
    let steps = mean_n.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    let resolution = steps
        .filter(|step| *step > 0.0)
        .fold(f64::INFINITY, f64::min);
    if resolution.is_finite() {
        // A record without noise may hold nothing but large steps.
        let low = mean_n.iter().copied().fold(f64::INFINITY, f64::min);
        let high = mean_n.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        quiet.max((resolution / 12.0_f64.sqrt()).min(LARGEST_FLOOR * (high - low)))
    } else {
        quiet
    }
}

/// Half of the mean squared difference is the variance of white noise; the largest tenth of the differences,
/// edges and knocks, is left out.
fn rms_of_differences(part: &[f64]) -> f64 {
    let mut squares: Vec<f64> = part
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).powi(2))
        .collect();
    squares.sort_by(f64::total_cmp);
    squares.truncate((squares.len() * 9).div_ceil(10));
    // Without its largest tenth the mean square of normal noise is 0.623 of itself (own computation: 1 - 2 z f(z) over 0.9 at z = 1.645).
    let mean = squares.iter().sum::<f64>() / squares.len().max(1) as f64;
    (0.5 * mean / 0.623).sqrt()
}
