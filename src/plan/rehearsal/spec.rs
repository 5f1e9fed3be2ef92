//! What a rehearsal says: the truth of an invented firing, and what its firing file will claim.
//!
//! Numbers are in the unit of their names. A [`Claims`] list holds what the firing file will say
//! about a table, word for word: the truth itself, unless the rehearsal's `says` table gives
//! another value or an uncertainty.

use std::path::PathBuf;

use indexmap::IndexMap;

use crate::config::logs::AlignMethod;
use crate::config::{CellsOn, Certified, Mount, Reads};
use crate::plant::result::DeadBandKind;

/// Keys and texts that go into the firing file as they are.
pub type Claims = Vec<(&'static str, String)>;

/// An invented firing. Maps keep the order of the file.
#[derive(Debug, Clone)]
pub struct Rehearsal {
    /// The rehearsal file, as the user named it.
    pub file: String,
    /// Title of the firing.
    pub title: String,
    /// Date, as written.
    pub date: Option<String>,
    /// Where all random numbers start from.
    pub seed: u64,
    /// The fire command, s after the first row of the first recorder.
    pub fire_s: f64,
    /// Length of the first recorder's log, s.
    pub lasts_s: f64,
    /// Steps of the integration a second.
    pub steps_per_second: f64,
    /// How long the fire line stays up, s.
    pub fire_line_s: f64,
    /// Local gravity, m/s2.
    pub gravity_m_s2: f64,
    /// What the firing file says of the place.
    pub site_claims: Claims,
    /// Recorders. The first one's clock is the clock of the truth.
    pub recorders: IndexMap<String, Recorder>,
    /// Load cells.
    pub cells: IndexMap<String, CellTruth>,
    /// The rig along thrust.
    pub stand: StandTruth,
    /// A tap test before the firing.
    pub tap: Option<TapPlan>,
    /// Motors.
    pub motors: IndexMap<String, MotorTruth>,
    /// The chamber whose pressure is measured.
    pub chamber: Option<ChamberTruth>,
    /// Steering axes.
    pub axes: IndexMap<String, AxisTruth>,
    /// The flight computer.
    pub computer: Option<Computer>,
    /// What the firing file says of the free rocket; empty when nothing.
    pub vehicle_claims: Claims,
}

/// One recorder.
#[derive(Debug, Clone)]
pub struct Recorder {
    /// Name of its file.
    pub file: String,
    /// Rows for each second of its own clock.
    pub rate_hz: f64,
    /// Standard deviation of each row's instant about the even grid, s; the time stamp follows it.
    pub jitter_s: f64,
    /// When its first row is taken, s on the first recorder's clock.
    pub starts_s: f64,
    /// How much slower than the first recorder's its clock runs, ppm.
    pub drift_ppm: f64,
    /// Share of rows that are lost.
    pub dropped: f64,
    /// Its time column; none when the file has none.
    pub time: Option<TimeStamp>,
    /// How the firing file ties its clock to another.
    pub align: Option<AlignClaim>,
    /// Columns, in the order of the file.
    pub columns: IndexMap<String, Column>,
    /// What is untidy about its file.
    pub dirt: Dirt,
}

/// What is untidy about a recorder's file.
#[derive(Debug, Clone)]
pub struct Dirt {
    /// Lines of chatter above the header.
    pub head_lines: usize,
    /// Between the fields.
    pub delimiter: char,
    /// Whether numbers have a decimal comma.
    pub decimal_comma: bool,
    /// Whether lines end in carriage return and line feed.
    pub crlf: bool,
    /// Share of rows in which a cell reads its converter's largest number.
    pub wild: f64,
    /// Share of rows that are written twice.
    pub doubled: f64,
    /// Share of rows that change places with the next.
    pub swapped: f64,
    /// Whether the last line stops in its middle.
    pub cut_off: bool,
}

impl Default for Dirt {
    fn default() -> Self {
        Self {
            head_lines: 0,
            delimiter: ',',
            decimal_comma: false,
            crlf: false,
            wild: 0.0,
            doubled: 0.0,
            swapped: 0.0,
            cut_off: false,
        }
    }
}

/// A recorder's time column.
#[derive(Debug, Clone)]
pub struct TimeStamp {
    /// Its name.
    pub column: String,
    /// Its unit, as written.
    pub unit: String,
    /// Size of the unit, s.
    pub unit_s: f64,
    /// Decimals.
    pub digits: usize,
    /// Reading at the first row, in its unit.
    pub start: f64,
    /// Width of the counter, which wraps when it is full.
    pub counter_bits: Option<u32>,
}

/// How the firing file will tie a clock to another.
#[derive(Debug, Clone)]
pub struct AlignClaim {
    /// The other recorder.
    pub to: String,
    /// The method.
    pub by: AlignMethod,
    /// What else the table holds: here and there, or offset and drift.
    pub rest: Claims,
}

/// What a column shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Shows {
    /// Raw readings of a cell.
    Cell(String),
    /// Tilt of an axis.
    Tilt(String),
    /// Tilt rate of an axis.
    Rate(String),
    /// Nozzle angle of an axis.
    Nozzle(String),
    /// Command of an axis.
    Command(String),
    /// The fire line: 0, then 1.
    Fire,
    /// Pressure in the chamber.
    Pressure,
}

