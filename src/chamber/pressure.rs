//! A pressure record over the burn, able to say how sure any weighted sum of it is.
//!
//! The zero of the transducer is a straight line between its rest before and after the burn, as the
//! zero line of thrust is ([`crate::burn::zero`]); every weighted sum is linear in readings, rests,
//! slope and ambient pressure (JCGM 100:2008, 5.2).

use super::Question;
use crate::burn::crossing::{self, Edge};
use crate::burn::peak;
use crate::burn::zero::{self, ZeroLine};
use crate::calibration::Curve;
use crate::numeric::polynomial::quadratic_form;
use crate::numeric::trapezoid;
use crate::series::Series;
use crate::uncertainty::Term;

/// What begins and ends the burn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ends {
    /// Thrust did: beginning and end with their standard uncertainties against the clock of the
    /// pressure record, s.
    Thrust {
        /// Beginning.
        from_s: (f64, f64),
        /// End.
        to_s: (f64, f64),
    },
    /// Pressure does, somewhere between two times: first and last at or above a share of its peak.
    Pressure {
        /// Share of peak.
        fraction: f64,
        /// Where to look, s.
        within_s: (f64, f64),
    },
}

impl Ends {
    /// The word used in every output.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Thrust { .. } => "thrust",
            Self::Pressure { .. } => "pressure",
        }
    }
}

/// Pressure over the burn.
#[derive(Debug, Clone)]
pub struct Trace<'a> {
    /// Beginning and end of the burn, s.
    pub window_s: (f64, f64),
    /// Their standard uncertainties, s.
    window_u_s: (f64, f64),
    /// Absolute pressure, Pa.
    pub absolute_pa: Series,
    /// What was read, Pa.
    read_pa: &'a Series,
    zero: ZeroLine,
    /// Share of time between the middles of rest, at each reading.
    tau: Vec<f64>,
    curve: Option<&'a Curve>,
    span_relative_u: f64,
    ambient_pa: (f64, f64),
}

impl<'a> Trace<'a> {
    /// Takes the zero off and adds the ambient pressure.
    pub(super) fn new(question: &Question<'a>) -> Option<Self> {
        let read_pa = question.pressure_pa;
        let about_s = match question.ends {
            Ends::Thrust { from_s, to_s } => (from_s.0, to_s.0),
            Ends::Pressure { within_s, .. } => within_s,
        };
        let (first_s, last_s) = read_pa.span_s()?;
        if about_s.0 < first_s || about_s.1 > last_s {
            return None;
        }
        let rows = read_pa.index_at(about_s.0)..read_pa.index_at(about_s.1);
        if rows.is_empty() {
            return None;
        }
        let zero = zero::find(read_pa.time_s(), read_pa.value(), &rows);
        let point =
            |side: &Option<zero::Baseline>| side.as_ref().map(|side| (side.time_s, side.rest.mean));
        let (before, after) = match (point(&zero.before), point(&zero.after)) {
            (Some(before), Some(after)) => (before, after),
            (Some(one), None) => (one, (f64::INFINITY, one.1)),
            (None, Some(one)) => ((f64::NEG_INFINITY, one.1), one),
            (None, None) => return None,
        };
        let share = |time: f64| match (&zero.before, &zero.after) {
            (Some(_), Some(_)) => ((time - before.0) / (after.0 - before.0)).clamp(0.0, 1.0),
            (None, _) => 1.0,
            (_, None) => 0.0,
        };
        let tau: Vec<f64> = read_pa.time_s().iter().map(|time| share(*time)).collect();
        let absolute: Vec<f64> = read_pa
            .value()
            .iter()
            .zip(&tau)
            .map(|(read, tau)| read - before.1 - (after.1 - before.1) * tau + question.ambient_pa.0)
            .collect();
        let mut out = Self {
            window_s: about_s,
            window_u_s: (0.0, 0.0),
            absolute_pa: Series::new(read_pa.time_s(), &absolute),
            read_pa,
            zero,
            tau,
            curve: question.curve,
            span_relative_u: question.span_relative_u,
            ambient_pa: question.ambient_pa,
        };
        let (from_s, to_s) = match question.ends {
            Ends::Thrust { from_s, to_s } => (from_s, to_s),
            Ends::Pressure { fraction, within_s } => out.ends_by_pressure(fraction, within_s)?,
        };
        out.window_s = (from_s.0, to_s.0);
        out.window_u_s = (from_s.1, to_s.1);
        Some(out)
    }

