//! What the page's script needs to read out and enlarge a picture over time.
//!
//! The text goes into an attribute beside the picture, so that nothing a file says can end a
//! script. Times and values are whole steps, each counted from the one before: a few characters a
//! reading. Long traces keep the lowest and highest reading of each column, as the picture does.

use serde::Serialize;

use crate::render::decimate::thinned;
use crate::render::words::clean;

use super::chart::{Chart, Layer};

/// Stretches of time a long trace is kept in; finer than the columns of the widest picture.
const COLUMNS: usize = 1000;

/// Steps in the range of time.
const TIME_STEPS: f64 = 2e6;

/// Steps in the range of values: finer than the readout shows.
const VALUE_STEPS: f64 = 2e4;

#[derive(Serialize)]
struct Live {
    /// Where the picture's zero of time lies on the clock all pictures share, s.
    zero: f64,
    x: (f64, f64),
    y: (f64, f64),
    /// Size of a step of time and of value.
    step: (f64, f64),
    words: (String, String),
    moments: Vec<(f64, String)>,
    curves: Vec<Curve>,
}

#[derive(Serialize)]
struct Curve {
    name: String,
    kind: &'static str,
    colour: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    dashes: Option<&'static str>,
    width: u32,
    /// Width of a column when readings were left out, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    column: Option<f64>,
    t: Vec<i64>,
    v: Vec<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    high: Option<Vec<i64>>,
}

/// Values as whole steps, each from the one before.
fn steps(values: impl Iterator<Item = f64>, from: f64, step: f64) -> Vec<i64> {
    let mut before = 0;
    values
        .map(|value| {
            let at = ((value - from) / step).round() as i64;
            let moved = at - before;
            before = at;
            moved
        })
        .collect()
}

impl Chart {
    /// The curves of a picture over time as JSON; `None` for every other picture.
    #[must_use]
    pub(crate) fn live(&self) -> Option<String> {
        let zero = self.zero_s?;
        let step = (
            (self.x.1 - self.x.0) / TIME_STEPS,
            (self.y.1 - self.y.0) / VALUE_STEPS,
        );
        let live = Live {
            zero,
            x: self.x,
            y: self.y,
            step,
            words: (clean(self.x_words), clean(&self.y_words)),
            moments: self
                .moments
                .iter()
                .map(|(at, text)| (*at, clean(text)))
                .collect(),
            curves: self
                .layers
                .iter()
                .filter_map(|named| self.curve(&named.layer, &named.name, step))
                .collect(),
        };
        serde_json::to_string(&live).ok()
    }

    fn curve(&self, layer: &Layer, name: &str, step: (f64, f64)) -> Option<Curve> {
        let mut high = None;
        let (kind, points, whole) = match layer {
            Layer::Trace(series, _) => {
                let all: Vec<_> = series.iter().collect();
                ("line", thinned(&all, COLUMNS), all.len())
            }
            Layer::Curve(all, _) => ("line", thinned(all, COLUMNS), all.len()),
            Layer::Steps(series, _) => {
                let all = changes(series.iter());
                ("steps", thinned(&all, COLUMNS), all.len())
            }
            Layer::Band(band, _) => {
                let there = band
                    .iter()
                    .filter(|(_, low, high)| (low + high).is_finite());
                high = Some(steps(there.clone().map(|at| at.2), self.y.0, step.1));
                let low: Vec<_> = there.map(|(x, low, _)| (*x, *low)).collect();
                let whole = low.len();
                ("band", low, whole)
            }
            Layer::Dots(..) | Layer::Stems(..) => return None,
        };
        let column = (points.len() < whole).then_some((self.x.1 - self.x.0) / COLUMNS as f64);
        let name = match (name, kind) {
            ("", "band") => "band".to_owned(),
            (other, _) => clean(other),
        };
        Some(Curve {
            name,
            kind,
            colour: layer.colour().name(),
            dashes: layer.colour().dashes(),
            width: layer.stroke_width(),
            column,
            t: steps(points.iter().map(|at| at.0), self.x.0, step.0),
            v: steps(points.iter().map(|at| at.1), self.y.0, step.1),
            high,
        })
    }
}

/// The readings at which a held value changes, and the last.
fn changes(all: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::new();
    let mut last = None;
    for (time, value) in all {
        if out.last().is_none_or(|(_, before)| *before != value) {
            out.push((time, value));
        }
        last = Some((time, value));
    }
    if last.is_some() && out.last() != last.as_ref() {
        out.extend(last);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::chart::Across;
    use super::super::named;
    use super::super::palette::MEASURED;
    use super::*;
    use crate::series::Series;

    const SINCE_IGNITION: Across = Across::Time("time since ignition, s");

    fn chart(time: &[f64], value: &[f64], across: Across) -> Chart {
        let trace = Layer::Trace(Series::new(time, value), MEASURED);
        Chart::around(
            "Thrust",
            across,
            "thrust, N",
            vec![named(trace, "</script>\"")],
        )
        .unwrap()
    }

    #[test]
    fn readings_come_back_from_their_steps() {
        let time: Vec<f64> = (0..50).map(|i| f64::from(i) * 0.01).collect();
        let value: Vec<f64> = time.iter().map(|t| 10.0 * (9.0 * t).sin()).collect();
        let chart = chart(&time, &value, SINCE_IGNITION);
        let live: serde_json::Value = serde_json::from_str(&chart.live().unwrap()).unwrap();
        let curve = &live["curves"][0];
        assert_eq!(curve["name"], "</script>\"");
        let back = |key: &str, axis: &str, nth: usize| {
            let mut at = live[axis][0].as_f64().unwrap();
            let step = live["step"][nth].as_f64().unwrap();
            let steps = curve[key].as_array().unwrap().iter();
            steps
                .map(|moved| {
                    at += moved.as_f64().unwrap() * step;
                    at
                })
                .collect::<Vec<f64>>()
        };
        for (got, expected) in back("t", "x", 0).iter().zip(&time) {
            assert!((got - expected).abs() < 1e-6, "{got} {expected}");
        }
        // Half a step of 22.4 N in 20 000.
        for (got, expected) in back("v", "y", 1).iter().zip(&value) {
            assert!((got - expected).abs() < 6e-4, "{got} {expected}");
        }
    }

    #[test]
    fn only_pictures_over_time_are_live() {
        let (x, y) = ([0.0, 1.0], [0.0, 2.0]);
        let quantity = Across::Quantity("timer setting, s");
        assert!(chart(&x, &y, quantity).live().is_none());
        let time = Across::Time("seconds since ignition");
        assert!(chart(&x, &y, time).live().is_some());
    }

    #[test]
    fn a_spike_of_one_reading_in_a_million_is_kept_and_little_else() {
        let time: Vec<f64> = (0..1_000_000).map(|i| f64::from(i) * 1e-4).collect();
        let mut value: Vec<f64> = (0..1_000_000).map(|i| f64::from(i % 7) * 0.1).collect();
        value[654_321] = 90.0;
        let text = chart(&time, &value, SINCE_IGNITION).live().unwrap();
        assert!(text.len() < 60_000, "{}", text.len());
        let live: serde_json::Value = serde_json::from_str(&text).unwrap();
        let steps = live["curves"][0]["v"].as_array().unwrap();
        let mut at = 0;
        let highest = steps.iter().map(|moved| {
            at += moved.as_i64().unwrap();
            at
        });
        let y = chart(&time, &value, SINCE_IGNITION).y;
        let highest = y.0 + highest.max().unwrap() as f64 * (y.1 - y.0) / VALUE_STEPS;
        assert!((highest - 90.0).abs() < 0.01, "{highest}");
    }
}
