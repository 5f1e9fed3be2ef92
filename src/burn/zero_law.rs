//! Laws by which a zero may move, and how probable each is beforehand.
//!
//! | law | covariance of two instants d apart, for a variance of 1 | stands for |
//! |---|---|---|
//! | none | | |
//! | walk | time since the start of the earlier one | creep, warming electronics |
//! | forgetting | exp(-d/T) (Ornstein & Uhlenbeck, Physical Review 36, 1930) | draughts |
//! | sway | exp(-z w d) (cos w' d + z w/w' sin w' d), w' = w sqrt(1 - z^2) | wind on the stand |
//! | heat, beside a walk | c(t) c(s), c the answer of a body that thrust heats and that cools with a time constant | flame on the cell |
//!
//! The sway's is that of an oscillator driven by white noise (Wang & Uhlenbeck, Reviews of Modern Physics 17, 1945). The last three are a
//! tenth as likely beforehand as a walk or none; every frequency, time and size of each is as likely as another: sizes go in even
//! steps of their logarithm.
//!
//! Limits: sway of 0.15 to 0.8 Hz (common practice, no source); heat goes with impulse, and what fades slower than in
//! some six seconds looks like a zero that moved ([`super::zero_jump`]).

use crate::series::Series;

/// A law, with all but its size.
#[derive(Debug, Clone)]
pub(super) enum Law {
    Walk,
    Forgetting { time_s: f64 },
    Sway { hz: f64, damping: f64 },
    Heat { fades_s: f64, warmth: Series },
}

/// A law of the list with its size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hypothesis {
    /// Place of the law; none where nothing moves.
    pub law: Option<usize>,
    /// Variance of the law over that of the mean of a block; for a walk, that of walking the whole rest.
    pub size: f64,
    /// The same of a walk beside it.
    pub walk: f64,
    /// Logarithm of its probability beforehand.
    pub log_prior: f64,
}

/// How likely what forgets, sways or is heated is beforehand, over a walk or none: the readings must speak for it, for through a
/// burn it leads further than they do. Common practice, no source.
const RARE: f64 = 0.1;

/// Sizes: log10 from, to, number.
type Sizes = (f64, f64, usize);

const WALK_SIZES: Sizes = (-1.0, 5.0, 25);
const SIZES: Sizes = (0.0, 5.0, 11);
const HEAT_SIZES: Sizes = (1.0, 5.5, 4);
const BESIDE_SIZES: Sizes = (-1.0, 3.0, 4);

const FORGETTING_S: [f64; 2] = [0.2, 0.8];
const SWAY_HZ: [f64; 6] = [0.17, 0.23, 0.31, 0.42, 0.57, 0.77];
const SWAY_DAMPING: [f64; 2] = [0.05, 0.2];
const FADES_S: [f64; 6] = [0.9, 1.35, 2.0, 3.0, 4.5, 6.8];

fn sizes((from, to, count): Sizes) -> impl Iterator<Item = f64> + Clone {
    (0..count).map(move |at| 10.0_f64.powf(from + (to - from) * at as f64 / (count - 1) as f64))
}

/// A rest after the burn that is shorter than this shows smoke and ringing, and no heat that fades, s.
const SHORTEST_S: f64 = 1.2;

/// A swing is seen where each rest lasts so much of it, and both together so much.
const LEAST_TURN: f64 = 0.25;
const BOTH_TURNS: f64 = 0.6;

/// Every law, a walk first. `heated` is the share of the impulse that has been delivered, over the burn; heat is seen where the
/// rest after it lasts as long as it fades. Rests are so long, before and after the burn, s.
pub(super) fn laws(heated: &Series, (rest_before_s, rest_after_s): (f64, f64)) -> Vec<Law> {
    let forget = FORGETTING_S.map(|time_s| Law::Forgetting { time_s });
    let turns = |hz: &f64| {
        let shorter = rest_before_s.min(rest_after_s);
        hz * shorter >= LEAST_TURN && hz * (rest_before_s + rest_after_s) >= BOTH_TURNS
    };
    let sways = SWAY_HZ
        .into_iter()
        .filter(turns)
        .flat_map(|hz| SWAY_DAMPING.map(|damping| Law::Sway { hz, damping }));
    let seen = |fades_s: &f64| rest_after_s >= fades_s.max(SHORTEST_S);
    let heats = FADES_S.into_iter().filter(seen).map(|fades_s| Law::Heat {
        fades_s,
        warmth: warmth(heated, fades_s),
    });
    let all = [Law::Walk].into_iter().chain(forget).chain(sways);
    all.chain(heats).collect()
}

/// Every one of these laws with every size, and none.
pub(super) fn hypotheses(laws: &[Law]) -> Vec<Hypothesis> {
    let of = |alike: fn(&Law) -> bool, (range, share): (Sizes, f64), beside: Option<Sizes>| {
        let family = laws.iter().enumerate().filter(|(_, law)| alike(law));
        let walks: Vec<f64> = beside.map_or_else(|| vec![0.0], |range| sizes(range).collect());
        let mut out: Vec<Hypothesis> = Vec::new();
        for (at, _) in family {
            for size in sizes(range) {
                out.extend(walks.iter().map(|&walk| Hypothesis {
                    law: Some(at),
                    size,
                    walk,
                    log_prior: 0.0,
                }));
            }
        }
        let log_prior = (share / out.len() as f64).ln();
        out.iter_mut().for_each(|one| one.log_prior = log_prior);
        out
    };
    let none = Hypothesis {
        law: None,
        size: 0.0,
        walk: 0.0,
        log_prior: 0.0,
    };
    let mut out = vec![none];
    out.extend(of(|law| matches!(law, Law::Walk), (WALK_SIZES, 1.0), None));
    out.extend(of(
        |law| matches!(law, Law::Forgetting { .. }),
        (SIZES, RARE),
        None,
    ));
    out.extend(of(
        |law| matches!(law, Law::Sway { .. }),
        (SIZES, RARE),
        None,
    ));
    out.extend(of(
        |law| matches!(law, Law::Heat { .. }),
        (HEAT_SIZES, RARE),
        Some(BESIDE_SIZES),
    ));
    out
}

