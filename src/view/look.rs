//! What was seen in some logs: what burnt first, then the columns.

use super::at::{At, at};
use super::findings::noticed;
use super::first_screen;
use super::load_cell::{cell_column, cells, counts};
use super::text::{Text, text};
use super::{Page, Picture, Row, Section};
use crate::finding::Outcome;
use crate::look::{BurnSeen, CellSeen, ColumnLook, Kind, LogLook, Look, Signal, UnclearSeen};
use crate::quantity::Unit;

/// Everything shown of a first look; the paths are those of what `look --json` prints.
#[must_use]
pub(crate) fn page(look: &Look) -> Page {
    let root = &At::root(look);
    let logs = at!(root.logs);
    let mut sections: Vec<Section> = logs
        .each::<LogLook>()
        .enumerate()
        .map(|(nth, log)| log_section(nth, &log))
        .collect();
    sections.push(Section::new("cells", "Load cell").rows(cells(root)));
    sections.push(clocks(root));
    let (outcome, says) = verdict(root);
    let page = Page {
        sections,
        glance: first_screen::look::glance(root),
        ..Page::new("First look", outcome, says)
    };
    page.attended(|_| false)
}

fn verdict(root: &At<'_, Look>) -> (Outcome, Text) {
    let mut burning: Vec<(At<'_, ColumnLook>, Text)> = Vec::new();
    // Where the load cells are known, what else goes up and down in the log is not asked.
    let known = &root.of.cells;
    for (nth, log) in at!(root.logs).each().enumerate() {
        let columns = at!(log.columns);
        let burns = columns
            .each()
            .enumerate()
            .filter(|(at, one): &(usize, At<'_, ColumnLook>)| {
                let is_cell = |cell: &CellSeen| (cell.log, cell.column) == (nth, *at);
                one.of.kind == Kind::Burns && (known.is_empty() || known.iter().any(is_cell))
            });
        burning.extend(burns.map(|(_, column)| (column, at!(log.file).quote())));
    }
    let says = match burning.as_slice() {
        [] => return (Outcome::Undecided, without_burn(root)),
        [(column, log)] => {
            let by_area = |a: &At<'_, BurnSeen>, b: &At<'_, BurnSeen>| {
                a.of.area_raw_s.total_cmp(&b.of.area_raw_s)
            };
            let when = at!(column.burns).each().max_by(by_area).map(|burn| {
                text![
                    " from ",
                    at!(burn.onset_s).clock_time(),
                    " to ",
                    at!(burn.end_s).clock_time()
                ]
            });
            let name = at!(column.name).name();
            text![name, " of ", log.clone(), " looks like a burn", when, "."]
        }
        several => {
            let names = several.iter().map(|(column, _)| at!(column.name).name());
            text![Text::listed(names.collect()), " look like a burn."]
        }
    };
    (Outcome::Holds, says)
}

/// What is said where nothing surely burns.
fn without_burn(root: &At<'_, Look>) -> Text {
    let logs = at!(root.logs);
    let no_log = logs.each::<LogLook>().find(|log| log.of.no_log.is_some());
    if let Some(log) = no_log {
        let what = log.of.no_log.unwrap_or_default();
        return text![at!(log.file).quote(), " is no log of a firing: ", what, "."];
    }
    for cell in at!(root.cells).each::<CellSeen>() {
        let Some((log, column)) = cell_column(root, cell.of) else {
            continue;
        };
        let name = text![at!(column.name).name(), " of ", at!(log.file).quote()];
        if column.of.all_burn {
            return text![
                name,
                " is all burn, with no baseline before or after it, so its zero is not known."
            ];
        }
        if !column.of.unclear.is_empty() {
            return text![name, " has no sure burn: ", unclear(&column), "."];
        }
    }
    "Nothing here looks like a burn.".into()
}

/// Unclear burns that are told one by one.
const UNCLEAR_TOLD: usize = 3;

/// What may be burns, the first ones with the weightiest reason.
fn unclear(column: &At<'_, ColumnLook>) -> Text {
    let all = at!(column.unclear);
    let told = all
        .each()
        .take(UNCLEAR_TOLD)
        .map(|one: At<'_, UnclearSeen>| {
            let doubts = at!(one.doubts);
            let doubt = doubts.each::<String>().next();
            let against =
                doubt.map_or_else(|| "another like it is there".into(), |doubt| doubt.quote());
            text![
                at!(one.from_s).clock_time(),
                " to ",
                at!(one.to_s).clock_time(),
                " (",
                against,
                ")"
            ]
        });
    let more = (all.of.len() > UNCLEAR_TOLD).then_some(", and more");
    text![Text::joined(told, "; "), more.map(Text::from)]
}

fn log_section(nth: usize, log: &At<'_, LogLook>) -> Section {
    let section = Section::new(format!("log-{}", nth + 1), at!(log.file).quote());
    let mut section = section.rows(about(log));
    for (at, column) in at!(log.columns).each().enumerate() {
        let title = at!(column.title).some();
        let title = title.map(|title| text![" \"", title.quote(), "\""]);
        let row = Row::new(text![at!(column.name).name(), title], says(&column));
        let picture = Picture::Column {
            log: nth,
            column: at,
        };
        section = section.rows(vec![row]).picture(picture, Text::default());
    }
    section.warnings(noticed(&at!(log.warnings)))
}

