//! Words that come from files, made fit to be printed.

use crate::diagnostic::turns_writing;

/// A text without control characters and without marks that turn the writing direction, both of
/// which could rewrite what stands around it.
#[must_use]
pub fn clean(text: &str) -> String {
    text.chars()
        .map(|ch| if is_hostile(ch) { ' ' } else { ch })
        .collect()
}

fn is_hostile(ch: char) -> bool {
    ch.is_control() || turns_writing(ch)
}

/// A cleaned text of at most so many characters; a cut is marked.
#[must_use]
pub fn shortened(text: &str, at_most: usize) -> String {
    let text = clean(text);
    if text.chars().count() <= at_most {
        return text;
    }
    let mut out: String = text.chars().take(at_most.saturating_sub(1)).collect();
    out.push('…');
    out
}

/// Names in a row: `left`, `left and right`, `a, b and c`.
#[must_use]
pub fn listed(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
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
    fn names_are_joined_as_one_says_them() {
        let names: Vec<String> = ["a", "b", "c"].map(String::from).into();
        assert_eq!(listed(&names), "a, b and c");
        assert_eq!(listed(&names[..1]), "a");
    }
}
