//! What only the whole firing file can show to be wrong: names that point at nothing, clocks that nothing
//! ties, motors that no cell feels.

use indexmap::IndexMap;

use super::{Cell, Firing, LogFile, MOST_MOTORS};
use crate::diagnostic::{Code, Diagnostic, Located, nearest};

/// Names that must point at something the file defines.
pub(super) fn cross_check(firing: &Firing) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let logs: Vec<&str> = firing.logs.keys().map(String::as_str).collect();
    let motors: Vec<&str> = firing.motors.keys().map(String::as_str).collect();
    for signal in firing.signals() {
        out.extend(must_be_known(Group::Log, &signal.log, &logs));
    }
    for cell in firing.cells.values() {
        let mut carried: Vec<&str> = Vec::new();
        for name in cell.carries.iter().flatten() {
            out.extend(must_be_known(Group::Motor, name, &motors));
            if carried.contains(&name.value.as_str()) {
                let text = format!("motor `{}` stands twice in this list", name.value);
                out.push(
                    Diagnostic::error(Code::NamedTwice, text)
                        .at(name.place.clone())
                        .hint("name each motor that the cell feels once"),
                );
            }
            carried.push(&name.value);
        }
    }
    for log in firing.logs.values() {
        if let Some(align) = &log.align {
            out.extend(must_be_known(Group::Log, &align.to, &logs));
        }
    }
    out.extend(check_chamber(firing, &motors));
    out.extend(check_alignment(&firing.logs, &firing.lone_logs()));
    out.extend(check_cells(firing));
    out
}

/// A pressure belongs to one motor, and it must be clear which.
fn check_chamber(firing: &Firing, motors: &[&str]) -> Option<Diagnostic> {
    let chamber = firing.chamber.as_ref()?;
    match &chamber.motor {
        Some(motor) => must_be_known(Group::Motor, motor, motors),
        None if motors.len() > 1 => {
            let message = "this file has several motors: whose chamber is it?";
            let list: Vec<String> = motors.iter().map(|name| format!("\"{name}\"")).collect();
            let hint = format!("add motor = {}", list.join(" or "));
            Some(
                Diagnostic::error(Code::WhoseChamber, message)
                    .at(chamber.place.clone())
                    .hint(hint),
            )
        }
        None => None,
    }
}

/// Motors that no cell could feel, readings that would be counted twice, and a file about nothing.
fn check_cells(firing: &Firing) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let about_nothing =
        firing.cells.is_empty() && firing.motors.is_empty() && firing.axes.is_empty();
    if let Some(log) = firing.logs.values().next().filter(|_| about_nothing) {
        out.push(
            Diagnostic::error(
                Code::NothingDescribed,
                "logs, but neither a load cell nor a steering axis that they saw",
            )
            .at(log.place.clone())
            .hint("add a table such as [cell.base] with its signal and points, and one for each motor")
            .hint("or [axis.pitch] for a dry run; `burnwright look` shows the columns"),
        );
    }
    if let Some((_, motor)) = firing.motors.get_index(MOST_MOTORS) {
        let message = format!("at most {MOST_MOTORS} motors can be told apart");
        out.push(Diagnostic::error(Code::ManyMotors, message).at(motor.place.clone()));
    }
    if let Some(motor) = firing
        .motors
        .values()
        .next()
        .filter(|_| firing.cells.is_empty())
    {
        out.push(
            Diagnostic::error(Code::NoCell, "a motor, but no load cell to feel its thrust")
                .at(motor.place.clone())
                .hint("add a table such as [cell.base]; or take the motors out for a dry run"),
        );
    }
    let cells: Vec<&Cell> = firing.cells.values().collect();
    for (at, cell) in cells.iter().enumerate() {
        let (log, column) = (&cell.signal.log, &cell.signal.column);
        let same = |other: &&Cell| {
            other.signal.log.value == log.value && other.signal.column.value == column.value
        };
        if cells[..at].iter().any(same) {
            let message = format!("another cell reads column \"{}\" already", column.value);
            out.push(
                Diagnostic::error(Code::SameColumn, message)
                    .at(column.place.clone())
                    .hint("the forces of all cells are added up, so this one would count twice"),
            );
        }
    }
    out
}

/// What a name may stand for.
#[derive(Clone, Copy)]
enum Group {
    Log,
    Motor,
}

fn must_be_known(group: Group, name: &Located<String>, known: &[&str]) -> Option<Diagnostic> {
    if known.contains(&name.value.as_str()) {
        return None;
    }
    let (kind, code) = match group {
        Group::Log => ("log", Code::UnknownLog),
        Group::Motor => ("motor", Code::UnknownMotor),
    };
    let mut problem = Diagnostic::error(
        code,
        format!("there is no [{kind}.{}] in this file", name.value),
    )
    .at(name.place.clone());
    if let Some(near) = nearest(&name.value, known.iter().copied()) {
        problem = problem.label(format!("did you mean \"{near}\"?"));
    }
    let list = if known.is_empty() {
        "none".to_owned()
    } else {
        known.join(", ")
    };
    Some(problem.hint(format!("the {kind}s of this file: {list}")))
}

/// Every log but the first must be tied to the first, and never in a circle; `alone` needs no tie.
fn check_alignment(logs: &IndexMap<String, LogFile>, alone: &[&str]) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let Some((first, first_log)) = logs.first() else {
        return out;
    };
    if alone.contains(&first.as_str()) && logs.len() > 1 {
        let message = "the first log sets the clock of the results, but this one holds only taps";
        let hint = "let the log of the load cells come first";
        let place = first_log.place.clone();
        return vec![
            Diagnostic::error(Code::TapFirst, message)
                .at(place)
                .hint(hint),
        ];
    }
    if let Some(align) = &first_log.align {
        let message = format!(
            "log `{first}` is the first, so its clock is that of the results and is tied to none"
        );
        return vec![
            Diagnostic::error(Code::CyclicAlignment, message)
                .at(align.to.place.clone())
                .hint(format!(
                    "take `align` out, or let log `{}` come first",
                    align.to.value
                )),
        ];
    }
    let others = logs.iter().skip(1);
    for (name, log) in others.filter(|(name, _)| !alone.contains(&name.as_str())) {
        let mut seen = vec![name.as_str()];
        let mut at = log;
        loop {
            let Some(align) = &at.align else {
                out.push(
                    Diagnostic::error(
                        Code::NoAlignment,
                        format!("the clock of log `{}` is not tied to that of `{first}`", at.name),
                    )
                    .at(at.place.clone())
                    .hint(format!(
                        "add align = {{ to = \"{first}\", by = \"edge\", here = \"..\", there = \"..\" }}"
                    )),
                );
                break;
            };
            let to = align.to.value.as_str();
            if to == first {
                break;
            }
            if seen.contains(&to) {
                out.push(
                    Diagnostic::error(Code::CyclicAlignment, "these clocks are tied in a circle")
                        .at(align.to.place.clone())
                        .hint(format!("tie one of them to `{first}`")),
                );
                break;
            }
            seen.push(to);
            match logs.get(to) {
                Some(next) => at = next,
                None => break,
            }
        }
    }
    out.dedup_by(|a, b| a.place == b.place && a.code == b.code);
    out
}
