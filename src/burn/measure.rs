//! The burn measured: thrust with the propellant of the motors that lit, its times, peak and impulse.

use super::BurnReport;
use indexmap::IndexMap;

use super::correction::Modes;
use super::describe::{self, Choice, Description};
use super::impulse::{self, ImpulseReport};
use super::locate::Located;
use super::rate;
use super::readable::spliced;
use super::recording::Recording;
use super::ringing::Ringing;
use super::rings::Rings;
use super::thrust::{self, ThrustTrace, WeightLoss};
use crate::calibration::gravity;
use crate::config::{Firing, Motor};
use crate::diagnostic::{Code, Diagnostic};
use crate::finding::{COMMON_PRACTICE, Finding};
use crate::quantity::{Measured, STANDARD_GRAVITY_M_S2, Unit};
use crate::series::Series;
use crate::uncertainty::{Term, combined};

/// A burn is described within this much of where it was located, s; further out where thrust comes down later.
const MARGIN_S: f64 = 0.25;

/// What burnt.
pub(crate) struct Burn {
    /// Thrust over time.
    pub trace: ThrustTrace,
    /// Its times and heights.
    pub description: Description,
    /// Its impulse.
    pub impulse: ImpulseReport,
    /// The part of the record it was looked for in, s, where that is not the whole.
    pub within_s: Option<(f64, f64)>,
    /// Free ringing of the stand in the record itself.
    pub ringing: Option<Ringing>,
    /// Natural frequency of each cell that rings, where several do apart.
    pub each_cell_hz: IndexMap<String, Measured>,
    /// What correcting for ringing changed; `None` when nothing was corrected.
    pub correction: Option<RingingCorrection>,
    /// What deserves attention.
    pub warnings: Vec<Diagnostic>,
}

/// What correcting for the stand's ringing changed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RingingCorrection {
    /// Corrected less uncorrected peak, N.
    pub peak_n: f64,
    /// Corrected less uncorrected ignition, s.
    pub ignition_s: Option<f64>,
}

/// Measures a burn that was located, with the propellant of the motors that lit.
#[must_use]
pub(crate) fn measure(
    recording: &Recording<'_>,
    located: &Located,
    lit: &[String],
) -> Option<Burn> {
    let firing = recording.firing;
    let trace = thrust::thrust(
        located.load.clone(),
        located.baseline.clone(),
        located.burn_s,
        &weight_loss(firing, lit, located),
        located.cosine.as_ref(),
    )?;
    let choice = Choice {
        rule: firing.reduce.burn_rule,
        delay: located.delay,
        modes: Modes::Unknown,
        swings: &[],
        low_pass_hz: firing.reduce.low_pass_hz.as_ref().map(|hz| hz.value),
    };
    let (search_s, uncorrected) = around(&trace, located.burn_s, &choice)?;
    let rings = Rings::of(recording, &trace, &uncorrected.report);
    let choice = Choice {
        modes: rings.modes(),
        swings: &rings.swings,
        ..choice
    };
    let (description, correction) = if rings.say_nothing() {
        (uncorrected, None)
    } else {
        let corrected = describe::describe(&trace, search_s, &choice)?;
        let correction = correction(&uncorrected, &corrected);
        (corrected, correction)
    };
    let complete = description.report.burn_time_s.is_some();
    Some(Burn {
        impulse: impulse::integrate(&trace, &description, propellant_kg(firing, lit)),
        warnings: Vec::from_iter((!complete).then(|| cut_off(&description.report))),
        trace,
        description,
        within_s: located.within_s,
        ringing: rings.seen,
        each_cell_hz: rings.each_cell_hz,
        correction,
    })
}

