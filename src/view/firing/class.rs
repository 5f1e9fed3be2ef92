//! Class and label. Every percentage names what it is a share of.

use crate::finding::{Finding, Outcome};
use crate::motors::class::comparison::CurveComparison;
use crate::motors::class::recognition::Explanation;
use crate::motors::class::{ClassReport, MotorClass};
use crate::quantity::Unit;
use crate::reduce::FiringResult;
use crate::view::at::{At, at};
use crate::view::findings::{judged, word, worst};
use crate::view::text::{Text, text};
use crate::view::{Picture, Row, Section};

use super::plain_table;

pub(super) fn section(root: &At<'_, FiringResult>) -> Section {
    let section = Section::new("class", "Class and label").read(
        "A class holds every impulse from its floor to its top, which is twice the floor. A motor \
         close to an end can change class within its uncertainty.",
    );
    let Some(class) = at!(root.class).some() else {
        let missing = at!(root.class).missing("not available");
        return section
            .rows(vec![Row::new("class, all motors together", missing)])
            .note("No impulse was measured: the class is not available.");
    };
    let per_motor = at!(class.per_motor);
    let motors = per_motor.each().map(|motor| motor_cells(&motor));
    let heads = ["motor", "class", "label", "measured", "place in class"];
    section
        .rows(rows(&class))
        .table(plain_table(&heads, motors))
        .rows(comparisons(&class))
        .picture(
            Picture::Difference,
            "Measured minus certified thrust, and what motors of the design differ by",
        )
        .fold("Places in the classes")
        .picture(Picture::PlacesInClass, "Where each motor lies in its class")
        .fold("Limits of model rockets")
        .rows(at!(class.limits).each().map(|one| limit(&one)).collect())
        .findings(judged("", &at!(class.findings)))
}

/// On which side of a limit it lies. Beyond it lies high power: nothing that needs attention.
fn limit(one: &At<'_, Finding>) -> Row {
    let side = if one.of.outcome == Outcome::Fails {
        "beyond it: high power"
    } else {
        one.of.outcome.word()
    };
    let measured = at!(one.measured).some();
    let measured = measured.map(|measured| text![": ", measured.measured()]);
    let rule = text![at!(one.rule).quote(), " [", at!(one.source).quote(), "]"];
    Row::new(at!(one.claim).quote(), text![side, measured]).note(rule)
}

fn rows(class: &At<'_, ClassReport>) -> Vec<Row> {
    let letter = at!(class.letter).name();
    let mut out = vec![Row::new("class, all motors together", letter)];
    if !class.of.findings.is_empty() {
        let outcome = worst(&class.of.findings);
        out.push(Row::new("compared with the label", word(outcome)));
    }
    if class.of.letters.len() > 1 {
        let letters = at!(class.letters);
        let letters = letters.each().map(|one| {
            let probability = at!(one.probability).probability();
            text![at!(one.letter).name(), " (probability ", probability, ")"]
        });
        let says = Text::joined(letters, ", ");
        out.push(Row::new("letters within its uncertainty", says));
    }
    out
}

fn motor_cells(motor: &At<'_, MotorClass>) -> Vec<Text> {
    vec![
        at!(motor.motor).name(),
        at!(motor.letter).name(),
        at!(motor.designation).name(),
        at!(motor.measured_designation).name(),
        at!(motor.percent_of_class).number(2, Unit::Percent),
    ]
}

fn comparisons(class: &At<'_, ClassReport>) -> Vec<Row> {
    let mut out = Vec::new();
    if let Some(compared) = at!(class.comparison).some() {
        out.push(Row::of_lines(
            "against the certified curves",
            compared_lines(&compared),
        ));
    }
    if let Some(recognised) = at!(class.recognised).some() {
        let explanations = at!(recognised.explanations);
        let lines = explanations.each().map(|one| explained(&one)).collect();
        let designs = at!(recognised.designs).each().map(|name| name.name());
        let designs = Text::joined(designs, ", ");
        out.push(
            Row::of_lines("motors that explain the record", lines).note(text![
                "Weighed: ",
                designs,
                "."
            ]),
        );
    }
    out
}

/// Measured against certified, one line for each fact.
fn compared_lines(of: &At<'_, CurveComparison>) -> Vec<Text> {
    let parts = match at!(of.parts_s).some() {
        Some(time) => text![
            "leaves the 95 % band ",
            time.number(3, Unit::Second),
            " after ignition, beyond it for ",
            at!(of.beyond_percent_of_burn).number(2, Unit::Percent),
            " of the burn"
        ],
        None => "never leaves the 95 % band for long".into(),
    };
    let largest = text![
        "largest difference ",
        at!(of.largest_n).number(3, Unit::Newton),
        " at ",
        at!(of.largest_at_s).number(3, Unit::Second),
        " (band ",
        at!(of.band_n).number(2, Unit::Newton),
        " either side), ",
        at!(of.largest_percent_of_certified_peak).number(3, Unit::Percent),
        " of the certified peak"
    ];
    let mut out = vec![parts, largest];
    let percent = at!(of.impulse_percent_of_certified).some();
    if let Some((impulse, percent)) = at!(of.impulse_ns).some().zip(percent) {
        out.push(text![
            "impulse ",
            impulse.measured(),
            " from the certified one, ",
            percent.number(2, Unit::Percent),
            " of it"
        ]);
    }
    out
}

/// One explanation of the record with its probability.
fn explained(of: &At<'_, Explanation>) -> Text {
    let places = at!(of.in_place_of);
    let probability = at!(of.probability).probability();
    if places.of.is_empty() {
        return text!["the motors on the labels: probability ", probability];
    }
    let design = match at!(of.design).some() {
        Some(design) => design.name(),
        None => "a design not at hand".into(),
    };
    let instead = if of.of.every_one {
        " in place of "
    } else {
        " in place of one of "
    };
    text![
        design,
        instead,
        Text::joined(places.each().map(|name| name.name()), ", "),
        ": probability ",
        probability,
        ", odds against the labels ten to the ",
        at!(of.log10_odds).number(3, Unit::One)
    ]
}
