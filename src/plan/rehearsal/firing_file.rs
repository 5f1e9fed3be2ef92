//! The firing file of a rehearsal: what a careful maker would have written down, and no more.
//!
//! It states the claims of the rehearsal, never the truth behind them, and refers to every column
//! that the rehearsal does not hide. Newcomers copy it, so the first table of each kind is
//! commented.

use crate::config::logs::AlignMethod;

use super::spec::{AlignClaim, Claims, Recorder, Rehearsal, Shows};

/// The text of `firing.toml`. Files of certified motors are given in the order of the motors.
pub(super) fn text(rehearsal: &Rehearsal, certified: &[String]) -> String {
    let mut blocks = vec![head(rehearsal)];
    blocks.extend(site(rehearsal));
    blocks.extend(logs(rehearsal));
    blocks.extend(tap_log(rehearsal));
    blocks.extend(cells(rehearsal));
    blocks.push(stand(rehearsal));
    blocks.extend(motors(rehearsal, certified));
    blocks.extend(chamber(rehearsal));
    blocks.extend(axes(rehearsal));
    blocks.extend(vehicle(rehearsal));
    let texts: Vec<String> = blocks.iter().map(Block::text).collect();
    format!("{HEAD}{}", texts.join("\n"))
}

const HEAD: &str = "\
# One captive firing: what was fired, on what rig, and which recorder saw what.
# The firing is invented (see REHEARSAL.toml); what really happened is in truth.json.
# A quantity carries its unit, and perhaps limits (±) or a standard uncertainty (u).
# Paths start from the folder of this file.

";

/// Name of a cell's points file.
pub(super) fn points_file(cell: &str) -> String {
    format!("cell-{cell}-points.csv")
}

/// The lines of one table, with their equals signs and comments in line.
struct Block {
    heading: String,
    /// Whether lines are explained.
    explained: bool,
    lines: Vec<(String, String, &'static str)>,
}

/// Where comments begin at the earliest.
const COMMENT_COLUMN: usize = 44;

impl Block {
    fn new(heading: String, explained: bool) -> Self {
        Self {
            heading,
            explained,
            lines: vec![],
        }
    }

    /// A line, as TOML, with an explanation that may be empty.
    fn line(&mut self, key: &str, value: String, why: &'static str) {
        self.lines.push((key.to_owned(), value, why));
    }

