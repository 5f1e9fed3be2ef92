//! What was seen in some logs, as a terminal shows it: what burnt first, then the columns.

use unicode_width::UnicodeWidthStr;

use crate::look::{BurnSeen, ColumnLook, Kind, LogLook, Look};
use crate::render::number;
use crate::render::words::{clean, listed, shortened};

use super::findings::warnings;
use super::layout::{Ink, hanging, headed, table, wrapped};
use super::{NARROWEST, trace};

/// Rows of the trace of a column that burns.
const BURN_ROWS: usize = 4;

/// Longest name that is shown whole.
const NAME_CHARACTERS: usize = 40;

/// What was seen in some logs. The first line says whether something burnt. Lines are at most
/// `width` columns wide.
#[must_use]
pub fn looked(look: &Look, width: usize, colour: bool) -> String {
    let width = width.max(NARROWEST);
    let ink = Ink { colour };
    let mut out = String::new();
    for line in wrapped(&verdict(look), width) {
        out += &format!("{}\n", ink.heading(&line));
    }
    for log in &look.logs {
        out += &format!("\n{}", headed(&file(log), width, ink));
        out += &about(log, width);
        for column in &log.columns {
            out += &column_text(column, log, width, ink);
        }
        out += &warnings(&log.warnings, width);
    }
    if !look.ties.is_empty() {
        out += &format!("\n{}\n", ink.heading("Clocks"));
    }
    for tie in &look.ties {
        let (Some(first), Some(other)) = (look.logs.first(), look.logs.get(tie.log)) else {
            continue;
        };
        let text = format!(
            "{} of {} and {} of {} each rise once: if they are the same line, they tie the clocks",
            name(&tie.here),
            file(other),
            name(&tie.there),
            file(first)
        );
        out += &hanging("  - ", &text, width);
    }
    out
}

fn file(log: &LogLook) -> String {
    clean(&log.file)
}

fn name(column: &str) -> String {
    shortened(column, NAME_CHARACTERS)
}

/// A time as all of them are shown here: a first look is good to a reading or so.
fn time(time_s: f64) -> String {
    format!("{time_s:.3} s")
}

fn counts(value: f64) -> String {
    number::significant(value, 6)
}

fn verdict(look: &Look) -> String {
    let burning: Vec<(&ColumnLook, &LogLook)> = look
        .logs
        .iter()
        .flat_map(|log| log.burning().map(move |column| (column, log)))
        .collect();
    match burning.as_slice() {
        [] => "Nothing here looks like a burn.".to_owned(),
        [(column, log)] => {
            let when = column
                .largest_burn()
                .map(|burn| format!(" from {} to {}", time(burn.onset_s), time(burn.end_s)));
            let when = when.unwrap_or_default();
            format!(
                "{} of {} looks like a burn{when}.",
                name(&column.name),
                file(log)
            )
        }
        several => {
            let names: Vec<String> = several
                .iter()
                .map(|(column, _)| name(&column.name))
                .collect();
            format!("{} look like a burn.", listed(&names))
        }
    }
}

/// How the file is written, and its clock.
fn about(log: &LogLook, width: usize) -> String {
    let mut rows: Vec<(String, String)> = Vec::new();
    for (nth, note) in log.notes.iter().enumerate() {
        let label = if nth == 0 { "found" } else { "" };
        rows.push((label.to_owned(), clean(note)));
    }
    if log.stretches > 1 {
        let text = format!(
            "of stretch {}, {} long",
            log.shown_stretch,
            time(log.length_s)
        );
        rows.push(("traces".to_owned(), text));
    }
    let mut label = "other lines";
    for event in &log.events {
        rows.push((
            label.to_owned(),
            format!("line {}: {}", event.line, clean(&event.text)),
        ));
        label = "";
    }
    table(&rows, width)
}

