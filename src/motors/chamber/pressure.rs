//! A pressure record over the burn, able to say how sure any weighted sum of it is.
//!
//! The zero of the transducer is found from its rest before and after the burn as the baseline of
//! thrust is ([`crate::burn::baseline_drift`]); every weighted sum is linear in readings, rests, slope and
//! ambient pressure (JCGM 100:2008, 5.2).

use super::ChamberInput;
use crate::burn::baseline::{self, Baseline};
use crate::burn::baseline_drift::{Course, Step};
use crate::burn::crossing::{self, Edge};
use crate::burn::flicker;
use crate::burn::peak;
use crate::burn::zero_fit::courses;
use crate::calibration::Curve;
use crate::numeric::polynomial::quadratic_form;
use crate::numeric::trapezoid;
use crate::series::Series;
use crate::uncertainty::Term;

/// What begins and ends the burn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Ends {
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
    pub(crate) const fn word(&self) -> &'static str {
        match self {
            Self::Thrust { .. } => "thrust",
            Self::Pressure { .. } => "pressure",
        }
    }
}

/// Pressure over the burn.
#[derive(Debug, Clone)]
pub(crate) struct Trace<'a> {
    /// Beginning and end of the burn, s.
    pub window_s: (f64, f64),
    /// Their standard uncertainties, s.
    window_u_s: (f64, f64),
    /// Absolute pressure, Pa.
    pub absolute_pa: Series,
    /// What was read, Pa.
    read_pa: &'a Series,
    zero: Baseline,
    course: Course,
    /// Standard deviation of what changes faster than the readings follow, as a share.
    rough: f64,
    curve: Option<&'a Curve>,
    span_relative_u: f64,
    ambient_pa: (f64, f64),
}

impl<'a> Trace<'a> {
    /// Takes the zero off and adds the ambient pressure.
    pub(super) fn new(input: &ChamberInput<'a>) -> Option<Self> {
        let read_pa = input.pressure_pa;
        let about_s = match input.ends {
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
        let zero = baseline::find(read_pa.time_s(), read_pa.value(), &rows);
        let evenly = Series::new(&[about_s.0, about_s.1], &[0.0, 1.0]);
        let course = courses(&zero, about_s, &evenly, &[Step::Known(0.0)])?
            .into_iter()
            .next()?;
        let absolute_pa = read_pa.map(|time, read| read - course.at(time) + input.ambient_pa.0);
        let sd_pa = zero.sd_n().unwrap_or(0.0);
        let mut out = Self {
            window_s: about_s,
            window_u_s: (0.0, 0.0),
            rough: flicker::measure(&absolute_pa.between(about_s.0, about_s.1), sd_pa),
            absolute_pa,
            read_pa,
            zero,
            course,
            curve: input.curve,
            span_relative_u: input.span_relative_u,
            ambient_pa: input.ambient_pa,
        };
        let (from_s, to_s) = match input.ends {
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
        let sd_pa = self.noise_pa();
        let top = peak::find(&self.absolute_pa, within_s, sd_pa, self.rough)?.value_n;
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
    pub(crate) fn rest_pa(&self) -> (f64, f64) {
        let blocks = self.zero.blocks();
        let at_s = blocks
            .first()
            .map_or(self.window_s.0, |(block, _)| block.time_s);
        (self.course.at(at_s), self.course.u_n(at_s))
    }

    /// Standard deviation of one reading, Pa.
    fn noise_pa(&self) -> f64 {
        self.zero.sd_n().unwrap_or(0.0)
    }

    /// Integral over the burn, Pa s, and its terms.
    #[must_use]
    pub(crate) fn integral(&self) -> (f64, Vec<Term>) {
        let (value, mut terms) = self.area();
        let at = |time: f64| self.absolute_pa.at(time).unwrap_or(0.0);
        terms.push(self.ends(at(self.window_s.0), at(self.window_s.1)));
        (value, terms)
    }

    /// Mean over the burn, Pa, and its terms.
    #[must_use]
    pub(crate) fn mean(&self) -> (f64, Vec<Term>) {
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
        terms.push(Term::random(
            "bends between the readings",
            trapezoid::bends(&self.absolute_pa, from, to),
        ));
        (value, terms)
    }

    /// Largest pressure, Pa, and its terms; `None` without a reading in the burn.
    #[must_use]
    pub(crate) fn peak(&self) -> Option<(f64, Vec<Term>)> {
        let sd_pa = self.noise_pa();
        let top = peak::find(&self.absolute_pa, self.window_s, sd_pa, self.rough)?;
        let mut weights = vec![0.0; self.absolute_pa.len()];
        let row = self.absolute_pa.index_at(top.time_s);
        *weights.get_mut(row.min(self.absolute_pa.len() - 1))? = 1.0;
        let mut terms = self.terms(&weights, top.value_n);
        // The peak's own uncertainty holds the noise of more than one reading.
        terms.remove(0);
        terms.push(Term::random("noise and sampling at the peak", top.u_n));
        Some((top.value_n, terms))
    }

    /// Terms of the sum of `weights[i]` times absolute pressure, whose value is `sum`; noise first.
    fn terms(&self, weights: &[f64], sum: f64) -> Vec<Term> {
        let variance = self.course.reading_variance_n2.max(self.noise_pa().powi(2));
        let squares: f64 = weights.iter().map(|w| w * w).sum();
        let covered: f64 = weights.iter().sum();
        let owed = self.course.owed(self.absolute_pa.time_s(), weights, None);
        let mut out = vec![
            Term::random(
                "noise of the pressure readings",
                (variance * squares).sqrt(),
            ),
            self.course
                .term("zero of the transducer through the burn", &owed),
        ];
        let above_ambient = sum - covered * self.ambient_pa.0;
        out.push(Term::systematic(
            "slope of the transducer",
            above_ambient * self.span_relative_u,
        ));
        out.extend(
            self.curve
                .map(|curve| self.calibration(curve, weights, &owed)),
        );
        out.push(Term::systematic(
            "ambient pressure",
            covered * self.ambient_pa.1,
        ));
        out
    }

    /// The points the transducer was calibrated with: rest is read with the same curve.
    fn calibration(&self, curve: &Curve, weights: &[f64], owed: &[f64]) -> Term {
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
        let rest = self.zero.blocks();
        for (weight, (block, _)) in self.course.on_blocks(owed).iter().zip(&rest) {
            add(*weight, block.mean_n);
        }
        let variance = quadratic_form(&curve.fit.covariance, &gradient);
        Term::systematic("calibration of the transducer", variance.max(0.0).sqrt())
    }
}