/// Describes the burn, and says where it looked. On a side where thrust does not come down to the rule's level within the
/// margin it looks further out, up to once the burn's length: slow motors have long feet, and a zero that drifts makes
/// them longer. What stands higher out there is not the burn's peak.
fn around(
    trace: &ThrustTrace,
    (from_s, to_s): (f64, f64),
    choice: &Choice<'_>,
) -> Option<((f64, f64), Description)> {
    let look = |margin_s: [f64; 2]| {
        let search_s = (from_s - margin_s[0], to_s + margin_s[1]);
        Some((search_s, describe::describe(trace, search_s, choice)?))
    };
    let longest_s = MARGIN_S.max(to_s - from_s);
    let mut margin_s = [MARGIN_S; 2];
    let mut found = look(margin_s)?;
    loop {
        let missing = [
            found.1.report.ignition_s.is_none(),
            found.1.report.burnout_s.is_none(),
        ];
        let wider_s = [0, 1].map(|side| {
            let factor = if missing[side] { 2.0 } else { 1.0 };
            (factor * margin_s[side]).min(longest_s)
        });
        if wider_s == margin_s {
            return Some(found);
        }
        let wider = look(wider_s)?;
        if wider.1.peak.time_s != found.1.peak.time_s {
            return Some(found);
        }
        (margin_s, found) = (wider_s, wider);
    }
}

impl Burn {
    /// Beginning and end of the burn by its rule, s; the ends of the record where it cuts the burn off.
    #[must_use]
    pub(crate) const fn window_s(&self) -> (f64, f64) {
        self.description.window_s
    }

    /// Thrust with its ringing corrected where that was done, and the standard uncertainty of each value, N: a corrected value has
    /// the correction's noise and error in place of the reading's noise.
    #[must_use]
    pub(crate) fn shown(&self) -> (Series, Vec<f64>) {
        let (read, mut u_n) = (&self.trace.thrust, self.trace.u_n().to_vec());
        let Some(correction) = &self.description.correction else {
            return (read.clone(), u_n);
        };
        let corrected = &correction.thrust;
        let more = self.description.edge_noise_n.powi(2) - self.trace.noise_n().powi(2);
        let mut ringing_n = corrected.iter().zip(correction.each_u_n(read)).peekable();
        for (time, u_n) in read.time_s().iter().zip(&mut u_n) {
            if let Some((_, ringing)) = ringing_n.next_if(|((at, _), _)| at <= time) {
                *u_n = (*u_n * *u_n + more.max(0.0) + ringing * ringing).sqrt();
            }
        }
        (spliced(read, corrected), u_n)
    }

    /// Was the recorder fast enough, and does the zero shift agree with the propellant that was weighed?
    #[must_use]
    pub(crate) fn findings(&self, firing: &Firing, lit: &[String]) -> Vec<Finding> {
        let mut out = rate::findings(&self.description);
        out.extend(weighing(firing, &self.trace, lit));
        out
    }
}

/// What correcting for ringing changed.
fn correction(uncorrected: &Description, corrected: &Description) -> Option<RingingCorrection> {
    corrected.correction.as_ref()?;
    let ignition_s = |one: &Description| Some(one.report.ignition_s.as_ref()?.value);
    Some(RingingCorrection {
        peak_n: corrected.peak.value_n - uncorrected.peak.value_n,
        ignition_s: ignition_s(corrected)
            .zip(ignition_s(uncorrected))
            .map(|(with, without)| with - without),
    })
}

fn cut_off(burn: &BurnReport) -> Diagnostic {
    let end = if burn.ignition_s.is_none() {
        "beginning"
    } else {
        "end"
    };
    Diagnostic::warning(
        Code::CutOff,
        format!("the record does not hold the {end} of the burn, so its impulse is not known"),
    )
    .hint("log from two seconds before the fire command to three after burnout")
}

fn weight_loss(firing: &Firing, lit: &[String], located: &Located) -> WeightLoss {
    let gravity = gravity::at(&firing.site).value_m_s2;
    let stated = propellant_kg(firing, lit).or_else(|| certified_kg(firing, lit));
    let known = stated.or_else(|| {
        let impulse_ns = thrust::rough_impulse_ns(&located.load, &located.baseline, located.burn_s);
        plausible_kg(impulse_ns)
    });
    let weight_n = known.map(|(mass_kg, terms)| {
        let terms = terms.into_iter().map(|term| term.times(gravity));
        (mass_kg * gravity, terms.collect())
    });
    WeightLoss {
        sign: firing.stand.mount.weight_sign(),
        weight_n,
    }
}

