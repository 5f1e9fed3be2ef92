//! Load cells: from counts to newtons.

use crate::calibration::CellReport;
use crate::quantity::Unit;
use crate::reduce::FiringResult;
use crate::view::at::{At, at};
use crate::view::text::{Text, text};
use crate::view::{Picture, Row, Section};

pub(super) fn section(root: &At<'_, FiringResult>) -> Section {
    let section = Section::new("calibration", "Calibration").folded();
    let mut section = section.read(
        "Each dot is one known load: the residual of the curve there. Dots should scatter about \
         zero without a bend; a bend means that the curve is too simple.",
    );
    if root.of.cells.is_empty() {
        return section.note("No cell was calibrated.");
    }
    let cells = at!(root.cells);
    for (key, (name, cell)) in root.of.cells.keys().zip(cells.entries()) {
        let caption = text!["Cell ", name.clone(), ": residuals of its curve"];
        section = section
            .picture(Picture::CellResiduals(key.clone()), caption)
            .rows(rows(name, &cell));
    }
    section
}

fn rows(name: Text, cell: &At<'_, CellReport>) -> Vec<Row> {
    let range = match at!(cell.range_n).some() {
        Some(range) => text![
            range.nth::<f64>(0).number(4, Unit::One),
            " to ",
            range.nth::<f64>(1).number(4, Unit::Newton)
        ],
        None => at!(cell.range_n).missing("not available"),
    };
    let coefficients = at!(cell.coefficients);
    let coefficients = coefficients.each().map(|one| one.number(6, Unit::One));
    let all = [
        ("cell", name),
        ("calibration points", at!(cell.points).count()),
        ("range of the points", range),
        ("degree of the curve", at!(cell.degree).count()),
        (
            "counts for newtons, constant first",
            Text::joined(coefficients, ", "),
        ),
        (
            "standard deviation of the residuals",
            at!(cell.residual_sd_n).number(3, Unit::Newton),
        ),
        (
            "lower limit factor (ASTM E74)",
            at!(cell.lower_limit_factor_n).number(3, Unit::Newton),
        ),
        (
            "lowest force of class A (ASTM E74)",
            at!(cell.lowest_force_class_a_n).number(3, Unit::Newton),
        ),
        ("hysteresis", at!(cell.hysteresis_n).number(3, Unit::Newton)),
        (
            "p-value of the lack-of-fit test",
            at!(cell.lack_of_fit_p).number(2, Unit::One),
        ),
    ];
    all.into_iter()
        .map(|(label, value)| Row::new(label, value))
        .collect()
}
