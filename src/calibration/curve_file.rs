//! Curve files: a calibration kept for later firings.
//!
//! TOML, so that a person can read it: the polynomial raw(load) in scaled powers with its
//! covariance, what the weights share, the range of the points, and what the points said about the
//! curve. Numbers are written so that they read back to the last bit: a curve gives the same results
//! as its points. A file is believed only as far as it makes sense: everything finite, a covariance
//! that is one, a slope that never changes sign.

use std::path::Path;

use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

use super::curve::{Curve, Judged, Scale};
use super::degree::{FTest, HIGHEST};
use super::hysteresis::Loop;
use super::points::LoadKind;
use crate::diagnostic::{Code, Diagnostic, Error, Source};
use crate::numeric::polynomial::Fit;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct CurveFile {
    quantity: LoadKind,
    centre: f64,
    scale: f64,
    coefficients: Vec<f64>,
    covariance: Vec<Vec<f64>>,
    residual_sum: f64,
    degrees_of_freedom: usize,
    range: Option<[f64; 2]>,
    points: usize,
    lower_limit_factor: Option<f64>,
    hysteresis: Option<f64>,
    scale_uncertainty: Scale,
    up_down_loop: Option<Loop>,
    lack_of_fit: Option<FTest>,
}

const HEAD: &str = "\
# Calibration curve: raw = sum of coefficients[k] * z^k, z = (load - centre) / scale,
# load in N (force) or rad (angle). Covariance belongs to these coefficients.
# scale_uncertainty is what all loads share, as shares of the load: weights (limits over the root of
# three), gravity, a stated slope. up_down_loop is the loop between loading and unloading, raw.
";

/// A curve as the text of a curve file; `about` is one line on where it comes from.
///
/// # Errors
/// A number that cannot be written.
pub fn write(curve: &Curve, quantity: LoadKind, about: &str) -> Result<String, Error> {
    let file = CurveFile {
        quantity,
        centre: curve.fit.centre,
        scale: curve.fit.scale,
        coefficients: curve.fit.scaled.clone(),
        covariance: curve.fit.covariance.clone(),
        residual_sum: curve.fit.residual_sum,
        degrees_of_freedom: curve.fit.degrees_of_freedom,
        range: curve.range,
        points: curve.points,
        lower_limit_factor: curve.judged.lower_limit_factor,
        hysteresis: curve.judged.hysteresis,
        scale_uncertainty: curve.scale,
        up_down_loop: curve.hysteresis,
        lack_of_fit: curve.judged.lack_of_fit,
    };
    let about: String = about
        .chars()
        .map(|ch| if ch.is_control() { ' ' } else { ch })
        .collect();
    toml::to_string(&file)
        .map(|body| format!("{HEAD}# {about}\n{body}"))
        .map_err(|error| Diagnostic::error(Code::CurveWrite, error.to_string()).into())
}

/// Whether a file is a curve file of either quantity, so that a new one may take its place.
#[must_use]
pub(crate) fn is_one(path: &Path) -> bool {
    Source::read(path).is_ok_and(|source| toml::from_str::<CurveFile>(&source.text).is_ok())
}

