//! The first screen: verdict, danger, what needs attention, the curve, the numbers, within 24 lines of 80 columns.
//!
//! Two of the lines are left for where the files are. What does not fit is left out by name, never torn.

use crate::render::number;
use crate::render::words::plain;
use crate::view::{Attention, Content, Page, Row, Table};

use super::findings::{LEAD, lead};
use super::layout::{self, hanging_at, wrapped};
use super::{Draw, Style, body, columns, head};

/// Lines that the text may take.
const MOST_LINES: usize = 22;
/// Most things that are said to need attention.
const MOST_ATTENTION: usize = 3;
/// Most lines that one of them takes.
const MOST_LINES_OF_ONE: usize = 2;
/// Most rows of a table.
const MOST_ROWS: usize = 9;
/// What they are about, at most.
const MOST_PLACES: usize = 2;
/// How to see what was left out.
const HOW_TO_SEE: &str = "see --full";

pub(super) fn first_screen(page: &Page, style: Style, draw: Draw<'_>) -> String {
    let mut pieces = vec![head(page, number::BRIEF_NOTATION, style)];
    pieces.push(attention(&page.first.attention, style));
    let contents = page.first.contents.iter();
    pieces.extend(contents.map(|content| piece(content, style, draw)));
    pieces.retain(|piece| !piece.is_empty());
    let taken: usize = pieces.iter().map(|piece| piece.lines().count()).sum();
    // A line apart as long as there is room.
    let mut room = MOST_LINES.saturating_sub(taken);
    let mut out = String::new();
    for piece in pieces {
        if !out.is_empty() && room > 0 {
            out.push('\n');
            room -= 1;
        }
        out += &piece;
    }
    out
}

fn piece(content: &Content, style: Style, draw: Draw<'_>) -> String {
    match content {
        Content::Rows(rows) => {
            side_by_side(rows, style.width).unwrap_or_else(|| body(content, style, draw))
        }
        Content::Table(table) => shortened(table, style.width),
        _ => body(content, style, draw),
    }
}

/// Labels above their values, when all of them fit beside one another.
fn side_by_side(rows: &[Row], width: usize) -> Option<String> {
    let labels = rows.iter().map(|row| plain(&row.label)).collect();
    let values = rows.iter().map(|row| super::in_a_row(&row.lines)).collect();
    layout::columns(&[labels, values], width)
}

/// A table whose last rows are left out where there are too many.
fn shortened(table: &Table, width: usize) -> String {
    let left_out = table.rows.len().saturating_sub(MOST_ROWS);
    if left_out == 0 {
        return columns(table, width);
    }
    let mut table = table.clone();
    table.rows.truncate(MOST_ROWS);
    let more = format!("  and {left_out} more, {HOW_TO_SEE}\n");
    columns(&table, width) + &more
}

fn attention(all: &[Attention], style: Style) -> String {
    let mut out = String::new();
    for one in all.iter().take(MOST_ATTENTION) {
        out += &hanging_at(
            &lead(one.outcome, style),
            LEAD,
            &says(one, style.width),
            style.width,
        );
    }
    if let Some(more @ 1..) = all.len().checked_sub(MOST_ATTENTION) {
        out += &format!("{}and {more} more, {HOW_TO_SEE}\n", " ".repeat(LEAD));
    }
    out
}

/// What it is about and what it says, cut where it would take too many lines.
fn says(one: &Attention, width: usize) -> String {
    let mut about: Vec<String> = one.about.iter().take(MOST_PLACES).map(plain).collect();
    if let Some(more @ 1..) = one.about.len().checked_sub(MOST_PLACES) {
        about.push(format!("{more} more"));
    }
    let mut says = about.join(", ");
    if !says.is_empty() {
        says += ": ";
    }
    says += &plain(&one.says);
    let lines = wrapped(&says, width.saturating_sub(LEAD + 2));
    if lines.len() <= MOST_LINES_OF_ONE {
        return says;
    }
    lines[..MOST_LINES_OF_ONE].join(" ") + " …"
}

#[cfg(test)]
mod tests {
    use super::super::{Screen, firing};
    use super::*;
    use crate::finding::Outcome;
    use crate::render::text::layout::Ink;
    use crate::view::fabricated;
    use crate::view::text::Text;

    const STYLE: Style = Style {
        width: 40,
        ink: Ink { colour: false },
    };

    #[test]
    fn any_firing_fits_and_a_loaded_motor_comes_second() {
        for (reduction, danger) in [
            (fabricated::full(), false),
            (fabricated::dry_run(), false),
            (fabricated::nothing_lit(), true),
        ] {
            let text = firing(&reduction, Screen::default());
            assert!(text.lines().count() <= MOST_LINES, "{text}");
            let second = text.lines().nth(1).unwrap();
            assert_eq!(second.starts_with("Danger: "), danger, "{text}");
        }
    }

    #[test]
    fn what_is_left_out_is_counted() {
        let one = |outcome, says: &'static str| Attention {
            outcome,
            about: vec!["axis pitch".into(), "axis yaw".into(), "axis roll".into()],
            says: says.into(),
        };
        let long = "words that go on and on over many lines until nobody reads them any more";
        let all = [
            one(Some(Outcome::Fails), "short"),
            one(None, long),
            one(Some(Outcome::Undecided), "short"),
            one(None, "left out"),
        ];
        assert_eq!(
            attention(&all, STYLE),
            "\x20 fails      axis pitch, axis yaw, 1\n\
             \x20            more: short\n\
             \x20 noticed    axis pitch, axis yaw, 1\n\
             \x20            more: words that go on …\n\
             \x20 undecided  axis pitch, axis yaw, 1\n\
             \x20            more: short\n\
             \x20            and 1 more, see --full\n"
        );
        let row = |label: &'static str| vec![Text::from(label), "1".into()];
        let table = Table::plain(["name", "count"], ["a"; 11].map(row));
        assert!(shortened(&table, 40).ends_with("  a     1\n  and 2 more, see --full\n"));
    }
}
