//! The frame all pictures with axes share: layers in, SVG text out.
//!
//! The drawing library rounds to whole units, so a picture is drawn [`SCALE`] times too large and
//! shrunk by its viewBox. Whatever runs over time is thinned by the lowest and highest reading of
//! each column of pixels; whatever does not, by what falls on the same pixels.

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use crate::render::decimate::{apart, in_order, min_max, one_for_each_cell, thinned};
use crate::render::words::clean;
use crate::series::Series;

use super::label::{Field, LETTER_PX, text_width_px};
use super::palette::{self, Colour, FAINT, GRID, MOMENT, tied_to_page};

/// Drawing units in one pixel of the page.
pub(crate) const SCALE: i32 = 8;

/// Font size on output is divided by this by the SVG backend.
const FONT_FACTOR: f64 = 1.24;

/// Size of a picture on the page, px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Size {
    /// Width, px.
    pub width_px: i32,
    /// Height, px.
    pub height_px: i32,
}

impl Size {
    /// For screens and paper.
    pub(crate) const WIDE: Self = Self {
        width_px: 780,
        height_px: 320,
    };
    /// For telephones.
    pub(crate) const NARROW: Self = Self {
        width_px: 350,
        height_px: 280,
    };
}

/// One thing drawn between the axes.
#[derive(Debug, Clone)]
pub(crate) enum Layer {
    /// Raw readings joined by lines; no spike is lost.
    Trace(Series, Colour),
    /// A smooth curve.
    Curve(Vec<(f64, f64)>, Colour),
    /// Values that hold until the next.
    Steps(Series, Colour),
    /// Area between two values: place, low, high.
    Band(Vec<(f64, f64, f64)>, Colour),
    /// Single readings.
    Dots(Vec<(f64, f64)>, Colour),
    /// Lines from zero.
    Stems(Vec<(f64, f64)>, Colour),
}

/// A layer and the words beside it.
#[derive(Debug, Clone)]
pub(crate) struct Named {
    /// What is drawn.
    pub layer: Layer,
    /// What stands beside it; empty for nothing.
    pub name: String,
}

