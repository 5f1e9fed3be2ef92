//! The shape of `truth.json`: plain numbers under the keys of `result.json` and `plant.json`.

use crate::numeric::digits::rounded;
use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

use crate::plant::result::DeadBandKind;

/// Schema number of `truth.json`.
pub(crate) const SCHEMA: u32 = 1;

/// What really happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// Schema number.
    pub schema: u32,
    /// Title of the firing.
    pub title: String,
    /// Where all random numbers started from.
    pub seed: u64,
    /// The fire command, s.
    pub fire_s: f64,
    /// Local gravity, m/s2.
    pub gravity_m_s2: f64,
    /// Each clock but the first.
    pub clocks: IndexMap<String, ClockTruth>,
    /// Each cell.
    pub cells: IndexMap<String, CellTruthShown>,
    /// The stand's mode along thrust; none for a stiff stand.
    #[serde(default)]
    pub stand: Option<StandTruthShown>,
    /// When it burnt; none when nothing lit.
    pub burn: Option<BurnTruth>,
    /// How hard it pushed.
    pub thrust: Option<ThrustTruth>,
    /// What was delivered.
    pub impulse: Option<ImpulseTruth>,
    /// The chamber whose pressure was measured; left out when none was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chamber: Option<ChamberTruthShown>,
    /// Each motor.
    pub motors: IndexMap<String, MotorTruthShown>,
    /// All motors together.
    pub ignition: IgnitionTruth,
    /// Each axis.
    pub plant: IndexMap<String, PlantTruth>,
}

/// The stand's mode along thrust.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StandTruthShown {
    /// Natural frequency, Hz.
    pub natural_frequency_hz: f64,
    /// Damping ratio.
    pub damping_ratio: f64,
}

/// A clock against the first one: t_first = offset_s + (1 + drift_ppm 1e-6) t.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClockTruth {
    /// Time on the first clock at this log's first row, s.
    pub offset_s: f64,
    /// Rate difference, ppm.
    pub drift_ppm: f64,
}

/// A cell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CellTruthShown {
    /// Raw reading against force when the points were made: counts, counts/N, and so on.
    pub raw_from_force: [f64; 4],
    /// Counts by which the zero has moved since.
    pub zero_shift: f64,
    /// Standard deviation of a reading's white noise, counts.
    pub noise: f64,
    /// How late the readings are, s.
    pub delay_s: f64,
    /// By how much all masses are heavier than their marks, as a fraction.
    pub mass_error: f64,
}

/// When it burnt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BurnTruth {
    /// Thrust first at 5 % of peak, s.
    pub ignition_s: f64,
    /// Thrust last at 5 % of peak, s.
    pub burnout_s: f64,
    /// Between the two, s.
    pub burn_time_s: f64,
    /// The same at 10 %, s.
    pub action_time_s: f64,
}

/// How hard it pushed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ThrustTruth {
    /// Largest thrust, N.
    pub peak_n: f64,
    /// Impulse of the burn over burn time, N.
    pub average_n: f64,
}

/// What was delivered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ImpulseTruth {
    /// All impulse, N s.
    pub total_ns: f64,
    /// Impulse of the burn, N s.
    pub burn_window_ns: f64,
    /// Total impulse for each newton of propellant burnt, s.
    pub specific_s: f64,
    /// Total impulse for each kilogram of propellant burnt, m/s.
    pub exhaust_velocity_m_s: f64,
}

/// A chamber; pressures are absolute.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChamberTruthShown {
    /// The motor.
    pub motor: String,
    /// Pressure of the air, kPa.
    pub ambient_kpa: f64,
    /// Area of the throat, mm2.
    pub throat_area_mm2: f64,
    /// Largest pressure, kPa.
    pub peak_kpa: f64,
    /// Mean over the motor's burn, kPa.
    pub mean_kpa: f64,
    /// Integral over the motor's burn, kPa s.
    pub integral_kpa_s: f64,
    /// Throat area times integral over propellant burnt, m/s.
    pub characteristic_velocity_m_s: f64,
    /// Impulse of the burn over throat area times integral.
    pub thrust_coefficient: f64,
}

/// A motor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MotorTruthShown {
    /// Whether it delivered thrust.
    pub lit: bool,
    /// Its thrust first at 5 % of its own peak, s.
    pub ignition_s: Option<f64>,
    /// Fire command to ignition, s.
    pub delay_s: Option<f64>,
    /// Impulse, N s.
    pub total_ns: f64,
    /// Largest thrust, N.
    pub peak_n: f64,
    /// Propellant it held, kg.
    pub propellant_kg: f64,
    /// Propellant it burnt, kg.
    pub burnt_kg: f64,
}

/// All motors together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct IgnitionTruth {
    /// Whether all lit.
    pub all_lit: bool,
    /// How many did.
    pub lit_count: usize,
    /// First to last ignition, s; none when fewer than two lit.
    pub stagger_s: Option<f64>,
}

/// A dead band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DeadBandTruth {
    /// Its kind.
    pub kind: DeadBandKind,
    /// Its total width, deg.
    pub width_deg: f64,
}

/// What held an axis before the burn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HoldTruth {
    /// `free` or `clamp`.
    pub kind: String,
    /// When a clamp let go, s after the fire command.
    pub release_after_fire_s: Option<f64>,
    /// Tilt at the start, deg.
    pub start_tilt_deg: f64,
}

/// An axis: the numbers of the equations in `plant.json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlantTruth {
    /// Nozzle angle per command.
    pub gain: f64,
    /// Command that the linkage adds, deg.
    pub bias_deg: f64,
    /// Lag, s.
    pub lag_s: f64,
    /// Damping ratio of an actuator of second order; `None` of one of first order.
    #[serde(default)]
    pub damping_ratio: Option<f64>,
    /// Dead time, s.
    pub delay_s: f64,
    /// Dead band.
    pub dead_band: DeadBandTruth,
    /// Fastest nozzle movement, deg/s.
    pub slew_deg_s: Option<f64>,
    /// Mechanical limit, deg.
    pub travel_deg: Option<f64>,
    /// Arm over inertia: mean through the burn, weighted with thrust.
    pub effectiveness_per_kg_m: Option<f64>,
    /// The same with all motors loaded.
    pub effectiveness_loaded_per_kg_m: f64,
    /// The same with all motors spent.
    pub effectiveness_spent_per_kg_m: f64,
    /// Tilt acceleration per newton with the nozzle straight: mean weighted with thrust.
    pub thrust_bias_per_kg_m: Option<f64>,
    /// Damping.
    pub damping_per_s: f64,
    /// Stiffness.
    pub stiffness_per_s2: f64,
    /// Dry friction.
    pub coulomb_rad_per_s2: f64,
    /// What held it before the burn.
    pub hold: HoldTruth,
    /// Largest tilt either way while it burnt, deg.
    pub largest_tilt_in_burn_deg: Option<f64>,
}

/// Significant digits of every number in the file: more than any reduction can see, and fewer than
/// a last bit of rounding could change.
const DIGITS: usize = 8;

/// A number cut to [`DIGITS`] significant digits.
pub(super) fn short(value: f64) -> f64 {
    rounded(value, DIGITS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_cut_to_eight_digits() {
        assert_eq!(short(1.0 / 3.0), 0.333_333_33);
        assert_eq!(short(0.0), 0.0);
    }
}
