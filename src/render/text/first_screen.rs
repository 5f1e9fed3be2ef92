//! The first screen: verdict, danger, what needs attention, the curve, the numbers, within 24 lines of 80 columns.
//!
//! Two of the lines are left for where the files are. What does not fit is left out by name, never torn.

use unicode_width::UnicodeWidthStr;

use crate::render::number;
use crate::render::words::plain;
use crate::view::text::Text;
use crate::view::{Attention, Content, Page, Table};

use super::findings::{LEAD, lead};
use super::layout::{self, hanging_at, wrapped};
use super::{Draw, Style, body, columns, head};

/// Lines that the text may take, of 80 columns.
const MOST_LINES: usize = 22;
/// Columns of a terminal as it opens.
const STANDARD_WIDTH: usize = 80;
/// Most things that are said to need attention.
const MOST_ATTENTION: usize = 3;
/// Most lines that one of them takes.
const MOST_LINES_OF_ONE: usize = 2;
/// Most rows of a table, and how many there are even if the screen does not hold them.
const MOST_ROWS: usize = 14;
const FEWEST_ROWS: usize = 4;
/// Shortest a name in the first column is cut to.
const SHORTEST_NAME: usize = 10;
/// What they are about, at most.
const MOST_PLACES: usize = 2;
/// How to see what was left out.
const HOW_TO_SEE: &str = "see --full";

pub(super) fn first_screen(page: &Page, style: Style, draw: Draw<'_>) -> String {
    let head = head(page, number::BRIEF_NOTATION, style);
    let mut pieces = vec![
        Piece::Whole(head),
        Piece::Whole(attention(&page.attention, style)),
    ];
    pieces.extend(page.glance.iter().map(|content| match content {
        Content::Table(table) => Piece::Table(table),
        _ => Piece::Whole(body(content, style, draw)),
    }));
    // A narrower terminal breaks lines, so that more of them are needed.
    let most_lines = MOST_LINES * STANDARD_WIDTH.div_ceil(style.width);
    let written = |rows: usize| -> Vec<String> {
        let written = pieces.iter().map(|piece| piece.written(rows, style.width));
        written.filter(|piece| !piece.is_empty()).collect()
    };
    let lines = |pieces: &[String]| -> usize { pieces.iter().map(|one| one.lines().count()).sum() };
    let rows = (FEWEST_ROWS..=MOST_ROWS)
        .rev()
        .find(|rows| lines(&written(*rows)) <= most_lines);
    let pieces = written(rows.unwrap_or(FEWEST_ROWS));
    // A line apart as long as there is room.
    let room = most_lines.saturating_sub(lines(&pieces));
    // The last ones are tables, which need it most.
    let close = pieces.len().saturating_sub(room);
    let mut out = String::new();
    for (nth, piece) in pieces.iter().enumerate() {
        if nth > 0 && nth >= close {
            out.push('\n');
        }
        out += piece;
    }
    out
}

/// A part of the screen.
enum Piece<'a> {
    /// That stands or falls as a whole.
    Whole(String),
    /// Whose last rows may be left out.
    Table(&'a Table),
}

impl Piece<'_> {
    fn written(&self, most_rows: usize, width: usize) -> String {
        let table = match self {
            Self::Whole(text) => return text.clone(),
            Self::Table(table) => table,
        };
        let left_out = table.rows.len().saturating_sub(most_rows);
        // One line more says so: a single row is not worth it.
        if left_out < 2 {
            return fitted(table, width);
        }
        let mut shorter = (*table).clone();
        shorter.rows.truncate(most_rows);
        fitted(&shorter, width) + &format!("  and {left_out} more, {HOW_TO_SEE}\n")
    }
}

/// A table whose first column is cut where that makes it fit; one of a single row that does not fit
/// stands as labels and values.
fn fitted(table: &Table, width: usize) -> String {
    let mut rows = super::cells(table);
    if let Some(out) = layout::columns(&rows, width) {
        return out;
    }
    if let [heads, row] = rows.as_slice() {
        let lines: Vec<(String, String)> = heads.iter().cloned().zip(row.iter().cloned()).collect();
        return layout::table(&lines, width);
    }
    let firsts: Vec<usize> = rows
        .iter()
        .filter_map(|row| Some(row.first()?.width()))
        .collect();
    let whole = rows.clone();
    for most in (SHORTEST_NAME..firsts.into_iter().max().unwrap_or(0)).rev() {
        for (row, whole) in rows.iter_mut().zip(&whole) {
            if let (Some(first), Some(whole)) = (row.first_mut(), whole.first()) {
                *first = cut(whole, most);
            }
        }
        if let Some(out) = layout::columns(&rows, width) {
            return out;
        }
    }
    columns(table, width)
}

