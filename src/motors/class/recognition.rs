//! Which motor was it? The certified curves at hand weighed against the record.
//!
//! Each hypothesis says which certified curve each motor position holds: the labels as they are; all motors of
//! one label exchanged for another design; one of several exchanged; or a design that is not at hand.
//! Its likelihood is that of the mean thrust in [`PIECES`] pieces of the burn, averaged over height
//! and length of the curve (normal, with the motor-to-motor spread) and over the ignition (uniform
//! within `ONSET_S`): the integral over height is closed, the other two are sums over a grid. The
//! ratio of two such averages is a Bayes factor (Jaynes, Probability Theory, ch. 4 and 20). Shape
//! error of a piece is normal with the motor-to-motor spread times the measured peak, which makes
//! the odds modest where curves are alike. A design that is not at hand puts every piece of the burn
//! anywhere between zero and the peak. Every hypothesis is as probable as any other beforehand.
//!
//! Limits: motors scaled by less than the spread cannot be told apart; in one shared cell it is not
//! known which of several like positions held the other design.

use serde::{Deserialize, Serialize};

use crate::finding::{Finding, Outcome};
use crate::motors::bayes::{self, bounded};
use crate::numeric::trapezoid;
use crate::series::Series;

/// BurnPieces the burn is cut into. Common practice, no source.
pub(crate) const PIECES: usize = 25;

/// The ignition may lie this far on either side of where the burn was found to begin, s.
const ONSET_S: f64 = 0.06;
const ONSET_STEP_S: f64 = 0.004;
/// Lengths tried: this many standard deviations on either side, in steps of a third of one.
const LENGTH_REACH: i32 = 9;
/// Smallest probability that is listed.
const LISTED_FROM: f64 = 1e-4;

/// One certified design at hand.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Design<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its thrust curve: s, N.
    pub curve: &'a Series,
}

/// One motor that lit.
#[derive(Debug, Clone, Copy)]
pub(crate) struct MotorPosition<'a> {
    /// The motor's name in the firing file.
    pub motor: &'a str,
    /// The design on its label.
    pub label: Design<'a>,
    /// How much later than the first it lit, s.
    pub later_s: f64,
}

/// What is asked.
#[derive(Debug, Clone)]
pub(crate) struct RecognitionInput<'a> {
    /// Thrust of all motors together, N.
    pub thrust: &'a Series,
    /// Beginning and end of the burn, s.
    pub window_s: (f64, f64),
    /// The motors that lit.
    pub positions: Vec<MotorPosition<'a>>,
    /// Designs at hand.
    pub designs: Vec<Design<'a>>,
    /// Motor-to-motor spread, relative.
    pub spread: f64,
}

/// One explanation of the record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Explanation {
    /// The design in its position; `None` for one that is not at hand.
    pub design: Option<String>,
    /// Motors of the firing file that it would stand in for; empty where the labels are right.
    pub in_place_of: Vec<String>,
    /// Whether all of those are exchanged; otherwise only one of them is.
    pub every_one: bool,
    /// Its probability among those listed, every one as probable beforehand.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub probability: f64,
    /// Decimal logarithm of the odds of this explanation against the labels (Bayes factor).
    pub log10_odds: f64,
}

/// Which motors explain the record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Recognition {
    /// Names of the designs that were weighed.
    pub designs: Vec<String>,
    /// Probability that the labels are right.
    pub as_labelled: f64,
    /// Best explanations first, the labels among them.
    pub explanations: Vec<Explanation>,
}

