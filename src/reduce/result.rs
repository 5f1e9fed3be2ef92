//! The result of a reduction as data: what `result.json` holds, and the traces pictures show.

use std::path::Path;

use indexmap::IndexMap;
use serde::{Deserialize, Serialize};

pub(super) use crate::cautions::Caution;

use crate::burn::impulse::ImpulseReport;
use crate::burn::segmentation::RecordReport;
use crate::burn::{Burn, BurnReport, StandReport, ThrustReport};
use crate::calibration::{CalibratedCell, CalibrationTrace, CellReport};
use crate::config::{Firing, Motor};
use crate::diagnostic::{Code, Diagnostic, Warning};
use crate::finding::{self, Finding};
use crate::log::{ClockReport, InputReport};
use crate::motors::chamber::ChamberReport;
use crate::motors::class::ClassReport;
use crate::motors::lit::part::Pattern;
use crate::motors::lit::{IgnitionReport, MotorReport, Verdict};
use crate::numeric::trapezoid;
use crate::plant::{AxisFit, AxisPlant, AxisTrace, PlantFile};
use crate::series::Series;

/// Schema number of `result.json`.
pub(crate) const SCHEMA: u32 = 1;

/// Everything `result.json` holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct FiringResult {
    /// Schema number.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    pub schema: u32,
    /// The program that made it.
    pub tool: Tool,
    /// Name of the firing file.
    #[serde(default)]
    pub firing: String,
    /// Title of the firing.
    pub title: String,
    /// Date of the firing, as written in the firing file.
    pub date: Option<String>,
    /// Files it rests on.
    pub inputs: Vec<InputReport>,
    /// How the clocks are tied together.
    pub clocks: IndexMap<String, ClockReport>,
    /// Calibration of each cell.
    pub cells: IndexMap<String, CellReport>,
    /// What the load shows, split into rest, burns and other things; `None` without cells.
    #[serde(default)]
    pub record: Option<RecordReport>,
    /// The stand's ringing; `None` when nothing is known of it.
    #[serde(default)]
    pub stand: Option<StandReport>,
    /// When it burnt; `None` for a dry run or when nothing lit.
    pub burn: Option<BurnReport>,
    /// How hard it pushed.
    pub thrust: Option<ThrustReport>,
    /// What was delivered.
    pub impulse: Option<ImpulseReport>,
    /// What the pressure in the chamber says; `None` when it was not measured.
    #[serde(default)]
    pub chamber: Option<ChamberReport>,
    /// Each motor; `None` for a dry run.
    pub motors: Option<IndexMap<String, MotorReport>>,
    /// All motors together.
    pub ignition: Option<IgnitionReport>,
    /// Class and label.
    pub class: Option<ClassReport>,
    /// Plant of each axis.
    pub plant: IndexMap<String, AxisPlant>,
    /// Findings of every stage but class and plant, which hold their own.
    pub findings: Vec<Finding>,
    /// What deserves attention.
    pub warnings: Vec<Warning>,
    /// What the numbers must not be taken for, and how to stay unhurt.
    pub cautions: Vec<Caution>,
}

/// Burns of one log that begin within this time are one, s.
const SAME_BURN_S: f64 = 0.1;

impl FiringResult {
    /// Whether every finding of every stage holds.
    #[must_use]
    pub fn every_finding_holds(&self) -> bool {
        finding::all_hold(self.all_findings())
    }

    /// What is said of a firing whose log was given before under another name, of those that were: it would count twice.
    #[must_use]
    pub fn repeated<'a>(
        &self,
        mut before: impl Iterator<Item = (&'a str, &'a Self)>,
    ) -> Option<Diagnostic> {
        before.find_map(|(name, other)| {
            let log = self.repeated_log(other)?;
            let says = format!("its log {log} is that of {name}, byte for byte");
            let twice = Diagnostic::error(Code::NamedTwice, says);
            Some(
                twice.hint("name each firing once: a second time it would count as another firing"),
            )
        })
    }

    /// A log that shows the burn of another firing once more: every log of the one is a log of the other, and the burns
    /// begin at one time in it. Several firings in one log are not the same.
    fn repeated_log(&self, other: &Self) -> Option<&str> {
        let same = |log: &InputReport| other.inputs.iter().any(|one| one.sha256 == log.sha256);
        let ignition_s = |one: &Self| Some(one.burn.as_ref()?.ignition_s.as_ref()?.value);
        let apart = ignition_s(self)
            .zip(ignition_s(other))
            .is_some_and(|(one, other)| (one - other).abs() > SAME_BURN_S);
        let repeated = !apart && self.inputs.iter().all(same);
        repeated
            .then(|| self.inputs.first().map(|log| log.file.as_str()))
            .flatten()
    }

    /// The findings of every stage.
    pub fn all_findings(&self) -> impl Iterator<Item = &Finding> {
        let class = self.class.iter().flat_map(|class| &class.findings);
        let plant = self.plant.values().flat_map(|axis| &axis.findings);
        self.findings.iter().chain(class).chain(plant)
    }
}

/// The program that made a file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Tool {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

impl Tool {
    /// This program.
    #[must_use]
    pub fn this() -> Self {
        Self {
            name: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        }
    }
}

