//! The firing file of a rehearsal: what a careful maker would have written down, and no more.
//!
//! It states the claims of the rehearsal, never the truth behind them, and refers to every column
//! that the rehearsal does not hide. Newcomers copy it, so it is commented.

use super::spec::{Claims, Recorder, Rehearsal, Shows};

/// Where the equals signs stand.
const KEY_WIDTH: usize = 13;

/// The text of `firing.toml`. Files of certified motors are given in the order of the motors.
pub(super) fn text(rehearsal: &Rehearsal, certified: &[String]) -> String {
    let mut out = head(rehearsal);
    logs(rehearsal, &mut out);
    cells(rehearsal, &mut out);
    stand(rehearsal, &mut out);
    motors(rehearsal, certified, &mut out);
    axes(rehearsal, &mut out);
    if !rehearsal.vehicle_claims.is_empty() {
        out += "\n[vehicle]                               # the free rocket that the plant is carried over to\n";
        entries(&mut out, &rehearsal.vehicle_claims);
    }
    out
}

fn head(rehearsal: &Rehearsal) -> String {
    let mut out = "# One captive firing: what was fired, on what rig, and which recorder saw what.\n\
                   # The firing is invented (see REHEARSAL.toml); what really happened is in truth.json.\n\
                   # Quantities carry their unit; paths start from this file.\n\n"
        .to_owned();
    entry(&mut out, "title", &quoted(&rehearsal.title), "");
    if let Some(date) = &rehearsal.date {
        let bare = date.len() == 10 && date.bytes().all(|b| b.is_ascii_digit() || b == b'-');
        entry(
            &mut out,
            "date",
            &if bare { date.clone() } else { quoted(date) },
            "",
        );
    }
    if !rehearsal.site_claims.is_empty() {
        out += "\n[site]                                  # sets the weight of the calibration masses\n";
        entries(&mut out, &rehearsal.site_claims);
    }
    out
}

fn logs(rehearsal: &Rehearsal, out: &mut String) {
    for (at, (name, recorder)) in rehearsal.recorders.iter().enumerate() {
        *out += &format!("\n[log.{name}]\n");
        if at == 0 {
            out.insert_str(
                out.len() - 1,
                "  # the first log: its clock is the clock of the results",
            );
        }
        entry(out, "file", &quoted(&recorder.file), "");
        entry(out, "time", &time(recorder), "");
        if let Some(align) = &recorder.align {
            let mut parts = vec![
                format!("to = {}", quoted(&align.to)),
                format!("by = {}", quoted(&align.by)),
            ];
            parts.extend(
                align
                    .rest
                    .iter()
                    .map(|(key, text)| format!("{key} = {}", quoted(text))),
            );
            let why = if align.by == "edge" {
                "both logs saw this line rise"
            } else {
                ""
            };
            entry(out, "align", &format!("{{ {} }}", parts.join(", ")), why);
        }
    }
}

fn time(recorder: &Recorder) -> String {
    let Some(time) = &recorder.time else {
        return format!("{{ rate = \"{} Hz\" }}", recorder.rate_hz);
    };
    let bits = time
        .counter_bits
        .map_or_else(String::new, |bits| format!(", counter_bits = {bits}"));
    format!(
        "{{ column = {}, unit = {}{bits} }}",
        quoted(&time.column),
        quoted(&time.unit)
    )
}

fn cells(rehearsal: &Rehearsal, out: &mut String) {
    for (name, cell) in &rehearsal.cells {
        let Some(signal) = signal(rehearsal, &Shows::Cell(name.clone())) else {
            continue;
        };
        *out += &format!("\n[cell.{name}]\n");
        entry(out, "signal", &signal, "");
        entry(
            out,
            "points",
            &quoted(&points_file(name)),
            "known masses against raw readings",
        );
        for (key, words) in &cell.claims {
            let why = match *key {
                "masses" => "tolerance of the masses, shared by all of them",
                "delay" => "how late the converter's readings are",
                _ => "",
            };
            entry(out, key, &quoted(words), why);
        }
        if let Some(names) = &cell.carries {
            let names: Vec<String> = names.iter().map(|name| quoted(name)).collect();
            entry(out, "carries", &format!("[{}]", names.join(", ")), "");
        }
    }
}

/// Name of a cell's points file.
pub(super) fn points_file(cell: &str) -> String {
    format!("cell-{cell}-points.csv")
}