    /// First and last crossing of a share of the peak above ambient.
    fn ends_by_pressure(
        &self,
        fraction: f64,
        within_s: (f64, f64),
    ) -> Option<((f64, f64), (f64, f64))> {
        let (sd_pa, _) = self.noise();
        let top = peak::find(&self.absolute_pa, within_s.0, within_s.1, sd_pa)?.value_n;
        let level = self.ambient_pa.0 + fraction * (top - self.ambient_pa.0);
        let find = |edge| {
            let found = crossing::find(
                &self.absolute_pa,
                within_s.0,
                within_s.1,
                level,
                edge,
                sd_pa,
            )?;
            Some((found.time_s, found.u_s))
        };
        Some((find(Edge::First)?, find(Edge::Last)?))
    }

    /// Rest before the burn, or after it where there is none before, as the transducer read it: mean
    /// and standard uncertainty, Pa.
    #[must_use]
    pub fn rest_pa(&self) -> (f64, f64) {
        let side = self.zero.before.as_ref().or(self.zero.after.as_ref());
        side.map_or((0.0, 0.0), |side| (side.rest.mean, side.rest.u_mean()))
    }

    /// Standard deviation of one reading, Pa, and its inflation by correlation.
    fn noise(&self) -> (f64, f64) {
        self.zero.noise().unwrap_or((0.0, 1.0))
    }

    /// Integral over the burn, Pa s, and its terms.
    #[must_use]
    pub fn integral(&self) -> (f64, Vec<Term>) {
        let (value, mut terms) = self.area();
        let at = |time: f64| self.absolute_pa.at(time).unwrap_or(0.0);
        terms.push(self.ends(at(self.window_s.0), at(self.window_s.1)));
        (value, terms)
    }

    /// Mean over the burn, Pa, and its terms.
    #[must_use]
    pub fn mean(&self) -> (f64, Vec<Term>) {
        let length_s = self.window_s.1 - self.window_s.0;
        let (area, terms) = self.area();
        let mean = area / length_s;
        let mut terms = super::scaled(&terms, 1.0 / length_s);
        // Moving an end by dt takes a part out whose pressure differs from the mean.
        let off = |time: f64| (self.absolute_pa.at(time).unwrap_or(mean) - mean) / length_s;
        terms.push(self.ends(off(self.window_s.0), off(self.window_s.1)));
        (mean, terms)
    }

    fn ends(&self, per_from: f64, per_to: f64) -> Term {
        let u = (per_from * self.window_u_s.0).hypot(per_to * self.window_u_s.1);
        Term::random("beginning and end of the burn", u)
    }

    fn area(&self) -> (f64, Vec<Term>) {
        let (from, to) = self.window_s;
        let weights = trapezoid::weights(self.absolute_pa.time_s(), from, to);
        let value = trapezoid::area_between(&self.absolute_pa, from, to);
        let mut terms = self.terms(&weights, value);
        terms.push(Term::random("time between readings", self.sampling(value)));
        (value, terms)
    }

    /// A third of what leaving out every other reading changes (Richardson), as for impulse.
    fn sampling(&self, value: f64) -> f64 {
        let every_other = |first: usize| {
            let pick = |from: &[f64]| -> Vec<f64> {
                from.iter().skip(first).step_by(2).copied().collect()
            };
            let half = Series::new(
                &pick(self.absolute_pa.time_s()),
                &pick(self.absolute_pa.value()),
            );
            (trapezoid::area_between(&half, self.window_s.0, self.window_s.1) - value) / 3.0
        };
        (0.5 * (every_other(0).powi(2) + every_other(1).powi(2))).sqrt()
    }