/// A reduced firing: the result, and the traces that pictures and tables are drawn from.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Reduction {
    /// What `result.json` holds.
    pub result: FiringResult,
    /// What `plant.json` holds; `None` when no axis could be fitted.
    pub plant: Option<PlantFile>,
    /// What the pictures show.
    pub traces: Traces,
}

/// Traces for pictures and for `thrust.csv`. Times are seconds on the first log's clock.
#[derive(Debug, Clone, Default)]
#[non_exhaustive]
pub struct Traces {
    /// Thrust, N, the stand's ringing corrected around the burn where its mode is known.
    pub thrust_n: Series,
    /// Standard uncertainty of each thrust value, N.
    pub thrust_u_n: Vec<f64>,
    /// The same as it was read, N; `None` when nothing was corrected.
    pub read_n: Option<Series>,
    /// Thrust behind the low pass, N; `None` when none was asked for.
    pub low_passed_n: Option<Series>,
    /// Thrust of each motor that can be told apart, N, at the times of `thrust_n`.
    pub motor_thrust_n: IndexMap<String, Series>,
    /// Sum of the certified curves of the motors that lit, moved to their ignition times, N.
    pub certified_n: Option<Series>,
    /// The same of all motors that were loaded, those that did not light as if at the first ignition, N; `None` where
    /// every one lit.
    pub loaded_n: Option<Series>,
    /// Reading of all cells together before the baseline was taken off, N.
    pub load_n: Series,
    /// The baseline taken off, N.
    pub zero_line_n: Series,
    /// Absolute pressure in the chamber, kPa; empty when it was not measured.
    pub pressure_kpa: Series,
    /// Impulse delivered so far, N s.
    pub cumulated_ns: Series,
    /// Calibration points of each cell.
    pub calibration: IndexMap<String, CalibrationTrace>,
    /// Signals and model of each axis.
    pub axes: IndexMap<String, AxisTrace>,
}

impl Traces {
    /// The traces of every stage but the chamber.
    pub(super) fn new(
        cells: &IndexMap<String, CalibratedCell>,
        burn: Option<&Burn>,
        verdict: Option<&Verdict>,
        axes: &IndexMap<String, AxisFit>,
    ) -> Self {
        let mut out = Self {
            calibration: cells
                .iter()
                .map(|(name, cell)| (name.clone(), cell.trace.clone()))
                .collect(),
            axes: axes
                .iter()
                .map(|(name, axis)| (name.clone(), axis.trace.clone()))
                .collect(),
            ..Self::default()
        };
        if let Some(burn) = burn {
            let thrust = &burn.trace.thrust;
            let (from, to) = burn.description.measurable_s;
            let burning = thrust.between(from, to);
            out.cumulated_ns = Series::new(burning.time_s(), &trapezoid::cumulated(&burning));
            (out.thrust_n, out.thrust_u_n) = burn.shown();
            out.read_n = burn.description.correction.as_ref().map(|_| thrust.clone());
            let low_passed = burn.description.low_passed.as_ref();
            out.low_passed_n = low_passed.map(|low| low.thrust.clone());
            out.load_n = burn.trace.load().series();
            out.zero_line_n = burn.trace.baseline_n.clone();
        }
        if let Some(verdict) = verdict {
            out.motor_thrust_n = verdict.motor_thrust_n.clone();
            out.certified_n = verdict.certified_n.clone();
        }
        out
    }
}

/// Share of its peak that a motor has when it has lit.
const LIT: f64 = 0.05;

/// Certified thrust of all motors that were loaded; `None` where every one lit, or one has no curve.
pub(super) fn loaded_n(firing: &Firing, verdict: &Verdict, burn: &Burn) -> Option<Series> {
    let lit = verdict.certified_n.as_ref()?;
    let ignition_s = burn.description.report.ignition_s.as_ref()?.value;
    let dead = firing
        .motors
        .iter()
        .filter(|(name, _)| !verdict.lit.contains(*name));
    let curve = |(_, motor): (&String, &Motor)| {
        let curve = Pattern::new(motor.certified.as_ref()?.thrust_curve.as_ref()?)?;
        let onset_s = ignition_s - curve.reaches_s(LIT);
        Some((curve, onset_s))
    };
    let curves: Option<Vec<_>> = dead.map(curve).collect();
    let curves = curves.filter(|curves| !curves.is_empty())?;
    let each = |time: f64| {
        curves
            .iter()
            .map(move |(curve, onset_s)| curve.thrust_and_slope(time - onset_s).0)
    };
    Some(lit.map(|time, thrust| thrust + each(time).sum::<f64>()))
}

/// Warnings for the results: files are named from the firing file's folder, because results do not
/// depend on where the program was called from.
pub(super) fn warnings(all: &[Diagnostic], folder: &Path) -> Vec<Warning> {
    let one = |one: &Diagnostic| {
        let mut out = Warning::from(one);
        let inside = out.file.as_deref().and_then(|file| {
            let file = Path::new(file).strip_prefix(folder).ok()?;
            Some(file.to_string_lossy().into_owned())
        });
        out.file = inside.or(out.file);
        out
    };
    all.iter().map(one).collect()
}
