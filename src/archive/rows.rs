//! What stands in each table.
//!
//! `firing` is the key that joins them: the first sixteen digits of the SHA-256 of `result.json`. A measured number has four
//! columns: its name, ending in its unit, then `_u`, `_low`, `_high`. The row of nothing names the columns.

use std::sync::Arc;

use indexmap::IndexMap;

use super::found::Found;
use super::table::{Cell, Row, Table};
use crate::calibration::CellReport;
use crate::calibration::degree::HIGHEST;
use crate::control::AxisGains;
use crate::finding::Outcome;
use crate::motors::class::MotorClass;
use crate::motors::lit::MotorReport;
use crate::plant::parameter::{ACTUATOR, RIG};
use crate::plant::{AxisPlant, DeadBandKind};
use crate::quantity::Measured;
use crate::reduce::FiringResult;

/// Digits of the key.
const KEY_DIGITS: usize = 16;

/// Thrust is kept from so long before ignition to so long after burnout, s: what is measurable reaches beyond both.
const MARGIN_S: f64 = 0.5;

/// The tables of one firing.
pub(super) fn of(found: &Found) -> Vec<Table> {
    let mut tables = empty();
    let [firings, motors, axes, cells, thrust] = tables.as_mut_slice() else {
        return tables;
    };
    let (result, some) = (&found.result, Some(found));
    firings.push(firing(some));
    for (name, motor) in result.motors.iter().flatten() {
        let class = result.class.iter().flat_map(|class| &class.per_motor);
        let class = class.into_iter().find(|class| class.motor == *name);
        motors.push(motor_row(some, Some((name, motor)), class));
    }
    for (name, plant) in &result.plant {
        let gains = found.gains.as_ref().and_then(|gains| gains.axes.get(name));
        axes.push(axis_row(some, Some((name, plant)), gains));
    }
    for (name, cell) in &result.cells {
        cells.push(cell_row(some, Some((name, cell))));
    }
    if let Some(text) = &found.thrust {
        thrust_rows(found, text, thrust);
    }
    tables
}

/// The tables without rows.
pub(super) fn empty() -> Vec<Table> {
    vec![
        Table::like("firings", &firing(None)),
        Table::like("motors", &motor_row(None, None, None)),
        Table::like("axes", &axis_row(None, None, None)),
        Table::like("cells", &cell_row(None, None)),
        Table::like("thrust", &thrust_row()),
    ]
}

fn key(found: &Found) -> &str {
    found.sha256.get(..KEY_DIGITS).unwrap_or_default()
}

/// How every row begins.
fn begun(found: Option<&Found>) -> Row {
    let result = found.map(|found| &found.result);
    Row::default()
        .text("firing", found.map(key))
        .text("title", result.map(|result| result.title.as_str()))
        .text("date", result.and_then(|result| result.date.as_deref()))
}

fn firing(found: Option<&Found>) -> Row {
    let of = found.map(|found| &found.result);
    let joined = |parts: Vec<&str>, by: &str| Some(parts.join(by)).filter(|text| !text.is_empty());
    let logs = of.map(|of| of.inputs.iter().map(|log| log.sha256.as_str()).collect());
    let class = of.and_then(|of| of.class.as_ref());
    let labels = class.map(|class| class.per_motor.iter());
    let labels = labels.map(|all| all.filter_map(|one| one.designation.as_deref()).collect());
    let ignition = of.and_then(|of| of.ignition.as_ref());
    let row = begun(found)
        .text("folder", found.map(|found| found.folder.as_str()))
        .text("file", of.map(|of| of.firing.as_str()))
        .text("program", of.map(|of| of.tool.version.as_str()))
        .text("result_sha256", found.map(|found| found.sha256.as_str()))
        .text(
            "logs_sha256",
            logs.and_then(|logs| joined(logs, " ")).as_deref(),
        )
        .count(
            "motors",
            of.and_then(|of| of.motors.as_ref().map(IndexMap::len)),
        )
        .count("lit_count", ignition.map(|of| of.lit_count))
        .text("all_lit", ignition.map(|of| of.all_lit.word()))
        .number(
            "all_lit_probability",
            ignition.and_then(|of| of.probability),
        )
        .text("class", class.and_then(|of| of.letter.as_deref()))
        .number("class_probability", class.and_then(|of| of.probability))
        .text(
            "labels",
            labels.and_then(|labels| joined(labels, ", ")).as_deref(),
        )
        .count("findings_hold", of.map(|of| judged(of, Outcome::Holds)))
        .count("findings_fail", of.map(|of| judged(of, Outcome::Fails)))
        .count(
            "findings_undecided",
            of.map(|of| judged(of, Outcome::Undecided)),
        )
        .count("warnings", of.map(|of| of.warnings.len()));
    MEASURED
        .iter()
        .fold(row, |row, (name, get)| row.measured(name, of.and_then(get)))
}