fn clocks(root: &At<'_, Look>) -> Section {
    let logs = at!(root.logs);
    let mut lines = Vec::new();
    for tie in at!(root.ties).each() {
        if tie.of.log >= logs.of.len() {
            continue;
        }
        let (first, other): (At<'_, LogLook>, At<'_, LogLook>) =
            (logs.nth(0), logs.nth(tie.of.log));
        lines.push(text![
            at!(tie.here).name(),
            " of ",
            at!(other.file).quote(),
            " and ",
            at!(tie.there).name(),
            " of ",
            at!(first.file).quote(),
            " each rise once: if they are the same line, they tie the clocks"
        ]);
    }
    Section::new("clocks", "Clocks").list(lines)
}

/// How the file is written, and its clock.
fn about(log: &At<'_, LogLook>) -> Vec<Row> {
    let mut rows = Vec::new();
    if let Some(what) = log.of.no_log {
        rows.push(Row::new("no log", what));
    }
    for (nth, note) in at!(log.notes).each().enumerate() {
        let label = if nth == 0 { "found" } else { "" };
        rows.push(Row::new(label, note.quote()));
    }
    if log.of.stretches > 1 {
        let says = text![
            "of segment ",
            at!(log.shown_stretch).count(),
            ", ",
            at!(log.length_s).clock_time(),
            " long"
        ];
        rows.push(Row::new("traces", says));
    }
    for (nth, event) in at!(log.events).each().enumerate() {
        let label = if nth == 0 { "other lines" } else { "" };
        let line = at!(event.line).count();
        rows.push(Row::new(
            label,
            text!["line ", line, ": ", at!(event.text).quote()],
        ));
    }
    rows
}

fn says(column: &At<'_, ColumnLook>) -> Text {
    let range = text![
        at!(column.least).number(6, Unit::One),
        " to ",
        at!(column.greatest).number(6, Unit::One)
    ];
    let mut out = match column.of.kind {
        Kind::Clock => "the clock".into(),
        Kind::Words => "words".into(),
        Kind::Constant => match at!(column.least).some() {
            Some(value) => text![value.number(6, Unit::One), " throughout"],
            None => "no readings".into(),
        },
        Kind::TwoLevels => two_levels(column, range),
        Kind::Steps => text!["steps, ", range],
        Kind::Noise => text!["nothing but noise, ", range],
        Kind::Moves if column.of.all_burn => text!["all burn, no baseline beside it, ", range],
        Kind::Moves => text!["moves, ", range],
        Kind::Burns => {
            let burns = at!(column.burns);
            Text::joined(
                burns
                    .each()
                    .map(|burn| burn_words(&burn, counts(column.of))),
                "; ",
            )
        }
    };
    if !column.of.unclear.is_empty()
        && column
            .of
            .role
            .as_ref()
            .is_none_or(|role| role.signal == Signal::Force)
    {
        out = text![out, "; not surely a burn: ", unclear(column)];
    }
    if let Some(from) = at!(column.computed_from).some() {
        out = text![out, "; computed from ", from.name()];
    }
    if !column.of.sum_of.is_empty() {
        let parts = at!(column.sum_of);
        let names = parts.each().map(|one: At<'_, String>| one.name()).collect();
        out = text![out, "; the sum of ", Text::listed(names)];
    }
    if column.of.wild > 0 {
        out = text![out, "; outliers left out: ", at!(column.wild).count()];
    }
    let words = at!(column.missing_words);
    if !words.of.is_empty() {
        let words = words.each().map(|word| word.name()).collect();
        out = text![out, "; taken for missing readings: ", Text::listed(words)];
    }
    out
}

fn two_levels(column: &At<'_, ColumnLook>, range: Text) -> Text {
    let levels = text!["line, ", range];
    let rises = at!(column.rises_s);
    if rises.of.is_empty() {
        return text![levels, ", never rises"];
    }
    let first = rises.nth::<f64>(0).clock_time();
    if rises.of.len() == 1 {
        return text![levels, ", rises once at ", first];
    }
    text![
        levels,
        ", rises ",
        rises.length::<f64>(),
        " times, first at ",
        first
    ]
}

fn burn_words(burn: &At<'_, BurnSeen>, counts: &'static str) -> Text {
    let side = if burn.of.falls { "below" } else { "above" };
    let mut out = text![
        "burns from ",
        at!(burn.onset_s).clock_time(),
        " to ",
        at!(burn.end_s).clock_time(),
        ", peak ",
        at!(burn.peak_raw).number(6, Unit::One),
        " ",
        counts,
        " ",
        side,
        " baseline (",
        at!(burn.rest_raw).number(6, Unit::One),
        ") at ",
        at!(burn.peak_s).clock_time()
    ];
    out = match at!(burn.after_raw).some() {
        Some(after) => text![out, ", baseline after it ", after.number(6, Unit::One)],
        None => out.and(", the record ends before a baseline"),
    };
    if burn.of.no_rest_before {
        out = out.and(", no baseline recorded before it");
    }
    if burn.of.stretch > 1 {
        out = text![out, ", segment ", at!(burn.stretch).count()];
    }
    out
}
