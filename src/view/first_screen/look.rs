//! Some logs in a glance: what burnt, drawn; then of each log its rows and what its columns do.

use crate::look::{ColumnLook, Kind, LogLook, Look};
use crate::quantity::Unit;
use crate::view::at::{At, at};
use crate::view::load_cell::{cells, counts};
use crate::view::text::{Text, text};
use crate::view::{Content, Picture, Row};

pub(in crate::view) fn glance(root: &At<'_, Look>) -> Vec<Content> {
    let mut contents = Vec::new();
    if let Some((log, column)) = drawn(root.of) {
        let picture = Picture::Column { log, column };
        contents.push(Content::Picture(picture, Text::default()));
    }
    for log in at!(root.logs).each::<LogLook>() {
        contents.push(Content::Rows(rows(&log)));
    }
    contents.push(Content::Rows(cells(root)));
    contents
}

/// The column that is drawn: of the load cells the one that burns, else the first; else what burns.
fn drawn(look: &Look) -> Option<(usize, usize)> {
    let burns = |log: usize, column: usize| {
        let of = look.logs.get(log).and_then(|log| log.columns.get(column));
        of.is_some_and(|one| one.kind == Kind::Burns)
    };
    let cells = || look.cells.iter().map(|cell| (cell.log, cell.column));
    let all = look
        .logs
        .iter()
        .enumerate()
        .flat_map(|(nth, log)| (0..log.columns.len()).map(move |at| (nth, at)));
    cells()
        .find(|(log, column)| burns(*log, *column))
        .or_else(|| cells().next())
        .or_else(|| all.into_iter().find(|(log, column)| burns(*log, *column)))
}

/// The columns of one kind in a line.
fn rows(log: &At<'_, LogLook>) -> Vec<Row> {
    let tally = at!(log.tally);
    let size = text![
        at!(tally.rows_used).count(),
        " rows, ",
        at!(tally.rate_hz).number(4, Unit::Hertz),
        ", ",
        at!(log.length_s).number(4, Unit::Second)
    ];
    let gap = at!(tally.longest_gap).some();
    let gap = gap.map(|_| Text::from(", with gaps"));
    let mut out = vec![Row::new(at!(log.file).quote(), text![size, gap])];
    for (kinds, label) in [
        (&[Kind::Burns][..], "burns"),
        (&[Kind::Moves, Kind::Steps], "moves"),
        (&[Kind::TwoLevels], "line"),
        (&[Kind::Noise, Kind::Constant], "at rest"),
    ] {
        let of = at!(log.columns);
        let columns = of
            .each()
            .filter(|one: &At<'_, ColumnLook>| kinds.contains(&one.of.kind));
        let names: Vec<Text> = columns.map(|one| column(&one)).collect();
        if !names.is_empty() {
            out.push(Row::new(label, Text::joined(names, ", ")));
        }
    }
    out
}

fn column(of: &At<'_, ColumnLook>) -> Text {
    let name = at!(of.name).name();
    let rises = at!(of.rises_s);
    match of.of.kind {
        Kind::TwoLevels if rises.of.len() == 1 => {
            text![name, " rises once, at ", rises.nth::<f64>(0).clock_time()]
        }
        Kind::TwoLevels => text![name, " rises ", rises.length::<f64>(), " times"],
        Kind::Burns => {
            let burns = at!(of.burns);
            let each = burns.each().map(|burn: At<'_, crate::look::BurnSeen>| {
                text![
                    at!(burn.onset_s).clock_time(),
                    " to ",
                    at!(burn.end_s).clock_time(),
                    ", peak ",
                    at!(burn.peak_raw).number(6, Unit::One),
                    " ",
                    counts(of.of),
                    " from baseline"
                ]
            });
            text![name, ", ", Text::joined(each, "; ")]
        }
        _ => name,
    }
}