fn judged(of: &FiringResult, outcome: Outcome) -> usize {
    let all = of.all_findings();
    all.filter(|finding| finding.outcome == outcome).count()
}

type Get = fn(&FiringResult) -> Option<&Measured>;

/// The measured numbers of a firing.
const MEASURED: [(&str, Get); 14] = [
    ("ignition_s", |of| of.burn.as_ref()?.ignition_s.as_ref()),
    ("burn_time_s", |of| of.burn.as_ref()?.burn_time_s.as_ref()),
    ("action_time_s", |of| {
        of.burn.as_ref()?.action_time_s.as_ref()
    }),
    ("peak_n", |of| of.thrust.as_ref()?.peak_n.as_ref()),
    ("average_n", |of| of.thrust.as_ref()?.average_n.as_ref()),
    ("total_ns", |of| of.impulse.as_ref()?.total_ns.as_ref()),
    ("burn_window_ns", |of| {
        of.impulse.as_ref()?.burn_window_ns.as_ref()
    }),
    ("specific_s", |of| of.impulse.as_ref()?.specific_s.as_ref()),
    ("stagger_s", |of| of.ignition.as_ref()?.stagger_s.as_ref()),
    ("less_certified_ns", |of| {
        of.class.as_ref()?.comparison.as_ref()?.impulse_ns.as_ref()
    }),
    ("natural_frequency_hz", |of| {
        of.stand.as_ref()?.natural_frequency_hz.as_ref()
    }),
    ("chamber_peak_kpa", |of| {
        of.chamber.as_ref()?.peak_kpa.as_ref()
    }),
    ("characteristic_velocity_m_s", |of| {
        of.chamber.as_ref()?.characteristic_velocity_m_s.as_ref()
    }),
    ("thrust_coefficient", |of| {
        of.chamber.as_ref()?.thrust_coefficient.as_ref()
    }),
];

fn motor_row(
    found: Option<&Found>,
    motor: Option<(&String, &MotorReport)>,
    class: Option<&MotorClass>,
) -> Row {
    let of = motor.map(|(_, of)| of);
    begun(found)
        .text("motor", motor.map(|(name, _)| name.as_str()))
        .text("lit", of.map(|of| of.lit.word()))
        .number("probability", of.and_then(|of| of.probability))
        .measured("ignition_s", of.and_then(|of| of.ignition_s.as_ref()))
        .measured("delay_s", of.and_then(|of| of.delay_s.as_ref()))
        .measured("total_ns", of.and_then(|of| of.total_ns.as_ref()))
        .text("class", class.and_then(|of| of.letter.as_deref()))
        .text(
            "designation",
            class.and_then(|of| of.designation.as_deref()),
        )
        .text(
            "measured_designation",
            class.and_then(|of| of.measured_designation.as_deref()),
        )
        .number("percent_of_class", class.and_then(|of| of.percent_of_class))
}

