//! Whether a cell reads at all: one that stands at one reading while others move is at its rail, or its cable is off.
//!
//! A cell flickers, if only by its last digit. A run of readings alike to the last digit that is ten times longer than
//! any run the cell usually shows, or goes on beyond the burn, and takes a tenth of it, is no force. A saturated cell, whose top is flat, is
//! caught by the same test where its converter clips; what it lost is not known. A cell that stands still to the end of
//! the record, from before the end of the burn that the others feel, is left out of what is added up. A code far from
//! all else is taken out of the readings as an outlier; where it goes on, it is put back for this test.
//!
//! Limit: analogue saturation, which flickers on, is not seen.

use std::borrow::Cow;

use indexmap::IndexMap;

use super::readings::CellReadings;
use crate::config::Firing;
use crate::diagnostic::{Code, Diagnostic};
use crate::quantity::range::plainly;
use crate::series::Series;

/// Readings in a row that are alike, at least.
const FEWEST: usize = 10;

/// A run is this many times longer than usual.
const LONGER: usize = 10;

/// A run takes this share of the burn.
const SHARE: f64 = 0.1;

/// A cell that reads one number from some time to the end of its record, for at least so long, s, and this share of it,
/// may have lost its cable then.
const TO_THE_END: (f64, f64) = (0.5, 0.15);

/// A cell that begins to stand still so soon after the end of a burn, s, may have lost its cable in it.
const AT_ONCE_S: f64 = 0.02;

/// A cell that jumps this often from one reading to the next by more than this share of all it reads, and by this many
/// times its usual step, has a loose cable: what only flickers at rest takes steps as large as all it reads, too.
const JUMPS: (usize, f64, f64) = (10, 0.5, 30.0);

/// Cells that may be lost from some time, s, on, with the reason: nothing can be said of them before something is seen
/// to burn.
#[must_use]
pub(crate) fn lost(readings: &[CellReadings]) -> IndexMap<String, (f64, String)> {
    let one = |cell: &CellReadings| {
        let stuck_s = stuck_from(&as_read(cell));
        let stuck = stuck_s.map(|from| (from, format!("it reads one number from {from:.3} s on")));
        let jumps = || {
            let from = jumps_from(cell)?;
            let why = format!("from {from:.3} s on it jumps as no force does");
            Some((from, why))
        };
        Some((cell.name.clone(), stuck.or_else(jumps)?))
    };
    readings.iter().filter_map(one).collect()
}

/// Whether a cell that flickers read one number for so long, s, as a converter does at its rail.
pub(crate) fn stood_still(cell: &CellReadings, least_s: f64) -> bool {
    let read = as_read(cell);
    let found = longest_run(read.time_s(), read.value());
    found.is_some_and(|(from_s, to_s, count, _)| {
        let usual = usual_run(&read, (from_s, to_s));
        usual < FEWEST && count >= FEWEST.max(LONGER * usual) && to_s - from_s > least_s
    })
}

/// When a cell begins to read one number to the end of its record.
fn stuck_from(read: &Series) -> Option<f64> {
    let (first_s, last_s) = read.span_s()?;
    let value = read.value();
    let run = value.chunk_by(|a, b| a == b).next_back()?.len();
    let from_s = read.time_s()[value.len() - run];
    let long = last_s - from_s > TO_THE_END.0.max(TO_THE_END.1 * (last_s - first_s));
    (run >= FEWEST && long).then_some(from_s)
}

/// What a cell read, with the runs of one code put back that were left out as outliers.
fn as_read(cell: &CellReadings) -> Cow<'_, Series> {
    let alike =
        |a: &(f64, f64), b: &(f64, f64)| a.1 == b.1 && cell.raw.between(a.0, b.0).is_empty();
    let runs = cell
        .left_out
        .chunk_by(alike)
        .filter(|run| run.len() >= FEWEST);
    let mut all: Vec<(f64, f64)> = runs.flatten().copied().collect();
    if all.is_empty() {
        return Cow::Borrowed(&cell.raw);
    }
    all.extend(cell.raw.iter());
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (time_s, value): (Vec<f64>, Vec<f64>) = all.into_iter().unzip();
    Cow::Owned(Series::new(&time_s, &value))
}

/// When a cell begins to jump to and fro.
fn jumps_from(cell: &CellReadings) -> Option<f64> {
    let value = cell.raw.value();
    let high = value.iter().copied().reduce(f64::max)?;
    let low = value.iter().copied().reduce(f64::min)?;
    let mut steps: Vec<f64> = value
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .collect();
    steps.retain(|step| *step > 0.0);
    steps.sort_by(f64::total_cmp);
    let usual = *steps.get(steps.len() / 2)?;
    let least = (JUMPS.1 * (high - low)).max(JUMPS.2 * usual);
    let jumps = |pair: &[f64]| (pair[1] - pair[0]).abs() > least;
    let mut rows = (1..value.len()).filter(|row| jumps(&value[row - 1..=*row]));
    let first = rows.next()?;
    (rows.count() + 1 >= JUMPS.0).then(|| cell.raw.time_s()[first])
}

