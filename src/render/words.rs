//! Words that come from files, made fit to be printed, and the texts of a view as plain strings.

use crate::diagnostic::turns_writing;
use crate::quantity::Unit;
use crate::view::text::{Part, Shown, Text};

use super::number;

/// Longest name of a motor or axis inside a sentence, in characters.
const NAME_LENGTH: usize = 40;

/// A text without control characters and without marks that turn the writing direction, both of
/// which could rewrite what stands around it.
#[must_use]
pub(crate) fn clean(text: &str) -> String {
    text.chars()
        .map(|ch| if is_hostile(ch) { ' ' } else { ch })
        .collect()
}

fn is_hostile(ch: char) -> bool {
    ch.is_control() || turns_writing(ch)
}

/// A cleaned text of at most so many characters; a cut is marked.
#[must_use]
pub(crate) fn shortened(text: &str, at_most: usize) -> String {
    let text = clean(text);
    if text.chars().count() <= at_most {
        return text;
    }
    let mut out: String = text.chars().take(at_most.saturating_sub(1)).collect();
    out.push('…');
    out
}

/// A name from a file, fit for a sentence.
#[must_use]
pub(crate) fn name_of(name: &str) -> String {
    shortened(name.trim(), NAME_LENGTH)
}

/// Text with true minus signs before numbers; hyphens within words and options stay.
fn signed(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 4);
    let mut rest = text.chars().peekable();
    let mut before = ' ';
    while let Some(ch) = rest.next() {
        let digit = rest.peek().is_some_and(char::is_ascii_digit);
        let number = digit && !before.is_alphanumeric() && before != '-';
        out.push(if ch == '-' && number { '−' } else { ch });
        before = ch;
    }
    out
}

/// A text of a view as it is read.
#[must_use]
pub(crate) fn plain(text: &Text) -> String {
    text.parts.iter().map(part).collect()
}

/// A piece of a text as it is read.
#[must_use]
pub(crate) fn part(part: &Part) -> String {
    match part {
        Part::Words(words) | Part::Judged(_, words) => (*words).to_owned(),
        Part::Value { shown, .. } => value(shown),
    }
}

fn value(shown: &Shown) -> String {
    match shown {
        Shown::Quote(text) => signed(&clean(text)),
        Shown::Name(name) => name_of(name),
        Shown::Measured(measured) => number::measured(measured),
        Shown::Compact(measured) => number::compact(measured),
        Shown::Customary(of) => {
            number::customary(of).map_or_else(String::new, |number| format!("[{number}]"))
        }
        Shown::Number(value, digits, unit) => number::plain(*value, *digits, *unit),
        Shown::Term(value, digits) => {
            let sign = if *value < 0.0 { '−' } else { '+' };
            format!(" {sign} {}", number::significant(value.abs(), *digits))
        }
        Shown::Typed(value, digits) => number::significant(*value, *digits).replace('−', "-"),
        Shown::Share(share, digits) => number::plain(100.0 * share, *digits, Unit::Percent),
        Shown::Probability(p) => number::probability(*p),
        Shown::ClockTime(time_s) => number::clock_time(*time_s),
        Shown::Count(count) => count.to_string(),
        Shown::Length(count) | Shown::Ordinal(count) => count.to_string(),
        Shown::Missing(words) => (*words).to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escape_codes_and_direction_marks_do_not_get_through() {
        assert_eq!(clean("a\u{1b}[31mb\u{202e}c\n"), "a [31mb c ");
        assert_eq!(shortened("abcdef", 4), "abc…");
    }

    #[test]
    fn minus_signs_are_true_and_options_stay_as_typed() {
        assert_eq!(signed("-1.5 (-2.0 to -1.0)"), "−1.5 (−2.0 to −1.0)");
        assert_eq!(signed("--seed 1 --run 506"), "--seed 1 --run 506");
        assert_eq!(signed("dead-zone, 2026-03-14"), "dead-zone, 2026-03-14");
    }
}
