//! Everything the verdict on the motors rests on.

use indexmap::IndexMap;

use super::hypothesis::EvidenceTerm;
use super::order::AxisMotion;
use super::part::Pattern;
use super::pieces::ThrustPieces;
use super::shape::SetFits;
use crate::config::Motor;
use crate::quantity::Measured;
use crate::series::Series;

/// The top of what a cell read.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Top {
    /// Its height, N.
    pub peak_n: f64,
    /// The impulse around it, N s: of a spike all.
    pub impulse_ns: f64,
}

/// What one motor's own cell says.
#[derive(Debug, Clone)]
pub(crate) struct OwnCell {
    /// Its total impulse.
    pub total_ns: Measured,
    /// The top of what was read above its zero.
    pub top: Top,
    /// When its thrust first reached 5 % of its peak, a puff included.
    pub ignition_s: Option<Measured>,
    /// When its burn began, where a puff came before.
    pub relight_s: Option<Measured>,
    /// Its thrust, N; empty where nothing stood out.
    pub thrust: Series,
    /// Whether the cell read throughout; else its impulse is at least `total_ns`.
    pub whole: bool,
    /// Whether full-scale codes, left out, may hide that it burst.
    pub hides_spike: bool,
}

/// What the cells say that several motors share.
#[derive(Debug, Clone)]
pub(crate) struct SharedCells {
    /// The motors, by their numbers.
    pub motors: Vec<usize>,
    /// Their total impulse.
    pub total_ns: Option<Measured>,
    /// The top of what was read where nothing stood out.
    pub top: Top,
    /// Their burn; `None` where nothing stood out.
    pub burn: Option<SharedBurn>,
    /// Whether full-scale codes, left out, may hide that one of them burst.
    pub hides_spike: bool,
    /// Whether a spike stands out that one of them may have left, bursting.
    pub spike: bool,
}

/// The burn of motors that share cells.
#[derive(Debug, Clone)]
pub(crate) struct SharedBurn {
    /// Their thrust together.
    pub thrust: Series,
    /// The same around the burn, the stand's ringing taken off: edges are read from it.
    pub edges: Series,
    /// Noise of one value of `edges`, N.
    pub noise_n: f64,
    /// Beginning and end of the burn, s.
    pub window_s: (f64, f64),
    /// Standard uncertainty common to all instants read from the cells, s.
    pub clock_u_s: f64,
    /// What explained its course.
    pub course: Option<SetFits>,
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
    /// Motors with a cell of their own.
    pub own: IndexMap<String, OwnCell>,
    /// Motors that share cells.
    pub shared: Vec<SharedCells>,
    /// Time of each motor's fire command and its standard uncertainty, s.
    pub fire_s: IndexMap<String, (f64, f64)>,
    /// How the axes moved.
    pub motion: Vec<AxisMotion>,
    /// Moment of inertia of each axis that states one, and its standard uncertainty, kg m2.
    pub inertia: IndexMap<String, (f64, f64)>,
    /// Motor-to-motor spread of impulse, relative.
    pub spread: f64,
}

impl SharedBurn {
    /// Its thrust in pieces; `spread` is the motor-to-motor spread, relative.
    #[must_use]
    pub(crate) fn pieces(&self, spread: f64) -> Option<ThrustPieces> {
        ThrustPieces::cut(&self.thrust, self.window_s, self.noise_n, spread)
    }
}

impl VerdictInput<'_> {
    /// The certified curve of a motor, where one was given.
    #[must_use]
    pub(crate) fn pattern_of(&self, motor: &str) -> Option<Pattern> {
        let certified = self.motors.get(motor)?.certified.as_ref()?;
        Pattern::new(certified.thrust_curve.as_ref()?)
    }
}