/// One column of a log.
#[derive(Debug, Clone)]
pub struct Column {
    /// What it shows.
    pub shows: Shows,
    /// Its unit, as written; empty for raw counts and lines.
    pub unit: String,
    /// Size of the unit in SI.
    pub unit_si: f64,
    /// Standard deviation of the noise, SI.
    pub noise_si: f64,
    /// What the reading has too much, SI.
    pub bias_si: f64,
    /// Smallest step of the reading, SI; 0 when it has none.
    pub step_si: f64,
    /// Decimals.
    pub digits: usize,
    /// Whether the firing file refers to it.
    pub used: bool,
}

impl Column {
    /// One of raw counts, or a line, read without error.
    #[must_use]
    pub(crate) const fn plain(shows: Shows) -> Self {
        Self {
            shows,
            unit: String::new(),
            unit_si: 1.0,
            noise_si: 0.0,
            bias_si: 0.0,
            step_si: 0.0,
            digits: 0,
            used: true,
        }
    }
}

/// One load cell.
#[derive(Debug, Clone)]
pub struct CellTruth {
    /// Raw reading against force: counts, counts/N, counts/N2, counts/N3.
    pub curve: [f64; 4],
    /// Counts by which the zero has moved between calibration and firing.
    pub zero_shift: f64,
    /// Standard deviation of a reading's white noise, counts.
    pub noise: f64,
    /// Standard deviation of the slow wander, counts.
    pub wander: f64,
    /// Correlation time of the wander, s.
    pub wander_time_s: f64,
    /// Steady drift, counts/s.
    pub drift_per_s: f64,
    /// How late the readings are, s.
    pub delay_s: f64,
    /// The converter's own rate when it is not the recorder's, Hz.
    pub converts_hz: Option<f64>,
    /// Smallest step of a reading, counts.
    pub step: f64,
    /// Smallest and largest reading, counts.
    pub range: (f64, f64),
    /// Motors whose thrust it feels; all when absent.
    pub carries: Option<Vec<String>>,
    /// How its points were made.
    pub points: PointsPlan,
    /// What the firing file says.
    pub claims: Claims,
}

/// How the points of a cell were made.
#[derive(Debug, Clone)]
pub struct PointsPlan {
    /// Nominal masses put on, kg.
    pub loads_kg: Vec<f64>,
    /// How often the whole series was run.
    pub runs: usize,
    /// Whether each run also came down again.
    pub down: bool,
    /// By how much all masses are heavier than their marks, as a fraction.
    pub mass_error: f64,
    /// Standard deviation of a noted reading, counts.
    pub noise: f64,
    /// How much higher readings are on the way down, at half load, counts.
    pub hysteresis: f64,
    /// What a run's zero moves by from run to run, counts.
    pub creep: f64,
}

/// The rig along thrust.
#[derive(Debug, Clone, Default)]
pub struct StandTruth {
    /// Which way the nozzle points.
    pub mount: Mount,
    /// What the cells are fixed to.
    pub cells_on: CellsOn,
    /// Natural frequency, Hz; none for a stiff rig.
    pub natural_frequency_hz: Option<f64>,
    /// Damping ratio.
    pub damping_ratio: f64,
    /// What the firing file says.
    pub claims: Claims,
}

/// A tap test, in a log of its own.
#[derive(Debug, Clone)]
pub struct TapPlan {
    /// Name of the log.
    pub log: String,
    /// Name of its file.
    pub file: String,
    /// Name of its column.
    pub column: String,
    /// The cell that is read.
    pub cell: String,
    /// Readings for each second.
    pub rate_hz: f64,
    /// Length of the log, s.
    pub lasts_s: f64,
    /// When the rig is tapped, s.
    pub taps_s: Vec<f64>,
    /// Largest force of a tap, N.
    pub size_n: f64,
    /// How long the hammer touches, s.
    pub contact_s: f64,
}

/// One motor.
#[derive(Debug, Clone)]
pub struct MotorTruth {
    /// The certified file, as a path.
    pub certified_path: PathBuf,
    /// What it says.
    pub certified: Certified,
    /// Impulse over that of the certified curve.
    pub impulse_scale: f64,
    /// Duration over that of the certified curve.
    pub time_scale: f64,
    /// Fire command to first gas, s.
    pub delay_s: f64,
    /// Whether its igniter works.
    pub lights: bool,
    /// When it goes out, s after first gas; none when it burns to its end.
    pub goes_out_s: Option<f64>,
    /// Standard deviation of rough burning, as a share of thrust.
    pub roughness: f64,
    /// Band of the roughness, Hz.
    pub roughness_band_hz: (f64, f64),
    /// Propellant, kg.
    pub propellant_kg: f64,
    /// Distance of its axis from the rocket's, by steering axis, m.
    pub offset_m: IndexMap<String, f64>,
    /// What the firing file says.
    pub claims: Claims,
    /// What the firing file says of the offsets.
    pub offset_claims: Claims,
}

