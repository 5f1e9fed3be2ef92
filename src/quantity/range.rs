//! Where a number may lie, and how to say so: one wording for every file.

/// Numbers that will do. The ends are in a unit that whoever holds the range knows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Range {
    /// Every finite number.
    Any,
    /// Every one but zero.
    NotZero,
    /// Above an end.
    Above(f64),
    /// At an end or above it.
    AtLeast(f64),
    /// Between two ends, both of which will do.
    Between(f64, f64),
    /// Between two ends, of which only the upper will do.
    AboveUpTo(f64, f64),
}

impl Range {
    /// Whether a number lies in the range, whose ends count a unit of some size.
    #[must_use]
    pub fn holds(self, value: f64, unit_size: f64) -> bool {
        let end = |number: f64| number * unit_size;
        match self {
            Self::Any => value.is_finite(),
            Self::NotZero => value.is_finite() && value != 0.0,
            Self::Above(low) => value > end(low),
            Self::AtLeast(low) => value >= end(low),
            Self::Between(low, high) => (end(low)..=end(high)).contains(&value),
            Self::AboveUpTo(low, high) => value > end(low) && value <= end(high),
        }
    }

    /// What must be, to stand behind the name of the number; the unit may be empty.
    #[must_use]
    pub fn rule(self, unit: &str) -> String {
        let end = |value: f64| format!("{} {unit}", plainly(value)).trim_end().to_owned();
        match self {
            Self::Any => "must be a finite number".to_owned(),
            Self::NotZero => "cannot be zero".to_owned(),
            Self::Above(0.0) => "must be above zero".to_owned(),
            Self::Above(low) => format!("must be above {}", end(low)),
            Self::AtLeast(0.0) => "cannot be below zero".to_owned(),
            Self::AtLeast(low) => format!("must be at least {}", end(low)),
            Self::Between(low, high) => {
                format!("must lie between {} and {}", end(low), end(high))
            }
            Self::AboveUpTo(low, high) => {
                format!("must lie above {}, up to {}", end(low), end(high))
            }
        }
    }
}

/// A number as short as it goes.
#[must_use]
pub fn plainly(value: f64) -> String {
    let size = value.abs();
    if value == 0.0 || (1e-4..1e7).contains(&size) {
        format!("{value}")
    } else {
        format!("{value:e}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_holds_its_ends_and_says_what_must_be() {
        let range = Range::AboveUpTo(0.0, 90.0);
        let degree = std::f64::consts::PI / 180.0;
        assert!(range.holds(std::f64::consts::FRAC_PI_2, degree));
        assert!(!range.holds(0.0, degree));
        assert_eq!(range.rule("deg"), "must lie above 0 deg, up to 90 deg");
        assert_eq!(
            Range::Between(0.0, 1e9).rule(""),
            "must lie between 0 and 1e9"
        );
        assert_eq!(Range::AtLeast(0.0).rule("s"), "cannot be below zero");
        assert!(!Range::Between(0.0, 1.0).holds(f64::NAN, 1.0));
        assert!(!Range::Any.holds(f64::INFINITY, 1.0));
    }
}