    fn text(&self) -> String {
        let mut out = self.heading.clone();
        let width = self.lines.iter().map(|line| line.0.len()).max();
        let width = width.unwrap_or(0);
        for (key, value, why) in &self.lines {
            let line = format!("{key:width$} = {value}");
            if why.is_empty() || !self.explained {
                out += &line;
            } else {
                out += &format!("{line:COMMENT_COLUMN$}  # {why}");
            }
            out.push('\n');
        }
        out
    }
}

fn head(rehearsal: &Rehearsal) -> Block {
    let mut block = Block::new(String::new(), true);
    block.line("title", quoted(&rehearsal.title), "");
    if let Some(date) = &rehearsal.date {
        let is_date = date.len() == 10 && date.bytes().all(|b| b.is_ascii_digit() || b == b'-');
        let shown = if is_date { date.clone() } else { quoted(date) };
        block.line("date", shown, "");
    }
    block
}

fn site(rehearsal: &Rehearsal) -> Option<Block> {
    let mut block = Block::new("[site]\n".to_owned(), true);
    for (at, (key, words)) in rehearsal.site_claims.iter().enumerate() {
        let why = if at == 0 {
            "sets the weight of the calibration masses"
        } else {
            ""
        };
        block.line(key, quoted(words), why);
    }
    (!block.lines.is_empty()).then_some(block)
}

fn logs(rehearsal: &Rehearsal) -> impl Iterator<Item = Block> {
    let all = rehearsal.recorders.iter().enumerate();
    all.map(|(at, (name, recorder))| {
        let why = if at == 0 {
            "# the first log's clock is the clock of the results\n"
        } else {
            ""
        };
        let mut block = Block::new(format!("{why}[log.{name}]\n"), true);
        block.line("file", quoted(&recorder.file), "");
        block.line("time", time(recorder), "");
        if let Some(align) = &recorder.align {
            let why = match align.by {
                AlignMethod::Edge => "# both logs saw the same line rise: that ties their clocks\n",
                AlignMethod::Shape => "# both logs saw the same movement: that ties their clocks\n",
                AlignMethod::Offset => "",
            };
            block.heading.insert_str(0, why);
            block.line("align", align_text(align), "");
        }
        block
    })
}

fn tap_log(rehearsal: &Rehearsal) -> Option<Block> {
    let plan = rehearsal.tap.as_ref()?;
    let why = "# the rig at rest, tapped; its clock needs no tie to the others\n";
    let mut block = Block::new(format!("{why}[log.{}]\n", plan.log), true);
    block.line("file", quoted(&plan.file), "");
    block.line(
        "time",
        "{ column = \"t_us\", unit = \"us\" }".to_owned(),
        "",
    );
    Some(block)
}

fn align_text(align: &AlignClaim) -> String {
    let mut claims: Claims = vec![("to", align.to.clone()), ("by", align.by.word().to_owned())];
    claims.extend(align.rest.iter().cloned());
    inline(&claims)
}

fn time(recorder: &Recorder) -> String {
    let Some(time) = &recorder.time else {
        return format!("{{ rate = \"{} Hz\" }}", recorder.rate_hz);
    };
    let bits = time
        .counter_bits
        .map_or_else(String::new, |bits| format!(", counter_bits = {bits}"));
    let (column, unit) = (quoted(&time.column), quoted(&time.unit));
    format!("{{ column = {column}, unit = {unit}{bits} }}")
}

fn cells(rehearsal: &Rehearsal) -> Vec<Block> {
    let mut out = Vec::new();
    for (name, cell) in &rehearsal.cells {
        let Some(signal) = signal(rehearsal, &Shows::Cell(name.clone())) else {
            continue;
        };
        let mut block = Block::new(format!("[cell.{name}]\n"), out.is_empty());
        block.line("signal", signal, "");
        let points = quoted(&points_file(name));
        block.line("points", points, "known masses against raw readings");
        for (key, words) in &cell.claims {
            let why = match *key {
                "masses" => "tolerance of the masses, shared by all",
                "delay" => "how late the converter's readings are",
                _ => "",
            };
            block.line(key, quoted(words), why);
        }
        if let Some(names) = &cell.carries {
            let names: Vec<String> = names.iter().map(|name| quoted(name)).collect();
            let why = "motors whose thrust it feels";
            block.line("carries", format!("[{}]", names.join(", ")), why);
        }
        out.push(block);
    }
    out
}

fn stand(rehearsal: &Rehearsal) -> Block {
    let mut block = Block::new("[stand]\n".to_owned(), true);
    for (key, words) in &rehearsal.stand.claims {
        let why = match *key {
            "mount" => "decides the sign of the weight loss",
            "cells_on" if words == "rocket" => "the cell tilts with the rocket",
            "cells_on" => "the cell stays while the rocket tilts",
            "natural_frequency" => "from a tap test",
            _ => "",
        };
        block.line(key, quoted(words), why);
    }
    if let Some(plan) = &rehearsal.tap {
        let signal = vec![("log", plan.log.clone()), ("column", plan.column.clone())];
        block.line("tap", inline(&signal), "its ringing gives the stand's mode");
    }
    block
}

fn motors(rehearsal: &Rehearsal, certified: &[String]) -> Vec<Block> {
    let mut out = Vec::new();
    for ((name, motor), file) in rehearsal.motors.iter().zip(certified) {
        let mut block = Block::new(format!("[motor.{name}]\n"), out.is_empty());
        block.line("certified", quoted(file), "what it is certified as");
        for (key, words) in &motor.claims {
            block.line(key, quoted(words), "weighed before the firing");
        }
        if let Some(signal) = signal(rehearsal, &Shows::Fire) {
            block.line("fire", signal, "igniter line");
        }
        if !motor.offset_claims.is_empty() {
            if block.explained {
                let why =
                    "# offset: positive where the motor's thrust makes positive tilt torque\n";
                block.heading.insert_str(0, why);
            }
            block.line("offset", inline(&motor.offset_claims), "");
        }
        out.push(block);
    }
    out
}

fn chamber(rehearsal: &Rehearsal) -> Option<Block> {
    let chamber = rehearsal.chamber.as_ref()?;
    let mut block = Block::new("[chamber]\n".to_owned(), true);
    block.line("pressure", signal(rehearsal, &Shows::Pressure)?, "");
    let why = "what the transducer counts from";
    block.line("reads", quoted(chamber.reads.word()), why);
    for (key, words) in &chamber.claims {
        let why = match *key {
            "ambient" => "pressure of the air",
            "span_error" => "limits of the transducer's slope",
            _ => "",
        };
        block.line(key, quoted(words), why);
    }
    block.line("motor", quoted(&chamber.motor), "");
    Some(block)
}

fn axes(rehearsal: &Rehearsal) -> Vec<Block> {
    let mut out = Vec::new();
    for (name, axis) in &rehearsal.axes {
        let Some(command) = signal(rehearsal, &Shows::Command(name.clone())) else {
            continue;
        };
        let mut block = Block::new(format!("[axis.{name}]\n"), out.is_empty());
        block.line("command", command, "");
        let measured = [
            (
                "nozzle",
                Shows::Nozzle(name.clone()),
                "potentiometer at the swivel",
            ),
            ("tilt", Shows::Tilt(name.clone()), "encoder of the rig"),
            (
                "rate",
                Shows::Rate(name.clone()),
                "gyro; it may carry a bias",
            ),
        ];
        for (key, shows, why) in measured {
            if let Some(signal) = signal(rehearsal, &shows) {
                block.line(key, signal, why);
            }
        }
        for (key, words) in &axis.claims {
            block.line(key, quoted(words), explain_axis(key, words));
        }
        out.push(block);
    }
    out
}

fn explain_axis(key: &str, words: &str) -> &'static str {
    match key {
        "travel" => "mechanical limit either side",
        "arm" => "rig pivot to swivel point",
        "inertia" => "of all that swings, about the pivot",
        "inertia_spent" => "the same, motors spent",
        "frame_inertia" => "the part that stays on the ground",
        "pivot_to_cg" if words.starts_with('-') => "the centre of gravity hangs below the pivot",
        "pivot_to_cg" => "the centre of gravity is above the pivot",
        _ => "",
    }
}

fn vehicle(rehearsal: &Rehearsal) -> Option<Block> {
    let why = "# the free rocket, which the plant is carried over to\n[vehicle]\n";
    let mut block = Block::new(why.to_owned(), true);
    for (key, words) in &rehearsal.vehicle_claims {
        let why = match *key {
            "inertia" => "about its own centre of gravity",
            "arm" => "centre of gravity to swivel point",
            _ => "",
        };
        block.line(key, quoted(words), why);
    }
    (!block.lines.is_empty()).then_some(block)
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
