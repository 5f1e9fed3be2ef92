//! What the lines above the rows say: titles and units of columns that have no header, and the rate.
//!
//! Instruments write a page of text before the readings, some of it as comments. A line of it that has a word for each
//! column names them; one of units states these; `Sampling Frequency 1.652 kHz` states the rate. Columns keep the names
//! by which a firing file calls them: what is found here stands beside those names.

use std::ops::Range;

use crate::log::dialect::Dialect;
use crate::log::lines::{Lines, to_text};
use crate::log::split::{Separator, unquoted};
use crate::quantity::unit;

/// Lines above the first row that are looked at.
const LINES_LOOKED_AT: usize = 100;

/// Longest title of a column, characters.
const LONGEST_TITLE: usize = 40;

/// What the lines above the rows say.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Preamble {
    /// Of each column its title, where it has no name of its own.
    pub title: Vec<Option<String>>,
    /// Of each column its unit.
    pub unit: Vec<Option<String>>,
    /// The rate that a line states, Hz, and the line, from 1.
    pub rate: Option<(f64, usize)>,
}

/// Reads the lines above the rows.
#[must_use]
pub(super) fn preamble(lines: &Lines, dialect: &Dialect) -> Preamble {
    let first = dialect.first_row.saturating_sub(LINES_LOOKED_AT);
    let mut out = Preamble {
        title: vec![None; dialect.width],
        unit: vec![None; dialect.width],
        rate: None,
    };
    for at in first..dialect.first_row {
        let text = to_text(lines.get(at));
        if let Some(rate_hz) = rate(&text) {
            out.rate.get_or_insert((rate_hz, at + 1));
        }
        let words = words(lines.get(at), dialect);
        if let Some(units) = units(&words, dialect.width) {
            out.unit = units;
        } else if dialect.header.is_none() && names(&words, dialect) {
            let titles = words.into_iter().take(dialect.width);
            out.title = titles
                .map(|word| Some(word).filter(|word| !word.is_empty()))
                .collect();
        }
    }
    out
}

/// The cells of a line without its comment mark, as text.
fn words(line: &[u8], dialect: &Dialect) -> Vec<String> {
    let mut line = line;
    for mark in &dialect.comments {
        line = line.strip_prefix(mark.as_bytes()).unwrap_or(line);
    }
    let mut cells: Vec<Range<usize>> = Vec::new();
    dialect.separator.split(line, &mut cells);
    let text = |cell: Range<usize>| to_text(&unquoted(&line[cell])).trim().to_owned();
    cells.into_iter().map(text).collect()
}

/// Whether words name the columns: one for each, but perhaps the first; the rows may lack a last column of comments.
fn names(words: &[String], dialect: &Dialect) -> bool {
    let enough = match dialect.separator {
        // A sentence has words, too.
        Separator::Blanks | Separator::None => words.len() == dialect.width,
        _ => words.len() >= dialect.width,
    };
    let is_name = |word: &String| {
        word.chars().count() <= LONGEST_TITLE
            && word.chars().any(char::is_alphabetic)
            && !word.contains(':')
    };
    let placed = words.len() == dialect.width || words.first().is_some_and(|word| !word.is_empty());
    dialect.width > 1 && placed && enough && words.iter().take(dialect.width).skip(1).all(is_name)
}

/// The units in a line of units: most of its words are some, or it begins by saying so.
fn units(words: &[String], width: usize) -> Option<Vec<Option<String>>> {
    let of = |word: &String| {
        let word = word.trim_matches(|ch: char| "[]() ".contains(ch));
        (!word.is_empty() && unit::parse(word).is_ok()).then(|| word.to_owned())
    };
    let says_so = words
        .first()
        .is_some_and(|word| word.to_lowercase().contains("unit"));
    let empty = |word: Option<&String>| word.is_none_or(String::is_empty);
    let (first, last) = (empty(words.first()), empty(words.last()));
    // One word too many stands before the first column, which a table with numbered rows has, or is an empty one at
    // the end; where that is not clear no unit is known.
    let skip = match words.len().checked_sub(width)? {
        0 => 0,
        1 if !last && (first || says_so) => 1,
        1 if last && !first => 0,
        _ => return None,
    };
    let found: Vec<Option<String>> = words.iter().skip(skip).take(width).map(of).collect();
    let known = found.iter().flatten().count();
    let spoken = words.iter().filter(|word| !word.is_empty()).count();
    let most = known >= 2 && 2 * known > spoken;
    (found.len() == width && (most || (says_so && known > 0))).then_some(found)
}

