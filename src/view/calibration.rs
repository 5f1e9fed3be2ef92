//! A judged calibration: what the curve is worth.

use super::at::{At, at};
use super::attention::WHOLE;
use super::findings::{how_it_went, judged, noticed, worst};
use super::first_screen;
use super::text::{Text, text};
use super::{Page, Picture, Row, Section, Table};
use crate::calibration::degree::DegreeReport;
use crate::calibration::inverse_prediction::InversePrediction;
use crate::calibration::sweep::Sweep;
use crate::calibration::{Direction, Judgement};
use crate::quantity::Unit;

/// Everything shown of a judged calibration; the paths are those of what `calibrate --json` prints.
#[must_use]
pub(crate) fn page(judgement: &Judgement) -> Page {
    let root = &At::root(judgement);
    let findings = Section::new(WHOLE, "Findings");
    let all = judged("", &at!(root.findings));
    let says = how_it_went(done(root), &all);
    let page = Page {
        sections: vec![
            Section::new("curve", "Curve").rows(curve(root)),
            residuals(root),
            degrees(root),
            readings(root),
            Section::new("limit", "Lower limit (ASTM E74)").rows(lower_limit(root)),
            Section::new("repeatability", "Hysteresis and repeatability").rows(repeatability(root)),
            Section::new("backlash", "Gain and backlash").rows(sweep(root)),
            findings.findings(all),
        ],
        closing: vec![Section::new("warnings", "Warnings").warnings(noticed(&at!(root.warnings)))],
        glance: first_screen::calibration::glance(root),
        ..Page::new(at!(root.file).quote(), worst(&judgement.findings), says)
    };
    page.attended(|_| false)
}

fn done(root: &At<'_, Judgement>) -> Text {
    let degree = match root.of.degree {
        1 => "straight".into(),
        _ => text!["degree ", at!(root.degree).count()],
    };
    text![
        "Curve of ",
        root.of.quantity.word(),
        ", ",
        degree,
        ", from ",
        at!(root.points).count(),
        " points",
        // Nothing else on the screen says what two points are worth.
        (root.of.points == 2)
            .then(|| Text::from(", with 1 % of their rise for the scatter they cannot show"))
    ]
}

fn curve(root: &At<'_, Judgement>) -> Vec<Row> {
    let unit = root.of.unit;
    let range = at!(root.range);
    let points = text![
        at!(root.points).count(),
        " at ",
        at!(root.levels).count(),
        " levels, ",
        range.nth::<f64>(0).number(5, Unit::One),
        " to ",
        range.nth::<f64>(1).number(5, unit)
    ];
    let mut rows = vec![
        Row::new("calibration points", points),
        Row::new("raw is", polynomial(root)),
        Row::new("why", at!(root.why).quote()),
    ];
    if let Some((sd, sd_raw)) = at!(root.residual_sd)
        .some()
        .zip(at!(root.residual_sd_raw).some())
    {
        rows.push(Row::new(
            "residual standard deviation",
            text![
                sd.number(3, unit),
                " (",
                sd_raw.number(3, Unit::One),
                " raw)"
            ],
        ));
    }
    if let Some(step) = at!(root.resolution_raw).some() {
        rows.push(Row::new(
            "resolution",
            text![step.number(3, Unit::One), " raw"],
        ));
    }
    if let Some(gravity) = at!(root.gravity_m_s2).some() {
        rows.push(Row::new(
            "gravity",
            gravity.number(7, Unit::MetrePerSecondSquared),
        ));
    }
    if root.of.shared_relative_u > 0.0 {
        let u = at!(root.shared_relative_u).share(2);
        rows.push(Row::new(
            "common to all points",
            text![u, " standard uncertainty (weights, gravity)"],
        ));
    }
    if let Some(single) = at!(root.single_slope).some() {
        let says = text![
            "scale = \"",
            at!(single.scale_n).typed(6),
            " N\", zero = ",
            at!(single.zero_raw).typed(8),
            "; residuals up to ",
            at!(single.largest_residual_n).number(3, unit)
        ];
        rows.push(Row::new("one slope instead", says));
    }
    rows
}

