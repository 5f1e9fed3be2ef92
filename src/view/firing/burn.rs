//! Burn and thrust, and what the stand did to them.

use crate::burn::segmentation::{RecordReport, SegmentKind, SegmentReport};
use crate::burn::{LowPassReport, ModeFrom, StandReport};
use crate::quantity::Unit;
use crate::reduce::FiringResult;
use crate::view::at::{At, at};
use crate::view::text::{Text, text};
use crate::view::{Picture, Row, Section, Table};

use super::{plain_table, results};

pub(super) fn section(root: &At<'_, FiringResult>) -> Section {
    let mut section = Section::new("burn", "Burn and thrust")
        .read(
            "The interval about the thrust holds the true thrust with 95 % probability at each time. The \
             baseline should run through the load before ignition and after burnout; if it does not, the \
             impulse is off by the area between them. Times in tables are on the first log's clock.",
        )
        .picture(
            Picture::Thrust,
            "Thrust, from just before ignition to just after burnout",
        )
        .picture(
            Picture::Rig,
            "The firing from the side, at peak thrust: angles are true, flames by thrust",
        );
    let mut told = vec![];
    if root.of.burn.is_some() {
        told = rows(root);
    } else {
        section = section
            .note("No burn was found in the load: ignition, burnout and thrust are not available.");
    }
    if let Some(record) = at!(root.record).some() {
        told.push(Row::new("reduced", at!(record.chosen).quote()));
    }
    section = section.rows(told);
    let record = |section: Section| {
        section.picture(
            Picture::Record,
            "The load uncorrected, what each stretch of it is taken for, the baseline",
        )
    };
    // Where nothing burnt it is all there is to look at.
    if root.of.burn.is_none() {
        section = record(section);
    }
    if let Some(stand) = at!(root.stand).some() {
        section = section
            .fold("Ringing of the stand")
            .picture(
                Picture::Ringing,
                "Around ignition, uncorrected and ringing corrected",
            )
            .rows(stand_rows(&stand));
    }
    section = section.fold("The whole record and its segments");
    if root.of.burn.is_some() {
        section = record(section);
    }
    match at!(root.record).some() {
        Some(of) => section.table(segments(&of)),
        None => section,
    }
}

/// Everything in the record but its rests.
fn segments(record: &At<'_, RecordReport>) -> Table {
    let all = at!(record.segments);
    let shown = all.each().filter(|one| one.of.kind != SegmentKind::Rest);
    let row = |one: At<'_, SegmentReport>| {
        let doubts = at!(one.doubts).each().map(|doubt| doubt.quote());
        vec![
            Text::from(one.of.kind.word()),
            at!(one.from_s).number(5, Unit::Second),
            at!(one.to_s).number(5, Unit::Second),
            at!(one.level_n).number(3, Unit::Newton),
            at!(one.area_ns).number(3, Unit::NewtonSecond),
            at!(one.confidence).probability(),
            Text::joined(doubts, ", "),
        ]
    };
    let heads = [
        "what",
        "from",
        "to",
        "height",
        "area, rough",
        "chance of a burn",
        "what speaks against one",
    ];
    plain_table(&heads, shown.map(row))
}

fn rows(root: &At<'_, FiringResult>) -> Vec<Row> {
    let mut all = Vec::new();
    if let Some(burn) = at!(root.burn).some() {
        let rule = at!(burn.rule).quote();
        all.push(Row::new(
            "burn",
            text![
                "from thrust first to thrust last at or above ",
                rule,
                " of peak"
            ],
        ));
        all.extend(results([
            ("ignition", at!(burn.ignition_s)),
            ("burnout", at!(burn.burnout_s)),
            ("burn time", at!(burn.burn_time_s)),
            ("action time", at!(burn.action_time_s)),
        ]));
    }
    if let Some(thrust) = at!(root.thrust).some() {
        all.extend(results([
            ("peak thrust", at!(thrust.peak_n)),
            ("average thrust", at!(thrust.average_n)),
        ]));
        if let Some(low) = at!(thrust.low_pass).some() {
            all.extend(low_pass_rows(&low));
        }
    }
    all
}

fn low_pass_rows(low: &At<'_, LowPassReport>) -> Vec<Row> {
    let filter = text![
        "order ",
        at!(low.order).count(),
        ", both ways, 3 dB down at ",
        at!(low.cut_off_hz).number(4, Unit::Hertz)
    ];
    let filter = if low.of.resampled {
        let step = at!(low.step_s).number(4, Unit::Second);
        text![filter, ", after readings were put on even steps of ", step]
    } else {
        filter
    };
    let all = [
        ("low pass, for peak and picture only", filter),
        (
            "unfiltered peak",
            at!(low.unfiltered_peak_n).number(4, Unit::Newton),
        ),
        (
            "filtered peak lower by",
            at!(low.peak_lower_by_n).number(4, Unit::Newton),
        ),
        (
            "impulse of the low-passed trace differs by",
            at!(low.impulse_difference_ns).number(4, Unit::NewtonSecond),
        ),
    ];
    all.into_iter()
        .map(|(label, value)| Row::new(label, value))
        .collect()
}

fn stand_rows(stand: &At<'_, StandReport>) -> Vec<Row> {
    let decays = at!(stand.decays).some();
    let decays = decays.map(|count| text![", decays fitted: ", count.count()]);
    let mut all = vec![Row::new("known from", text![stand.of.from.word(), decays])];
    // What the maker stated is no result.
    let labels = match stand.of.from {
        ModeFrom::Stated => ["natural frequency, as stated", "damping ratio, as stated"],
        ModeFrom::Tap | ModeFrom::Record => ["natural frequency", "damping ratio"],
    };
    all.extend(results([
        (labels[0], at!(stand.natural_frequency_hz)),
        (labels[1], at!(stand.damping_ratio)),
    ]));
    let each = at!(stand.each_cell_hz).entries();
    all.extend(
        each.map(|(cell, hz)| Row::new(text!["natural frequency under ", cell], hz.measured())),
    );
    let others = [
        (
            "damping ratio by decrement",
            at!(stand.decrement_damping_ratio),
            Unit::One,
        ),
        ("peak changed by", at!(stand.peak_changed_n), Unit::Newton),
        (
            "ignition changed by",
            at!(stand.ignition_changed_s),
            Unit::Second,
        ),
        ("bandwidth", at!(stand.bandwidth_hz), Unit::Hertz),
    ];
    for (label, value, unit) in others {
        all.extend(value.some().map(|it| Row::new(label, it.number(4, unit))));
    }
    all
}