/// The rate that a line states: a number and a unit of frequency, where it speaks of sampling.
fn rate(text: &str) -> Option<f64> {
    const SPEAKS: [&str; 3] = ["sampl", "rate", "sps"];
    const UNITS: [(&str, f64); 5] = [
        ("hz", 1.0),
        ("khz", 1e3),
        ("mhz", 1e6),
        ("sps", 1.0),
        ("samples/s", 1.0),
    ];
    let lower = text.to_lowercase();
    if !SPEAKS.iter().any(|word| lower.contains(word)) {
        return None;
    }
    // 2,500 may be two and a half, or thousands.
    let digit = |byte: u8| byte.is_ascii_digit();
    let mut threes = lower.as_bytes().windows(3);
    if threes.any(|of| digit(of[0]) && of[1] == b',' && digit(of[2])) {
        return None;
    }
    let tokens: Vec<&str> = lower
        .split(|ch: char| ch.is_whitespace() || ":=,;()[]".contains(ch))
        .filter(|token| !token.is_empty())
        .collect();
    let size = |unit: &str| UNITS.iter().find(|(word, _)| *word == unit);
    let rate = tokens.iter().enumerate().find_map(|(at, token)| {
        let end = token
            .find(|ch: char| !ch.is_ascii_digit() && ch != '.')
            .unwrap_or(token.len());
        let number: f64 = token[..end].parse().ok()?;
        let unit = match &token[end..] {
            "" => tokens.get(at + 1)?,
            joined => joined,
        };
        Some(number * size(unit)?.1)
    })?;
    (rate.is_finite() && rate > 0.0).then_some(rate)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::log::dialect::Overrides;

    fn of(text: &str) -> Preamble {
        let lines = Lines::new("a.csv", text.as_bytes());
        let dialect = Dialect::find(&lines, &Overrides::default()).unwrap();
        preamble(&lines, &dialect)
    }

    #[test]
    fn a_comment_of_titles_names_columns_and_states_the_rate() {
        let found = of(
            "%Cell 1 (lbf)\tCell 2 (lbf)\tSum (lbf)\tSampling Frequency 1.652000 kHz\n% Date: 4/1\n\
                        0.1\t0.2\t0.3\n0.2\t0.2\t0.4\n0.2\t0.1\t0.3\n",
        );
        assert_eq!(found.rate, Some((1652.0, 1)));
        assert_eq!(found.title[2].as_deref(), Some("Sum (lbf)"));
    }

    #[test]
    fn a_line_of_units_above_the_header_is_found() {
        let found = of("psi,N,,s\npressure,thrust,stamp,time\n1,2,3,4\n1,3,4,5\n2,3,5,6\n");
        let unit: Vec<Option<&str>> = found.unit.iter().map(Option::as_deref).collect();
        assert_eq!(unit, [Some("psi"), Some("N"), None, Some("s")]);
        assert_eq!(found.title, [const { None }; 4]);
        // The line of units of a table with numbered rows has a cell before the first.
        let found = of(",psi,N,,s\npressure,thrust,stamp,time\n1,2,3,4\n1,3,4,5\n2,3,5,6\n");
        assert_eq!(found.unit[1].as_deref(), Some("N"));
        let found = of(",psi,N,s,\npressure,thrust,stamp,time\n1,2,3,4\n1,3,4,5\n2,3,5,6\n");
        assert_eq!(found.unit, [const { None }; 4]);
    }

    #[test]
    fn rates_are_read_with_their_unit_where_sampling_is_spoken_of() {
        assert_eq!(rate("# sample rate: 40Hz"), Some(40.0));
        assert_eq!(rate("Sampling at 2 kHz"), Some(2000.0));
        assert_eq!(rate("low pass 20 Hz"), None);
        assert_eq!(rate("rate unknown"), None);
    }
}
