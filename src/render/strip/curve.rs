//! The curve of a strip: a chart of the page, drawn by `plotters`.

use plotters::element::DashedPathElement;
use plotters::prelude::*;

use crate::reduce::Reduction;
use crate::render::decimate::thinned;
use crate::render::number::significant;
use crate::render::plot::{Chart, Layer, steering, thrust};
use crate::render::words::clean;

use super::{Drawn, LABEL, Sheet, Type};
use crate::render::plot::palette::{Colour, in_light};

/// Columns a long trace is thinned to.
const COLUMNS: usize = 400;
/// Height of the key, and room for the numbers of the axes, px.
const KEY_PX: u32 = 30;
const AXIS_PX: (u32, u32) = (46, 34);
/// What time counts from where a picture does not say it.
const OVER_TIME: &str = "time after ignition, s";
/// Letters of axes and key.
const SMALL: Type = Type { px: 17, ..LABEL };

/// Thrust, or what the gimbal did where there was none.
pub(super) fn of(reduction: &Reduction) -> Option<Chart> {
    let axes = reduction.traces.axes.values();
    thrust::thrust(reduction).or_else(|| axes.flat_map(steering::nozzle).next())
}

/// Draws it into a frame: left, top, width, height, px.
pub(super) fn draw<B: DrawingBackend>(
    on: &Sheet<'_, B>,
    chart: &Chart,
    (left, top, wide, high): (u32, u32, u32, u32),
) -> Drawn<B> {
    key(on, chart, (left, top), left + wide)?;
    let dots = on.dots;
    let px = |px: u32| (px * dots) as i32;
    let (from, to) = (
        (px(left), px(top + KEY_PX)),
        (px(left + wide), px(top + high)),
    );
    let area = on
        .area
        .clone()
        .shrink(from, ((to.0 - from.0) as u32, (to.1 - from.1) as u32));
    let mut axes = ChartBuilder::on(&area)
        .y_label_area_size(AXIS_PX.0 * dots)
        .x_label_area_size(AXIS_PX.1 * dots)
        .build_cartesian_2d(chart.x.0..chart.x.1, chart.y.0..chart.y.1)?;
    let label = on.style(SMALL);
    let number = |value: &f64| significant(*value, 6);
    axes.configure_mesh()
        .disable_x_mesh()
        .bold_line_style(in_light("grid").stroke_width(dots))
        .light_line_style(TRANSPARENT)
        .axis_style(in_light("faint").stroke_width(dots))
        .x_labels(9)
        .y_labels(7)
        .x_label_formatter(&number)
        .y_label_formatter(&number)
        .label_style(label)
        .draw()?;
    for named in &chart.layers {
        let colour = named.layer.colour();
        let rgb = in_light(colour.name());
        match &named.layer {
            Layer::Band(area, _) => area_of(&mut axes, area, rgb.mix(0.25))?,
            Layer::Share(area, _) => area_of(&mut axes, area, rgb.mix(0.45))?,
            Layer::Trace(series, _) | Layer::Steps(series, _) => {
                let all: Vec<_> = series.iter().collect();
                line(&mut axes, &all, colour, dots)?;
            }
            Layer::Curve(all, _) => line(&mut axes, all, colour, dots)?,
            Layer::Dots(..) | Layer::Stems(..) | Layer::Spans(..) => {}
        }
    }
    let moment = in_light("moment").stroke_width(dots);
    let upright = |at: f64| PathElement::new(vec![(at, chart.y.0), (at, chart.y.1)], moment);
    axes.draw_series(chart.moments.iter().map(|(at, _)| upright(*at)))?;
    // The page has them under the lowest of its pictures.
    let words = match chart.x_words {
        "" => OVER_TIME,
        words => words,
    };
    let end = left + wide;
    let at = (end.saturating_sub(on.width(words, SMALL)), top + high + 2);
    on.words(words, at, SMALL)
}

type Axes<'a, B> = ChartContext<
    'a,
    B,
    Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>,
>;

fn area_of<B: DrawingBackend>(
    axes: &mut Axes<'_, B>,
    area: &[(f64, f64, f64)],
    colour: RGBAColor,
) -> Drawn<B> {
    let step = area.len().div_ceil(COLUMNS).max(1);
    let kept = || area.iter().step_by(step);
    let there = kept().map(|(x, low, _)| (*x, *low));
    let back = kept().rev().map(|(x, _, high)| (*x, *high));
    let corners: Vec<(f64, f64)> = there.chain(back).collect();
    axes.draw_series(std::iter::once(Polygon::new(corners, colour)))?;
    Ok(())
}

fn line<B: DrawingBackend>(
    axes: &mut Axes<'_, B>,
    all: &[(f64, f64)],
    colour: Colour,
    dots: u32,
) -> Drawn<B> {
    let style = in_light(colour.name()).stroke_width(5 * dots / 2);
    let kept = thinned(all, COLUMNS);
    if colour.dashed() {
        let dash = DashedPathElement::new(kept, 9 * dots, 6 * dots, style);
        axes.draw_series(std::iter::once(dash))?;
    } else {
        axes.draw_series(std::iter::once(PathElement::new(kept, style)))?;
    }
    Ok(())
}

/// What is drawn, in its colours, as far as a line holds it.
fn key<B: DrawingBackend>(
    on: &Sheet<'_, B>,
    chart: &Chart,
    (left, top): (u32, u32),
    end: u32,
) -> Drawn<B> {
    let mut x = left;
    on.words(&clean(&chart.y_words), (x, top), SMALL)?;
    x += on.width(&chart.y_words, SMALL) + 20;
    for named in chart.layers.iter().filter(|one| !one.name.is_empty()) {
        let name = clean(&named.name);
        let wide = on.width(&name, SMALL);
        if x + 26 + wide > end {
            break;
        }
        let colour = named.layer.colour();
        let px = |px: u32| (px * on.dots) as i32;
        let swatch = match named.layer {
            Layer::Band(..) | Layer::Share(..) => (5, 17),
            _ => (10, 13),
        };
        let corners = [
            (px(x), px(top + swatch.0)),
            (px(x + 20), px(top + swatch.1)),
        ];
        let mix = if swatch.0 == 5 { 0.45 } else { 1.0 };
        on.area.draw(&Rectangle::new(
            corners,
            in_light(colour.name()).mix(mix).filled(),
        ))?;
        on.words(&name, (x + 26, top), SMALL)?;
        x += 26 + wide + 20;
    }
    Ok(())
}