/// Weighs the designs at hand. `None` when there is no motor or nothing to weigh.
#[must_use]
pub(crate) fn recognise(input: &RecognitionInput<'_>) -> Option<Recognition> {
    let record = BurnPieces::cut(input)?;
    let labels: Vec<Design<'_>> = input
        .positions
        .iter()
        .map(|position| position.label)
        .collect();
    let as_is = record.log_likelihood(input, &labels)?;
    let mut all = vec![(None, Vec::new(), true, record.not_at_hand())];
    all[0].1 = input.positions.iter().map(|t| t.motor.to_owned()).collect();
    for (kind, members) in kinds(&input.positions) {
        let names: Vec<String> = members
            .iter()
            .map(|at| input.positions[*at].motor.to_owned())
            .collect();
        for design in input.designs.iter().filter(|one| one.name != kind) {
            let mut exchanges = vec![(true, members.clone())];
            if members.len() > 1 {
                exchanges.push((false, vec![members[0]]));
            }
            for (every_one, which) in exchanges {
                let mut held = labels.clone();
                for at in which {
                    held[at] = *design;
                }
                if let Some(likelihood) = record.log_likelihood(input, &held) {
                    let design = Some(design.name.to_owned());
                    all.push((design, names.clone(), every_one, likelihood));
                }
            }
        }
    }
    let most = all.iter().map(|one| one.3).fold(as_is, f64::max);
    let sum: f64 = (as_is - most).exp() + all.iter().map(|one| (one.3 - most).exp()).sum::<f64>();
    let probability = |log: f64| bounded((log - most).exp() / sum);
    let label = Explanation {
        design: labels.first().map(|one| one.name.to_owned()),
        in_place_of: Vec::new(),
        every_one: true,
        probability: probability(as_is),
        log10_odds: 0.0,
    };
    let mut explanations = vec![label];
    explanations.extend(
        all.into_iter()
            .map(|(design, in_place_of, every_one, log)| Explanation {
                design,
                in_place_of,
                every_one,
                probability: probability(log),
                log10_odds: (log - as_is) / std::f64::consts::LN_10,
            }),
    );
    explanations.sort_by(|a, b| b.log10_odds.total_cmp(&a.log10_odds));
    let best = explanations.first().map(|one| one.in_place_of.clone());
    // The labels, the best, and whatever else counts.
    explanations.retain(|one| {
        one.in_place_of.is_empty()
            || Some(&one.in_place_of) == best.as_ref() && one.log10_odds >= 0.0
            || one.probability > 2.0 * LISTED_FROM
    });
    Some(Recognition {
        designs: input.designs.iter().map(|d| d.name.to_owned()).collect(),
        as_labelled: probability(as_is),
        explanations,
    })
}

/// Motors with the same label: its name and where they stand.
fn kinds<'a>(positions: &[MotorPosition<'a>]) -> Vec<(&'a str, Vec<usize>)> {
    let mut out: Vec<(&str, Vec<usize>)> = Vec::new();
    for (at, position) in positions.iter().enumerate() {
        match out
            .iter_mut()
            .find(|(name, _)| *name == position.label.name)
        {
            Some((_, members)) => members.push(at),
            None => out.push((position.label.name, vec![at])),
        }
    }
    out
}

impl Explanation {
    /// The explanation as words.
    #[must_use]
    pub fn words(&self) -> String {
        if self.in_place_of.is_empty() {
            return "the motors on the labels".to_owned();
        }
        let place = self.in_place_of.join(", ");
        let what = self.design.as_deref().unwrap_or("a design not at hand");
        if self.every_one {
            format!("{what} in place of {place}")
        } else {
            format!("{what} in place of one of {place}")
        }
    }
}

impl Recognition {
    /// Whether the labels are right, as a finding.
    #[must_use]
    pub fn finding(&self) -> Finding {
        let mut out = Finding::plain(
            "the motors fired are those on the labels",
            Outcome::from_probability(self.as_labelled),
            "Bayes factor of certified curves, scaled and stretched within the motor-to-motor \
             spread; every explanation as probable beforehand",
            "Jaynes, Probability Theory, ch. 4; size of shape errors: common practice, no source",
        );
        out.probability = Some(self.as_labelled);
        match self.explanations.first() {
            Some(best) if !best.in_place_of.is_empty() => {
                let advice = format!("the record is best explained by {}", best.words());
                out.advice(advice)
            }
            _ => out,
        }
    }
}

/// Mean thrust in pieces of the burn and beyond it.
struct BurnPieces {
    ends_s: Vec<f64>,
    mean_n: Vec<f64>,
    /// Which of them lie in the burn.
    burning: Vec<bool>,
    begin_s: f64,
    error_n: f64,
    peak_n: f64,
}

impl BurnPieces {
    fn cut(input: &RecognitionInput<'_>) -> Option<Self> {
        let (begin_s, end_s) = input.window_s;
        let longest = input
            .designs
            .iter()
            .chain(input.positions.iter().map(|position| &position.label))
            .filter_map(|design| design.curve.span_s())
            .map(|(_, end)| end)
            .fold(end_s - begin_s, f64::max);
        let (first, last) = input.thrust.span_s()?;
        let width = (end_s - begin_s) / PIECES as f64;
        if input.positions.is_empty() || width.is_nan() || width <= 0.0 {
            return None;
        }
        let from = (begin_s - 2.0 * width).max(first);
        let to = (begin_s + 1.1 * longest).min(last);
        let count = ((to - from) / width).floor() as usize;
        let ends_s: Vec<f64> = (0..=count).map(|i| from + width * i as f64).collect();
        let mean_n: Vec<f64> = ends_s
            .windows(2)
            .map(|ends| trapezoid::area_between(input.thrust, ends[0], ends[1]) / width)
            .collect();
        let burning = ends_s
            .windows(2)
            .map(|ends| ends[1] > begin_s && ends[0] < end_s)
            .collect();
        let peak_n = mean_n.iter().copied().fold(0.0, f64::max);
        (peak_n > 0.0 && count >= PIECES).then_some(Self {
            error_n: input.spread * peak_n,
            ends_s,
            mean_n,
            burning,
            begin_s,
            peak_n,
        })
    }