/// Propellant of the motors that lit, kg, and what its uncertainty is made of; `None` unless the mass
/// of each is known.
fn propellant_kg(firing: &Firing, lit: &[String]) -> Option<(f64, Vec<Term>)> {
    summed_kg(firing, lit, |_| None)
}

/// The same, where a motor's own mass is not known from elsewhere.
fn summed_kg(
    firing: &Firing,
    lit: &[String],
    otherwise: impl Fn(&Motor) -> Option<(f64, Vec<Term>)>,
) -> Option<(f64, Vec<Term>)> {
    let mut sum = (0.0, Vec::new());
    for name in lit {
        let motor = firing.motors.get(name)?;
        let stated = motor.propellant.burnt_kg().map(|(mass_kg, _)| {
            let terms = motor.propellant.terms("weight of the burnt propellant");
            (mass_kg, terms)
        });
        let (mass_kg, terms) = stated.or_else(|| otherwise(motor))?;
        sum.0 += mass_kg;
        sum.1.extend(terms);
    }
    (sum.0 > 0.0).then_some(sum)
}

/// How far the propellant of a motor may differ from the certified one: common practice, no source.
const CERTIFIED_SHARE: f64 = 0.1;

/// The same as certified, where a motor's own is not known: good enough to tell a lost weight from a zero that moved.
fn certified_kg(firing: &Firing, lit: &[String]) -> Option<(f64, Vec<Term>)> {
    summed_kg(firing, lit, |motor| {
        let mass_kg = motor.certified.as_ref()?.propellant.as_ref()?.si();
        let u_kg = CERTIFIED_SHARE / 3.0_f64.sqrt() * mass_kg;
        let term = Term::systematic("certified weight of the propellant", u_kg).limits();
        Some((mass_kg, vec![term]))
    })
}

/// Specific impulses of model rocket motors, s, from weak black powder to good composite: common practice, no source.
const SPECIFIC_S: (f64, f64) = (60.0, 250.0);

/// What such motors burn for an impulse, where nobody said: better than a step of the zero of any size and sign.
fn plausible_kg(impulse_ns: f64) -> Option<(f64, Vec<Term>)> {
    let mass_kg = |specific_s: f64| impulse_ns / (specific_s * STANDARD_GRAVITY_M_S2);
    let (most_kg, least_kg) = (mass_kg(SPECIFIC_S.0), mass_kg(SPECIFIC_S.1));
    let u_kg = 0.5 * (most_kg - least_kg) / 3.0_f64.sqrt();
    let term = Term::systematic("unknown weight of the propellant", u_kg).limits();
    (impulse_ns > 0.0).then(|| (0.5 * (most_kg + least_kg), vec![term]))
}

/// How far the zero shift may differ from the weighed propellant.
const WEIGHING_SHARE: f64 = 0.25;

/// Does the zero shift agree with the weighed propellant?
fn weighing(firing: &Firing, trace: &ThrustTrace, lit: &[String]) -> Option<Finding> {
    let sign = firing.stand.mount.weight_sign();
    if sign == 0.0 {
        return None;
    }
    let (shift_n, u_n) = trace.shift_n()?;
    let (mass_kg, terms) = propellant_kg(firing, lit)?;
    let gravity = gravity::at(&firing.site).value_m_s2;
    let u_kg = combined(&terms);
    let grams = Measured::normal(
        1e3 * sign * shift_n / gravity,
        1e3 * u_n / gravity,
        Unit::Gram,
    );
    let limits = [1.0 - WEIGHING_SHARE, 1.0 + WEIGHING_SHARE]
        .map(|share| Some(1e3 * (mass_kg * share + 2.0 * u_kg * (share - 1.0).signum())));
    Some(
        Finding::within(
            "the zero shift over the burn agrees with the propellant that was weighed",
            grams,
            limits,
            "mass lost by the cells within 25 % of the stated propellant",
            COMMON_PRACTICE,
        )
        .advice("a drifting zero, a loose cable or a spent casing that was thrown out show here"),
    )
}