/// The chamber of one motor.
#[derive(Debug, Clone)]
pub struct ChamberTruth {
    /// The motor.
    pub motor: String,
    /// Diameter of the throat, m.
    pub throat_m: f64,
    /// Thrust over throat area and pressure above ambient.
    pub coefficient: f64,
    /// Pressure of the air, Pa.
    pub ambient_pa: f64,
    /// What the transducer counts from.
    pub reads: Reads,
    /// What it reads for each pascal.
    pub span: f64,
    /// What it reads too much, Pa.
    pub zero_pa: f64,
    /// What the firing file says.
    pub claims: Claims,
}

/// What holds the rig before the burn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Hold {
    /// Nothing.
    #[default]
    Free,
    /// A clamp, let go at a stated time.
    Clamp,
}

impl Hold {
    /// The word used in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Free => "free",
            Self::Clamp => "clamp",
        }
    }
}

/// One steering axis: the equations of `plant.json`, with numbers.
#[derive(Debug, Clone)]
pub struct AxisTruth {
    /// Nozzle angle per command.
    pub gain: f64,
    /// Command that the linkage adds, deg.
    pub bias_deg: f64,
    /// Lag, s.
    pub lag_s: f64,
    /// Damping ratio of an actuator of second order; `None` of one of first order.
    pub damping_ratio: Option<f64>,
    /// Dead time, s.
    pub delay_s: f64,
    /// Kind of dead band.
    pub dead_band: DeadBandKind,
    /// Its total width, deg.
    pub dead_band_width_deg: f64,
    /// Mechanical limit either side, rad.
    pub travel_rad: Option<f64>,
    /// Fastest nozzle movement, rad/s.
    pub slew_rad_s: Option<f64>,
    /// Rig pivot to swivel point, m.
    pub arm_m: f64,
    /// Moment of inertia about the pivot, motors loaded, kg m2.
    pub inertia_kg_m2: f64,
    /// The same with all propellant burnt, kg m2.
    pub inertia_spent_kg_m2: f64,
    /// Angle between thrust and nozzle axis, rad.
    pub misalignment_rad: f64,
    /// Share of the other axes' nozzle angles that turns this one, too.
    pub coupling: f64,
    /// Damping, 1/s.
    pub damping_per_s: f64,
    /// Stiffness, 1/s2; positive when the rig would fall over.
    pub stiffness_per_s2: f64,
    /// Dry friction, rad/s2.
    pub coulomb_rad_s2: f64,
    /// Standard deviation of the thrust direction's noise, rad.
    pub direction_noise_rad: f64,
    /// Standard deviation of its drift, rad.
    pub direction_drift_rad: f64,
    /// Correlation time of that drift, s.
    pub direction_drift_time_s: f64,
    /// Standard deviation of the wind's push, rad/s2.
    pub wind_rad_s2: f64,
    /// Its correlation time, s.
    pub wind_time_s: f64,
    /// What holds the rig before the burn.
    pub hold: Hold,
    /// When a clamp lets go, s after the fire command.
    pub release_s: f64,
    /// Tilt at the start, rad.
    pub start_tilt_rad: f64,
    /// What the firing file says.
    pub claims: Claims,
}

/// The flight computer. One turn of its loop is one row of its recorder.
#[derive(Debug, Clone)]
pub struct Computer {
    /// The recorder that logs it.
    pub recorder: String,
    /// When steering starts, s after the fire command.
    pub starts_s: f64,
    /// How long it steers, s.
    pub lasts_s: f64,
    /// Largest command, deg.
    pub limit_deg: f64,
    /// Smallest step of a command, deg; 0 when it has none.
    pub step_deg: f64,
    /// Standard deviation of its tilt estimate, rad.
    pub attitude_noise_rad: f64,
    /// What it does on each axis.
    pub steering: IndexMap<String, Steering>,
}

/// Kinds of test pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Pattern {
    /// Feedback only.
    #[default]
    None,
    /// Plus, minus, plus, minus, of one size and one duration.
    Doublets,
    /// Reversing steps of random size and duration.
    Steps,
    /// A table of its own.
    Given,
}

/// What the computer does on one axis.
#[derive(Debug, Clone, Default)]
pub struct Steering {
    /// Test pattern.
    pub pattern: Pattern,
    /// The table, when it has one of its own: when each value begins, s, and the value, deg.
    pub given: Vec<(f64, f64)>,
    /// Its largest step from zero, deg.
    pub amplitude_deg: f64,
    /// Its smallest, deg.
    pub smallest_deg: f64,
    /// Its longest stay, s.
    pub dwell_s: f64,
    /// Its shortest, s.
    pub shortest_s: f64,
    /// Command per tilt.
    pub kp: f64,
    /// Command per tilt integral, 1/s.
    pub ki: f64,
    /// Command per tilt rate, s.
    pub kd: f64,
}

#[cfg(test)]
#[path = "spec_tests.rs"]
pub(super) mod tests;