impl Law {
    /// Covariance of its values at two instants, s; a walk starts at `from_s`.
    pub(super) fn covariance(&self, a_s: f64, b_s: f64, from_s: f64) -> f64 {
        let apart_s = (a_s - b_s).abs();
        match self {
            Self::Walk => a_s.min(b_s) - from_s,
            Self::Forgetting { time_s } => (-apart_s / time_s).exp(),
            Self::Sway { hz, damping } => {
                let natural = std::f64::consts::TAU * hz;
                let turns = natural * (1.0 - damping * damping).sqrt();
                let (sin, cos) = (turns * apart_s).sin_cos();
                (-damping * natural * apart_s).exp() * (cos + damping * natural / turns * sin)
            }
            Self::Heat { fades_s, warmth } => {
                let at = |time_s| warm(warmth, *fades_s, time_s);
                at(a_s) * at(b_s)
            }
        }
    }
}

/// How warm a body is that is heated as the impulse is delivered and cools with a time constant, over the burn; 1 at its end if
/// nothing had faded. Heat flows evenly between two instants.
fn warmth(heated: &Series, fades_s: f64) -> Series {
    let mut now = 0.0;
    let mut out = Series::default();
    let mut before: Option<(f64, f64)> = None;
    for (time_s, share) in heated.iter() {
        if let Some((earlier_s, less)) = before {
            let step = (time_s - earlier_s) / fades_s;
            let kept = (-step).exp();
            let flow = if step > 0.0 { (1.0 - kept) / step } else { 1.0 };
            now = now * kept + (share - less) * flow;
        }
        out.push(time_s, now);
        before = Some((time_s, share));
    }
    out
}

fn warm(warmth: &Series, fades_s: f64, time_s: f64) -> f64 {
    match warmth.span_s() {
        Some((from_s, _)) if time_s < from_s => 0.0,
        Some((_, to_s)) if time_s > to_s => {
            let last = warmth.value().last().copied().unwrap_or(0.0);
            last * (-(time_s - to_s) / fades_s).exp()
        }
        _ => warmth.at(time_s).unwrap_or(0.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // Closed forms: a body heated evenly that hardly cools is at 1/2 half way; after one time constant 1/e is left; a quarter turn of
    // an undamped oscillator is not correlated, a half turn against it.
    #[test]
    fn laws_have_their_closed_forms() {
        let heated = Series::new(&[1.0, 2.0, 3.0], &[0.0, 0.5, 1.0]);
        assert_relative_eq!(
            warm(&warmth(&heated, 1e6), 1e6, 2.0),
            0.5,
            max_relative = 1e-5
        );
        let quick = warmth(&heated, 1.0);
        assert_relative_eq!(
            warm(&quick, 1.0, 3.0),
            0.5 * (1.0 - (-2.0_f64).exp()),
            max_relative = 1e-12
        );
        assert_relative_eq!(
            warm(&quick, 1.0, 5.0) / warm(&quick, 1.0, 4.0),
            (-1.0_f64).exp(),
            max_relative = 1e-12
        );
        assert_eq!(warm(&quick, 1.0, 0.5), 0.0);
        let sway = Law::Sway {
            hz: 0.5,
            damping: 1e-9,
        };
        assert_relative_eq!(sway.covariance(1.0, 1.5, 0.0), 0.0, epsilon = 1e-6);
        assert_relative_eq!(sway.covariance(1.0, 2.0, 0.0), -1.0, epsilon = 1e-6);
        let forgets = Law::Forgetting { time_s: 0.5 };
        assert_relative_eq!(forgets.covariance(2.0, 1.0, 0.0), (-2.0_f64).exp());
        assert_relative_eq!(Law::Walk.covariance(2.0, 3.0, 0.5), 1.5);
    }

    #[test]
    fn a_walk_is_as_likely_as_none_and_the_rest_is_rare() {
        let heated = Series::new(&[1.0, 2.0], &[0.0, 1.0]);
        let short = laws(&heated, (4.0, 0.2));
        let seen = |law: &Law| matches!(law, Law::Heat { .. } | Law::Sway { .. });
        assert!(!short.iter().any(seen));
        let laws = laws(&heated, (3.0, 3.0));
        let all = hypotheses(&laws);
        let of = |law: fn(&Law) -> bool| {
            let is = |one: &&Hypothesis| one.law.is_some_and(|at| law(&laws[at]));
            let probability = |one: &Hypothesis| one.log_prior.exp();
            all.iter().filter(is).map(probability).sum::<f64>()
        };
        assert_eq!((all[0].law, all[0].log_prior), (None, 0.0));
        assert_relative_eq!(of(|law| matches!(law, Law::Walk)), 1.0, max_relative = 1e-9);
        assert_relative_eq!(
            of(|law| matches!(law, Law::Sway { .. })),
            RARE,
            max_relative = 1e-9
        );
        assert_relative_eq!(
            of(|law| matches!(law, Law::Heat { .. })),
            RARE,
            max_relative = 1e-9
        );
    }
}