/// What runs across a picture, in words with the unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Across {
    /// Time: such a picture can be read out and enlarged on the page.
    Time(&'static str),
    /// Anything else.
    Quantity(&'static str),
}

/// A picture with two axes.
#[derive(Debug, Clone)]
pub(crate) struct Chart {
    /// What a reader who cannot see it is told.
    pub title: String,
    /// Words under the x axis, with the unit.
    pub x_words: &'static str,
    /// Words above the y axis, with the unit.
    pub y_words: String,
    /// Range of x.
    pub x: (f64, f64),
    /// Range of y.
    pub y: (f64, f64),
    /// From back to front.
    pub layers: Vec<Named>,
    /// Upright lines with words above them.
    pub moments: Vec<(f64, String)>,
    /// Where zero lies on the clock that all pictures over time share, s; `None` for a picture over
    /// anything else.
    pub zero_s: Option<f64>,
}

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
type Context<'a, 'b> =
    ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;
type Drawn = Result<(), DrawingAreaErrorKind<std::io::Error>>;

impl Chart {
    /// A chart around some layers, its ranges taken from them with a little air. `None` when there
    /// is nothing to draw.
    #[must_use]
    pub(crate) fn around(
        title: &str,
        across: Across,
        y_words: &str,
        layers: Vec<Named>,
    ) -> Option<Self> {
        let corners: Vec<(f64, f64)> = layers
            .iter()
            .flat_map(|named| named.layer.reach())
            .collect();
        let x = range(corners.iter().map(|corner| corner.0), 0.0)?;
        let y = range(corners.iter().map(|corner| corner.1), 0.06)?;
        let (x_words, zero_s) = match across {
            Across::Time(words) => (words, Some(0.0)),
            Across::Quantity(words) => (words, None),
        };
        Some(Self {
            title: title.to_owned(),
            x_words,
            y_words: y_words.to_owned(),
            x,
            y,
            layers,
            moments: vec![],
            zero_s,
        })
    }

    /// The same with times counted from an instant of the record, and the moments that it shows.
    #[must_use]
    pub(crate) fn since(mut self, zero_s: f64, mut moments: Vec<(f64, String)>) -> Self {
        moments.retain(|(time, _)| (self.x.0..=self.x.1).contains(time));
        self.zero_s = Some(zero_s);
        self.moments = moments;
        self
    }

    /// The picture as SVG text with no fixed size.
    #[must_use]
    pub(crate) fn svg(&self, size: Size) -> String {
        let text = drawing(&self.title, size, |root| self.paint(root, size));
        if self.zero_s.is_none() {
            return text;
        }
        let (right_px, bottom_px) = (size.width_px - RIGHT_PX, size.height_px - BELOW_PX);
        let edges = [LEFT_PX, self.top_px(size), right_px, bottom_px].map(|px| px * SCALE);
        let [left, top, right, bottom] = edges;
        let frame = format!(" data-frame=\"{left} {top} {right} {bottom}\" xmlns=");
        text.replacen(" xmlns=", &frame, 1)
    }

    /// Where the frame begins: below the words of the y axis and of the moments.
    fn top_px(&self, size: Size) -> i32 {
        let words = self.moment_words(size);
        let rows = words.iter().map(|word| word.row + 1).max().unwrap_or(0);
        Y_WORDS_PX + rows as i32 * ROW_PX + 4
    }

    fn paint(&self, root: &Area<'_>, size: Size) -> Drawn {
        let words = self.moment_words(size);
        let top_px = self.top_px(size);
        let mut chart = ChartBuilder::on(root)
            .margin_top(top_px * SCALE)
            .margin_right(RIGHT_PX * SCALE)
            .x_label_area_size(BELOW_PX * SCALE)
            .y_label_area_size(LEFT_PX * SCALE)
            .build_cartesian_2d(self.x.0..self.x.1, self.y.0..self.y.1)?;
        self.mesh(&mut chart, size)?;
        for named in &self.layers {
            self.layer(&mut chart, &named.layer, size)?;
        }
        write(root, &self.y_words, (1, 2), FAINT, (HPos::Left, VPos::Top))?;
        for (word, (x, text)) in words.iter().zip(&self.moments) {
            let line = [(*x, self.y.0), (*x, self.y.1)];
            chart.draw_series(LineSeries::new(line, MOMENT.rgb().stroke_width(9)))?;
            let at = (word.left_px as i32, Y_WORDS_PX + word.row as i32 * ROW_PX);
            write(root, text, at, MOMENT, (HPos::Left, VPos::Top))?;
        }
        self.names(root, &chart, size, top_px)
    }

    fn mesh(&self, chart: &mut Context<'_, '_>, size: Size) -> Drawn {
        let letters = letters(FAINT);
        let x_count = (size.width_px / 62).max(3) as usize;
        let y_count = (size.height_px / 48).max(3) as usize;
        let x_write = tick_writer(self.x, x_count);
        let y_write = tick_writer(self.y, y_count);
        chart
            .configure_mesh()
            .disable_x_mesh()
            .light_line_style(TRANSPARENT)
            .bold_line_style(GRID.rgb().stroke_width(8))
            .axis_style(FAINT.rgb().stroke_width(8))
            .set_all_tick_mark_size(4 * SCALE)
            .label_style(letters.clone())
            .axis_desc_style(letters)
            .x_labels(x_count)
            .y_labels(y_count)
            .x_label_formatter(&|value| x_write(*value))
            .y_label_formatter(&|value| y_write(*value))
            .x_desc(clean(self.x_words))
            .draw()
    }

    fn layer(&self, chart: &mut Context<'_, '_>, layer: &Layer, size: Size) -> Drawn {
        let columns = (size.width_px - LEFT_PX - RIGHT_PX).max(10) as usize;
        let points = layer.points(columns, self.pixel(size));
        let width = layer.stroke_width();
        match layer {
            Layer::Trace(_, colour) | Layer::Steps(_, colour) | Layer::Curve(_, colour) => {
                chart.draw_series(LineSeries::new(points, colour.rgb().stroke_width(width)))?;
            }
            Layer::Band(band, colour) => {
                let there = band.iter().map(|(x, low, _)| (*x, *low));
                let back = band.iter().rev().map(|(x, _, high)| (*x, *high));
                let outline: Vec<(f64, f64)> = there.chain(back).collect();
                let style = colour.rgb().mix(0.22).filled();
                chart.draw_series(std::iter::once(Polygon::new(outline, style)))?;
            }
            Layer::Dots(_, colour) => {
                let dot = |at: &(f64, f64)| Circle::new(*at, 3 * SCALE, colour.rgb().filled());
                chart.draw_series(points.iter().map(dot))?;
            }
            Layer::Stems(_, colour) => {
                let style = colour.rgb().stroke_width(width);
                let stem = |at: &(f64, f64)| PathElement::new([(at.0, 0.0), *at], style);
                chart.draw_series(points.iter().map(stem))?;
            }
        }
        Ok(())
    }

    /// How much of x and y a pixel is.
    fn pixel(&self, size: Size) -> (f64, f64) {
        let (wide, high) = (size.width_px - LEFT_PX, size.height_px - BELOW_PX);
        (
            (self.x.1 - self.x.0) / f64::from(wide),
            (self.y.1 - self.y.0) / f64::from(high),
        )
    }

    /// Where the words of the moments go: side by side, one row lower where they would collide.
    fn moment_words(&self, size: Size) -> Vec<Word> {
        let (left, right) = (f64::from(LEFT_PX), f64::from(size.width_px - RIGHT_PX));
        let mut taken: Vec<(usize, f64, f64)> = vec![];
        let place = |(x, text): &(f64, String)| {
            let at = left + (x - self.x.0) / (self.x.1 - self.x.0) * (right - left);
            let width = text_width_px(text);
            let start = (at - 4.0)
                .min(f64::from(size.width_px) - width - 2.0)
                .max(2.0);
            let end = start + width + 10.0;
            let free = |row: usize| {
                taken
                    .iter()
                    .all(|(other, from, to)| *other != row || end <= *from || start >= *to)
            };
            let row = (0..).find(|row| free(*row)).unwrap_or(0);
            taken.push((row, start, end));
            Word {
                row,
                left_px: start,
            }
        };
        self.moments.iter().map(place).collect()
    }

    /// Writes the name of each layer beside it, where it covers nothing.
    fn names(&self, root: &Area<'_>, chart: &Context<'_, '_>, size: Size, top_px: i32) -> Drawn {
        let to_px = |(x, y): (f64, f64)| {
            let (x, y) = chart.backend_coord(&(x, y));
            let scale = f64::from(SCALE);
            (f64::from(x) / scale, f64::from(y) / scale)
        };
        let columns = (size.width_px / 2).max(10) as usize;
        let inside = |at: &(f64, f64)| (self.x.0..=self.x.1).contains(&at.0);
        let curves: Vec<Vec<(f64, f64)>> = self
            .layers
            .iter()
            .map(|named| {
                named
                    .layer
                    .points(columns, self.pixel(size))
                    .into_iter()
                    .filter(inside)
                    .map(to_px)
                    .collect()
            })
            .collect();
        let corner = (f64::from(LEFT_PX), f64::from(top_px));
        let far = (
            f64::from(size.width_px - RIGHT_PX),
            f64::from(size.height_px - BELOW_PX),
        );
        let moments = self.moments.iter().map(|(x, _)| {
            let line = [(*x, self.y.0), (*x, self.y.1)];
            line.map(to_px).to_vec()
        });
        let all: Vec<Vec<(f64, f64)>> = curves.iter().cloned().chain(moments).collect();
        let mut field = Field::new(corner, far, &all);
        for (named, curve) in self.layers.iter().zip(&curves) {
            if named.name.is_empty() || curve.is_empty() {
                continue;
            }
            let name = clean(&named.name);
            let (x, y) = field.place(&name, curve);
            let at = (x.round() as i32, y.round() as i32);
            write(
                root,
                &name,
                at,
                named.layer.colour(),
                (HPos::Left, VPos::Top),
            )?;
        }
        Ok(())
    }
}

/// Room above the frame for the words of the y axis, px.
const Y_WORDS_PX: i32 = 22;
/// Height of a row of words, px.
const ROW_PX: i32 = 16;
/// Room right of the frame, px.
const RIGHT_PX: i32 = 16;
/// Room below the frame for ticks and words, px.
const BELOW_PX: i32 = 42;
/// Room left of the frame for ticks, px.
const LEFT_PX: i32 = 52;

struct Word {
    row: usize,
    left_px: f64,
}

/// Columns a long trace is thinned to before its range is taken; the extremes survive.
const REACH_COLUMNS: usize = 1000;

impl Layer {
    /// The colour it is drawn in, and its name written in.
    pub(super) fn colour(&self) -> Colour {
        match self {
            Self::Trace(_, colour)
            | Self::Curve(_, colour)
            | Self::Steps(_, colour)
            | Self::Band(_, colour)
            | Self::Dots(_, colour)
            | Self::Stems(_, colour) => {
                if *colour == palette::RAW {
                    FAINT
                } else {
                    *colour
                }
            }
        }
    }

    /// How thick its line is, in drawing units.
    pub(super) fn stroke_width(&self) -> u32 {
        match self {
            Self::Trace(_, palette::RAW) | Self::Steps(_, palette::RAW) => 9,
            Self::Trace(..) | Self::Steps(..) => 12,
            Self::Curve(..) => 16,
            Self::Band(..) | Self::Dots(..) => 0,
            Self::Stems(..) => 24,
        }
    }

    /// The points drawn when there are so many columns of pixels of this size.
    fn points(&self, columns: usize, pixel: (f64, f64)) -> Vec<(f64, f64)> {
        match self {
            Self::Trace(series, _) => min_max(series, columns),
            Self::Steps(series, _) => thinned(&stairs(series), columns),
            Self::Curve(points, _) if in_order(points) => thinned(points, columns),
            Self::Curve(points, _) => apart(points, (0.5 * pixel.0, 0.5 * pixel.1)),
            Self::Band(band, _) => band.iter().map(|(x, _, high)| (*x, *high)).collect(),
            Self::Dots(points, _) => one_for_each_cell(points, pixel),
            Self::Stems(points, _) => points.clone(),
        }
    }

    /// Points that the ranges must hold.
    fn reach(&self) -> Vec<(f64, f64)> {
        match self {
            Self::Band(band, _) => band
                .iter()
                .flat_map(|(x, low, high)| [(*x, *low), (*x, *high)])
                .collect(),
            Self::Trace(series, _) | Self::Steps(series, _) => min_max(series, REACH_COLUMNS),
            Self::Curve(points, _) | Self::Dots(points, _) => points.clone(),
            Self::Stems(points, _) => points.iter().flat_map(|at| [*at, (at.0, 0.0)]).collect(),
        }
    }
}

/// Corners of a line that holds each value until the next; equal values are drawn through.
fn stairs(series: &Series) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::new();
    for (time, value) in series.iter() {
        match out.last().copied() {
            Some((_, before)) if before == value => continue,
            Some((_, before)) => out.extend([(time, before), (time, value)]),
            None => out.push((time, value)),
        }
    }
    if let (Some((_, end)), Some((_, value))) = (series.span_s(), out.last().copied()) {
        out.push((end, value));
    }
    out
}

