//! A judged calibration in a glance: the residuals drawn, and how far the curve can be trusted.

use crate::calibration::Judgement;
use crate::quantity::Unit;
use crate::view::at::{At, at};
use crate::view::text::{Text, text};
use crate::view::{Content, Picture, Row};

pub(in crate::view) fn glance(root: &At<'_, Judgement>) -> Vec<Content> {
    vec![
        Content::Picture(Picture::CurveResiduals, Text::default()),
        Content::Note("Residuals against load: ^ up, v down, # both, o either.".into()),
        Content::Rows(rows(root)),
    ]
}

fn rows(root: &At<'_, Judgement>) -> Vec<Row> {
    let unit = root.of.unit;
    let mut rows = Vec::new();
    if let Some(sd) = at!(root.residual_sd).some() {
        rows.push(Row::new("residual standard deviation", sd.number(3, unit)));
    }
    if let Some(one) = at!(root.inverse_predictions as "read_back").each().last() {
        let says = text![
            at!(one.load).compact(),
            " at raw ",
            at!(one.raw).number(7, Unit::One)
        ];
        rows.push(Row::new("one reading", says));
    }
    if let Some(found) = at!(root.hysteresis).some() {
        let says = text![
            at!(found.largest).number(3, unit),
            ", ",
            at!(found.largest_share).share(2),
            " of the range"
        ];
        rows.push(Row::new("hysteresis, largest", says));
    }
    if let Some(zero) = at!(root.zero_return).some() {
        rows.push(Row::new("zero return error", zero.number(3, unit)));
    }
    if let Some(e74) = at!(root.e74).some() {
        let from = at!(e74.lowest_force_class_a_n).number(3, unit);
        rows.push(Row::new("class A (ASTM E74) from", from));
    }
    if let Some(sweep) = at!(root.sweep).some() {
        rows.push(Row::new("gain", at!(sweep.gain).compact()));
        rows.push(Row::new(
            "width of the loop",
            at!(sweep.loop_width).compact(),
        ));
    }
    rows
}
