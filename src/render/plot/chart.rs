//! A picture with two axes: what lies between them, and how far they reach. [`draw`](super::draw) writes it.

use plotters::coord::ranged1d::{BoldPoints, Ranged};
use plotters::coord::types::RangedCoordf64;

use crate::quantity::Unit;
use crate::render::decimate::min_max;
use crate::series::Series;

use super::palette::Colour;

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
    /// What one of several adds to those below it: place, from, to.
    Share(Vec<(f64, f64, f64)>, Colour),
    /// Single readings.
    Dots(Vec<(f64, f64)>, Colour),
    /// Lines from zero.
    Stems(Vec<(f64, f64)>, Colour),
    /// Stretches of x: from, to.
    Spans(Vec<(f64, f64)>, Colour),
}

/// A layer and its name.
#[derive(Debug, Clone)]
pub(crate) struct Named {
    /// What is drawn.
    pub layer: Layer,
    /// What stands in the key and in the read-out; empty for nothing.
    pub name: String,
    /// What the replay of the firing takes it for, where it does.
    pub role: Option<Role>,
}

/// What a curve moves when the firing is replayed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Role {
    /// The rig.
    Tilt,
    /// The nozzles.
    Nozzle,
    /// The flame of a motor, counted from 0.
    Motor(usize),
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
    /// Words under the x axis, with the unit; empty under a strip that has another below it.
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
    /// Height between the ends of the y axis, px.
    pub height_px: u32,
    /// A second scale on the right: how much of it makes one of the first, and its unit.
    pub beside: Option<(f64, &'static str)>,
}

/// Height of a picture, px.
const HEIGHT_PX: u32 = 150;

/// Columns a long trace is thinned to before its range is taken; the extremes survive.
const REACH_COLUMNS: usize = 1000;

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
            height_px: HEIGHT_PX,
            beside: None,
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

    /// The unit of the y axis: what stands behind the last comma of its words.
    pub(super) fn unit(&self) -> &str {
        self.y_words.rsplit_once(", ").map_or("", |(_, unit)| unit)
    }

    /// Sets a second scale in US customary units on the right, where there is such a unit.
    pub(crate) fn set_customary(&mut self) {
        self.beside = Unit::of_symbol(self.unit()).and_then(Unit::customary);
    }

    /// The same, so many pixels high.
    #[must_use]
    pub(crate) const fn high(mut self, height_px: u32) -> Self {
        self.height_px = height_px;
        self
    }
}

impl Layer {
    /// The colour it is drawn in.
    pub(crate) const fn colour(&self) -> Colour {
        match self {
            Self::Trace(_, colour)
            | Self::Curve(_, colour)
            | Self::Steps(_, colour)
            | Self::Band(_, colour)
            | Self::Share(_, colour)
            | Self::Dots(_, colour)
            | Self::Stems(_, colour)
            | Self::Spans(_, colour) => *colour,
        }
    }

    /// Points whose extremes are those of the layer.
    fn reach(&self) -> Vec<(f64, f64)> {
        match self {
            Self::Band(area, _) | Self::Share(area, _) => area
                .iter()
                .flat_map(|(x, low, high)| [(*x, *low), (*x, *high)])
                .collect(),
            Self::Trace(series, _) | Self::Steps(series, _) => min_max(series, REACH_COLUMNS),
            Self::Curve(points, _) | Self::Dots(points, _) => points.clone(),
            Self::Stems(points, _) => points.iter().flat_map(|at| [*at, (at.0, 0.0)]).collect(),
            Self::Spans(..) => vec![],
        }
    }
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

/// Places along an axis and what stands there, at most so many: whole steps of 1, 2 or 5 times a power of ten.
#[must_use]
pub(super) fn ticks((from, to): (f64, f64), count: usize) -> Vec<(f64, String)> {
    if !(from.is_finite() && to.is_finite() && from < to) {
        return vec![];
    }
    let places = RangedCoordf64::from(from..to).key_points(BoldPoints(count));
    let step = places.windows(2).map(|two| two[1] - two[0]).next();
    let decimals = step.map_or(0.0, |step| {
        (-(1.001 * step).log10().floor()).clamp(0.0, 9.0)
    }) as usize;
    let words = |value: f64| {
        let text = format!("{value:.decimals$}");
        let zero = text.trim_start_matches('-').parse() == Ok(0.0_f64);
        text.replace('-', if zero { "" } else { "−" })
    };
    places
        .into_iter()
        .map(|value| (value, words(value)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_have_the_decimals_their_step_needs() {
        let words = |range, count: usize| -> Vec<String> {
            ticks(range, count).into_iter().map(|tick| tick.1).collect()
        };
        assert_eq!(words((-1.1, 1.0), 4), ["−1", "0", "1"]);
        assert_eq!(words((-0.2, 0.61), 5), ["−0.2", "0.0", "0.2", "0.4", "0.6"]);
        assert_eq!(words((-0.02, 0.05), 4), ["−0.02", "0.00", "0.02", "0.04"]);
        assert_eq!(words((0.0, 61.0), 6), ["0", "20", "40", "60"]);
        assert_eq!(words((0.0, f64::INFINITY), 6), [""; 0]);
    }

    #[test]
    fn a_flat_line_gets_a_range_and_nothing_gets_none() {
        assert_eq!(range([0.0, 0.0].into_iter(), 0.1), Some((-1.0, 1.0)));
        assert_eq!(range([f64::NAN].into_iter(), 0.1), None);
        assert_eq!(range([0.0, 2.0].into_iter(), 0.5), Some((-1.0, 3.0)));
    }
}
