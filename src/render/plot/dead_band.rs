//! How well each width of the dead band fits.

use crate::plant::{AxisPlant, AxisTrace};
use crate::quantity::measured::NORMAL_FACTOR;

use super::palette::{LIMIT, MEASURED};
use super::{Across, Chart, Layer, level, named};

/// Twice the log-likelihood a width may lose and still lie in the 95 % interval: the 95 % point of
/// chi-squared with one degree of freedom (Wilks 1938), which is that of a normal quantity squared.
const CHI_SQUARED_95: f64 = NORMAL_FACTOR * NORMAL_FACTOR;

/// Highest loss shown; what is worse is out of the question.
const TOP: f64 = 8.0 * CHI_SQUARED_95;

/// Places between two computed ones.
const BETWEEN: usize = 8;

/// A curve through some points: cubic Hermite with the slopes of their neighbours (Catmull and Rom 1974).
fn smooth(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let slope = |at: usize| {
        let (a, b) = (at.saturating_sub(1), (at + 1).min(points.len() - 1));
        (points[b].1 - points[a].1) / (points[b].0 - points[a].0)
    };
    let mut out = Vec::new();
    for (at, pair) in points.windows(2).enumerate() {
        let ((x0, y0), wide) = (pair[0], pair[1].0 - pair[0].0);
        let rise = pair[1].1 - y0;
        let (m0, m1) = (wide * slope(at), wide * slope(at + 1));
        out.extend((0..BETWEEN).map(|nth| {
            let s = nth as f64 / BETWEEN as f64;
            let cubic = (m0 + m1 - 2.0 * rise) * s + (3.0 * rise - 2.0 * m0 - m1);
            (x0 + s * wide, y0 + s * (m0 + s * cubic))
        }));
    }
    out.extend(points.last());
    out
}

/// The picture of one axis; `None` without a profile.
#[must_use]
pub(crate) fn dead_band(plant: &AxisPlant, axis: &AxisTrace) -> Option<Chart> {
    let profile = axis.dead_band_profile.points();
    let (first, last) = (profile.first()?.0, profile.last()?.0);
    let curve: Vec<(f64, f64)> = profile
        .iter()
        .map(|(width, loss)| (*width, loss.min(TOP)))
        .collect();
    // Between its points a cubic may leave what was computed: no fit loses less than nothing.
    let drawn = smooth(&curve)
        .into_iter()
        .map(|(width, loss)| (width, loss.clamp(0.0, TOP)));
    let layers = vec![
        named(
            Layer::Curve(level((first, last), CHI_SQUARED_95), LIMIT),
            "95 % limit",
        ),
        named(Layer::Curve(drawn.collect(), MEASURED), "loss of fit"),
        named(Layer::Dots(curve, MEASURED), "computed"),
    ];
    let mut chart = Chart::around(
        "Dead band: loss of fit for each width",
        Across::Quantity("total width, deg of command"),
        "loss of fit, 2 × log-likelihood",
        layers,
    )?;
    if let Some(width) = &plant.actuator.dead_band.width_deg {
        chart.moments = vec![(width.value, "best width".to_owned())];
    }
    Some(chart)
}

#[cfg(test)]
mod tests {
    use super::*;

    // A parabola has at its points the slopes of the chords about them, so the curve lies on it.
    #[test]
    fn a_parabola_is_drawn_as_one() {
        let parabola = |x: f64| x * x - 3.0 * x;
        let points: Vec<_> = (0..6)
            .map(|x| (f64::from(x), parabola(f64::from(x))))
            .collect();
        let curve = smooth(&points);
        assert_eq!(curve.len(), 5 * BETWEEN + 1);
        let inside = curve.iter().filter(|at| (1.0..=4.0).contains(&at.0));
        assert!(
            inside
                .clone()
                .all(|at| (at.1 - parabola(at.0)).abs() < 1e-12)
        );
    }
}
