//! Numbers to so many significant digits.

/// The nearest number with so many significant digits, ties as the decimal writer has them.
#[must_use]
pub fn rounded(value: f64, digits: usize) -> f64 {
    let places = digits.saturating_sub(1);
    format!("{value:.places$e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::rounded;

    #[test]
    fn digits_are_kept_from_the_first_that_counts() {
        assert_eq!(rounded(0.001_234_567_8, 4), 0.001_235);
        assert_eq!(rounded(-98_765.43, 2), -99_000.0);
        assert_eq!(rounded(0.0, 6), 0.0);
        assert_eq!(rounded(f64::INFINITY, 6), f64::INFINITY);
    }
}