/// Reads a curve file that must give one kind of value.
///
/// # Errors
/// Anything that is not such a curve: syntax, missing keys, numbers that are not finite or do not
/// belong together, a curve that cannot be inverted within its range.
pub fn read(path: &Path, wanted: LoadKind) -> Result<Curve, Error> {
    let source = Source::read(path)?;
    let file: CurveFile = toml::from_str(&source.text).map_err(|error| {
        Diagnostic::error(
            Code::CurveFile,
            format!("this is not a curve file: {}", error.message()),
        )
        .at(source.place(error.span().unwrap_or(0..0)))
        .hint("curve files are written by `burnwright calibrate POINTS.csv`")
    })?;
    let refuse = |(key, what): (&str, &str)| -> Error {
        Diagnostic::error(
            Code::CurveFile,
            format!("this curve makes no sense: {what}"),
        )
        .at(source.place(line_of(&source.text, key)))
        .hint("write it again with `burnwright calibrate POINTS.csv`")
        .into()
    };
    if file.quantity != wanted {
        let message = format!(
            "this curve gives {}, where {} is wanted",
            file.quantity.word(),
            wanted.word()
        );
        return Err(Diagnostic::error(Code::CurveQuantity, message)
            .at(source.place(line_of(&source.text, "quantity")))
            .into());
    }
    fault(&file).map_or(Ok(()), |fault| Err(refuse(fault)))?;
    let curve = Curve {
        fit: Fit {
            centre: file.centre,
            scale: file.scale,
            scaled: file.coefficients,
            covariance: file.covariance,
            residual_sum: file.residual_sum,
            degrees_of_freedom: file.degrees_of_freedom,
        },
        scale: file.scale_uncertainty,
        hysteresis: file.up_down_loop,
        range: file.range,
        points: file.points,
        judged: Judged {
            lower_limit_factor: file.lower_limit_factor,
            lack_of_fit: file.lack_of_fit,
            hysteresis: file.hysteresis,
        },
    };
    if !curve.can_be_inverted() {
        return Err(refuse((
            "coefficients",
            "its slope is zero or changes sign, so a reading has no one load",
        )));
    }
    Ok(curve)
}

/// The bytes of the line that sets a key; the beginning of the file when there is none.
fn line_of(text: &str, key: &str) -> std::ops::Range<usize> {
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        let is_key = line
            .trim_start()
            .strip_prefix(key)
            .is_some_and(|rest| rest.trim_start().starts_with('='));
        if is_key {
            return at..at + line.trim_end().len();
        }
        at += line.len();
    }
    0..0
}

/// Numbers beyond this are no readings and no loads, and their squares would run over.
const LARGEST: f64 = 1e100;

/// The first key that is wrong, and what is wrong with it.
fn fault(file: &CurveFile) -> Option<(&'static str, &'static str)> {
    let size = file.coefficients.len();
    let sensible = |values: &[f64]| values.iter().all(|value| value.abs() <= LARGEST);
    let scale = &file.scale_uncertainty;
    let share = |value: f64| (0.0..1.0).contains(&value);
    let at_least_zero = |value: f64| value.is_finite() && value >= 0.0;
    let known_at_least_zero = |value: Option<f64>| value.is_none_or(at_least_zero);
    let probability = file.lack_of_fit.map(|test| test.probability);
    let rules = [
        (
            "centre",
            sensible(&[file.centre]),
            "centre must be a number of sensible size",
        ),
        (
            "scale",
            (1.0 / LARGEST..=LARGEST).contains(&file.scale),
            "scale must be above zero and of sensible size",
        ),
        (
            "coefficients",
            (2..=HIGHEST + 1).contains(&size),
            "a curve has two to four coefficients",
        ),
        (
            "coefficients",
            sensible(&file.coefficients),
            "every coefficient must be a number of sensible size",
        ),
        (
            "covariance",
            file.covariance.len() == size && file.covariance.iter().all(|row| row.len() == size),
            "covariance must have a row and a column for each coefficient",
        ),
        (
            "covariance",
            file.covariance.iter().all(|row| sensible(row)),
            "every covariance must be a number of sensible size",
        ),
        (
            "residual_sum",
            at_least_zero(file.residual_sum),
            "residual_sum cannot be below zero",
        ),
        (
            "weights_relative_u",
            share(scale.weights_relative_u),
            "weights_relative_u must lie between 0 and 1",
        ),
        (
            "gravity_relative_u",
            share(scale.gravity_relative_u),
            "gravity_relative_u must lie between 0 and 1",
        ),
        (
            "stated_relative_u",
            share(scale.stated_relative_u),
            "stated_relative_u must lie between 0 and 1",
        ),
        (
            "height_raw",
            file.up_down_loop.as_ref().is_none_or(|found| {
                sensible(&[found.height_raw, found.u_raw.unwrap_or(0.0)])
                    && sensible(&found.range)
                    && found.range[0] < found.range[1]
            }),
            "the loop needs a height and a range that rises",
        ),
        (
            "range",
            file.range
                .is_none_or(|[low, high]| sensible(&[low, high]) && low < high),
            "range must rise from its first number to its second",
        ),
        (
            "degrees_of_freedom",
            file.points.checked_sub(size) == Some(file.degrees_of_freedom),
            "degrees_of_freedom must be points less coefficients",
        ),
        (
            "lower_limit_factor",
            known_at_least_zero(file.lower_limit_factor),
            "lower_limit_factor cannot be below zero",
        ),
        (
            "hysteresis",
            known_at_least_zero(file.hysteresis),
            "hysteresis cannot be below zero",
        ),
        (
            "probability",
            probability.is_none_or(|p| (0.0..=1.0).contains(&p)),
            "a probability must lie between 0 and 1",
        ),
    ];
    let broken = rules.into_iter().find(|(_, holds, _)| !holds);
    broken
        .map(|(key, _, what)| (key, what))
        .or_else(|| covariance_fault(&file.covariance).map(|what| ("covariance", what)))
}