/// Coefficients as the sum they stand for: `8123 + 101.2 x − 0.014 x²`, x in N.
fn polynomial(root: &At<'_, Judgement>) -> Text {
    const POWERS: [&str; 4] = ["", " x", " x²", " x³"];
    let mut out = Text::default();
    for (nth, (one, power)) in at!(root.coefficients).each().zip(POWERS).enumerate() {
        let term = if nth == 0 {
            one.number(7, Unit::One)
        } else {
            one.term(7)
        };
        out = text![out, term, power];
    }
    text![out, ", x in ", at!(root.unit).quote()]
}

fn residuals(root: &At<'_, Judgement>) -> Section {
    let all = &root.of.residuals;
    let stated = |which| all.iter().any(|point| point.direction == which);
    let directed = stated(Some(Direction::Up)) || stated(Some(Direction::Down));
    let marks = match (directed, stated(None)) {
        (true, true) => "^ up, v down, # both, o reading",
        (true, false) => "^ up, v down, # both",
        (false, _) => "o reading",
    };
    let found = if root.of.direction_found {
        "; which way is from the order of the rows"
    } else {
        ""
    };
    let caption = text![
        root.of.quantity.word(),
        " by the curve minus known, against known; ",
        marks,
        found
    ];
    Section::new("residuals", "Residuals").picture(Picture::CurveResiduals, caption)
}

fn degrees(root: &At<'_, Judgement>) -> Section {
    let heads = [
        "degree",
        "scatter",
        "power F",
        "p",
        "fit F",
        "p",
        "R squared",
    ];
    let rows = at!(root.degrees)
        .each()
        .map(|one| degree(&one, root.of.degree));
    Section::new("degrees", "Degrees tried")
        .table(Table::plain(heads, rows))
        .note(
            "scatter is raw; power F: does the highest power lower it; fit F: lack of fit, does the \
             curve miss more than repeats scatter; p: p-value of each test",
        )
        .note(at!(root.r_squared_note).quote())
}

fn degree(one: &At<'_, DegreeReport>, chosen: usize) -> Vec<Text> {
    let mark = if one.of.degree == chosen { " *" } else { "" };
    let scatter = at!(one.residual_sd_raw);
    let scatter = match scatter.some() {
        Some(scatter) => scatter.number(4, Unit::One),
        None => scatter.missing("-"),
    };
    let mut out = vec![text![at!(one.degree).count(), mark], scatter];
    for test in [at!(one.power), at!(one.lack_of_fit)] {
        match test.some() {
            Some(test) => out.extend([
                at!(test.ratio).number(4, Unit::One),
                at!(test.probability).number(2, Unit::One),
            ]),
            None => out.extend([test.missing("-"), test.missing("-")]),
        }
    }
    out.push(at!(one.r_squared).number(8, Unit::One));
    out
}

fn readings(root: &At<'_, Judgement>) -> Section {
    let shared = root.of.shared_relative_u > 0.0;
    let row = |one: At<'_, InversePrediction>| {
        let u = at!(one.shared_u);
        let more =
            (shared && *u.of > 0.0).then(|| text!["; common part u ", u.number(2, root.of.unit)]);
        let label = text!["raw ", at!(one.raw).number(7, Unit::One)];
        Row::new(label, text![at!(one.load).measured(), more])
    };
    let rows: Vec<Row> = at!(root.inverse_predictions as "read_back")
        .each()
        .map(row)
        .collect();
    let section = Section::new("readings", "Uncertainty of one reading");
    if rows.is_empty() {
        return section;
    }
    section
        .rows(rows)
        .note("one new reading, 95 % (single-use calibration interval); a mean of many is surer")
}

