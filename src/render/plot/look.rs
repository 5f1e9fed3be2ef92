//! A column of a log as it was recorded, what burns in it and what may.

use crate::look::{ColumnLook, Kind, LogLook};
use crate::render::words::clean;

use super::palette::{FAINT, MEASURED, MODEL_SOLID, MOMENT, RAW};
use super::{Across, Chart, Layer, named};

/// Heights of a column that burns and of any other, px.
const TALL_PX: u32 = 170;
const STRIP_PX: u32 = 60;

/// The picture of a column, with the window that the firing file states; `None` without readings.
#[must_use]
pub(crate) fn column(
    log: &LogLook,
    column: &ColumnLook,
    window_s: Option<(f64, f64)>,
) -> Option<Chart> {
    let shown = |stretch: usize| stretch == log.shown_stretch;
    let burns = column.burns.iter().filter(|one| shown(one.stretch));
    let burns: Vec<_> = burns.map(|one| (one.onset_s, one.end_s)).collect();
    let unclear = column.unclear.iter().filter(|one| shown(one.stretch));
    let unclear: Vec<_> = unclear.map(|one| (one.from_s, one.to_s)).collect();
    let mut moments: Vec<(f64, String)> =
        burns.iter().map(|one| (one.0, "burn".to_owned())).collect();
    moments.extend(unclear.iter().map(|one| (one.0, "a burn?".to_owned())));
    moments.extend(column.rises_s.first().map(|at| (*at, "rises".to_owned())));
    let burning = column.kind == Kind::Burns;
    let layers = [
        (
            Layer::Spans(window_s.into_iter().collect(), FAINT),
            "window",
        ),
        (Layer::Spans(burns, MODEL_SOLID), "burn"),
        (Layer::Spans(unclear, MOMENT), "may be one"),
    ];
    let empty = |layer: &Layer| matches!(layer, Layer::Spans(spans, _) if spans.is_empty());
    let layers = layers.into_iter().filter(|(layer, _)| !empty(layer));
    let mut layers: Vec<_> = layers.map(|(layer, name)| named(layer, name)).collect();
    let colour = if burning { MEASURED } else { RAW };
    layers.push(named(Layer::Trace(column.trace.clone(), colour), ""));
    let name = clean(&column.name);
    let words = format!("{name}, as read");
    let chart = Chart::around(
        &name,
        Across::Time("time on this log's clock, s"),
        &words,
        layers,
    )?;
    let height_px = if burning { TALL_PX } else { STRIP_PX };
    Some(chart.since(0.0, moments).high(height_px))
}