/// The cells that cannot be believed between two times, s, each with the reason.
#[must_use]
pub(crate) fn unsound(
    readings: &[CellReadings],
    (from_s, to_s): (f64, f64),
) -> IndexMap<String, String> {
    let one = |cell: &CellReadings| {
        let read = as_read(cell);
        let within = read.between(from_s, to_s);
        let usual = usual_run(&read, (from_s, to_s));
        let (start_s, end_s, count, reading) = longest_run(within.time_s(), within.value())?;
        // What stood still before, or goes on standing still afterwards, is no steady thrust; nor what stands still all
        // the while. A converter slower than its recorder begins and ends a burn with a whole run of its own.
        let before = read.between(f64::NEG_INFINITY, start_s);
        let after = read.between(end_s, f64::INFINITY);
        let same = |beside: Option<&f64>| beside.is_none_or(|beside| *beside == reading);
        let reaches_out = same(before.value().iter().nth_back(1))
            || same(after.value().get(1))
            || within.span_s() == Some((start_s, end_s));
        let long = count >= FEWEST
            && (reaches_out || (usual < FEWEST && count > LONGER * usual))
            && end_s - start_s > SHARE * (to_s - from_s);
        if let Some(stuck_s) = stuck_from(&read).filter(|stuck| !long && *stuck < to_s + AT_ONCE_S)
        {
            // A wire that breaks ends the burn that is seen; one that showed rest as one number before shows it so again.
            let rest = read.between(f64::NEG_INFINITY, from_s);
            let flickered = !rest.is_empty() && usual_run(&rest, (from_s, to_s)) < FEWEST;
            let why = format!("it reads one number from {stuck_s:.3} s on");
            return flickered.then(|| (cell.name.clone(), why));
        }
        let why = format!(
            "it reads {} from {start_s:.3} s to {end_s:.3} s",
            plainly(reading)
        );
        long.then(|| (cell.name.clone(), why))
    };
    readings.iter().filter_map(one).collect()
}

/// Says which cells these are.
pub(crate) fn warnings(firing: &Firing, unsound: &IndexMap<String, String>) -> Vec<Diagnostic> {
    let one = |(name, why): (&String, &String)| {
        let place = &firing.cells.get(name)?.signal.column.place;
        let message = format!("cell {name} cannot be believed: {why}");
        Some(
            Diagnostic::warning(Code::UnsoundCell, message)
                .at(place.clone())
                .hint("a converter at its rail, or a cable that is off, reads one number; no force does")
                .hint("what its motors did is not known from it: treat them as live"),
        )
    };
    unsound.iter().filter_map(one).collect()
}

/// The run of equal readings that nine tenths of the readings before and after lie in, or in shorter ones: a recorder
/// that shows rest without a flicker may show a steady thrust so too.
fn usual_run(read: &Series, (from_s, to_s): (f64, f64)) -> usize {
    let outside = [(f64::NEG_INFINITY, from_s), (to_s, f64::INFINITY)];
    let mut runs: Vec<usize> = outside
        .iter()
        .flat_map(|(from_s, to_s)| {
            let part = read.between(*from_s, *to_s);
            let runs = part.value().chunk_by(|a, b| a == b).map(<[f64]>::len);
            runs.collect::<Vec<usize>>()
        })
        .collect();
    runs.sort_unstable();
    // Counted by readings: a few rows that move say nothing of a recorder that shows rest without a flicker.
    let all: usize = runs.iter().sum();
    let mut so_far = 0;
    let usual = runs.iter().find(|run| {
        so_far += **run;
        10 * so_far >= 9 * all
    });
    usual.copied().unwrap_or(1)
}

