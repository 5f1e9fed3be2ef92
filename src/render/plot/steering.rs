//! One axis over the burn: nozzle and tilt against their models, and what the models miss.

use crate::plant::AxisTrace;
use crate::series::Series;

use super::palette::{MEASURED, MODEL, RAW};
use super::{Across, Chart, Layer, Named, named, points};

/// Share of the action shown before it begins and after it ends.
const AROUND: f64 = 0.04;
/// Height of the residuals below a picture, px.
const STRIP_PX: u32 = 60;
/// Which clock runs under them.
const ON_THE_CLOCK: Across = Across::Time("time on the first log's clock, s");

/// Nozzle angle: command, measured, model; below it the residuals. Nothing without a command.
#[must_use]
pub(crate) fn nozzle(axis: &AxisTrace) -> Vec<Chart> {
    let span = action(axis);
    let cut = |series: &Series| cut(series, span);
    let mut layers = vec![named(Layer::Steps(cut(&axis.command_deg), RAW), "command")];
    let model = cut(&axis.nozzle_model_deg);
    let mut residuals = None;
    if let Some(measured) = &axis.nozzle_deg {
        let measured = cut(measured);
        residuals = Some(residual(&measured, &model));
        layers.push(named(Layer::Trace(measured, MEASURED), "measured"));
    }
    layers.push(named(Layer::Curve(points(&model), MODEL), "model"));
    let title = "Nozzle angle: command, measured, model";
    strips(title, "nozzle angle, deg", layers, residuals, span)
}

/// Tilt: measured and the model one step ahead; below it the residuals. Nothing when it was not measured.
#[must_use]
pub(crate) fn tilt(axis: &AxisTrace) -> Vec<Chart> {
    let span = action(axis);
    let Some(measured) = axis.tilt_deg.as_ref().map(|tilt| cut(tilt, span)) else {
        return vec![];
    };
    let mut layers = vec![named(Layer::Trace(measured.clone(), MEASURED), "measured")];
    let mut residuals = None;
    if let Some(model) = axis.tilt_model_deg.as_ref().map(|model| cut(model, span)) {
        residuals = Some(residual(&measured, &model));
        layers.push(named(
            Layer::Curve(points(&model), MODEL),
            "model, one step ahead",
        ));
    }
    strips(
        "Tilt: measured and model",
        "tilt, deg",
        layers,
        residuals,
        span,
    )
}

/// When the model runs: both pictures show that and a little around it.
fn action(axis: &AxisTrace) -> Option<(f64, f64)> {
    let models = [Some(&axis.nozzle_model_deg), axis.tilt_model_deg.as_ref()];
    let spans = models.into_iter().flatten().filter_map(Series::span_s);
    let (from, to) = spans.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))?;
    let around = AROUND * (to - from);
    Some((from - around, to + around))
}

fn cut(series: &Series, span: Option<(f64, f64)>) -> Series {
    span.map_or_else(|| series.clone(), |(from, to)| series.between(from, to))
}

/// Measured minus model, where there is a model.
fn residual(measured: &Series, model: &Series) -> Vec<(f64, f64)> {
    let Some((from, to)) = model.span_s() else {
        return vec![];
    };
    let part = measured.between(from, to);
    let missed = |(time, value)| Some((time, value - model.at(time)?));
    part.iter().filter_map(missed).collect()
}

/// A picture and the residuals below it, over the same time.
fn strips(
    title: &str,
    y_words: &str,
    layers: Vec<Named>,
    residuals: Option<Vec<(f64, f64)>>,
    span: Option<(f64, f64)>,
) -> Vec<Chart> {
    let mut out: Vec<Chart> = Chart::around(title, ON_THE_CLOCK, y_words, layers)
        .into_iter()
        .collect();
    if let (Some(missed), Some(above)) = (residuals, out.first_mut()) {
        let x = span.unwrap_or(above.x);
        above.x = x;
        let layers = vec![named(
            Layer::Curve(missed, MEASURED),
            "measured minus model",
        )];
        if let Some(mut below) = Chart::around("Residuals", ON_THE_CLOCK, "residual, deg", layers) {
            above.x_words = "";
            below.x = x;
            out.push(below.high(STRIP_PX));
        }
    }
    out
}
