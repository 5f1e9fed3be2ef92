//! Plain text on a terminal: wrapping, tables, colour.

use unicode_width::UnicodeWidthStr;

use crate::finding::Outcome;

/// Breaks a text into lines of at most `width` columns at spaces; a word longer than a line is cut.
#[must_use]
pub(crate) fn wrapped(text: &str, width: usize) -> Vec<String> {
    let width = width.max(8);
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let needed = word.width() + usize::from(!line.is_empty());
        if line.width() + needed > width && !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        for ch in word.chars() {
            let mut buffer = [0; 4];
            let ch_width = ch.encode_utf8(&mut buffer).width();
            if line.width() + ch_width > width {
                lines.push(std::mem::take(&mut line));
            }
            line.push(ch);
        }
    }
    lines.push(line);
    lines
}

/// A text with its first line behind `lead` and the others under it.
#[must_use]
pub(crate) fn hanging(lead: &str, text: &str, width: usize) -> String {
    hanging_at(lead, lead.width(), text, width)
}

/// As [`hanging`], for a lead that holds colour codes: `lead_width` is what it takes on the screen.
#[must_use]
pub(crate) fn hanging_at(lead: &str, lead_width: usize, text: &str, width: usize) -> String {
    let indent = " ".repeat(lead_width);
    let lines = wrapped(text, width.saturating_sub(lead_width));
    let mut out = String::new();
    for (nth, line) in lines.iter().enumerate() {
        out += if nth == 0 { lead } else { &indent };
        out += line;
        out.push('\n');
    }
    out
}

/// Largest share of the width that labels take, percent: values need the rest.
const LABELS_PERCENT: usize = 45;

/// Rows of label and value, the values under one another. A label that is too long is broken.
#[must_use]
pub(crate) fn table(rows: &[(String, String)], width: usize) -> String {
    let labels = rows.iter().map(|(label, _)| label.width()).max();
    let column = labels.unwrap_or(0).min(width * LABELS_PERCENT / 100);
    let mut out = String::new();
    for (label, value) in rows {
        // Spaces before a label say that it belongs to the one above.
        let whole = label.width() <= column;
        let labels = if whole {
            vec![label.clone()]
        } else {
            wrapped(label, column)
        };
        let values = wrapped(value, width.saturating_sub(column + 4));
        for nth in 0..labels.len().max(values.len()) {
            let label = labels.get(nth).map_or("", String::as_str);
            let value = values.get(nth).map_or("", String::as_str);
            let gap = " ".repeat(column.saturating_sub(label.width()));
            let line = format!("  {label}{gap}  {value}");
            out += line.trim_end();
            out.push('\n');
        }
    }
    out
}

/// Rows of cells, each under the one above; `None` when a line would be too wide.
#[must_use]
pub(crate) fn columns(rows: &[Vec<String>], width: usize) -> Option<String> {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let widest = |nth: usize| {
        let cells = rows.iter().filter_map(|row| row.get(nth));
        cells.map(|cell| cell.width()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..count).map(widest).collect();
    if widths.iter().map(|wide| wide + 2).sum::<usize>() > width {
        return None;
    }
    let mut out = String::new();
    for row in rows {
        let mut line = String::new();
        for (cell, wide) in row.iter().zip(&widths) {
            line += &format!("  {cell}{}", " ".repeat(wide - cell.width()));
        }
        out += line.trim_end();
        out.push('\n');
    }
    Some(out)
}

/// A heading that may be longer than a line.
#[must_use]
pub(crate) fn headed(text: &str, width: usize, ink: Ink) -> String {
    let lines = wrapped(text, width);
    lines
        .iter()
        .map(|line| format!("{}\n", ink.heading(line)))
        .collect()
}

/// Colours, or none.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ink {
    /// Whether ANSI codes are written.
    pub colour: bool,
}

impl Ink {
    /// A heading.
    #[must_use]
    pub(crate) fn heading(self, text: &str) -> String {
        self.with("1", text)
    }

    /// A text in the colour of an outcome. Blue, red and yellow can be told apart by everyone who
    /// can tell colours apart at all; the words say the same.
    #[must_use]
    pub(crate) fn outcome(self, outcome: Outcome, text: &str) -> String {
        let code = match outcome {
            Outcome::Holds => "1;34",
            Outcome::Fails => "1;31",
            Outcome::Undecided => "1;33",
        };
        self.with(code, text)
    }

    fn with(self, code: &str, text: &str) -> String {
        if self.colour {
            format!("\u{1b}[{code}m{text}\u{1b}[0m")
        } else {
            text.to_owned()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_keep_their_width_even_with_long_words_and_wide_letters() {
        assert_eq!(wrapped("a bc def", 8), ["a bc def"]);
        assert_eq!(wrapped("abcdefghij kl", 8), ["abcdefgh", "ij kl"]);
        assert_eq!(wrapped("漢漢漢漢漢", 8), ["漢漢漢漢", "漢"]);
        assert_eq!(wrapped("", 8), [""]);
    }

    #[test]
    fn values_stand_under_one_another() {
        let rows = [("a", "1"), ("long", "two three four")].map(|(a, b)| (a.into(), b.into()));
        assert_eq!(
            table(&rows, 18),
            "  a     1\n  long  two three\n        four\n"
        );
        let rows = [("of the same kind", "one"), ("b", "two")].map(|(a, b)| (a.into(), b.into()));
        assert_eq!(
            table(&rows, 20),
            "  of the     one\n  same kind\n  b          two\n"
        );
    }
}
