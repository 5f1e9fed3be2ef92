//! Load cells, their points, and the rig along thrust.

use super::super::spec::{CellTruth, PointsPlan, StandTruth, TapPlan};
use super::{Says, number_or, or};
use crate::config::document::Table;
use crate::config::{CellsOn, Mount};
use crate::diagnostic::Diagnostic;
use crate::quantity::{Force, Frequency, Mass, Ratio, Time};

/// Range of a 24-bit converter, counts.
const RANGE: (f64, f64) = (-8_388_608.0, 8_388_607.0);

pub(super) fn read_cell(table: &mut Table<'_>) -> Option<CellTruth> {
    for key in ["zero", "slope"] {
        if !table.has(key) {
            table.missing(
                key,
                "the cell's true curve: zero in counts, slope in counts/N",
            );
        }
    }
    let zero = table.number("zero");
    let slope = table.number("slope");
    let (bend, cubic) = (
        number_or(table, "bend", 0.0),
        number_or(table, "cubic", 0.0),
    );
    let noise = number_or(table, "noise", 0.0);
    let mut says = Says::open(table);
    says.quantity::<Force>(table, "capacity");
    let delay_s = says.quantity::<Time>(table, "delay").unwrap_or(0.0);
    let points = table.table("points").and_then(|mut points| {
        let out = read_points(&mut points, noise, &mut says);
        points.finish();
        out
    });
    if !table.has("points") {
        table.missing(
            "points",
            "points = { loads = [\"0 kg\", \"1 kg\", \"2 kg\"] }",
        );
    }
    let carries = table
        .texts("carries")
        .map(|names| names.into_iter().map(|name| name.value).collect());
    let zero_shift = number_or(table, "zero_shift", 0.0);
    let wander = number_or(table, "wander", 0.0);
    let wander_time_s = or::<Time>(table, "wander_time", 1.0);
    let drift_per_s = number_or(table, "drift", 0.0);
    let converts = table.quantity::<Frequency>("converts");
    let range = (
        number_or(table, "lowest", RANGE.0),
        number_or(table, "highest", RANGE.1),
    );
    let claims = says.close();
    // Every key was asked for before one that cannot be read ends it.
    Some(CellTruth {
        zero_shift,
        noise,
        wander,
        wander_time_s,
        drift_per_s,
        delay_s,
        converts_hz: converts.map(|rate| rate.si()),
        range,
        carries,
        claims,
        points: points?,
        curve: [zero?.value, slope?.value, bend, cubic],
    })
}

fn read_points(table: &mut Table<'_>, noise: f64, says: &mut Says<'_>) -> Option<PointsPlan> {
    let loads = table.quantities::<Mass>("loads");
    let enough = loads.as_ref().is_none_or(|loads| loads.len() >= 2);
    if !table.has("loads") || !enough {
        table.mistake(
            Diagnostic::error("points-few", "points need at least two loads")
                .at(table.place())
                .hint("write loads = [\"0 kg\", \"1 kg\", \"2 kg\"]"),
        );
    }
    let runs = table.count("runs").map_or(1, |runs| runs.value as usize);
    let down = table
        .choice("order", &[("up", false), ("up-down", true)])
        .unwrap_or(false);
    says.only_said::<Ratio>("masses", None);
    // Every key is asked for before loads that cannot be read end it.
    let mut plan = PointsPlan {
        loads_kg: vec![],
        runs: runs.max(1),
        down,
        mass_error: or::<Ratio>(table, "mass_error", 0.0),
        noise: number_or(table, "noise", noise),
        hysteresis: number_or(table, "hysteresis", 0.0),
        creep: number_or(table, "creep", 0.0),
    };
    plan.loads_kg = loads?.iter().map(crate::quantity::Given::si).collect();
    Some(plan)
}

pub(super) fn read_stand(table: &mut Table<'_>) -> StandTruth {
    let mounts = [
        ("nozzle-down", Mount::NozzleDown),
        ("nozzle-up", Mount::NozzleUp),
        ("level", Mount::Level),
    ];
    let grounds = [("rocket", CellsOn::Rocket), ("ground", CellsOn::Ground)];
    let mount = table.choice("mount", &mounts).unwrap_or_default();
    let cells_on = table.choice("cells_on", &grounds).unwrap_or_default();
    let words = |key, word: Option<&str>| word.map(|word| (key, word.to_owned()));
    let mount_word = mounts
        .iter()
        .find(|(_, one)| *one == mount)
        .map(|one| one.0);
    let on_word = grounds
        .iter()
        .find(|(_, one)| *one == cells_on)
        .map(|one| one.0);
    let mut says = Says::open(table);
    says.claims.extend(words("mount", mount_word));
    says.claims.extend(words("cells_on", on_word));
    let natural_frequency_hz = says.quantity::<Frequency>(table, "natural_frequency");
    let damping_ratio = number_or(table, "damping_ratio", 0.0);
    if natural_frequency_hz.is_some() {
        says.plain("damping_ratio", format!("{damping_ratio}"));
    }
    let mut claims = says.close();
    // A maker who taps the rig, or knows nothing, states neither.
    if !table.boolean("stated").unwrap_or(true) {
        claims.retain(|(key, _)| !["natural_frequency", "damping_ratio"].contains(key));
    }
    table.finish();
    StandTruth {
        mount,
        cells_on,
        natural_frequency_hz,
        damping_ratio,
        claims,
    }
}

/// How long a rubber hammer touches when nothing is said, s.
const CONTACT_S: f64 = 0.002;

pub(super) fn read_tap(table: &mut Table<'_>, first_cell: Option<&String>) -> Option<TapPlan> {
    let text = |table: &mut Table<'_>, key, otherwise: &str| {
        table
            .text(key)
            .map_or_else(|| otherwise.to_owned(), |text| text.value)
    };
    let log = text(table, "log", "tap");
    let file = text(table, "file", &format!("{log}.csv"));
    let column = text(table, "column", "raw");
    let cell = text(table, "cell", first_cell.map_or("", String::as_str));
    let rate = table.need_positive::<Frequency>("rate");
    let lasts = table.need_positive::<Time>("lasts");
    let size = table.need_positive::<Force>("size");
    let contact_s = or::<Time>(table, "contact", CONTACT_S);
    if !table.has("taps") {
        table.missing("taps", "taps = [\"0.5 s\", \"1.5 s\"]");
    }
    let taps = table.quantities::<Time>("taps");
    Some(TapPlan {
        log,
        file,
        column,
        cell,
        rate_hz: rate?.si(),
        lasts_s: lasts?.si(),
        taps_s: taps?.iter().map(crate::quantity::Given::si).collect(),
        size_n: size?.si(),
        contact_s,
    })
}
