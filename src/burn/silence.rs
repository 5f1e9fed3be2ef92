//! Before "nothing lit" is said: are the cells able to say so?
//!
//! People walk up to a rig because a page says that its motors are dead. A cell that was not
//! connected, readings the wrong way round, or a record that begins and ends within the burn must
//! not look like that; they are mistakes in the input, with a place.

use super::locate;
use super::recording::Recording;
use super::segmentation::{Choice, PLAIN_SDS, Segment, Segmentation};
use crate::calibration::{CellReadings, Load};
use crate::config::Firing;
use crate::diagnostic::{Code, Diagnostic, Error, Place};
use crate::log::overlap;
use crate::log::time_column::log_file_text;
use crate::quantity::range::plainly;

/// Checks that silence of the cells means that nothing burnt.
///
/// # Errors
/// A cell without readings, cells none of which can be believed, a window that holds none, load that goes the wrong way, or
/// load without a baseline on either side.
pub(crate) fn explained(recording: &Recording<'_>) -> Result<(), Error> {
    let (firing, readings) = (recording.firing, &recording.readings);
    if firing.cells.is_empty() {
        return Ok(());
    }
    let problem = without_readings(firing, readings)
        .or_else(|| frozen(recording))
        .or_else(|| outside_common_time(recording))
        .or_else(|| unheard(recording));
    problem.map_or(Ok(()), |problem| Err(problem.into()))
}

/// A burn that one cell feels while the log of another is not running: thrust would not be whole, or the burn
/// would pass for silence.
fn outside_common_time(recording: &Recording<'_>) -> Option<Diagnostic> {
    let firing = recording.firing;
    let all = recording.readings.iter();
    let readings: Vec<&CellReadings> = all.filter(|cell| recording.believes(cell)).collect();
    for felt in &readings {
        let load = Load::from_cells(std::slice::from_ref(*felt))?;
        let split = locate::split(firing, &load, None);
        let Choice::Burn(found) = split.choice() else {
            continue;
        };
        let burn_s = found.span_s;
        for other in &readings {
            let gap_s = other
                .raw
                .span_s()
                .map_or(0.0, |span_s| overlap::gap(burn_s, span_s));
            if gap_s <= 0.0 {
                continue;
            }
            let message = format!(
                "cell {} feels a burn from {:.3} s to {:.3} s, and the log of cell {} misses it by \
                 {gap_s:.3} s",
                felt.name, burn_s.0, burn_s.1, other.name
            );
            let place = firing.cells.get(&other.name).map(|cell| &cell.signal.log);
            let place = place.map_or_else(|| Place::file(&*firing.file), |log| log.place.clone());
            return Some(
                Diagnostic::error(Code::NoOverlap, message).at(place).hint(
                    "check how the clock of that log is tied; without it thrust is not whole",
                ),
            );
        }
    }
    None
}

/// A cell at rest still flickers; one that repeats itself to the last digit may not be connected. Where another cell can be
/// believed, that one is reduced.
fn frozen(recording: &Recording<'_>) -> Option<Diagnostic> {
    let same = |cell: &&CellReadings| {
        let value = cell.raw.value();
        value.len() > FEWEST_ALIKE && value.iter().all(|one| *one == value[0])
    };
    let believed = |cell: &CellReadings| recording.believes(cell) && !same(&cell);
    if recording.readings.iter().any(believed) {
        return None;
    }
    let first = recording.readings.iter().find(same);
    let first = first.or_else(|| recording.readings.first())?;
    let column = &recording.firing.cells.get(&first.name)?.signal.column;
    let message = if same(&first) {
        let reading = plainly(*first.raw.value().first()?);
        format!("column \"{}\" reads {reading} throughout", column.value)
    } else {
        let why = recording.unsound.get(&first.name)?;
        format!(
            "nothing burns in cell {} while it can be believed: {why}",
            first.name
        )
    };
    Some(
        Diagnostic::error(Code::FrozenCell, message)
            .at(column.place.clone())
            .hint("is the cell connected? until that is known treat every motor as live"),
    )
}

/// So many readings alike to the last digit are no chance.
const FEWEST_ALIKE: usize = 10;

fn without_readings(firing: &Firing, readings: &[CellReadings]) -> Option<Diagnostic> {
    let silent = readings.iter().find(|cell| cell.raw.is_empty())?;
    let column = &firing.cells.get(&silent.name)?.signal.column;
    let message = format!("column \"{}\" holds no reading at all", column.value);
    Some(
        Diagnostic::error(Code::NoReadings, message)
            .at(column.place.clone())
            .hint("this record does not show whether a motor lit: treat it as live"),
    )
}