/// A name of at most so many letters, without some in its middle: like names differ at the end.
fn cut(name: &str, most: usize) -> String {
    let letters: Vec<char> = name.chars().collect();
    if letters.len() <= most {
        return name.to_owned();
    }
    let tail = most / 3;
    let head = letters[..most - tail - 1].iter();
    let tail = letters[letters.len() - tail..].iter();
    head.chain(&['…']).chain(tail).collect()
}

fn attention(all: &[Attention], style: Style) -> String {
    let all: Vec<&Attention> = all.iter().filter(|one| !one.told).collect();
    let mut out = String::new();
    for one in all.iter().take(MOST_ATTENTION) {
        let says = cut_to_lines(says(one, &one.brief, MOST_PLACES), style.width);
        out += &hanging_at(&lead(one.grade, style), LEAD, &says, style.width);
    }
    if let Some(more @ 1..) = all.len().checked_sub(MOST_ATTENTION) {
        out += &format!("{}and {more} more, {HOW_TO_SEE}\n", " ".repeat(LEAD));
    }
    out
}

/// What it is about, at most so many of them, what it says, and the numbers behind that.
pub(super) fn says(one: &Attention, words: &Text, most_places: usize) -> String {
    let places = one.places.iter().filter(|place| !place.about.is_empty());
    let mut about: Vec<String> = places.map(|place| plain(&place.about)).collect();
    about.dedup();
    if let Some(more @ 1..) = about.len().checked_sub(most_places) {
        about.truncate(most_places);
        about.push(format!("{more} more"));
    }
    let numbers = one.places.iter().filter_map(|place| place.numbers.as_ref());
    let numbers: Vec<String> = numbers.map(plain).collect();
    let parts = [about.join(", "), plain(words), numbers.join("; ")];
    let parts = parts.into_iter().filter(|part| !part.is_empty());
    parts.collect::<Vec<_>>().join(": ")
}

/// Cut where it would take too many lines.
fn cut_to_lines(says: String, width: usize) -> String {
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
    use crate::view::{Grade, Place};

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
        let one = |grade, says: &'static str| Attention {
            grade,
            says: says.into(),
            brief: says.into(),
            told: false,
            advice: None,
            places: Vec::from(["axis pitch", "axis yaw", "axis roll"].map(|about| Place {
                about: about.into(),
                numbers: None,
                section: String::new(),
            })),
        };
        let long = "words that go on and on over many lines until nobody reads them any more";
        let all = [
            one(Grade::Judged(Outcome::Fails), "short"),
            one(Grade::Noticed, long),
            one(Grade::Judged(Outcome::Undecided), "short"),
            one(Grade::Noticed, "left out"),
        ];
        assert_eq!(
            attention(&all, STYLE),
            "\x20 fails      axis pitch, axis yaw, 1\n\
             \x20            more: short\n\
             \x20 warning    axis pitch, axis yaw, 1\n\
             \x20            more: words that go on …\n\
             \x20 undecided  axis pitch, axis yaw, 1\n\
             \x20            more: short\n\
             \x20            and 1 more, see --full\n"
        );
        let row = |label: &'static str| vec![Text::from(label), "1".into()];
        let table = Table::plain(["name", "count"], ["a"; 6].map(row));
        let piece = Piece::Table(&table);
        assert!(
            piece
                .written(4, 40)
                .ends_with("  a     1\n  and 2 more, see --full\n")
        );
        assert_eq!(piece.written(5, 40).lines().count(), 7);
        let long = Table::plain(["name", "count"], ["a name of many letters"; 2].map(row));
        assert_eq!(
            fitted(&long, 21),
            "  name          count\n\
             \x20 a name …ters  1\n\
             \x20 a name …ters  1\n"
        );
        let one = Table::plain(["name", "count"], [row("a name of many letters")]);
        assert_eq!(
            fitted(&one, 30),
            "  name   a name of many\n         letters\n  count  1\n"
        );
    }
}