fn stand(rehearsal: &Rehearsal, out: &mut String) {
    *out += "\n[stand]\n";
    for (key, words) in &rehearsal.stand.claims {
        let why = match *key {
            "mount" => "decides the sign of the weight loss",
            "cells_on" if words == "rocket" => "the cell tilts with the rocket",
            "cells_on" => "the cell stays on the ground while the rocket tilts",
            "natural_frequency" => "from a tap test",
            _ => "",
        };
        entry(out, key, &quoted(words), why);
    }
}

fn motors(rehearsal: &Rehearsal, certified: &[String], out: &mut String) {
    for ((name, motor), file) in rehearsal.motors.iter().zip(certified) {
        *out += &format!("\n[motor.{name}]\n");
        entry(out, "certified", &quoted(file), "");
        for (key, words) in &motor.claims {
            entry(out, key, &quoted(words), "weighed");
        }
        if let Some(signal) = signal(rehearsal, &Shows::Fire) {
            entry(out, "fire", &signal, "igniter line");
        }
        if !motor.offset_claims.is_empty() {
            let why = "positive where its thrust makes positive tilt torque";
            entry(out, "offset", &inline(&motor.offset_claims), why);
        }
    }
}

fn axes(rehearsal: &Rehearsal, out: &mut String) {
    for (name, axis) in &rehearsal.axes {
        let command = signal(rehearsal, &Shows::Command(name.clone()));
        let Some(command) = command else {
            continue;
        };
        *out += &format!("\n[axis.{name}]\n");
        entry(out, "command", &command, "");
        let measured = [
            ("nozzle", Shows::Nozzle(name.clone())),
            ("tilt", Shows::Tilt(name.clone())),
            ("rate", Shows::Rate(name.clone())),
        ];
        for (key, shows) in measured {
            if let Some(signal) = signal(rehearsal, &shows) {
                entry(out, key, &signal, "");
            }
        }
        for (key, words) in &axis.claims {
            let why = match *key {
                "travel" => "mechanical limit either side",
                "arm" => "rig pivot to swivel point",
                "inertia" => "of all that swings, about the rig pivot, motors loaded",
                "inertia_spent" => "the same, motors spent",
                "frame_inertia" => "the part of it that stays on the ground",
                "pivot_to_cg" => "negative: the centre of gravity hangs below the pivot",
                _ => "",
            };
            let why = if *key == "pivot_to_cg" && !words.starts_with('-') {
                "the centre of gravity is above the pivot"
            } else {
                why
            };
            entry(out, key, &quoted(words), why);
        }
    }
}

/// The first column that shows something and is not hidden.
fn signal(rehearsal: &Rehearsal, shows: &Shows) -> Option<String> {
    let all = rehearsal.recorders.iter().flat_map(|(log, one)| {
        one.columns
            .iter()
            .map(move |(title, column)| (log, title, column))
    });
    let (log, title, column) = all
        .into_iter()
        .find(|(_, _, column)| column.used && column.shows == *shows)?;
    let unit = if column.unit.is_empty() {
        String::new()
    } else {
        format!(", unit = {}", quoted(&column.unit))
    };
    Some(format!(
        "{{ log = {}, column = {}{unit} }}",
        quoted(log),
        quoted(title)
    ))
}

fn inline(claims: &Claims) -> String {
    let parts: Vec<String> = claims
        .iter()
        .map(|(key, text)| format!("{key} = {}", quoted(text)))
        .collect();
    format!("{{ {} }}", parts.join(", "))
}

fn entries(out: &mut String, claims: &Claims) {
    for (key, text) in claims {
        entry(out, key, &quoted(text), "");
    }
}

/// Where comments begin.
const COMMENT_COLUMN: usize = 40;

fn entry(out: &mut String, key: &str, value: &str, why: &str) {
    let line = format!("{key:KEY_WIDTH$} = {value}");
    if why.is_empty() {
        *out += &line;
    } else {
        let pad = COMMENT_COLUMN.saturating_sub(line.chars().count()).max(2);
        *out += &format!("{line}{}# {why}", " ".repeat(pad));
    }
    out.push('\n');
}

/// A TOML string.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for ch in text.chars() {
        match ch {
            '"' => out += "\\\"",
            '\\' => out += "\\\\",
            ch if ch.is_control() => out += &format!("\\u{:04X}", u32::from(ch)),
            ch => out.push(ch),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn awkward_texts_come_back_from_toml_as_they_were() {
        let text = "a \"b\" \\ \t ± \u{7f}";
        let line = format!("x = {}", quoted(text));
        let table: toml::Table = line.parse().unwrap();
        assert_eq!(table["x"].as_str(), Some(text));
    }
}