    /// Largest pressure, Pa, and its terms; `None` without a reading in the burn.
    #[must_use]
    pub fn peak(&self) -> Option<(f64, Vec<Term>)> {
        let (sd_pa, _) = self.noise();
        let top = peak::find(&self.absolute_pa, self.window_s.0, self.window_s.1, sd_pa)?;
        let mut weights = vec![0.0; self.tau.len()];
        let row = self.absolute_pa.index_at(top.time_s);
        *weights.get_mut(row.min(self.tau.len() - 1))? = 1.0;
        let mut terms = self.terms(&weights, top.value_n);
        // The peak's own uncertainty holds the noise of more than one reading.
        terms.remove(0);
        terms.push(Term::random("noise and sampling at the peak", top.u_n));
        Some((top.value_n, terms))
    }

    /// Terms of the sum of `weights[i]` times absolute pressure, whose value is `sum`; noise first.
    fn terms(&self, weights: &[f64], sum: f64) -> Vec<Term> {
        let (sd_pa, inflation) = self.noise();
        let squares: f64 = weights.iter().map(|w| w * w).sum();
        let covered: f64 = weights.iter().sum();
        let on_after: f64 = weights.iter().zip(&self.tau).map(|(w, tau)| w * tau).sum();
        let on_before = covered - on_after;
        let mut out = vec![Term::random(
            "noise of the pressure readings",
            sd_pa * (inflation * squares).sqrt(),
        )];
        let sides = [
            (
                "pressure at rest before the burn",
                &self.zero.before,
                on_before,
            ),
            (
                "pressure at rest after the burn",
                &self.zero.after,
                on_after,
            ),
        ];
        for (name, side, weight) in sides {
            if let Some(side) = side {
                out.push(Term::random(name, weight * side.rest.u_mean()));
            }
        }
        if let (Some(before), Some(after)) = (&self.zero.before, &self.zero.after) {
            // Drift may have come early or late: a triangle between the two extremes.
            let drift = after.rest.mean - before.rest.mean;
            let u = 0.5 * drift * covered / 6.0_f64.sqrt();
            out.push(Term::systematic("drift of the transducer", u));
        }
        let above_ambient = sum - covered * self.ambient_pa.0;
        out.push(Term::systematic(
            "slope of the transducer",
            above_ambient * self.span_relative_u,
        ));
        out.extend(
            self.curve
                .map(|curve| self.calibration(curve, weights, [on_before, on_after])),
        );
        out.push(Term::systematic(
            "ambient pressure",
            covered * self.ambient_pa.1,
        ));
        out
    }

    /// The points the transducer was calibrated with: rest is read with the same curve.
    fn calibration(&self, curve: &Curve, weights: &[f64], on_rest: [f64; 2]) -> Term {
        let mut gradient = vec![0.0; curve.fit.scaled.len()];
        let mut add = |weight: f64, pressure: f64| {
            let parts = curve.load_per_coefficient(pressure);
            for (sum, part) in gradient.iter_mut().zip(parts) {
                *sum += weight * part;
            }
        };
        let used = weights.iter().zip(self.read_pa.value());
        for (weight, pressure) in used.filter(|(weight, _)| **weight != 0.0) {
            add(*weight, *pressure);
        }
        for (side, weight) in [&self.zero.before, &self.zero.after]
            .into_iter()
            .zip(on_rest)
        {
            if let Some(side) = side {
                add(-weight, side.rest.mean);
            }
        }
        let variance = quadratic_form(&curve.fit.covariance, &gradient);
        Term::systematic("calibration of the transducer", variance.max(0.0).sqrt())
    }
}
