//! Outliers: a converter's full-scale code, a bit that flipped on a long cable, a row that was written wrongly.
//!
//! One such reading in a record of thousands would be its peak, stretch a burn over seconds of rest, or move its
//! zero. A run of one or two readings is an outlier when it stands far off from what is beside it, and what is beside
//! it agrees: the three readings on either side span a small share of the way to it. So a spike goes wherever it
//! lies, and what a stand really does stays: a rise over several readings, a swing of the stand, an ignition peak
//! that is followed by thrust. A run shorter than anything mechanical may also stand where the record changes, as
//! long as either side agrees with itself. It must exceed ten times the usual difference of neighbours
//! around it, so that noise is left alone (the test is that of Hampel's filter, JASA 69, 1974, with a window that
//! leaves out what is judged).
//!
//! What is left is looked through for codes: extreme readings, alike to the last digit, ten times further off than all
//! others span, however long they last.
//!
//! Limit: at ten readings a second a knock, or an ejection charge, lasts one reading and is an outlier too. Outliers are
//! counted and told.

use super::{Outlier, Record};
use crate::numeric::noise;
use crate::series::Series;

/// Records with fewer readings are left alone: too few to tell a reading from its neighbours.
const FEWEST: usize = 20;

/// Readings on either side that must agree.
const BESIDE: usize = 3;

/// They may span this share of the way to the outlier.
const AGREE: f64 = 0.15;

/// Nothing mechanical on a stand is over in this time, s: an igniter's snap and a knock take longer.
const NOT_MECHANICAL_S: f64 = 3e-3;

/// Usual differences of neighbours that an outlier exceeds.
const USUAL: f64 = 10.0;

/// Usual differences are those of so many readings on either side.
const AROUND: usize = 24;

/// The usual difference of a whole record is that of some of so many of them.
const ENOUGH: usize = 4096;

/// Longest run of outliers that are not alike, readings.
const LONGEST: usize = 2;

/// Codes are so many times further from all others than those span.
const SPANS: f64 = 10.0;

/// Different codes of one record at most.
const CODES: usize = 4;

/// Takes the outliers out of a column, segment by segment.
pub(super) fn take(record: &mut Record, column: &str) {
    for segment in 0..record.segments.len() {
        let Some(series) = record.series(column, segment) else {
            continue;
        };
        let (_, taken) = separate(&series);
        let mut rows = record.segments[segment].clone();
        for (time_s, reading) in taken {
            let values = &mut record.columns[column];
            let here = |row: &usize| record.time_s[*row] == time_s && values[*row] == reading;
            if let Some(row) = rows.find(here) {
                values[row] = f64::NAN;
                record.outliers.push(Outlier {
                    column: column.to_owned(),
                    segment,
                    time_s,
                    reading,
                });
            }
        }
    }
}

/// A record without its outliers, and what was taken out: time, s, and reading.
#[must_use]
pub(crate) fn separate(record: &Series) -> (Series, Vec<(f64, f64)>) {
    let out = marked(record.value(), record.step_s().unwrap_or(f64::INFINITY));
    if !out.contains(&true) {
        return (record.clone(), Vec::new());
    }
    let mut kept = Series::default();
    let mut taken = Vec::new();
    for ((time_s, reading), out) in record.iter().zip(out) {
        if out {
            taken.push((time_s, reading));
        } else {
            kept.push(time_s, reading);
        }
    }
    (kept, taken)
}

/// Which readings are outliers.
pub(super) fn marked(value: &[f64], step_s: f64) -> Vec<bool> {
    if value.len() < FEWEST {
        return vec![false; value.len()];
    }
    let mut out = spikes(value, step_s);
    mark_codes(value, &mut out);
    out
}

