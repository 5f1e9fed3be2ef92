//! The zero of the cell against time, as read: weight, warm-up, slow drift, heat of the burn, shift, steps.

use super::curve::smooth;

/// How the zero goes from its level before the burn to that after it.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Course {
    /// As the impulse: propellant burns away.
    WithImpulse,
    /// At once, about this moment, within this time.
    At { moment: f64, within: f64 },
    /// From this moment on, exponentially.
    Relaxing { from: f64, time: f64 },
}

/// A change of the zero that stays.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shift {
    pub(crate) firing: usize,
    pub(crate) size: f64,
    pub(crate) course: Course,
}

/// A weight put on or taken off.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Step {
    pub(crate) at: f64,
    pub(crate) size: f64,
    pub(crate) within: f64,
    /// Approaches its size exponentially instead of by a smooth ramp.
    pub(crate) creeping: bool,
}

/// The zero against time.
#[derive(Clone, Debug, Default)]
pub(crate) struct Zero {
    pub(crate) base: f64,
    /// Size and time constant of warm-up.
    pub(crate) warm: Option<(f64, f64)>,
    /// Size, period and phase of slow swings.
    pub(crate) swings: Vec<(f64, f64, f64)>,
    /// Per second.
    pub(crate) slope: f64,
    /// Begin, size and time of the heat of the burn.
    pub(crate) hump: Option<(f64, f64, f64)>,
    pub(crate) shifts: Vec<Shift>,
    pub(crate) steps: Vec<Step>,
}

impl Zero {
    /// Without steps; `burnt` gives the share of a firing's impulse spent by now.
    pub(crate) fn unloaded(&self, t: f64, burnt: impl Fn(usize, f64) -> f64) -> f64 {
        let mut sum = self.base + self.slope * t;
        if let Some((size, time)) = self.warm {
            sum += size * (-t / time).exp();
        }
        for (size, period, phase) in &self.swings {
            sum += size * (std::f64::consts::TAU * t / period + phase).sin();
        }
        if let Some((at, size, time)) = self.hump
            && t > at
        {
            let s = (t - at) / time;
            sum += size * s * (1.0 - s).exp();
        }
        for shift in &self.shifts {
            sum += shift.size
                * match shift.course {
                    Course::WithImpulse => burnt(shift.firing, t),
                    Course::At { moment, within } => smooth((t - moment) / within + 0.5),
                    Course::Relaxing { from, time } => 1.0 - (-(t - from).max(0.0) / time).exp(),
                };
        }
        sum
    }

    pub(crate) fn load(&self, t: f64) -> f64 {
        self.steps
            .iter()
            .filter(|step| t > step.at)
            .map(|step| {
                let s = (t - step.at) / step.within;
                step.size
                    * if step.creeping {
                        1.0 - (-s).exp()
                    } else {
                        smooth(s)
                    }
            })
            .sum()
    }
}