/// Rounding that a correlation may show.
const CORRELATION_ROUNDING: f64 = 1e-9;

/// What is wrong with a square matrix of finite numbers as a covariance.
fn covariance_fault(covariance: &[Vec<f64>]) -> Option<&'static str> {
    let size = covariance.len();
    let sd: Vec<f64> = (0..size).map(|at| covariance[at][at].sqrt()).collect();
    if sd.iter().any(|sd| sd.is_nan()) {
        return Some("a variance cannot be below zero");
    }
    let correlation = |row: usize, column: usize| {
        let value = covariance[row][column];
        // A coefficient that is exact is correlated with nothing.
        if value == 0.0 {
            f64::from(u8::from(row == column))
        } else {
            value / sd[row] / sd[column]
        }
    };
    let matrix = DMatrix::from_fn(size, size, correlation);
    if matrix.iter().any(|value| !value.is_finite()) {
        return Some("an exact coefficient cannot be correlated with another");
    }
    if (&matrix - matrix.transpose()).amax() > CORRELATION_ROUNDING {
        return Some("covariance must be symmetric");
    }
    let lowest = matrix.symmetric_eigenvalues().min();
    (lowest < -CORRELATION_ROUNDING).then_some("covariance must be positive: no spread is negative")
}

#[cfg(test)]
mod tests {
    use super::super::degree::choose;
    use super::super::points::{Direction, Points};
    use super::*;

    fn curve() -> Curve {
        let load = vec![0.0, 1.0, 2.0, 3.0, 4.0, 3.0, 2.0, 1.0, 0.0];
        let raw = vec![1.0, 11.0, 21.5, 31.0, 41.1, 31.2, 21.3, 11.1, 1.1];
        let mut points = Points::exact(raw, load);
        for row in 0..9 {
            points.direction[row] = Some(if row < 5 {
                Direction::Up
            } else {
                Direction::Down
            });
        }
        let scale = Scale {
            weights_relative_u: 1e-4,
            ..Scale::default()
        };
        let mut curve = Curve::from_fit(&choose(&points).unwrap().fit, &points, scale).unwrap();
        curve.hysteresis = Some(Loop {
            height_raw: 0.25,
            u_raw: Some(0.1),
            range: [0.0, 3.0],
        });
        curve
    }

