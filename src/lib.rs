//! Burnwright reduces captive firings of finless model rockets that steer by swivelling their
//! motors: raw recorder files in; verdict, impulse, plant model and report out.
//!
//! # The pipeline
//!
//! The folders of the source, in the order of the data:
//!
//! ```text
//! firing file, logs, calibration points, certified motors
//!      |
//!   config        what was fired, on what rig, with which recorders
//!   log           each recorder's file read, its clock tied to the first one's
//!   calibration   raw counts to newtons, with the curve's covariance
//!   burn          baseline, weight loss, ringing; thrust, its edges, peak and impulse with a budget
//!   motors        which motors lit and when; letter and label; pressure in the chamber
//!   plant         command to nozzle angle to tilt: gain, lag, delay, dead band
//!   reduce        these stages in order: one firing file in, one result out
//!   look          logs without a firing file: columns, clocks, where something burnt
//!   compare       several firings side by side
//!   plan          before the firing: what it will tell, the commands that tell most, rehearsals with known truth
//!   ready         findings on the armed stand at rest
//!   control       plant to gains: margins, limit cycle, start-up
//!   flight        plant and gains flown, once and many times
//!   watch         a firing while it is recorded: what the stand does, the verdict at burnout
//!   archive       a season of results as tables
//!   view          sections and rows of a result, made once for every renderer
//!   render        text, page, JSON, CSV, C header: they format, they never compute
//!   desk          a firing file as a form beside its text, and the pages that are served on this machine
//! ```
//!
//! Below them lie `numeric` (methods that no library serves well), and what every stage is written in:
//! [`quantity`], [`Series`], [`Finding`], [`Diagnostic`].
//!
//! # Entry points
//!
//! | to | call | gives |
//! |---|---|---|
//! | reduce a firing | [`read_firing`], [`reduce`](reduce()) | [`Reduction`] |
//! | see what is in a log | [`look_at`], [`look`](look()), [`begin_firing`] | [`Look`] |
//! | fit a curve to known loads | [`calibrate`] | [`Calibration`] |
//! | set firings side by side | [`compare`](compare()) | [`Comparison`] |
//! | make one plant of several | [`fit`](fit()) | [`CommonPlant`] |
//! | find controller gains | [`PlantFile::read`], [`tune`](tune()) | [`GainsFile`] |
//! | fly them | [`simulate`](simulate()), [`axis_records`] | [`SimulationFile`] |
//! | try a plan | [`rehearse`] | [`OutputFile`]s |
//! | predict a firing to come | [`plan`](plan()) | [`Prediction`] |
//! | make the commands of its burn | [`design`] | [`Design`] |
//! | look at the armed stand | [`ready`](ready()) | [`Readiness`] |
//! | follow a log that grows | [`Watch`], [`first_verdict`] | [`StandNow`], [`Told`] |
//! | gather a season | [`archive`](archive()) | [`Archive`] |
//!
//! Each has an example in `examples/`. Every result is plain data, and a [`Report`]: text for a terminal,
//! JSON, and the files that keep it. What results are made of stands in [`result`].
//!
//! # Example
//!
//! A firing read, reduced, and told: the impulse with its standard uncertainty and the interval that
//! covers the truth with 95 % probability. What the record cannot tell is `None`.
//!
//! ```
//! use burnwright::{Report, Screen, read_firing, reduce};
//!
//! let firing = read_firing("demo-data/twin-captive/firing.toml".as_ref())?;
//! let reduction = reduce(&firing)?;
//!
//! let summary = reduction.text(Screen::default());
//! println!("{}", summary.lines().next().unwrap_or_default());
//! let total = reduction.result.impulse.and_then(|impulse| impulse.total_ns);
//! if let Some(total) = &total {
//!     println!(
//!         "total impulse {:.2} {}, u {:.3}, {:.2} to {:.2}",
//!         total.value, total.unit, total.u, total.low, total.high
//!     );
//! }
//! for (name, motor) in reduction.result.motors.iter().flatten() {
//!     println!("{name}: {}, probability {:?}", motor.lit.word(), motor.probability);
//! }
//! assert!(total.is_some_and(|total| (total.value - 59.49).abs() < 0.05 && total.u < 0.02));
//! # Ok::<(), burnwright::Error>(())
//! ```
//!
//! # Features
//!
//! `report` (default): pages with pictures among the files of a [`Report`]. `cli` (default): the program
//! `burnwright`, which uses nothing but what stands here.

// What is unused for good, or more public than it need be, shows with the feature, as the gate checks.
#![cfg_attr(all(feature = "internals", not(test)), deny(unreachable_pub))]
#![cfg_attr(
    not(feature = "internals"),
    allow(dead_code, unused_imports, reason = "used by what the feature shows")
)]

mod archive;
mod burn;
mod calibration;
mod cautions;
mod compare;
mod config;
mod control;
#[cfg(feature = "report")]
mod desk;
mod diagnostic;
mod finding;
mod flight;
mod log;
mod look;
mod motors;
mod numeric;
mod plan;
mod plant;
mod plausible;
pub mod quantity;
mod ready;
mod reduce;
mod render;
mod series;
mod uncertainty;
mod view;
mod watch;

#[cfg(test)]
#[path = "../tests/suite/studies.rs"]
mod studies;

