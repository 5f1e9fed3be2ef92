//! What the fit of one axis rests on.

pub(crate) use crate::quantity::estimate::Estimate;
use crate::series::Series;

/// The free rocket, loaded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VehicleInput {
    /// Mass, kg.
    pub mass_kg: Option<Estimate>,
    /// Moment of inertia about its own centre of gravity, kg m2.
    pub inertia_kg_m2: Estimate,
    /// Centre of gravity to swivel point, m.
    pub arm_m: Estimate,
}

/// A sweep of the nozzle on the bench.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BenchSweep {
    /// Nozzle angle per command.
    pub gain: Estimate,
    /// Total width of the loop, deg of command.
    pub width_deg: Estimate,
}

/// The rig's own movement as a free swing without thrust shows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FreeSwing {
    /// Damping, 1/s.
    pub damping_per_s: Estimate,
    /// Stiffness, 1/s2.
    pub stiffness_per_s2: Estimate,
    /// Dry friction, rad/s2.
    pub coulomb_rad_per_s2: Estimate,
}

/// How unlike each other motors beside the axis may burn, times their lever over inertia: standard
/// uncertainties, 0 for motors on the axis.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct UnlikeMotors {
    /// One side later than the other, s/(kg m).
    pub later_u_s_per_kg_m: f64,
    /// One side longer than the other, as a share of its duration, 1/(kg m).
    pub longer_u_per_kg_m: f64,
}

/// One axis: signals on one common clock, and what is known of the rig.
#[derive(Debug, Clone, Default)]
pub struct AxisInput {
    /// Name of the axis.
    pub name: String,
    /// Every logged command from the log's first row, deg; each in force until the next.
    pub command_deg: Series,
    /// Measured nozzle angle, rad.
    pub nozzle_rad: Option<Series>,
    /// Measured tilt, rad.
    pub tilt_rad: Option<Series>,
    /// Measured tilt rate, rad/s.
    pub rate_rad_s: Option<Series>,
    /// Standard uncertainty of the clock of the nozzle angle against that of the command, s.
    pub command_to_nozzle_u_s: f64,
    /// The same for the tilt.
    pub command_to_tilt_u_s: f64,
    /// The same for the tilt rate.
    pub command_to_rate_u_s: f64,
    /// Of the tilt against the nozzle angle, s.
    pub nozzle_to_tilt_u_s: f64,
    /// Of the tilt rate against the nozzle angle, s.
    pub nozzle_to_rate_u_s: f64,
    /// Of the tilt rate against the tilt, s.
    pub tilt_to_rate_u_s: f64,
    /// Thrust, N; `None` for a dry run, where the actuator alone is fitted.
    pub thrust_n: Option<Series>,
    /// Relative standard uncertainty of the thrust that all its readings share.
    pub thrust_relative_u: f64,
    /// Share of all propellant loaded that has burnt so far, 0 to 1.
    pub impulse_fraction: Option<Series>,
    /// How unlike each other motors beside the axis may burn.
    pub unlike: UnlikeMotors,
    /// The burn, s; for a dry run the whole record.
    pub window_s: (f64, f64),
    /// Mechanical limit of the nozzle either side, rad.
    pub travel_rad: Option<f64>,
    /// Rig pivot to nozzle swivel point, m.
    pub arm_m: Option<Estimate>,
    /// Moment of inertia of all that swings, about the rig pivot, at ignition, kg m2.
    pub inertia_kg_m2: Option<Estimate>,
    /// The same at burnout.
    pub inertia_spent_kg_m2: Option<Estimate>,
    /// Whether that is no statement, but what the propellant's mass at the nozzle's distance takes off.
    pub spent_is_assumed: bool,
    /// The part of it that stays on the ground, kg m2.
    pub frame_inertia_kg_m2: Option<Estimate>,
    /// Pivot to centre of gravity, positive when the centre of gravity is above, m.
    pub pivot_to_cg_m: Option<Estimate>,
    /// Mass of all that swings, kg.
    pub swinging_mass_kg: Option<Estimate>,
    /// What a sweep of the nozzle on the bench told.
    pub bench_sweep: Option<BenchSweep>,
    /// Propellant of all motors loaded, kg.
    pub propellant_kg: Option<Estimate>,
    /// What a free swing of the rig told.
    pub free_swing: Option<FreeSwing>,
    /// The free rocket.
    pub vehicle: Option<VehicleInput>,
}