    fn reading(text: &str) -> Result<Curve, Error> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("curve.toml");
        std::fs::write(&path, text).unwrap();
        read(&path, LoadKind::Force)
    }

    fn text() -> String {
        write(&curve(), LoadKind::Force, "points\n.csv").unwrap()
    }

    #[test]
    fn a_curve_read_back_is_the_curve_written() {
        let curve = curve();
        assert!(curve.judged.lack_of_fit.is_some() && curve.judged.hysteresis.is_some());
        assert!(curve.judged.lower_limit_factor.is_some());
        assert_eq!(reading(&text()).unwrap(), curve);
    }

    /// The text with one key set to something else.
    fn with(key: &str, value: &str) -> String {
        let mut found = 0;
        let lines: Vec<String> = text()
            .lines()
            .map(|line| {
                if line.starts_with(&format!("{key} =")) {
                    found += 1;
                    format!("{key} = {value}")
                } else {
                    line.to_owned()
                }
            })
            .collect();
        assert_eq!(found, 1, "{key}");
        lines.join("\n") + "\n"
    }

    #[test]
    fn numbers_that_make_no_curve_are_refused_with_their_line() {
        let size = curve().fit.scaled.len();
        assert_eq!(size, 2);
        let wrong = [
            ("centre", "nan", "centre must be"),
            ("scale", "0.0", "above zero"),
            ("scale", "-1.0", "above zero"),
            ("scale", "inf", "above zero"),
            ("coefficients", "[1.0, nan]", "every coefficient"),
            ("coefficients", "[1.0]", "two to four"),
            ("coefficients", "[1.0, 2.0, 3.0]", "row and a column"),
            ("coefficients", "[1.0, 0.0]", "slope is zero"),
            ("coefficients", "[1e308, 1e308]", "sensible size"),
            ("covariance", "[[1.0, 0.0]]", "row and a column"),
            ("covariance", "[[1.0, 0.0], [0.0, nan]]", "every covariance"),
            ("covariance", "[[1.0, 0.3], [0.2, 1.0]]", "symmetric"),
            ("covariance", "[[1.0, 2.0], [2.0, 1.0]]", "positive"),
            ("covariance", "[[-1.0, 0.0], [0.0, 1.0]]", "below zero"),
            (
                "covariance",
                "[[0.0, 1.0], [1.0, 1.0]]",
                "exact coefficient",
            ),
            ("residual_sum", "-1.0", "below zero"),
            ("degrees_of_freedom", "3", "points less coefficients"),
            ("weights_relative_u", "nan", "between 0 and 1"),
            ("gravity_relative_u", "-0.1", "between 0 and 1"),
            ("stated_relative_u", "1.5", "between 0 and 1"),
            ("height_raw", "inf", "needs a height"),
            ("range", "[4.0, 0.0]", "must rise"),
            ("range", "[0.0, inf]", "must rise"),
            ("hysteresis", "nan", "below zero"),
            ("lower_limit_factor", "-0.1", "below zero"),
            ("probability", "1.5", "between 0 and 1"),
        ];
        for (key, value, message) in wrong {
            let problem = reading(&with(key, value)).unwrap_err().render();
            // Three coefficients are no mistake in themselves: the covariance beside them is.
            let line = if value == "[1.0, 2.0, 3.0]" {
                "covariance = ".to_owned()
            } else {
                format!("{key} = {value}")
            };
            assert!(
                problem.contains(message) && problem.contains(&line),
                "{key} = {value}:\n{problem}"
            );
        }
        for (key, value) in [
            ("coefficients", "[\"a\", 2.0]"),
            ("points", "-3"),
            ("quantity", "\"mass\""),
        ] {
            let problem = reading(&with(key, value)).unwrap_err().render();
            assert!(problem.contains("not a curve file"), "{problem}");
        }
        assert!(reading("").is_err() && reading("x = [").is_err());
    }

    #[test]
    fn a_cubic_that_turns_inside_its_range_is_refused() {
        // 3 z - 4 z^3 rises at the centre and falls at both ends; the other one rises everywhere.
        let zeros = format!("[{}]", ["[0.0, 0.0, 0.0, 0.0]"; 4].join(", "));
        let text =
            with("covariance", &zeros).replace("degrees_of_freedom = 7", "degrees_of_freedom = 5");
        let line = text
            .lines()
            .find(|line| line.starts_with("coefficients"))
            .unwrap();
        for turns in ["[0.0, 3.0, 0.0, -4.0]", "[0.0, 0.2, 0.0, 1e5]"] {
            let text = text.replace(line, &format!("coefficients = {turns}"));
            let refused = reading(&text).is_err();
            assert_eq!(refused, turns.contains("-4"), "{turns}");
        }
    }

    #[test]
    fn a_curve_of_angles_is_no_curve_of_forces() {
        let problem = reading(&with("quantity", "\"angle\""))
            .unwrap_err()
            .render();
        assert!(
            problem.contains("gives angle, where force is wanted"),
            "{problem}"
        );
    }
}
