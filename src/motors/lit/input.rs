//! Everything the verdict on the motors rests on.

use indexmap::IndexMap;

use super::hypothesis::EvidenceTerm;
use super::order::AxisMotion;
use super::part::Pattern;
use crate::config::Motor;
use crate::quantity::Measured;
use crate::series::Series;

/// What one motor's own cell says.
#[derive(Debug, Clone)]
pub(crate) struct OwnCell {
    /// Its total impulse.
    pub total_ns: Measured,
    /// The most that was read above its zero while anything burnt, N.
    pub peak_n: f64,
    /// When its thrust first reached 5 % of its peak.
    pub ignition_s: Option<Measured>,
}

/// Everything the verdict rests on.
#[derive(Debug, Clone)]
pub(crate) struct VerdictInput<'a> {
    /// The motors.
    pub motors: &'a IndexMap<String, Motor>,
    /// Terms of evidence.
    pub evidence: Vec<EvidenceTerm>,
    /// Thrust of all motors together; `None` when nothing burnt.
    pub thrust: Option<&'a Series>,
    /// The same around the burn, the stand's ringing taken off: edges are read from it.
    pub edges: Option<&'a Series>,
    /// Noise of one value of `edges`, N.
    pub noise_n: f64,
    /// Beginning and end of the burn, s.
    pub window_s: (f64, f64),
    /// Standard uncertainty common to all instants read from the cells, s.
    pub clock_u_s: f64,
    /// Motors with a cell of their own.
    pub own: IndexMap<String, OwnCell>,
    /// Time of each motor's fire command and its standard uncertainty, s.
    pub fire_s: IndexMap<String, (f64, f64)>,
    /// How the axes moved.
    pub motion: Vec<AxisMotion>,
    /// Moment of inertia of each axis that states one, and its standard uncertainty, kg m2.
    pub inertia: IndexMap<String, (f64, f64)>,
    /// Motor-to-motor spread of impulse, relative.
    pub spread: f64,
}

impl VerdictInput<'_> {
    /// The certified curve of a motor, where one was given.
    #[must_use]
    pub(crate) fn pattern_of(&self, motor: &str) -> Option<Pattern> {
        let certified = self.motors.get(motor)?.certified.as_ref()?;
        Pattern::new(certified.thrust_curve.as_ref()?)
    }
}