/// The longest run of equal readings: from, to, s, how many, and the reading.
fn longest_run(time_s: &[f64], value: &[f64]) -> Option<(f64, f64, usize, f64)> {
    let mut start = 0;
    let mut best: Option<(usize, usize)> = None;
    for run in value.chunk_by(|a, b| a == b) {
        if best.is_none_or(|(_, count)| run.len() > count) {
            best = Some((start, run.len()));
        }
        start += run.len();
    }
    let (start, count) = best?;
    Some((
        time_s[start],
        time_s[start + count - 1],
        count,
        value[start],
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::Curve;
    use crate::quantity::given;

    fn cell(value: &[f64]) -> CellReadings {
        let time_s: Vec<f64> = (0..value.len()).map(|at| 0.01 * at as f64).collect();
        CellReadings {
            name: "base".to_owned(),
            raw: Series::new(&time_s, value),
            left_out: Vec::new(),
            curve: Curve::from_scale(&given::parse("1 N").unwrap(), 0.0).unwrap(),
        }
    }

    #[test]
    fn a_rail_in_the_middle_of_a_record_stands_still_and_a_quiet_recorder_does_not() {
        let flickers = |at: i32| f64::from(at * 37 % 11);
        let at = |rail: fn(i32) -> bool, of: fn(i32) -> f64| -> Vec<f64> {
            (0..400)
                .map(|at| if rail(at) { -510.0 } else { of(at) })
                .collect()
        };
        let rail = |at: i32| (150..250).contains(&at);
        assert!(stood_still(&cell(&at(rail, flickers)), 0.1));
        assert!(!stood_still(&cell(&at(|_| false, flickers)), 0.1));
        assert!(!stood_still(
            &cell(&at(rail, |at| f64::from(at / 100))),
            0.1
        ));
    }

    #[test]
    fn a_cell_that_is_stuck_to_the_end_or_jumps_to_and_fro_is_lost() {
        let noise = |at: usize| (at * 7919 % 13) as f64;
        let of = |value: &dyn Fn(usize) -> f64| {
            let value: Vec<f64> = (0..400).map(value).collect();
            let lost = lost(&[cell(&value)]);
            lost.get("base").map(|(from_s, _)| *from_s)
        };
        assert_eq!(of(&noise), None);
        assert_eq!(
            of(&|at| if at < 200 { noise(at) } else { 4095.0 }),
            Some(2.0)
        );
        let loose = |at: usize| {
            if at >= 200 && at % 10 < 4 {
                4095.0
            } else {
                noise(at)
            }
        };
        assert_eq!(of(&loose), Some(2.0));
        // What only flickers, among many readings or by its last digit, jumps no more than it always does.
        assert_eq!(of(&|at| if at % 7 == 0 { 12.0 } else { 0.0 }), None);
        // A burn rises once and falls once.
        assert_eq!(
            of(&|at| noise(at) + if (200..300).contains(&at) { 500.0 } else { 0.0 }),
            None
        );
    }

    // The rail of a broken wire is far from all else, so it was taken out of the readings.
    #[test]
    fn codes_left_out_as_outliers_are_a_rail_where_they_go_on() {
        let flicker = |at: usize| (at * 7919 % 13) as f64;
        let broken = |codes: std::ops::Range<usize>| {
            let mut cell = cell(&(0..400).map(flicker).collect::<Vec<_>>());
            let all: Vec<(f64, f64)> = cell.raw.iter().collect();
            let (out, kept): (Vec<_>, Vec<_>) = (0..400).partition(|at| codes.contains(at));
            let kept: (Vec<f64>, Vec<f64>) = kept.into_iter().map(|at| all[at]).unzip();
            cell.raw = Series::new(&kept.0, &kept.1);
            cell.left_out = out.into_iter().map(|at| (all[at].0, 4095.0)).collect();
            cell
        };
        assert_eq!(lost(&[broken(200..400)])["base"].0, 2.0);
        assert!(unsound(&[broken(150..190)], (1.0, 2.0)).contains_key("base"));
        for few in [0..0, 399..400, 150..155] {
            let cell = [broken(few)];
            assert!(lost(&cell).is_empty() && unsound(&cell, (1.0, 2.0)).is_empty());
        }
    }

    // A cell that flickers by a count, and stands still for 40 readings of a burn of 200.
    #[test]
    fn a_long_stay_at_one_reading_is_no_force() {
        let value: Vec<f64> = (0..400)
            .map(|at| {
                if (150..190).contains(&at) {
                    4095.0
                } else {
                    f64::from(at * 7919 % 13)
                }
            })
            .collect();
        let (start_s, end_s, count, reading) =
            longest_run(&(0..400).map(f64::from).collect::<Vec<_>>(), &value).unwrap();
        assert_eq!((start_s, end_s, count, reading), (150.0, 189.0, 40, 4095.0));
        assert_eq!(longest_run(&[], &[]), None);
    }

    // A burn of 80 rows on a converter that answers every tenth of them; then the same at a rail that goes on, or is
    // there throughout.
    #[test]
    fn held_readings_are_believed_and_a_rail_is_not() {
        let held = |at: u32| {
            f64::from(at / 10 * 7919 % 97) + if (100..180).contains(&at) { 900.0 } else { 0.0 }
        };
        let lost = |value: &dyn Fn(u32) -> f64| {
            let time: Vec<f64> = (0..300).map(|at| f64::from(at) * 0.01).collect();
            let value: Vec<f64> = (0..300).map(value).collect();
            let cell = CellReadings {
                name: "base".to_owned(),
                raw: Series::new(&time, &value),
                left_out: Vec::new(),
                curve: Curve::from_scale(&given::parse("0.5 N").unwrap(), 10.0).unwrap(),
            };
            !unsound(&[cell], (1.0, 1.79)).is_empty()
        };
        assert!(!lost(&held));
        assert!(lost(&|at| if at < 160 { held(at) } else { 4095.0 }));
        assert!(lost(&|at| if (100..180).contains(&at) {
            4095.0
        } else {
            held(at)
        }));
    }
}