pub use archive::{Archive, archive};
pub use calibration::{Calibration, calibrate};
pub use compare::{Comparison, compare};
pub use config::{Firing, Site, read_firing};
pub use control::model::Body;
pub use control::pid::Derivative;
pub use control::start_up::Start;
pub use control::{GainsFile, Scheduling, Specification, tune};
#[cfg(feature = "report")]
pub use desk::{
    Desk, DeskCommand, DeskDone, DeskFile, DeskTask, DeskWork, desk_page, desk_part, named_paths,
    served, set_key, table_copied, watch_page,
};
pub use diagnostic::{Code, Diagnostic, Error, ErrorKind, Place, Severity, Warning};
pub use finding::{Finding, Outcome};
pub use flight::{
    AxisRecord, MonteCarlo, SimulationFile, SimulationInputs, SimulationOptions, Spreads, Vehicle,
    axis_records, simulate,
};
pub use look::{LogLook, Look, look, look_at};
pub use numeric::parallel::each;
pub use plan::expected::{Origin, Premise};
pub use plan::rehearsal::{OutputFile, rehearse_file as rehearse};
pub use plan::{Design, PlanOptions, Prediction, design, plan};
pub use plant::{CommonPlant, PlantFile, fit};
pub use quantity::{Measured, Unit, Units};
pub use ready::{Readiness, ReadyOptions, ready};
pub use reduce::{FiringResult, Reduction, Traces, reduce, reduce_watched};
pub use render::report::Report;
#[cfg(feature = "report")]
pub use render::strip::{PictureFormat, picture};
pub use render::text::keys::{UserFile, key_reference};
pub use render::text::start::{Start as FiringDraft, start as begin_firing};
pub use render::text::{Screen, overview};
pub use series::Series;
pub use watch::{Phase, StandNow, Told, Watch, first_verdict};

/// What results are made of, field by field.
pub mod result {
    pub use crate::archive::TableSize;
    pub use crate::burn::impulse::{BudgetLine, ImpulseReport};
    pub use crate::burn::segmentation::{RecordReport, SegmentKind, SegmentReport};
    pub use crate::burn::{BurnReport, LowPassReport, ModeFrom, StandReport, ThrustReport};
    pub use crate::calibration::degree::DegreeReport;
    pub use crate::calibration::e74::LowerLimit;
    pub use crate::calibration::inverse_prediction::InversePrediction;
    pub use crate::calibration::reversibility::Hysteresis;
    pub use crate::calibration::saturation::Saturated;
    pub use crate::calibration::sweep::Sweep;
    pub use crate::calibration::{CalibrationTrace, CellReport, Judgement, Residual, SingleSlope};
    pub use crate::cautions::Caution;
    pub use crate::compare::{Compared, Failed, Fired, MeanCurve, Scatter, Step};
    pub use crate::control::AxisGains;
    pub use crate::flight::result::{AxisSimulation, FlightResult, Track};
    pub use crate::log::{ClockReport, InputReport, LongestGap, RowTally};
    pub use crate::look::{BurnSeen, ColumnLook, EventSeen, Tie};
    pub use crate::motors::chamber::{ChamberBudgetLine, ChamberReport};
    pub use crate::motors::class::{ClassReport, MotorClass};
    pub use crate::motors::lit::{Evidence, IgnitionReport, Lit, MotorReport};
    pub use crate::plant::pool::{PooledAxis, PooledFit, PooledParameter};
    pub use crate::plant::{
        Actuator, AxisPlant, AxisTrace, Covariance, DeadBand, DeadBandKind, FitReport, Flight,
        Parameter, Rig, SampledThrust, SharedTerm, Structure,
    };
    pub use crate::reduce::Tool;
    pub use crate::uncertainty::Kind;
}

/// What studies, benches, fuzzing and some tests see of the inside. No promise holds for it.
#[cfg(feature = "internals")]
#[doc(hidden)]
pub mod internal {
    pub use crate::burn::segmentation::record_report;
    pub use crate::calibration::curve_file::{read as read_curve, write as write_curve};
    pub use crate::calibration::gravity::{Gravity, at as gravity_at};
    pub use crate::calibration::judgement::judge;
    pub use crate::calibration::points_file::read_any as read_points;
    pub use crate::calibration::{Curve, LoadKind, Points};
    pub use crate::config::certified::{Certified, read_certified};
    pub use crate::control::axis_loop::SampledAxis;
    pub use crate::control::model::{AxisModel, AxisNumbers};
    pub use crate::control::pid::Controller;
    pub use crate::flight::monte_carlo::fly_all;
    pub use crate::flight::nominal::scenario;
    pub use crate::flight::{Air, Commands, Motor, Scenario, Sensors, Wind, fly};
    pub use crate::log::read::record_of_bytes;
    pub use crate::log::{RawTable, deciding_columns, read_record, wanted_columns};
    pub use crate::motors::class::letter::class_of as class_letter;
    pub use crate::motors::class::recognition::Recognition;
    pub use crate::numeric::trapezoid::area;
    pub use crate::plan::rehearsal::spec::{
        AxisTruth, Claims, Hold, MotorTruth, Pattern, Shows, Steering as Gains,
    };
    pub use crate::plan::rehearsal::{Rehearsal, Truth, read_rehearsal, rehearse};
    pub use crate::plant::measurement_model::{ScanPoint, best_of, refine};
    pub use crate::plant::nozzle_model::NozzleModel;
    pub use crate::plant::{AxisInput, fit_axes};
    pub use crate::plausible::Plausible;
    pub use crate::reduce::axis_inputs;
    pub use crate::render::c_header::plant_header;
    pub use crate::render::text::calibration as judgement_text;
}
