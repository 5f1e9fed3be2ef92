//! From a points file to a judged curve and the file that keeps it.

use std::path::Path;

use super::judgement::judge;
use super::{Judgement, curve_file, gravity, points_file, tolerance};
use crate::config::Site;
use crate::diagnostic::Error;
use crate::quantity::{Given, Ratio};

/// A curve fitted to known loads or angles, with what speaks for and against it.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Calibration {
    /// What was found.
    pub judgement: Judgement,
    /// The text of the curve file, which a firing file can name.
    pub curve_file: String,
}

impl Calibration {
    /// Whether a file holds a curve: only such a file may be replaced by one.
    #[must_use]
    pub fn is_curve_file(path: &Path) -> bool {
        curve_file::is_one(path)
    }
}

/// Fits a curve to a points file and judges it; `masses` is the tolerance that the weights share.
///
/// # Errors
/// Unreadable or too few points, columns of several kinds, a curve that cannot be inverted.
pub fn calibrate(
    file: &Path,
    site: &Site,
    masses: Option<&Given<Ratio>>,
) -> Result<Calibration, Error> {
    let points = points_file::read_any(file, &gravity::at(site))?;
    let (cell, judgement) = judge(&points, masses.map(tolerance))?;
    let curve_file = curve_file::write(&cell.curve, points.kind, &about(file, &judgement))?;
    Ok(Calibration {
        judgement,
        curve_file,
    })
}

/// One line on where a curve comes from.
fn about(points: &Path, judgement: &Judgement) -> String {
    let name = points
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    match judgement.gravity_m_s2 {
        Some(gravity) => format!("From {name}, masses under gravity of {gravity:.5} m/s²."),
        None => format!("From {name}."),
    }
}