    /// A design that is not at hand: anything from zero to the peak while it burns.
    fn not_at_hand(&self) -> f64 {
        let pieces = self.mean_n.iter().zip(&self.burning);
        pieces
            .map(|(mean, burning)| {
                if *burning {
                    -self.peak_n.ln()
                } else {
                    normal_log(*mean, self.error_n)
                }
            })
            .sum()
    }

    /// Averaged over ignition, length and height.
    fn log_likelihood(&self, input: &RecognitionInput<'_>, held: &[Design<'_>]) -> Option<f64> {
        let summed: Vec<Area> = held.iter().map(|one| Area::under(one.curve)).collect();
        let steps = (ONSET_S / ONSET_STEP_S) as i32;
        let mut logs = Vec::new();
        for length in -LENGTH_REACH..=LENGTH_REACH {
            let z = f64::from(length) / 3.0;
            let stretch = 1.0 + z * input.spread;
            if stretch <= 0.1 {
                continue;
            }
            for onset in -steps..=steps {
                let onset_s = self.begin_s + f64::from(onset) * ONSET_STEP_S;
                let model = self.model(input, &summed, onset_s, stretch);
                logs.push(-0.5 * z * z + self.over_heights(&model, input.spread));
            }
        }
        let prior: f64 = (-LENGTH_REACH..=LENGTH_REACH)
            .map(|length| (-f64::from(length).powi(2) / 18.0).exp())
            .sum::<f64>()
            * f64::from(2 * steps + 1);
        let out = bayes::log_mean(&logs, prior);
        out.is_finite().then_some(out)
    }

    /// Mean thrust of the held curves in each piece, N.
    fn model(
        &self,
        input: &RecognitionInput<'_>,
        held: &[Area],
        onset_s: f64,
        stretch: f64,
    ) -> Vec<f64> {
        let areas: Vec<f64> = self
            .ends_s
            .iter()
            .map(|time| {
                let parts = held.iter().zip(&input.positions);
                parts
                    .map(|(area, position)| {
                        stretch * area.until((time - onset_s - position.later_s) / stretch)
                    })
                    .sum()
            })
            .collect();
        areas
            .windows(2)
            .zip(self.ends_s.windows(2))
            .map(|(area, ends)| (area[1] - area[0]) / (ends[1] - ends[0]))
            .collect()
    }

    /// The integral over a height that is normal about one: y = h m + e is normal with the
    /// covariance s2 I + u2 m m', whose inverse and determinant are closed (Sherman and Morrison).
    fn over_heights(&self, model: &[f64], spread: f64) -> f64 {
        let s2 = self.error_n.powi(2);
        let (mut misfit2, mut along, mut size2) = (0.0, 0.0, 0.0);
        for (mean, model) in self.mean_n.iter().zip(model) {
            let misfit = mean - model;
            misfit2 += misfit * misfit;
            along += misfit * model;
            size2 += model * model;
        }
        let gain = 1.0 + spread * spread * size2 / s2;
        let chi2 = (misfit2 - spread * spread * along * along / (s2 * gain)) / s2;
        let count = self.mean_n.len() as f64;
        -0.5 * (chi2 + gain.ln() + count * (std::f64::consts::TAU * s2).ln())
    }
}

fn normal_log(value: f64, sd: f64) -> f64 {
    -0.5 * ((value / sd).powi(2) + (std::f64::consts::TAU * sd * sd).ln())
}

/// Impulse of a curve until a time after its onset.
struct Area(Series);

impl Area {
    fn under(curve: &Series) -> Self {
        Self(Series::new(curve.time_s(), &trapezoid::cumulated(curve)))
    }

    fn until(&self, time_s: f64) -> f64 {
        self.0.at(time_s).unwrap_or(0.0)
    }
}

#[cfg(test)]
#[path = "recognition_tests.rs"]
mod tests;
