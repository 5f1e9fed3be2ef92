//! Load cells: from counts to newtons.

use maud::{Markup, html};

use crate::calibration::CellReport;
use crate::reduce::Reduction;
use crate::render::number::{NOT_AVAILABLE, significant};
use crate::render::plot::residuals::residuals;
use crate::render::verdict::name_of;

use super::parts::{chart, missing, rows, section, signed};

pub(super) fn calibration(reduction: &Reduction) -> Markup {
    let cells = &reduction.result.cells;
    let content = html! {
        @if cells.is_empty() { (missing("No cell was calibrated.")) }
        @for (name, cell) in cells {
            @let picture = reduction.traces.calibration.get(name);
            @let picture = picture.and_then(|points| residuals(cell, points));
            (chart(&format!("Cell {}: what the curve misses", name_of(name)), picture.as_ref()))
            (table(name, cell))
        }
    };
    section(
        "calibration",
        "Calibration",
        "Each dot is one known load: how far the curve reads off there. Dots should scatter about \
         zero without a bend; a bend means that the curve is too simple.",
        &content,
    )
}

fn table(name: &str, cell: &CellReport) -> Markup {
    let number = |value: f64, digits| signed(&significant(value, digits));
    let newtons = |value: Option<f64>| match value {
        Some(value) => format!("{} N", number(value, 3)),
        None => NOT_AVAILABLE.to_owned(),
    };
    let range = match cell.range_n {
        Some([low, high]) => format!("{} to {} N", number(low, 4), number(high, 4)),
        None => NOT_AVAILABLE.to_owned(),
    };
    let coefficients: Vec<String> = cell.coefficients.iter().map(|c| number(*c, 6)).collect();
    let text = |label: &str, text: String| (label.to_owned(), html! { (text) });
    rows(&[
        text("cell", name_of(name)),
        text("points", cell.points.to_string()),
        text("range of the points", range),
        text("degree of the curve", cell.degree.to_string()),
        text(
            "counts for newtons, constant first",
            coefficients.join(", "),
        ),
        text(
            "standard deviation of what it misses",
            newtons(cell.residual_sd_n),
        ),
        text(
            "lower limit factor (ASTM E74)",
            newtons(cell.lower_limit_factor_n),
        ),
        text(
            "lowest steady force of class A (E74)",
            newtons(cell.lowest_force_class_a_n),
        ),
        text("most between up and down", newtons(cell.hysteresis_n)),
        text(
            "chance that repeats alone miss it so far",
            cell.lack_of_fit_p
                .map_or_else(|| NOT_AVAILABLE.to_owned(), |p| number(p, 2)),
        ),
    ])
}
