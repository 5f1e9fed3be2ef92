//! Numbers in notes and messages.

/// A number with four significant digits, without trailing zeros.
#[must_use]
pub(crate) fn short(value: f64) -> String {
    if !value.is_finite() {
        return "no number".to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let digits = 3 - value.abs().log10().floor() as i32;
    let text = format!("{value:.*}", digits.clamp(0, 9) as usize);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// A duration in the unit that reads best.
#[must_use]
pub(crate) fn duration(time_s: f64) -> String {
    let (size, unit) = match time_s.abs() {
        size if size >= 1.0 || size == 0.0 => (1.0, "s"),
        size if size >= 1e-3 => (1e3, "ms"),
        _ => (1e6, "us"),
    };
    format!("{} {unit}", short(time_s * size))
}

/// `1 row`, `2 rows`.
#[must_use]
pub(crate) fn count(number: usize, thing: &str) -> String {
    if number == 1 {
        format!("1 {thing}")
    } else {
        format!("{number} {thing}s")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_digits_and_the_unit_that_reads_best() {
        assert_eq!(short(1000.0), "1000");
        assert_eq!(short(93.4567), "93.46");
        assert_eq!(short(0.012_345_6), "0.01235");
        assert_eq!(duration(0.011), "11 ms");
        assert_eq!(duration(5.87), "5.87 s");
        assert_eq!(duration(0.000_25), "250 us");
        assert_eq!(
            (count(1, "row"), count(3, "row")),
            ("1 row".into(), "3 rows".into())
        );
    }
}