/// Which readings are spikes.
fn spikes(value: &[f64], step_s: f64) -> Vec<bool> {
    let pairs = value.iter().zip(value.get(1..).unwrap_or_default());
    let differences: Vec<f64> = pairs.map(|(one, next)| (next - one).abs()).collect();
    let least = |least: f64, one: &f64| {
        if *one > 0.0 && *one < least {
            *one
        } else {
            least
        }
    };
    let resolution = differences.iter().fold(f64::INFINITY, least);
    let mut out = vec![false; value.len()];
    if resolution.is_infinite() {
        return out;
    }
    let every = differences.len().div_ceil(ENOUGH) | 1;
    let some: Vec<f64> = differences.iter().step_by(every).copied().collect();
    let least = USUAL * noise::median(&some).unwrap_or(0.0).max(resolution);
    let mut row = 0;
    while row < value.len() {
        let length = (1..=LONGEST).find(|length| {
            let run = Run {
                row,
                length: *length,
                short: *length as f64 * step_s <= NOT_MECHANICAL_S,
            };
            run.is_spike(value, &differences, resolution, &out)
        });
        let next = row + length.unwrap_or(1);
        out[row..row + length.unwrap_or(0)].fill(true);
        // Only what jumps by more than the whole record's usual difference can be one.
        let left = differences.get(next - 1..).unwrap_or_default();
        let jump = left.iter().position(|one| *one > 0.5 * least);
        row = jump.map_or(value.len(), |jump| next + jump);
    }
    out
}

/// Some readings in a row that may be a spike.
struct Run {
    row: usize,
    length: usize,
    /// Whether it is over sooner than anything mechanical.
    short: bool,
}

impl Run {
    fn is_spike(&self, value: &[f64], differences: &[f64], resolution: f64, out: &[bool]) -> bool {
        let end = self.row + self.length;
        if end > value.len() {
            return false;
        }
        let before: Vec<f64> = (0..self.row)
            .rev()
            .filter(|row| !out[*row])
            .take(BESIDE)
            .map(|row| value[row])
            .collect();
        let after = &value[end..(end + BESIDE).min(value.len())];
        if before.len() < BESIDE && after.len() < BESIDE {
            return false;
        }
        let (low, high) = range(before.iter().chain(after));
        let off = |reading: &f64| (low - reading).max(reading - high);
        let least_off = value[self.row..end]
            .iter()
            .map(off)
            .fold(f64::INFINITY, f64::min);
        let span = |side: &mut dyn Iterator<Item = &f64>| {
            let (low, high) = range(side);
            (high - low).max(0.0)
        };
        let agree = high - low <= AGREE * least_off;
        let apart = self.short
            && high - low < least_off
            && span(&mut before.iter()) <= AGREE * least_off
            && span(&mut after.iter()) <= AGREE * least_off;
        (agree || apart) && least_off > USUAL * usual(differences, self.row, end).max(resolution)
    }
}

/// Least and greatest.
fn range<'a>(values: impl Iterator<Item = &'a f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), one| {
        (low.min(*one), high.max(*one))
    })
}

/// The usual difference of neighbours around a run, without those it takes part in.
fn usual(differences: &[f64], from: usize, to: usize) -> f64 {
    let left = &differences[from.saturating_sub(AROUND)..from.saturating_sub(1)];
    let right = &differences[to.min(differences.len())..(to + AROUND).min(differences.len())];
    noise::median(&[left, right].concat()).unwrap_or(0.0)
}

/// Whether an extreme reading can lie far from all others: not where a few others already span a tenth of all.
fn may_hold_codes(value: &[f64], out: &[bool]) -> bool {
    if out.contains(&true) {
        return true;
    }
    // Several at a time: one after the other would wait for each comparison.
    const SIDE_BY_SIDE: usize = 4;
    let (mut low, mut high) = (
        [f64::INFINITY; SIDE_BY_SIDE],
        [f64::NEG_INFINITY; SIDE_BY_SIDE],
    );
    let groups = value.chunks_exact(SIDE_BY_SIDE);
    let rest = range(groups.remainder().iter());
    for group in groups {
        for ((low, high), one) in low.iter_mut().zip(&mut high).zip(group) {
            *low = if *one < *low { *one } else { *low };
            *high = if *one > *high { *one } else { *high };
        }
    }
    let all = range(low.iter().chain(&high).chain([&rest.0, &rest.1]));
    let inner = value.iter().step_by(FEWEST);
    let (low, high) = range(inner.filter(|one| **one > all.0 && **one < all.1));
    all.1 - all.0 > SPANS * (high - low).max(0.0)
}