/// Range of some values with air on both sides; `None` without a finite value.
#[must_use]
pub(crate) fn range(values: impl Iterator<Item = f64>, air: f64) -> Option<(f64, f64)> {
    let finite = values.filter(|value| value.is_finite());
    let (low, high) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    if low > high {
        return None;
    }
    let width = high - low;
    if width <= 1e-9 * high.abs().max(low.abs()) {
        let half = if high == 0.0 { 1.0 } else { 0.1 * high.abs() };
        return Some((low - half, high + half));
    }
    Some((low - air * width, high + air * width))
}

/// Writes tick values with as many decimals as their step needs, and a true minus sign.
fn tick_writer(range: (f64, f64), count: usize) -> impl Fn(f64) -> String {
    let step = (range.1 - range.0) / count as f64;
    let decimals = (-step.log10().floor()).clamp(0.0, 9.0) as usize;
    move |value| {
        let text = format!("{value:.decimals$}");
        let short = if text.contains('.') {
            text.trim_end_matches('0').trim_end_matches('.')
        } else {
            text.as_str()
        };
        match short {
            "-0" => "0".to_owned(),
            other => other.replace('-', "−"),
        }
    }
}

fn letters(colour: Colour) -> TextStyle<'static> {
    let size = LETTER_PX * FONT_FACTOR * f64::from(SCALE);
    ("sans-serif", size).into_font().color(&colour.rgb())
}

