//! Curve files: a calibration kept for later firings.
//!
//! TOML, so that a person can read it: the polynomial raw(force) in scaled powers with its
//! covariance, what the weights share, and the range of the points.

use std::path::Path;

use super::curve::{Curve, Scale};
use super::hysteresis::Loop;
use crate::diagnostic::{Diagnostic, Place, Problems, Source};
use crate::numeric::polynomial::Fit;
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct CurveFile {
    quantity: String,
    centre: f64,
    scale: f64,
    coefficients: Vec<f64>,
    covariance: Vec<Vec<f64>>,
    residual_sum: f64,
    degrees_of_freedom: usize,
    range: Option<[f64; 2]>,
    points: usize,
    scale_uncertainty: Scale,
    hysteresis: Option<LoopInFile>,
}

/// The loop between loading and unloading.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct LoopInFile {
    height_raw: f64,
    u_raw: Option<f64>,
    range: [f64; 2],
}

const HEAD: &str = "\
# Calibration curve: raw = sum of coefficients[k] * z^k, z = (load - centre) / scale,
# load in N (force) or rad (angle). Covariance belongs to these coefficients.
";

/// A curve as the text of a curve file; `quantity` is `force` or `angle`.
///
/// # Errors
/// A number that cannot be written.
pub fn write(curve: &Curve, quantity: &str) -> Result<String, Problems> {
    let file = CurveFile {
        quantity: quantity.to_owned(),
        centre: curve.fit.centre,
        scale: curve.fit.scale,
        coefficients: curve.fit.scaled.clone(),
        covariance: curve.fit.covariance.clone(),
        residual_sum: curve.fit.residual_sum,
        degrees_of_freedom: curve.fit.degrees_of_freedom,
        range: curve.range,
        points: curve.points,
        scale_uncertainty: curve.scale,
        hysteresis: curve.hysteresis.map(|found| LoopInFile {
            height_raw: found.height_raw,
            u_raw: found.u_raw,
            range: found.range,
        }),
    };
    toml::to_string(&file)
        .map(|body| format!("{HEAD}{body}"))
        .map_err(|error| Diagnostic::error("curve-write", error.to_string()).into())
}

/// Reads a curve file.
///
/// # Errors
/// Anything that is not a curve: syntax, missing keys, numbers that do not belong together.
pub fn read(path: &Path) -> Result<Curve, Problems> {
    let source = Source::read(path)?;
    let file: CurveFile = toml::from_str(&source.text).map_err(|error| {
        Diagnostic::error(
            "curve-file",
            format!("this is not a curve file: {}", error.message()),
        )
        .at(source.place(error.span().unwrap_or(0..0)))
    })?;
    let size = file.coefficients.len();
    let square = file.covariance.len() == size && file.covariance.iter().all(|r| r.len() == size);
    if size < 2 || !square || file.scale <= 0.0 {
        return Err(Diagnostic::error(
            "curve-file",
            "coefficients and covariance of this curve do not belong together",
        )
        .at(Place::file(source.file))
        .hint("write it again with `burnwright calibrate`")
        .into());
    }
    Ok(Curve {
        fit: Fit {
            centre: file.centre,
            scale: file.scale,
            scaled: file.coefficients,
            covariance: file.covariance,
            residual_sum: file.residual_sum,
            degrees_of_freedom: file.degrees_of_freedom,
        },
        scale: file.scale_uncertainty,
        hysteresis: file.hysteresis.map(|found| Loop {
            height_raw: found.height_raw,
            u_raw: found.u_raw,
            range: found.range,
        }),
        range: file.range,
        points: file.points,
    })
}

#[cfg(test)]
mod tests {
    use super::super::degree::choose;
    use super::super::points::Points;
    use super::*;

    #[test]
    fn a_curve_read_back_is_the_curve_written() {
        let points = Points::exact(vec![1.0, 11.0, 21.5, 31.0], vec![0.0, 1.0, 2.0, 3.0]);
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
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("curve.toml");
        std::fs::write(&path, write(&curve, "force").unwrap()).unwrap();
        assert_eq!(read(&path).unwrap(), curve);
    }
}