/// Marks codes: the same extreme reading again and again, far from everything else.
fn mark_codes(value: &[f64], out: &mut [bool]) {
    if !may_hold_codes(value, out) {
        return;
    }
    for _ in 0..CODES {
        let left = || {
            value
                .iter()
                .zip(out.iter())
                .filter(|(_, out)| !**out)
                .map(|(value, _)| value)
        };
        let (low, high) = range(left());
        let code = [low, high].into_iter().find(|code| {
            let (lower, higher) = range(left().filter(|one| *one != code));
            let off = (lower - code).max(code - higher);
            higher > lower && off > SPANS * (higher - lower)
        });
        let Some(code) = code else {
            return;
        };
        for (reading, out) in value.iter().zip(out.iter_mut()) {
            *out |= *reading == code;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn burn(change: impl Fn(usize, f64) -> f64) -> Series {
        let time: Vec<f64> = (0..100).map(f64::from).collect();
        let value: Vec<f64> = (0..100)
            .map(|row| {
                let thrust = if (40..60).contains(&row) { 1000.0 } else { 0.0 };
                change(row, thrust + (row * 7919 % 13) as f64)
            })
            .collect();
        Series::new(&time, &value)
    }

    #[test]
    fn a_full_scale_code_is_taken_out_wherever_it_stands() {
        for at in [0, 1, 50, 98, 99] {
            let record = burn(|row, value| if row == at { -8_388_608.0 } else { value });
            let (kept, taken) = separate(&record);
            assert_eq!(taken, [(at as f64, -8_388_608.0)]);
            assert_eq!(kept.len(), 99);
        }
    }

    #[test]
    fn two_full_scale_codes_in_a_row_are_taken_out_at_any_rate() {
        let slow = burn(|row, value| if row / 2 == 25 { 8_388_607.0 } else { value });
        assert_eq!(separate(&slow).1.len(), 2);
        let fast = slow.map_time(|time| 0.001 * time);
        assert_eq!(separate(&fast).1.len(), 2);
    }

    // Spikes of a third of the thrust and more, single and double, at rest, on the burn, beside its edge.
    #[test]
    fn a_spike_goes_wherever_it_lies_and_a_swing_stays() {
        for (at, rows, height) in [
            (10, 1, 300.0),
            (50, 2, 400.0),
            (52, 1, -900.0),
            (80, 2, -5000.0),
        ] {
            let record = burn(|row, value| {
                if (at..at + rows).contains(&row) {
                    value + height
                } else {
                    value
                }
            });
            assert_eq!(separate(&record).1.len(), rows, "{at}");
        }
        let edge =
            burn(|row, value| if row == 40 { 9e3 } else { value }).map_time(|time| 0.001 * time);
        assert_eq!(separate(&edge).1.len(), 1);
        // A stand that was tapped rings: every swing stands out of the rest, and none of them is an outlier.
        let ringing = burn(|row, value| {
            let since = row as f64 - 20.0;
            let swing = 900.0 * (-since / 12.0).exp() * (1.1 * since).sin();
            if row < 20 { value } else { value + swing }
        });
        assert_eq!(separate(&ringing).1, []);
    }

    #[test]
    fn thrust_stays_even_when_its_peak_is_one_reading() {
        // A C6 at ten readings a second: 14.1 N once, the rest of its burn at 4.4 N.
        let peaked = burn(|row, value| if row == 41 { 3200.0 } else { value });
        assert_eq!(separate(&peaked).1, []);
        let short = burn(|row, _| if (50..52).contains(&row) { 9e3 } else { 1.0 });
        assert_eq!(separate(&short).1, []);
    }

    // The others go from 0 to 1 and differ by 1: ten times that beyond them reaches from -10 to 11.
    #[test]
    fn a_reading_is_an_outlier_from_ten_spans_of_the_others_on() {
        let quiet = |height: f64| {
            let time: Vec<f64> = (0..20).map(f64::from).collect();
            let value: Vec<f64> = (0..20)
                .map(|row| {
                    if row == 10 {
                        height
                    } else {
                        f64::from(row % 2)
                    }
                })
                .collect();
            separate(&Series::new(&time, &value)).1.len()
        };
        assert_eq!([10.9, 11.1, -9.9, -10.1].map(quiet), [0, 1, 0, 1]);
        // Of fewer than twenty nothing is taken, and nothing where all others are the same.
        let few = Series::new(&[0.0, 1.0, 2.0], &[0.0, 1e9, 1.0]);
        assert_eq!(separate(&few).1, []);
        let flat: Vec<f64> = (0..30)
            .map(|row| if row == 10 { 1e9 } else { 5.0 })
            .collect();
        let time: Vec<f64> = (0..30).map(f64::from).collect();
        assert_eq!(separate(&Series::new(&time, &flat)).1, []);
    }
}
