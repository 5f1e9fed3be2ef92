//! What a column does: rest, stand on two levels, step, move, or burn.
//!
//! All limits are common practice, no source; they sort columns for a first look and nothing else.

use serde::Serialize;

use super::burning::{self, Seen};
use crate::series::Series;

/// What a column does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// It is the log's clock.
    Clock,
    /// It holds words.
    Words,
    /// It holds one number throughout, or none.
    Constant,
    /// It holds two numbers, as a digital line does.
    TwoLevels,
    /// It stands on few levels and jumps between them, as a command does.
    Steps,
    /// It shows nothing but noise.
    Noise,
    /// It moves.
    Moves,
    /// It rises from rest, stays up for as long as a motor burns, and comes back.
    Burns,
}

/// Different numbers at most for a column that steps.
const LEVELS_MOST: usize = 24;

/// Share of neighbouring readings that are equal, at least, for a column that steps.
const HELD_SHARE: f64 = 0.8;

/// A column whose readings scatter less than this many times their neighbours' differences is noise.
/// Both are standard deviations; white noise has 1.
const NOISE_RATIO: f64 = 1.5;

/// What the readings of a column do, in words and burns. One series for each stretch of the clock; perhaps only the changes of
/// a column that holds until it changes.
#[must_use]
pub(crate) fn kind(stretches: &[Series], are_changes: bool) -> (Kind, Seen) {
    let levels = levels(stretches);
    match levels.as_deref() {
        Some([] | [_]) => return (Kind::Constant, Seen::default()),
        Some([_, _]) => return (Kind::TwoLevels, Seen::default()),
        Some(_) if are_changes || held_share(stretches) >= HELD_SHARE => {
            return (Kind::Steps, Seen::default());
        }
        _ => {}
    }
    let seen = burning::burning(stretches);
    let kind = match seen.burns.is_empty() {
        false => Kind::Burns,
        true if seen.unclear.is_empty() && stretches.iter().all(only_noise) => Kind::Noise,
        true => Kind::Moves,
    };
    (kind, seen)
}

/// Whether readings stand on few levels.
#[must_use]
pub(super) fn are_few(stretches: &[Series]) -> bool {
    levels(stretches).is_some()
}

/// The different readings in rising order; `None` when they are too many to be levels.
fn levels(stretches: &[Series]) -> Option<Vec<f64>> {
    let mut out: Vec<f64> = Vec::new();
    for reading in stretches.iter().flat_map(Series::value) {
        if let Err(at) = out.binary_search_by(|known| known.total_cmp(reading)) {
            out.insert(at, *reading);
        }
        if out.len() > LEVELS_MOST {
            return None;
        }
    }
    Some(out)
}

fn held_share(stretches: &[Series]) -> f64 {
    let pairs = || stretches.iter().flat_map(|one| one.value().windows(2));
    let held = pairs().filter(|pair| pair[0].total_cmp(&pair[1]).is_eq());
    held.count() as f64 / pairs().count().max(1) as f64
}

fn only_noise(series: &Series) -> bool {
    let value = series.value();
    let mean = value.iter().sum::<f64>() / value.len().max(1) as f64;
    let squares: f64 = value.iter().map(|one| (one - mean).powi(2)).sum();
    let differences = value.windows(2).map(|pair| (pair[1] - pair[0]).powi(2));
    // Half of the mean squared difference of neighbours is the variance of white noise.
    let white = 0.5 * differences.sum::<f64>();
    squares <= NOISE_RATIO.powi(2) * white
}

/// Times at which a line of two levels rises through their middle, s.
#[must_use]
pub(crate) fn rises(series: &Series) -> Vec<f64> {
    let value = series.value();
    let least = value.iter().copied().fold(f64::INFINITY, f64::min);
    let greatest = value.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let middle = 0.5 * (least + greatest);
    (1..value.len())
        .filter(|at| value[at - 1] < middle && value[*at] > middle)
        .map(|at| series.time_s()[at])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind_of(value: impl Fn(f64) -> f64) -> Kind {
        let time: Vec<f64> = (0..1000).map(|row| f64::from(row) * 0.01).collect();
        let value: Vec<f64> = time.iter().map(|time| value(*time)).collect();
        kind(&[Series::new(&time, &value)], false).0
    }

    /// White enough: neighbours of this sequence have nothing in common.
    fn noise(time_s: f64) -> f64 {
        ((time_s * 100.0).round() * 7919.0 % 101.0) - 50.0
    }

    #[test]
    fn each_kind_is_told() {
        assert_eq!(kind_of(|_| 3.0), Kind::Constant);
        assert_eq!(kind_of(|t| f64::from(u8::from(t > 2.0))), Kind::TwoLevels);
        assert_eq!(kind_of(|t| (t * 0.8).floor() * 25.0), Kind::Steps);
        assert_eq!(kind_of(noise), Kind::Noise);
        assert_ne!(kind_of(|t| 4000.0 * t.sin() + noise(t)), Kind::Noise);
        assert_eq!(
            kind_of(|t| 4000.0 * (4.0 * t).sin() + noise(t)),
            Kind::Moves
        );
        let burn = |t: f64| if (3.0..5.0).contains(&t) { 9e3 - 2e3 * (t - 3.0) } else { 0.0 } + noise(t);
        assert_eq!(kind_of(burn), Kind::Burns);
    }

    #[test]
    fn rises_are_counted() {
        let series = Series::new(&[0.0, 1.0, 2.0, 3.0, 4.0], &[0.0, 1.0, 1.0, 0.0, 1.0]);
        assert_eq!(rises(&series), [1.0, 4.0]);
    }
}