fn column_text(column: &ColumnLook, log: &LogLook, width: usize, ink: Ink) -> String {
    let mut out = String::new();
    let lead = format!("  {}  ", name(&column.name));
    let text = says(column);
    // A long name would leave its words no room.
    if lead.width() > width / 2 {
        out += &format!("{}\n", lead.trim_end());
        out += &hanging("    ", &text, width);
    } else {
        out += &hanging(&lead, &text, width);
    }
    let rows = match column.kind {
        Kind::Burns => BURN_ROWS,
        Kind::Moves | Kind::Steps | Kind::TwoLevels => 1,
        Kind::Clock | Kind::Words | Kind::Constant | Kind::Noise => return out,
    };
    let across = width - 4;
    for line in trace(&column.trace, across, rows, true) {
        out += &format!("    {line}\n");
    }
    if column.kind == Kind::Burns {
        out += &format!("    {}\n", ink.quiet(&axis(column, log, across)));
    }
    out
}

/// The line under a trace: its ends in words, carets at onset and end of the burns.
fn axis(column: &ColumnLook, log: &LogLook, width: usize) -> String {
    let mut line = vec![' '; width];
    let Some((from_s, to_s)) = column.trace.span_s() else {
        return String::new();
    };
    for burn in column
        .burns
        .iter()
        .filter(|burn| burn.stretch == log.shown_stretch)
    {
        for at_s in [burn.onset_s, burn.end_s] {
            let share = (at_s - from_s) / (to_s - from_s);
            let at = (share * width as f64).clamp(0.0, width as f64 - 1.0) as usize;
            line[at] = '^';
        }
    }
    let (left, right) = (time(from_s), time(to_s));
    let put = |line: &mut Vec<char>, at: usize, text: &str| {
        let free = |ch: &char| *ch == ' ';
        if line[at..at + text.len()].iter().all(free) {
            line.splice(at..at + text.len(), text.chars());
        }
    };
    put(&mut line, 0, &left);
    put(&mut line, width - right.len(), &right);
    line.into_iter().collect::<String>().trim_end().to_owned()
}

fn says(column: &ColumnLook) -> String {
    let range = match (column.least, column.greatest) {
        (Some(least), Some(greatest)) => format!("{} to {}", counts(least), counts(greatest)),
        _ => number::NOT_AVAILABLE.to_owned(),
    };
    let mut out = match column.kind {
        Kind::Clock => "the clock".to_owned(),
        Kind::Words => "words".to_owned(),
        Kind::Constant => match column.least {
            Some(value) => format!("{} throughout", counts(value)),
            None => "no readings".to_owned(),
        },
        Kind::TwoLevels => two_levels(column, &range),
        Kind::Steps => format!("steps, {range}"),
        Kind::Noise => format!("nothing but noise, {range}"),
        Kind::Moves => format!("moves, {range}"),
        Kind::Burns => {
            let burns: Vec<String> = column.burns.iter().map(burn_words).collect();
            burns.join("; ")
        }
    };
    if column.wild > 0 {
        out += &format!("; lone wild readings left out: {}", column.wild);
    }
    if !column.missing_words.is_empty() {
        let words: Vec<String> = column.missing_words.iter().map(|word| name(word)).collect();
        out += &format!("; taken for missing readings: {}", listed(&words));
    }
    out
}

fn two_levels(column: &ColumnLook, range: &str) -> String {
    let levels = format!("line, {range}");
    match column.rises_s.as_slice() {
        [] => format!("{levels}, never rises"),
        [once] => format!("{levels}, rises once at {}", time(*once)),
        [first, ..] => format!(
            "{levels}, rises {} times, first at {}",
            column.rises_s.len(),
            time(*first)
        ),
    }
}

fn burn_words(burn: &BurnSeen) -> String {
    let mut out = format!(
        "burns from {} to {}, peak {} raw counts {} rest ({}) at {}",
        time(burn.onset_s),
        time(burn.end_s),
        counts(burn.peak_raw),
        if burn.falls { "below" } else { "over" },
        counts(burn.rest_raw),
        time(burn.peak_s)
    );
    match burn.after_raw {
        Some(after) => out += &format!(", rest after it {}", counts(after)),
        None => out += ", the record ends before rest",
    }
    if burn.no_rest_before {
        out += ", no rest recorded before it";
    }
    if burn.stretch > 1 {
        out += &format!(", stretch {}", burn.stretch);
    }
    out
}
