//! Numbers to so many significant digits.

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Number, Value};

/// The nearest number with so many significant digits, ties as the decimal writer has them.
#[must_use]
pub(crate) fn rounded(value: f64, digits: usize) -> f64 {
    let places = digits.saturating_sub(1);
    format!("{value:.places$e}").parse().unwrap_or(value)
}

/// Data with every fraction in it so rounded; whole numbers stay. Data that JSON cannot hold (a number
/// that is not finite) stays as it is. The order of a map may change.
#[must_use]
pub(crate) fn all_rounded<T: Serialize + DeserializeOwned>(data: T, digits: usize) -> T {
    let Ok(mut value) = serde_json::to_value(&data) else {
        return data;
    };
    round(&mut value, digits);
    serde_json::from_value(value).unwrap_or(data)
}

fn round(value: &mut Value, digits: usize) {
    match value {
        Value::Number(number) if number.is_f64() => {
            let short = number.as_f64().map(|value| rounded(value, digits));
            if let Some(short) = short.and_then(Number::from_f64) {
                *number = short;
            }
        }
        Value::Array(values) => values.iter_mut().for_each(|one| round(one, digits)),
        Value::Object(map) => map.values_mut().for_each(|one| round(one, digits)),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_kept_from_the_first_that_counts() {
        assert_eq!(rounded(0.001_234_567_8, 4), 0.001_235);
        assert_eq!(rounded(-98_765.43, 2), -99_000.0);
        assert_eq!(rounded(0.0, 6), 0.0);
        assert_eq!(rounded(f64::INFINITY, 6), f64::INFINITY);
    }

    #[test]
    fn every_fraction_is_rounded_and_nothing_else() {
        let data = (
            123_456_789_u64,
            "0.123456",
            vec![Some(0.123_456), None],
            -1.0,
        );
        let data = (data.0, data.1.to_owned(), data.2, data.3);
        let short = all_rounded(data.clone(), 3);
        assert_eq!(short, (data.0, data.1, vec![Some(0.123), None], -1.0));
        assert_eq!(all_rounded(f64::INFINITY, 3), f64::INFINITY);
    }
}
