//! Outliers: a converter's full-scale code, a bit that flipped on a long cable.
//!
//! One such reading in a record of thousands would be its peak, and no burn would be found under
//! it. A median of three removes whatever lasts a single reading (Tukey, Exploratory Data Analysis,
//! 1977, ch. 7) and keeps everything that lasts longer; fast recorders get a median of five, which
//! removes two readings in a row as well; a reading that stands many times further
//! from it than the whole record spans is taken out. Honest thrust does not, even where a slow
//! recorder catches its ignition peak in one reading.

use crate::numeric::noise;
use crate::series::Series;

/// Records with fewer readings are left alone: too few to tell a reading from its neighbours.
const FEWEST: usize = 20;

/// A reading is an outlier from so many times the span of all others: an ignition peak stands some three
/// times above the rest of its burn, a full-scale code of a 24-bit converter a hundred times.
const SPANS: f64 = 10.0;

/// At steps up to this, s, two outliers in a row are still shorter than any burn.
const PAIR_STEP_S: f64 = 0.015;

/// A record without its outliers, and what was taken out: time, s, and reading.
#[must_use]
pub(crate) fn separate(record: &Series) -> (Series, Vec<(f64, f64)>) {
    let value = record.value();
    if value.len() < FEWEST {
        return (record.clone(), Vec::new());
    }
    let fast = record.step_s().is_some_and(|step_s| step_s <= PAIR_STEP_S);
    let width = if fast { 5 } else { 3 };
    let middle: Vec<f64> = (0..value.len())
        .map(|row| {
            // At either end the nearest readings inside stand for the missing neighbours.
            let from = row.saturating_sub(width / 2).min(value.len() - width);
            noise::median(&value[from..from + width]).unwrap_or(value[row])
        })
        .collect();
    let low = middle.iter().copied().fold(f64::INFINITY, f64::min);
    let high = middle.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let span = high - low;
    let off = |row: usize| span > 0.0 && (value[row] - middle[row]).abs() > SPANS * span;
    let mut kept = Series::default();
    let mut taken = Vec::new();
    for (row, (time_s, reading)) in record.iter().enumerate() {
        if off(row) {
            taken.push((time_s, reading));
        } else {
            kept.push(time_s, reading);
        }
    }
    (kept, taken)
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
    fn two_full_scale_codes_in_a_row_are_taken_out_of_a_fast_record_only() {
        let slow = burn(|row, value| if row / 2 == 25 { 8_388_607.0 } else { value });
        assert_eq!(separate(&slow).1, []);
        let fast = slow.map_time(|time| 0.001 * time);
        assert_eq!(separate(&fast).1.len(), 2);
    }

    #[test]
    fn thrust_stays_even_when_its_peak_is_one_reading() {
        // A C6 at ten readings a second: 14.1 N once, the rest of its burn at 4.4 N.
        let peaked = burn(|row, value| if row == 41 { 3200.0 } else { value });
        assert_eq!(separate(&peaked).1, []);
        let short = burn(|row, _| if (50..52).contains(&row) { 9e3 } else { 1.0 });
        assert_eq!(separate(&short).1, []);
    }

    // The others go from 0 to 1, and those beside it stand at 1: ten spans reach from -9 to 11.
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
        assert_eq!([10.9, 11.1, -8.9, -9.1].map(quiet), [0, 1, 0, 1]);
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
