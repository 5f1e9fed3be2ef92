//! Ignition: which motors lit, when, and what says so.

use crate::finding::Outcome;
use crate::motors::lit::{IgnitionReport, Lit, MotorReport};
use crate::quantity::Unit;
use crate::reduce::FiringResult;
use crate::view::at::{At, at};
use crate::view::findings::yes_or_no;
use crate::view::text::{Part, Text, text};
use crate::view::{Picture, Row, Section};

use super::plain_table;

pub(super) fn section(root: &At<'_, FiringResult>) -> Section {
    let mut section = Section::new("motors", "Ignition and motors")
        .read(
            "Each piece of evidence has a weight: above zero it speaks for a motor that lit, below \
             zero for one that did not. The sum decides, together with what is usual.",
        )
        .picture(Picture::Ignition, "Thrust of each motor around ignition");
    let Some(motors) = at!(root.motors).some() else {
        return section.note("The firing file describes no motor.");
    };
    let mut rows: Vec<Row> = motors
        .entries()
        .map(|(name, motor)| Row::of_lines(name, motor_lines(&motor)))
        .collect();
    let several = motors.of.len() > 1;
    let mut torque = vec![];
    if let Some(ignition) = at!(root.ignition).some() {
        rows.extend(ignition_rows(&ignition, several));
        torque = torque_rows(&ignition);
    }
    section = section.rows(rows);
    if !torque.is_empty() {
        section = section
            .fold("What the stagger does to the rig")
            .rows(torque);
    }
    for (name, motor) in motors.entries() {
        let evidence = at!(motor.evidence);
        if evidence.of.is_empty() {
            continue;
        }
        let lines = evidence.each().map(|piece| {
            vec![
                at!(piece.from).quote(),
                at!(piece.says).quote(),
                at!(piece.weight).number(2, Unit::One),
            ]
        });
        section = section
            .fold(text!["Evidence on motor ", name])
            .table(plain_table(
                &["evidence from", "what it says", "weight"],
                lines,
            ));
    }
    section
}

fn motor_lines(motor: &At<'_, MotorReport>) -> Vec<Text> {
    let colour = match motor.of.lit {
        Lit::Lit => Outcome::Holds,
        Lit::NotLit => Outcome::Fails,
        Lit::Undecided => Outcome::Undecided,
    };
    let lit: Text = Part::Judged(colour, motor.of.lit.word()).into();
    let probability = at!(motor.probability).some();
    let probability =
        probability.map(|p| text![" (probability that it lit ", p.probability(), ")"]);
    let mut out = vec![text![lit, probability]];
    if motor.of.lit == Lit::NotLit {
        return out;
    }
    for (label, value) in [
        ("ignition ", at!(motor.ignition_s)),
        ("after a puff, its burn ", at!(motor.relight_s)),
        ("after its fire command ", at!(motor.delay_s)),
        ("impulse ", at!(motor.total_ns)),
    ] {
        out.extend(value.some().map(|value| text![label, value.measured()]));
    }
    out
}

fn ignition_rows(ignition: &At<'_, IgnitionReport>, several: bool) -> Vec<Row> {
    let all_lit = text![
        yes_or_no(ignition.of.all_lit),
        " (probability ",
        at!(ignition.probability).probability(),
        ")"
    ];
    let mut out = vec![Row::new("every motor lit", all_lit)];
    if several {
        let stagger = at!(ignition.stagger_s);
        out.push(Row::new("stagger, first to last", stagger.measured()));
    }
    out
}

fn torque_rows(ignition: &At<'_, IgnitionReport>) -> Vec<Row> {
    let mut out = vec![];
    for of in at!(ignition.stagger_torque).each() {
        let axis = at!(of.axis).name();
        let angular = at!(of.angular_impulse_n_m_s).measured();
        let label = text!["its angular impulse about ", axis.clone()];
        out.push(Row::new(label, angular).note(
            "A motor beside the axis that pushes before its partner turns the rocket: the largest \
             angular impulse until all push, and the tilt rate it leaves in this rig.",
        ));
        let rate = at!(of.tilt_rate_rad_s).measured();
        let label = text!["tilt rate it gives about ", axis];
        out.push(Row::new(label, rate));
    }
    out
}