fn lower_limit(root: &At<'_, Judgement>) -> Vec<Row> {
    let Some(e74) = at!(root.e74).some() else {
        return Vec::new();
    };
    let unit = root.of.unit;
    let by = if e74.of.by_resolution {
        ", set by the resolution"
    } else {
        ""
    };
    let factor = text![at!(e74.lower_limit_factor_n).number(3, unit), by];
    let rule = text![at!(e74.rule).quote(), " [", at!(e74.source).quote(), "]"];
    vec![
        Row::new("lower limit factor", factor),
        Row::new(
            "class A from",
            at!(e74.lowest_force_class_a_n).number(3, unit),
        ),
        Row::new(
            "class AA from",
            at!(e74.lowest_force_class_aa_n).number(3, unit),
        ),
        Row::new("rule", rule),
    ]
}

fn repeatability(root: &At<'_, Judgement>) -> Vec<Row> {
    let unit = root.of.unit;
    let mut rows = Vec::new();
    if let Some(found) = at!(root.hysteresis).some() {
        let largest = text![
            at!(found.largest).number(3, unit),
            " at ",
            at!(found.at).number(4, unit),
            ", ",
            at!(found.largest_share).share(2),
            " of the range"
        ];
        rows.push(Row::new("hysteresis, largest", largest));
        let mean = text![
            at!(found.mean).number(3, unit),
            " (down minus up), ",
            at!(found.mean_share).share(2),
            " of the range"
        ];
        rows.push(Row::new("hysteresis, mean", mean));
        if let Some(scatter) = at!(found.scatter_without).some() {
            rows.push(Row::new("scatter without it", scatter.number(3, unit)));
        }
    }
    if let Some(between) = at!(root.repeatability as "between_runs").some() {
        let runs = at!(root.runs).count();
        let says = text![
            between.number(3, unit),
            " at one load and one direction, ",
            runs,
            " runs"
        ];
        rows.push(Row::new("between runs, largest", says));
    }
    if let Some(zero) = at!(root.zero_return).some() {
        rows.push(Row::new("zero return error", zero.number(3, unit)));
    }
    for saturated in at!(root.saturated as "stuck").each() {
        let loads = at!(saturated.loads)
            .each()
            .map(|load| load.number(4, Unit::One));
        let says = text![
            at!(saturated.raw).number(8, Unit::One),
            " at ",
            Text::joined(loads, ", "),
            " ",
            at!(root.unit).quote()
        ];
        rows.push(Row::new("saturated reading", says));
    }
    rows
}

fn sweep(root: &At<'_, Judgement>) -> Vec<Row> {
    let Some(sweep) = at!(root.sweep).some() else {
        return Vec::new();
    };
    let all = [
        ("gain", at!(sweep.gain)),
        ("gain, raw rising", at!(sweep.gain_rising)),
        ("gain, raw falling", at!(sweep.gain_falling)),
        ("angle at raw zero", at!(sweep.angle_at_zero_raw)),
        ("raw at angle zero", at!(sweep.raw_at_zero_angle)),
        ("width of the loop", at!(sweep.loop_width_raw)),
        ("width as angle", at!(sweep.loop_width)),
    ];
    let mut rows: Vec<Row> = all
        .into_iter()
        .map(|(label, value)| Row::new(label, value.measured()))
        .collect();
    rows.push(Row::new("which lags", behind(&sweep)));
    let used = at!(sweep.rows);
    let used = text![
        used.nth::<usize>(0).count(),
        " rising, ",
        used.nth::<usize>(1).count(),
        " falling"
    ];
    rows.push(Row::new("rows used", used));
    rows
}

fn behind(sweep: &At<'_, Sweep>) -> Text {
    let behind = at!(sweep.behind);
    match behind.some() {
        Some(says) => says.quote(),
        None => behind.missing("no loop is shown: the interval of its width holds zero"),
    }
}