/// Writes a text at a place given in px.
pub(super) fn write(
    root: &Area<'_>,
    text: &str,
    at_px: (i32, i32),
    colour: Colour,
    anchor: (HPos, VPos),
) -> Drawn {
    let style = letters(colour).pos(Pos::new(anchor.0, anchor.1));
    root.draw_text(&clean(text), &style, (at_px.0 * SCALE, at_px.1 * SCALE))
}

/// Draws a picture and makes it fit for the page: no fixed size, the page's colours, a title.
pub(super) fn drawing(title: &str, size: Size, paint: impl FnOnce(&Area<'_>) -> Drawn) -> String {
    let (width, height) = (size.width_px * SCALE, size.height_px * SCALE);
    let mut text = String::new();
    {
        let drawing_size = (width.unsigned_abs(), height.unsigned_abs());
        let root = SVGBackend::with_string(&mut text, drawing_size).into_drawing_area();
        // Drawing into a string cannot fail; a picture that does is left unfinished, not the page.
        let _ = paint(&root);
        let _ = root.present();
    }
    let title = clean(title)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;");
    let fixed = format!("<svg width=\"{width}\" height=\"{height}\" ");
    let free = "<svg role=\"img\" ";
    let text = text.replacen(&fixed, free, 1);
    let text = text.replacen(">\n", &format!("><title>{title}</title>\n"), 1);
    tied_to_page(&text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_have_the_decimals_their_step_needs() {
        let write = tick_writer((-1.0, 1.0), 8);
        assert_eq!(
            [write(-0.5), write(-0.0), write(0.25)],
            ["−0.5", "0", "0.2"]
        );
        assert_eq!(tick_writer((0.0, 60.0), 6)(20.0), "20");
    }

    #[test]
    fn a_flat_line_gets_a_range_and_nothing_gets_none() {
        assert_eq!(range([0.0, 0.0].into_iter(), 0.1), Some((-1.0, 1.0)));
        assert_eq!(range([f64::NAN].into_iter(), 0.1), None);
        assert_eq!(range([0.0, 2.0].into_iter(), 0.5), Some((-1.0, 3.0)));
    }

    #[test]
    fn steps_have_a_corner_for_each_change_and_none_for_what_stays() {
        let series = Series::new(&[0.0, 1.0, 2.0, 3.0], &[0.0, 0.0, 5.0, 5.0]);
        assert_eq!(
            stairs(&series),
            [(0.0, 0.0), (2.0, 0.0), (2.0, 5.0), (3.0, 5.0)]
        );
    }

    #[test]
    fn a_spike_of_one_reading_reaches_the_picture() {
        let time: Vec<f64> = (0..100_000).map(f64::from).collect();
        let mut value = vec![0.0; 100_000];
        value[77_777] = 10.0;
        let trace = Layer::Trace(Series::new(&time, &value), palette::MEASURED);
        let layers = vec![Named {
            layer: trace,
            name: "measured".into(),
        }];
        let chart = Chart::around("<t>", Across::Time("time, s"), "thrust, N", layers).unwrap();
        let svg = chart.svg(Size::WIDE);
        assert!(svg.starts_with(
            "<svg role=\"img\" viewBox=\"0 0 6240 2560\" data-frame=\"416 208 6112 2224\""
        ));
        assert!(svg.contains("<title>&lt;t&gt;</title>"));
        // The highest point of the curve lies 6 % of the range below the top of the frame.
        let curve = svg.split("var(--measured").nth(1).unwrap();
        let points = curve.split("points=\"").nth(1).unwrap();
        let points = points.split('"').next().unwrap();
        let highest = points
            .split_whitespace()
            .filter_map(|pair| pair.split_once(',')?.1.parse::<i32>().ok())
            .min()
            .unwrap();
        let (top, bottom) = (26 * SCALE, (320 - 42) * SCALE);
        let expected = top + (f64::from(bottom - top) * 0.6 / 11.2) as i32;
        assert!((highest - expected).abs() <= SCALE, "{highest} {expected}");
    }
}