/// How far the clocks of the motion sensors may stand off that of what steers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MotionClocks {
    /// Standard uncertainty between what steers and the sensor that is tied to it best, s.
    pub steering_u_s: f64,
    /// Standard uncertainty between the two sensors, s.
    pub apart_u_s: f64,
    /// Whether the rate is the one tied worse.
    pub moves_rate: bool,
}

impl AxisInput {
    /// Clocks of tilt and rate against that of the nozzle angle, when that is known, or of the command.
    #[must_use]
    pub fn clocks(&self, nozzle_known: bool) -> MotionClocks {
        let (tilt_u_s, rate_u_s) = if nozzle_known {
            (self.nozzle_to_tilt_u_s, self.nozzle_to_rate_u_s)
        } else {
            (self.command_to_tilt_u_s, self.command_to_rate_u_s)
        };
        match (&self.tilt_rad, &self.rate_rad_s) {
            (Some(_), Some(_)) => MotionClocks {
                steering_u_s: tilt_u_s.min(rate_u_s),
                apart_u_s: self.tilt_to_rate_u_s,
                moves_rate: rate_u_s > tilt_u_s,
            },
            (tilt, _) => MotionClocks {
                steering_u_s: if tilt.is_some() { tilt_u_s } else { rate_u_s },
                apart_u_s: 0.0,
                moves_rate: false,
            },
        }
    }

    /// Share of the inertia's change that has happened by a time.
    #[must_use]
    pub fn burnt_at(&self, time_s: f64) -> f64 {
        let share = self.impulse_fraction.as_ref();
        share.and_then(|series| series.at(time_s)).unwrap_or(0.0)
    }

    /// Standard uncertainty of the inertia at burnout over that at ignition.
    #[must_use]
    pub fn spent_ratio_u(&self) -> f64 {
        let (Some(first), Some(spent)) = (self.inertia_kg_m2, self.inertia_spent_kg_m2) else {
            return 0.0;
        };
        // What was taken off is not another statement of the whole.
        let shared = if self.spent_is_assumed {
            first.value - spent.value
        } else {
            spent.value
        };
        (spent.u / first.value).hypot(shared * first.u / first.value.powi(2))
    }

    /// Inertia at ignition over inertia now: by how much the same torque turns the rig faster.
    #[must_use]
    pub fn lightening_at(&self, time_s: f64) -> f64 {
        let (Some(first), Some(spent)) = (self.inertia_kg_m2, self.inertia_spent_kg_m2) else {
            return 1.0;
        };
        let now = first.value + (spent.value - first.value) * self.burnt_at(time_s);
        if now > 0.0 { first.value / now } else { 1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // By hand: 0.08 kg m2 u 5 % less 0.004 u 0.0005. Stated anew the whole of both counts; taken off, only what was taken.
    #[test]
    fn what_is_taken_off_an_inertia_is_no_second_statement_of_it() {
        let of = |value, u| Some(Estimate { value, u });
        let mut input = AxisInput {
            inertia_kg_m2: of(0.08, 0.004),
            inertia_spent_kg_m2: of(0.076, 0.0005),
            ..AxisInput::default()
        };
        let stated = (0.0005_f64 / 0.08).hypot(0.076 * 0.004 / 0.0064);
        approx::assert_relative_eq!(input.spent_ratio_u(), stated, max_relative = 1e-12);
        input.spent_is_assumed = true;
        let assumed = (0.0005_f64 / 0.08).hypot(0.004 * 0.004 / 0.0064);
        approx::assert_relative_eq!(input.spent_ratio_u(), assumed, max_relative = 1e-12);
    }
}