fn unheard(recording: &Recording<'_>) -> Option<Diagnostic> {
    let (firing, whole) = (recording.firing, recording.load.as_ref());
    let column = || Some(firing.cells.values().next()?.signal.column.place.clone());
    let Some(whole) = whole else {
        let message = "there is no time at which all cells read a load";
        let problem = Diagnostic::error(Code::NoCommonTime, message).at(column()?);
        return Some(problem.hint("do the logs overlap, and does each curve reach its readings?"));
    };
    let problem = unheard_in(recording, whole)?;
    Some(match logs_of(firing) {
        logs if logs.is_empty() => problem,
        logs => problem.hint(format!("the load is that of {}", logs.join(", "))),
    })
}

/// The logs that the cells are in, each once.
fn logs_of(firing: &Firing) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for cell in firing.cells.values() {
        let log = firing.logs.get(&cell.signal.log.value).map(log_file_text);
        out.extend(log.filter(|log| !out.contains(log)));
    }
    out
}

/// Why nothing burns in a load that is there.
fn unheard_in(recording: &Recording<'_>, whole: &Load) -> Option<Diagnostic> {
    let firing = recording.firing;
    let column = || Some(firing.cells.values().next()?.signal.column.place.clone());
    let load = match firing.reduce.window_s {
        Some((from, to)) => whole.between(from, to),
        None => whole.clone(),
    };
    if load.time_s.is_empty() {
        let problem =
            Diagnostic::error(Code::EmptyWindow, "`window` holds no reading of the cells");
        let place = Place::file(firing.file.clone());
        return Some(
            problem
                .at(place)
                .hint("times count from the first row of the first log"),
        );
    }
    let missed = firing
        .reduce
        .window_s
        .and_then(|_| burns_outside(firing, whole));
    if let Some(missed) = missed {
        return Some(missed.at(Place::file(firing.file.clone())));
    }
    let split = &recording.segmentation;
    let turned = Load {
        force_n: load.force_n.iter().map(|force| -force).collect(),
        ..load
    };
    let turned = locate::split(firing, &turned, None);
    if let Choice::Burn(found) = turned.choice()
        && found.before_s.is_some()
        && found.after_s.is_some()
        && found.height_n > PLAIN_SDS * turned.noise_n
    {
        return Some(wrong_way(found.height_n, found.span_s).at(column()?));
    }
    if split.trimmed {
        let message = "a load, but no rest before it or after it, so its zero is not known";
        return Some(
            Diagnostic::error(Code::NoRest, message)
                .at(column()?)
                .hint("log from two seconds before the fire command to three after burnout")
                .hint("where window = [..] is given, let it hold a rest on both sides")
                .hint("if the cells were tared before, say so: [reduce] zero = \"tared\"; or give what they read at rest, zero = \"0.3 N +- 0.1 N\""),
        );
    }
    pressed(split).map(|problem| problem.at(Place::file(firing.file.clone())))
}

/// Something that is no drift pressed the stand, but does not surely look like a burn: "nothing lit" must not be said.
fn pressed(split: &Segmentation) -> Option<Diagnostic> {
    let seen: Vec<String> = split.pressed().map(Segment::told).collect();
    if seen.is_empty() {
        return None;
    }
    let message = format!(
        "something pressed the stand, and it is not sure what was a burn: {}",
        seen.join("; ")
    );
    Some(
        Diagnostic::error(Code::UnclearBurn, message)
            .hint("look at the record; where the burn is, give [reduce] window = [\"..\", \"..\"]")
            .hint("if none of it is one, give a window without it; until then treat every motor as live"),
    )
}

/// The whole record burns, but the window holds no whole burn.
fn burns_outside(firing: &Firing, load: &Load) -> Option<Diagnostic> {
    let split = locate::split(firing, load, None);
    let Choice::Burn(found) = split.choice() else {
        return None;
    };
    let (from, to) = found.span_s;
    let message =
        format!("`window` holds no whole burn, but the record burns from {from:.2} s to {to:.2} s");
    Some(
        Diagnostic::error(Code::WindowMissesBurn, message)
            .hint("let it begin two seconds before the burn and end three after it"),
    )
}

fn wrong_way(fall_n: f64, (from, to): (f64, f64)) -> Diagnostic {
    let message = format!(
        "the load falls by {fall_n:.1} N from {from:.2} s to {to:.2} s, where thrust would make it rise"
    );
    Diagnostic::error(Code::WrongWay, message)
        .hint("a load is positive when it presses the cell the way thrust does: turn the sign of the loads, or of `scale`")
        .hint("if somebody lifted the rig then, give window = [..] without that")
}