fn axis_row(
    found: Option<&Found>,
    axis: Option<(&String, &AxisPlant)>,
    gains: Option<&AxisGains>,
) -> Row {
    let of = axis.map(|(_, of)| of);
    let dead_band = of.and_then(|of| of.actuator.dead_band.kind);
    let mut row = begun(found)
        .text("axis", axis.map(|(name, _)| name.as_str()))
        .text("dead_band", dead_band.map(DeadBandKind::word));
    for parameter in ACTUATOR.iter().chain(&RIG) {
        let name = parameter.key().replace('.', "_");
        row = row.measured(&name, of.and_then(|of| of.value(*parameter)));
    }
    let flight = of.and_then(|of| of.flight.as_ref());
    let chosen = gains.and_then(|of| of.compared.iter().find(|one| one.chosen));
    let margins = chosen.map(|of| &of.fifth_percentile);
    let controller = gains.map(|of| &of.controller);
    row.measured(
        "flight_effectiveness_per_kg_m",
        flight.and_then(|of| of.effectiveness_per_kg_m.as_ref()),
    )
    .number(
        "validation_fit_percent",
        of.and_then(|of| of.fit.validation_fit_percent),
    )
    .text("gains", chosen.map(|of| of.gains.as_str()))
    .text("gains_body", gains.map(|of| of.body.word()))
    .number("kp", controller.map(|of| of.kp))
    .number("ki_per_s", controller.map(|of| of.ki_per_s))
    .number("kd_s", controller.map(|of| of.kd_s))
    .number("phase_margin_deg", margins.and_then(|of| of.phase_deg))
    .number("upper_gain_margin", margins.and_then(|of| of.upper_gain))
    .number("delay_margin_s", margins.and_then(|of| of.delay_s))
}

fn cell_row(found: Option<&Found>, cell: Option<(&String, &CellReport)>) -> Row {
    let of = cell.map(|(_, of)| of);
    let mut row = begun(found)
        .text("cell", cell.map(|(name, _)| name.as_str()))
        .count("degree", of.map(|of| of.degree))
        .count("points", of.map(|of| of.points))
        .number("residual_sd_n", of.and_then(|of| of.residual_sd_n))
        .number(
            "lower_limit_factor_n",
            of.and_then(|of| of.lower_limit_factor_n),
        )
        .number("hysteresis_n", of.and_then(|of| of.hysteresis_n))
        .number("lack_of_fit_p", of.and_then(|of| of.lack_of_fit_p));
    for power in 0..=HIGHEST {
        let coefficient = of.and_then(|of| of.coefficients.get(power).copied());
        row = row.number(format!("coefficient_{power}"), coefficient);
    }
    row
}

fn thrust_row() -> Row {
    Row::default()
        .text("firing", None)
        .text("curve", None)
        .text("motor", None)
        .number("time_s", None)
        .number("thrust_n", None)
        .number("u_n", None)
}

fn number(field: &str) -> Option<f64> {
    field.parse().ok().filter(|number: &f64| number.is_finite())
}

/// The curves of a `thrust.csv`, one after the other: all motors together, each that can be told apart, and what was read
/// where the stand's ringing was corrected.
fn thrust_rows(found: &Found, text: &str, into: &mut Table) {
    let burn = found.result.burn.as_ref();
    let lasts = burn.and_then(|burn| burn.burn_time_s.as_ref());
    let end_s = lasts.map_or(f64::INFINITY, |lasts| lasts.value + MARGIN_S);
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let names: Vec<String> = match reader.headers() {
        Ok(names) => names.iter().map(str::to_owned).collect(),
        Err(_) => return,
    };
    let rows: Vec<Vec<Option<f64>>> = reader
        .records()
        .filter_map(Result::ok)
        .map(|row| row.iter().map(number).collect())
        .filter(|row: &Vec<Option<f64>>| {
            let time_s = row.first().copied().flatten();
            time_s.is_some_and(|time| (-MARGIN_S..=end_s).contains(&time))
        })
        .collect();
    let firing: Arc<str> = key(found).into();
    for (at, name) in names.iter().enumerate().skip(1) {
        let (curve, motor) = match name.as_str() {
            "thrust_n" => ("total", None),
            "read_n" => ("read", None),
            other => match other
                .strip_prefix("thrust_")
                .and_then(|of| of.strip_suffix("_n"))
            {
                Some(motor) => ("motor", Some(Arc::from(motor))),
                None => continue,
            },
        };
        let curve: Arc<str> = curve.into();
        for row in &rows {
            let value = |at: usize| row.get(at).copied().flatten();
            let Some(thrust) = value(at) else { continue };
            into.push_cells([
                Cell::Text(Some(Arc::clone(&firing))),
                Cell::Text(Some(Arc::clone(&curve))),
                Cell::Text(motor.clone()),
                Cell::Number(value(0)),
                Cell::Number(Some(thrust)),
                Cell::Number(value(2).filter(|_| &*curve == "total")),
            ]);
        }
    }
}
