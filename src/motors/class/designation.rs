//! The designation of a motor: letter and average thrust in newtons.
//!
//! C6-3 is a motor of 5.01 to 10 N s, 6 N on average; what stands behind the dash, the delay from burnout to
//! ejection (NAR page "Standard Motor Codes"), no captive firing tells.

use super::letter;

/// Designation from total impulse in N s and average thrust in N. The average depends on the times
/// it is taken between, which must be stated beside it. `None` when there is no such class or no
/// average.
#[must_use]
pub(crate) fn designation(impulse_ns: f64, average_n: f64) -> Option<String> {
    let class = letter::class_of(impulse_ns)?;
    if !average_n.is_finite() || average_n <= 0.0 {
        return None;
    }
    Some(format!("{}{:.0}", class.letter, average_n.round()))
}

/// The average thrust in a designation, N: 14 in `E14-4`. `None` when it holds none.
#[must_use]
pub(crate) fn labelled_average_n(designation: &str) -> Option<f64> {
    let after = designation
        .trim()
        .trim_start_matches("1/8")
        .trim_start_matches("1/4");
    let after = after.trim_start_matches("1/2");
    let rest = after.strip_prefix(|letter: char| letter.is_ascii_uppercase())?;
    let digits: String = rest
        .chars()
        .take_while(|c| c.is_ascii_digit() || *c == '.')
        .collect();
    digits.parse().ok().filter(|average| *average > 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn letter_and_average_make_a_designation() {
        assert_eq!(designation(8.8, 6.2).as_deref(), Some("C6"));
        assert_eq!(designation(160.01, 80.0).as_deref(), Some("H80"));
    }

    // A motor maker's page on NFPA 1125: one curve of 80 N s lasts 1.36 s in full and 1.24 s from 5 %
    // to 5 % of its peak; with both times rounded to tenths (1.4, 1.2) four averages result. The page
    // prints 59, 65, 57 and 67: one motor, four designations, all of class F since 80.00 is F.
    #[test]
    fn one_motor_of_80_newton_seconds_has_four_averages() {
        let cases = [
            (1.36, 58.8, "F59"),
            (1.24, 64.5, "F65"),
            (1.4, 57.1, "F57"),
            (1.2, 66.7, "F67"),
        ];
        for (time_s, average_n, name) in cases {
            assert_abs_diff_eq!(80.0 / time_s, average_n, epsilon = 0.05);
            assert_eq!(designation(80.0, 80.0 / time_s).as_deref(), Some(name));
        }
    }

    // Designations of the NAR page and of hobby lists.
    #[test]
    fn designations_are_written_and_read() {
        assert_eq!(designation(8.82, 4.74).as_deref(), Some("C5"));
        assert_eq!(designation(0.3, 0.8).as_deref(), Some("1/8A1"));
        assert_eq!(designation(0.0, 3.0), None);
        assert_eq!(designation(3.0, f64::NAN), None);
        let read = ["C6-3", "E14-4", "1/2A3-2T", "H136.7", "nonsense", "G"].map(labelled_average_n);
        assert_eq!(
            read,
            [Some(6.0), Some(14.0), Some(3.0), Some(136.7), None, None]
        );
    }
}
