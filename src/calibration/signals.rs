//! Signals: channels turned into quantities, by their unit or by their calibration points.
//!
//! Readings of the steering axes that no rig reaches are left out wherever their signal is read.

use indexmap::IndexMap;

use super::{Curve, LoadKind, Points, gravity};
use crate::config::{Axis, Firing, Signal};
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::log::Channels;
use crate::log::words::count;
use crate::quantity::range::plainly;
use crate::series::Series;

/// The channels of a firing and what turns them into quantities.
pub(crate) struct Signals {
    /// Raw readings of every log.
    pub channels: Channels,
    /// How far readings of the axes go, by log and column, in SI units.
    limits: IndexMap<(String, String), f64>,
    /// Curves of the signals that came with a points file, by file name.
    curves: IndexMap<String, Curve>,
}

impl Signals {
    /// Reads every log that a firing file names, and the calibration points of their signals.
    ///
    /// # Errors
    /// Logs and points that cannot be read, and clocks that cannot be tied, each with its place.
    pub(crate) fn read(firing: &Firing) -> Result<Self, Error> {
        Ok(Self {
            channels: Channels::read(firing)?,
            curves: read_curves(firing)?,
            limits: limits(firing),
        })
    }

    /// A signal in coherent SI units, by its unit or its points, on the first log's clock.
    #[must_use]
    pub(crate) fn quantity(&self, signal: &Signal) -> Option<Series> {
        let raw = self.channels.series(signal)?;
        Some(self.in_si(signal, raw))
    }

    /// A signal in coherent SI units on its own log's clock, one series for each segment.
    #[must_use]
    pub(crate) fn own_quantity(&self, signal: &Signal) -> Vec<Series> {
        let raw = self.channels.own_series(signal);
        raw.into_iter()
            .map(|series| self.in_si(signal, series))
            .collect()
    }

    /// The curve of a signal that came with a points file.
    #[must_use]
    pub(crate) fn curve(&self, signal: &Signal) -> Option<&Curve> {
        let file = signal.points.as_ref()?;
        self.curves.get(&file.value.display().to_string())
    }

    fn in_si(&self, signal: &Signal, raw: Series) -> Series {
        let all = match (&signal.unit, self.curve(signal)) {
            (Some(unit), _) => raw.map(|_, value| unit.to_si(value)),
            (None, Some(curve)) => raw.map(|_, value| curve.load(value).unwrap_or(f64::NAN)),
            (None, None) => raw,
        };
        let Some(limit) = self.limits.get(&key(signal)) else {
            return all;
        };
        if all.value().iter().all(|value| value.abs() <= *limit) {
            return all;
        }
        let mut out = Series::default();
        for (time_s, value) in all.iter().filter(|(_, value)| value.abs() <= *limit) {
            out.push(time_s, value);
        }
        out
    }

    /// Warnings about readings of the axes that no rig reaches.
    #[must_use]
    pub(crate) fn off_scale(&self, firing: &Firing) -> Vec<Diagnostic> {
        let all = firing.axes.values().flat_map(limited);
        all.filter_map(|(signal, limit)| self.beyond(signal, limit))
            .collect()
    }

    fn beyond(&self, signal: &Signal, limit: f64) -> Option<Diagnostic> {
        let unit = signal.unit.as_ref()?;
        let raw = self.channels.series(signal)?;
        let off: Vec<f64> = raw
            .value()
            .iter()
            .copied()
            .filter(|value| !(-limit..=limit).contains(&unit.to_si(*value)))
            .collect();
        let message = format!(
            "{} of column \"{}\" beyond anything a rig does, such as {}: left out",
            count(off.len(), "reading"),
            signal.column.value,
            plainly(*off.first()?)
        );
        Some(
            Diagnostic::warning(Code::WildReading, message)
                .at(signal.column.place.clone())
                .hint("is the unit right? a recorder's word for no reading goes to missing = [..]"),
        )
    }
}

/// A signal by its log and column.
fn key(signal: &Signal) -> (String, String) {
    (signal.log.value.clone(), signal.column.value.clone())
}

/// Farthest that a nozzle or its command goes, rad; a tilt, which an encoder may count on for two turns;
/// a tilt rate, rad/s, faster than any gyro of this trade shows.
const FARTHEST_NOZZLE: f64 = std::f64::consts::FRAC_PI_2;
const FARTHEST_TILT: f64 = 2.0 * std::f64::consts::TAU;
const FASTEST_RATE: f64 = 200.0;

/// The signals of an axis, each with how far its readings may go in SI units.
fn limited(axis: &Axis) -> impl Iterator<Item = (&Signal, f64)> {
    [
        (Some(&axis.command), FARTHEST_NOZZLE),
        (axis.nozzle.as_ref(), FARTHEST_NOZZLE),
        (axis.tilt.as_ref(), FARTHEST_TILT),
        (axis.rate.as_ref(), FASTEST_RATE),
        (axis.swing.as_ref(), FARTHEST_TILT),
    ]
    .into_iter()
    .filter_map(|(signal, limit)| Some((signal?, limit)))
}

fn limits(firing: &Firing) -> IndexMap<(String, String), f64> {
    let all = firing.axes.values().flat_map(limited);
    all.map(|(signal, limit)| (key(signal), limit)).collect()
}

/// Curves of signals that carry points in place of a unit.
fn read_curves(firing: &Firing) -> Result<IndexMap<String, Curve>, Error> {
    let mut out = IndexMap::new();
    for signal in firing.signals() {
        if let Some(file) = &signal.points {
            let gravity = gravity::at(&firing.site);
            let chamber = firing.chamber.as_ref().map(|chamber| &chamber.pressure);
            let kind = if chamber.is_some_and(|pressure| std::ptr::eq(pressure, signal)) {
                LoadKind::Pressure
            } else {
                LoadKind::Angle
            };
            let points: Points = super::points_file::read(&file.value, kind, &gravity)
                .map_err(|problems| problems.where_named(&file.place, &file.value))?;
            let curve = super::calibrate_points(&points, None)?.curve;
            out.insert(file.value.display().to_string(), curve);
        }
    }
    Ok(out)
}
