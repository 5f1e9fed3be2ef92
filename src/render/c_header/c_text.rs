//! Text that is safe inside a C file: comments, identifiers, numbers.

/// A text that cannot end its comment, nest another, start a trigraph or splice lines.
pub(super) fn comment(text: &str) -> String {
    let plain: String = text
        .replace('±', "+-")
        .chars()
        .map(|ch| match ch {
            '\\' => '/',
            ' '..='~' => ch,
            _ if ch.is_alphanumeric() => ch,
            _ => ' ',
        })
        .collect();
    let mut out = String::with_capacity(plain.len());
    for ch in plain.trim().chars() {
        let opens_or_closes = matches!(
            (out.chars().last(), ch),
            (Some('*'), '/') | (Some('/'), '*') | (Some('?'), '?')
        );
        if opens_or_closes {
            out.push(' ');
        }
        out.push(ch);
    }
    out
}

/// Longest part of a name taken from the user: with the rest it stays within the 63 characters
/// that C99 5.2.4.1 lets a compiler tell apart.
const NAME_LENGTH: usize = 20;

/// Upper-case identifiers for names, no two alike.
pub(super) fn identifiers(names: &[&str]) -> Vec<String> {
    let mut out: Vec<String> = Vec::with_capacity(names.len());
    for name in names {
        let mut base: String = name
            .chars()
            .take(NAME_LENGTH)
            .map(|ch| match ch.to_ascii_uppercase() {
                upper if upper.is_ascii_alphanumeric() => upper,
                _ => '_',
            })
            .collect();
        if base.is_empty() {
            base.push_str("AXIS");
        }
        let mut candidate = base.clone();
        let mut count = 1;
        while out.contains(&candidate) {
            count += 1;
            candidate = format!("{base}_{count}");
        }
        out.push(candidate);
    }
    out
}

/// A single-precision literal; `None` when the number does not fit one.
pub(super) fn float(value: f64) -> Option<String> {
    let single = value as f32;
    let lost = value != 0.0 && !single.is_normal();
    if !single.is_finite() || lost {
        return None;
    }
    let text = format!("{single:?}f");
    Some(if single.is_sign_negative() {
        format!("({text})")
    } else {
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_comment_cannot_be_ended_from_inside() {
        assert_eq!(comment("a */ b /* c"), "a * / b / * c");
        assert_eq!(comment("/*/ **/ ??/\\\n"), "/ * / ** / ? ?//");
        assert_eq!(comment("Prüfstand\u{202e}\u{1f525}"), "Prüfstand");
    }

    #[test]
    fn names_that_become_alike_are_told_apart() {
        assert_eq!(
            identifiers(&["pitch", "Pitch", "a b", "", "9"]),
            ["PITCH", "PITCH_2", "A_B", "AXIS", "9"]
        );
    }

    #[test]
    fn literals_are_valid_c_and_exact_to_single_precision() {
        assert_eq!(float(0.98).unwrap(), "0.98f");
        assert_eq!(float(-2.0).unwrap(), "(-2.0f)");
        assert_eq!(float(1.5e-7).unwrap(), "1.5e-7f");
        assert_eq!(float(f64::NAN), None);
        assert_eq!(float(1e300), None);
        assert_eq!(float(1e-300), None);
    }
}
