//! What happened in a rehearsal, finely sampled, and what is read off it.

use super::motor::BurningMotor;
use super::spec::Rehearsal;
use crate::flight::rig::Rig;
use crate::series::Series;

/// What happened, finely sampled, on the first recorder's clock.
#[derive(Default)]
pub(super) struct Trace {
    /// Thrust of each motor, N.
    pub thrust_n: Vec<Series>,
    /// Impulse each motor has delivered, N s.
    pub impulse_ns: Vec<Series>,
    /// Impulse each motor would deliver if it burnt to its end, N s.
    pub full_impulse_ns: Vec<f64>,
    /// Force each cell feels, N.
    pub felt_n: Vec<Series>,
    /// Nozzle angle, tilt and tilt rate of each axis, rad and rad/s.
    pub nozzle_rad: Vec<Series>,
    /// Tilt.
    pub tilt_rad: Vec<Series>,
    /// Tilt rate.
    pub rate_rad_s: Vec<Series>,
    /// Tilt acceleration that thrust gives with the nozzle straight, rad/s2.
    pub side_rad_s2: Vec<Series>,
    /// Arm over inertia, 1/(kg m).
    pub effectiveness_per_kg_m: Vec<Series>,
}

impl Trace {
    /// Before its first sample.
    pub(super) fn new(rig: &Rig<BurningMotor>, cells: usize) -> Self {
        let (motors, axes) = (rig.motors.len(), rig.axes.len());
        let many = |count| vec![Series::default(); count];
        Self {
            thrust_n: many(motors),
            impulse_ns: many(motors),
            full_impulse_ns: rig
                .motors
                .iter()
                .map(|motor| motor.full_impulse_ns)
                .collect(),
            felt_n: many(cells),
            nozzle_rad: many(axes),
            tilt_rad: many(axes),
            rate_rad_s: many(axes),
            side_rad_s2: many(axes),
            effectiveness_per_kg_m: many(axes),
        }
    }

    /// Takes a sample.
    pub(super) fn note(&mut self, rig: &Rig<BurningMotor>) {
        let now = rig.time_s;
        let thrusts = rig.thrusts_n(now);
        for (at, thrust) in thrusts.iter().enumerate() {
            self.thrust_n[at].push(now, *thrust);
            self.impulse_ns[at].push(now, rig.delivered_ns(at));
        }
        for (at, felt) in self.felt_n.iter_mut().enumerate() {
            felt.push(now, rig.felt_n(at));
        }
        for at in 0..self.tilt_rad.len() {
            let (side, effectiveness) = rig.thrust_terms(at, &thrusts);
            self.nozzle_rad[at].push(now, rig.nozzle_rad(at));
            self.tilt_rad[at].push(now, rig.tilt_rad(at));
            self.rate_rad_s[at].push(now, rig.rate_rad_s(at));
            self.side_rad_s2[at].push(now, side);
            self.effectiveness_per_kg_m[at].push(now, effectiveness);
        }
    }
}

/// The largest value.
pub(super) fn peak(trace: &Series) -> f64 {
    trace.value().iter().copied().fold(0.0, f64::max)
}

/// When a trace first reaches and last leaves a share of its peak, between samples by straight
/// lines; `None` when there is no peak.
pub(super) fn above(trace: &Series, share: f64) -> Option<(f64, f64)> {
    let level = share * peak(trace);
    if level <= 0.0 {
        return None;
    }
    let (time, value) = (trace.time_s(), trace.value());
    let first = value.iter().position(|value| *value >= level)?;
    let last = value.iter().rposition(|value| *value >= level)?;
    let crossing = |a: usize, b: usize| {
        let (low, high) = (value[a], value[b]);
        time[a] + (time[b] - time[a]) * (level - low) / (high - low)
    };
    let begin = first
        .checked_sub(1)
        .map_or(time[first], |before| crossing(before, first));
    let end = if last + 1 < value.len() {
        crossing(last, last + 1)
    } else {
        time[last]
    };
    Some((begin, end))
}

/// The last value.
pub(super) fn last(trace: &Series) -> f64 {
    trace.value().last().copied().unwrap_or(0.0)
}

/// Propellant a motor has burnt, kg.
pub(super) fn burnt_kg(rehearsal: &Rehearsal, trace: &Trace, motor: usize) -> f64 {
    let share = last(&trace.impulse_ns[motor]) / trace.full_impulse_ns[motor];
    rehearsal.motors[motor].propellant_kg * share
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    // Triangle of height 10 over 0..2: 5 % of peak is 0.5, reached at 0.05 and left at 1.95.
    #[test]
    fn thresholds_are_met_between_samples() {
        let triangle = Series::new(&[0.0, 1.0, 2.0], &[0.0, 10.0, 0.0]);
        let (begin, end) = above(&triangle, 0.05).unwrap();
        assert_abs_diff_eq!(begin, 0.05, epsilon = 1e-12);
        assert_abs_diff_eq!(end, 1.95, epsilon = 1e-12);
        assert_eq!(above(&Series::new(&[0.0, 1.0], &[0.0, 0.0]), 0.05), None);
    }
}
