//! Chamber pressure, characteristic velocity and thrust coefficient.

use crate::quantity::Unit;
use crate::reduce::FiringResult;
use crate::view::at::{At, at};
use crate::view::text::{Text, text};
use crate::view::{Picture, Row, Section};

use super::{plain_table, results};

/// The section; nothing when pressure was not measured.
pub(super) fn section(root: &At<'_, FiringResult>) -> Option<Section> {
    let chamber = at!(root.chamber).some()?;
    let mut rows = Vec::new();
    if let Some(motor) = at!(chamber.motor).some() {
        rows.push(Row::new("motor", motor.name()));
    }
    let by = at!(chamber.window_by).quote();
    let reads = text![at!(chamber.reads).quote(), "; the burn is that of the ", by];
    rows.push(Row::new("transducer reads", reads));
    let throat = at!(chamber.throat_area_mm2).some();
    let throat = throat.map(|area| text![", area of the throat ", area.measured()]);
    let rests_on = text![
        "pressure of the air ",
        at!(chamber.ambient_kpa).measured(),
        throat
    ];
    rows.push(Row::new("results rest on", rests_on));
    rows.extend(results([
        ("peak pressure", at!(chamber.peak_kpa)),
        ("mean pressure", at!(chamber.mean_kpa)),
        ("pressure integral", at!(chamber.integral_kpa_s)),
        (
            "characteristic velocity",
            at!(chamber.characteristic_velocity_m_s),
        ),
        ("thrust coefficient", at!(chamber.thrust_coefficient)),
    ]));
    let budget = at!(chamber.budget);
    let lines = budget.each().map(|line| {
        vec![
            result_name(&at!(line.of)),
            at!(line.source).quote(),
            at!(line.kind).quote(),
            at!(line.u).number(2, Unit::One),
            at!(line.share).share(2),
        ]
    });
    let section = Section::new("chamber", "Chamber pressure")
        .read(
            "Characteristic velocity tells how well the propellant burnt, the thrust coefficient what \
             the nozzle made of it. Pressures are absolute: what the transducer read above its zero, \
             and the pressure of the air.",
        )
        .picture(Picture::Pressure, "Absolute pressure in the chamber")
        .rows(rows)
        .table(
            plain_table(&["of", "source", "kind", "u", "share of variance"], lines),
        );
    Some(section)
}

/// The words for a result that the budget is about.
fn result_name(key: &At<'_, String>) -> Text {
    match key.of.as_str() {
        "integral_kpa_s" => "pressure integral".into(),
        "characteristic_velocity_m_s" => "characteristic velocity".into(),
        "thrust_coefficient" => "thrust coefficient".into(),
        _ => key.quote(),
    }
}
