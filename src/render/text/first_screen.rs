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
use super::{Draw, Style, body, head, row_by_row};

/// Lines that the text may take, of 80 columns.
const MOST_LINES: usize = 22;
/// Most pieces that a narrow screen leaves out.
const MOST_PIECES_LEFT_OUT: usize = 2;
/// Columns below which it needs two screens.
const NARROW: usize = 50;
/// Largest share of the width that labels take where every row has one line, percent.
const SHORT_LABEL_PERCENT: usize = 40;
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
        Content::Rows(rows) => Piece::Rows(super::lines(rows)),
        _ => Piece::Whole(body(content, style, draw)),
    }));
    // Half a terminal breaks lines, so that more of them are needed.
    let most_lines = MOST_LINES * if style.width < NARROW { 2 } else { 1 };
    // Tight is without columns that do not fit, and perhaps without the last pieces; all of them are named.
    let written = |rows: usize, tight: Option<usize>| -> Vec<String> {
        let kept = pieces.len().saturating_sub(tight.unwrap_or(0));
        let mut left_out = vec![];
        let mut written: Vec<String> = pieces[..kept]
            .iter()
            .map(|piece| piece.written(rows, style.width, tight.is_some().then_some(&mut left_out)))
            .collect();
        left_out.extend(pieces[kept..].iter().filter_map(Piece::name));
        if !left_out.is_empty() {
            let says = format!("left out here: {}; {HOW_TO_SEE}", left_out.join(", "));
            written.push(layout::hanging("  ", &says, style.width));
        }
        written.retain(|piece| !piece.is_empty());
        written
    };
    let lines = |pieces: &[String]| -> usize { pieces.iter().map(|one| one.lines().count()).sum() };
    let fit = |tight: Option<usize>| {
        let last = pieces.iter().rev().take(tight.unwrap_or(0));
        let rows = (FEWEST_ROWS..=MOST_ROWS).rev();
        let mut ways = rows.map(|rows| written(rows, tight));
        let named = last.map(Piece::name).all(|name| name.is_some());
        ways.find(|pieces| named && lines(pieces) <= most_lines)
    };
    let tight = || (0..=MOST_PIECES_LEFT_OUT).find_map(|count| fit(Some(count)));
    let pieces = fit(None).or_else(tight);
    let pieces = pieces.unwrap_or_else(|| written(FEWEST_ROWS, Some(0)));
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
    /// Labels and values, which may be cut to a line each.
    Rows(Vec<(String, String)>),
    /// Whose last rows may be left out, and its last columns.
    Table(&'a Table),
}

impl Piece<'_> {
    /// What it is called where it is left out; `None` for what stands or falls as a whole.
    fn name(&self) -> Option<String> {
        match self {
            Self::Whole(_) => None,
            Self::Rows(rows) => rows.first().map(|(label, _)| label.clone()),
            Self::Table(table) => table.heads.first().map(plain),
        }
    }

    /// `tight` is where it is written down which columns are left out.
    fn written(&self, most_rows: usize, width: usize, tight: Option<&mut Vec<String>>) -> String {
        let table = match (self, &tight) {
            (Self::Whole(text), _) => return text.clone(),
            (Self::Rows(rows), Some(_)) => return short(rows, width),
            (Self::Rows(rows), None) => return layout::table(rows, width),
            (Self::Table(table), _) => table,
        };
        let mut rows = super::cells(table);
        let left_out = table.rows.len().saturating_sub(most_rows);
        let mut more = String::new();
        // One line more says so: a single row is not worth it.
        if left_out >= 2 {
            rows.truncate(most_rows + 1);
            more = format!("  and {left_out} more, {HOW_TO_SEE}\n");
        }
        if let Some(names) = tight {
            narrowed(&mut rows, width, names);
        }
        fitted(&rows, width) + &more
    }
}

/// Labels and values, each cut to one line.
fn short(rows: &[(String, String)], width: usize) -> String {
    let most = width * SHORT_LABEL_PERCENT / 100;
    let labels: Vec<String> = rows.iter().map(|(label, _)| cut(label, most)).collect();
    let column = labels.iter().map(|label| label.width()).max().unwrap_or(0);
    let room = width.saturating_sub(column + 6);
    let value = |value: &String| match wrapped(value, room).as_slice() {
        [whole] => whole.clone(),
        more => more.first().cloned().unwrap_or_default() + " …",
    };
    let rows = labels
        .into_iter()
        .zip(rows.iter().map(|(_, one)| value(one)));
    layout::table(&rows.collect::<Vec<_>>(), width)
}

/// Takes the last columns from a table that is too wide, and writes down their heads. A single row needs no columns.
fn narrowed(rows: &mut [Vec<String>], width: usize, names: &mut Vec<String>) {
    if rows.len() < 3 {
        return;
    }
    let mut taken = vec![];
    while rows[0].len() > 2 && named(rows, width).is_none() {
        let heads = rows.iter_mut().map(Vec::pop);
        taken.extend(heads.take(1).flatten());
        for row in rows.iter_mut().skip(1) {
            row.pop();
        }
    }
    names.extend(taken.into_iter().rev());
}

/// A table as columns; one of a single row that does not fit stands as labels and values.
fn fitted(rows: &[Vec<String>], width: usize) -> String {
    if let ([heads, row], None) = (rows, layout::columns(rows, width)) {
        let lines: Vec<(String, String)> = heads.iter().cloned().zip(row.iter().cloned()).collect();
        return layout::table(&lines, width);
    }
    named(rows, width).unwrap_or_else(|| row_by_row(rows, width))
}

/// As columns, the names in the first one cut where that makes it fit; `None` where it does not.
fn named(whole: &[Vec<String>], width: usize) -> Option<String> {
    if let Some(out) = layout::columns(whole, width) {
        return Some(out);
    }
    let firsts = whole.iter().filter_map(|row| Some(row.first()?.width()));
    let widest = firsts.max().unwrap_or(0);
    let mut rows = whole.to_vec();
    (SHORTEST_NAME..widest).rev().find_map(|most| {
        for (row, whole) in rows.iter_mut().zip(whole) {
            if let (Some(first), Some(whole)) = (row.first_mut(), whole.first()) {
                *first = cut(whole, most);
            }
        }
        layout::columns(&rows, width)
    })
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
                .written(4, 40, None)
                .ends_with("  a     1\n  and 2 more, see --full\n")
        );
        assert_eq!(piece.written(5, 40, None).lines().count(), 7);
        let long = Table::plain(["name", "count"], ["a name of many letters"; 2].map(row));
        assert_eq!(
            fitted(&super::super::cells(&long), 21),
            "  name          count\n\
             \x20 a name …ters  1\n\
             \x20 a name …ters  1\n"
        );
        let one = Table::plain(["name", "count"], [row("a name of many letters")]);
        assert_eq!(
            fitted(&super::super::cells(&one), 30),
            "  name   a name of many\n         letters\n  count  1\n"
        );
        // Tight: the last column goes, and is named; a row of labels and values has one line.
        let mut names = vec![];
        let wide = Table::plain(
            ["name", "first", "second"],
            [["a", "12345678", "12345678"]; 2].map(|row| row.map(Text::from).to_vec()),
        );
        let text = Piece::Table(&wide).written(4, 20, Some(&mut names));
        assert_eq!(text, "  name  first\n  a     12345678\n  a     12345678\n");
        assert_eq!(names, ["second"]);
        let rows = [("label".to_owned(), "a value of many words".to_owned())];
        assert_eq!(short(&rows, 24), "  label  a value of …\n");
    }
}
