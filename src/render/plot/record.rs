//! The whole record: the load uncorrected, the baseline taken off it, and what each stretch is taken for.

use crate::burn::segmentation::{SegmentKind, SegmentReport};
use crate::reduce::Reduction;

use super::palette::{Colour, FAINT, MEASURED, MODEL, MODEL_SOLID, MOMENT, MOTORS, RAW};
use super::{Across, Chart, Layer, named, points};

/// Stretches that are named above the picture: the largest. The table has all.
const NAMED: usize = 6;

/// The kinds in the order of the key, each with its colour.
const KINDS: [(SegmentKind, Colour); 6] = [
    (SegmentKind::Burn, MODEL_SOLID),
    (SegmentKind::Unclear, MOMENT),
    (SegmentKind::Ejection, MOTORS[3]),
    (SegmentKind::Handling, MOTORS[2]),
    (SegmentKind::Knock, RAW),
    (SegmentKind::Rest, FAINT),
];

/// The picture; `None` without readings.
#[must_use]
pub(crate) fn record(reduction: &Reduction) -> Option<Chart> {
    let traces = &reduction.traces;
    let record = reduction.result.record.as_ref();
    let segments = record.map_or(&[][..], |record| &record.segments);
    let of = |kind: SegmentKind| segments.iter().filter(move |one| one.kind == kind);
    let mut layers = Vec::new();
    for (kind, colour) in KINDS {
        let spans: Vec<_> = of(kind).map(|one| (one.from_s, one.to_s)).collect();
        if !spans.is_empty() {
            layers.push(named(Layer::Spans(spans, colour), kind.word()));
        }
    }
    layers.push(named(
        Layer::Trace(traces.load_n.clone(), MEASURED),
        "load, uncorrected",
    ));
    layers.push(named(
        Layer::Curve(points(&traces.zero_line_n), MODEL),
        "baseline",
    ));
    let chart = Chart::around(
        "Load on all cells over the whole record, its segments and the baseline",
        Across::Time("time on the first log's clock, s"),
        "load, N",
        layers,
    )?;
    Some(chart.since(0.0, words(segments)))
}

/// What the largest stretches are, at their beginning.
fn words(segments: &[SegmentReport]) -> Vec<(f64, String)> {
    let mut all: Vec<_> = segments
        .iter()
        .filter(|one| one.kind != SegmentKind::Rest)
        .collect();
    all.sort_by(|a, b| b.area_ns.abs().total_cmp(&a.area_ns.abs()));
    all.truncate(NAMED);
    all.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    let reduced = |one: &SegmentReport| if one.reduced { ", reduced" } else { "" };
    all.iter()
        .map(|one| (one.from_s, format!("{}{}", one.kind.word(), reduced(one))))
        .collect()
}
