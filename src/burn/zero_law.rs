//! Laws by which a zero may move, and how probable each is beforehand.
//!
//! | law | covariance of two instants d apart, for a variance of 1 | stands for |
//! |---|---|---|
//! | walk | time since the start of the earlier one | creep, warming electronics |
//! | forgetting | exp(-d/T) (Ornstein & Uhlenbeck, Physical Review 36, 1930) | draughts |
//! | sway | exp(-z w d) (cos w' d + z w/w' sin w' d), w' = w sqrt(1 - z^2) | wind on the stand |
//! | heat, beside a walk | c(t) c(s), c the answer of a body that is heated through the burn and cools with a time constant | flame on the cell |
//!
//! The sway's is that of an oscillator driven by white noise (Wang & Uhlenbeck, Reviews of Modern Physics 17, 1945). The four are as
//! likely as one another, and so is every frequency, time and size of each: sizes go in even steps of their logarithm.
//!
//! Limits: sway of 0.15 to 0.8 Hz (common practice, no source); heat flows evenly through the burn, and what fades slower than in
//! some three seconds looks like a zero that moved ([`super::zero_jump`]).

/// A law, with all but its size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Law {
    Walk,
    Forgetting { time_s: f64 },
    Sway { hz: f64, damping: f64 },
    Heat { fades_s: f64, burn_s: (f64, f64) },
}

/// A law with its size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Hypothesis {
    pub law: Law,
    /// Variance of the law over that of the mean of a block; for a walk, that of walking the whole rest.
    pub size: f64,
    /// The same of a walk beside it.
    pub walk: f64,
    /// Logarithm of its probability beforehand.
    pub log_prior: f64,
}

/// Sizes of a walk: log10 from, to, number.
const WALK_SIZES: (f64, f64, usize) = (-3.0, 5.0, 33);
/// Sizes of what forgets or sways.
const SIZES: (f64, f64, usize) = (0.0, 5.0, 11);
/// Sizes of heat.
const HEAT_SIZES: (f64, f64, usize) = (1.0, 5.0, 5);
/// Sizes of the walk beside it.
const BESIDE_SIZES: (f64, f64, usize) = (-3.0, 3.0, 5);

const FORGETTING_S: [f64; 2] = [0.2, 0.8];
const SWAY_HZ: [f64; 6] = [0.17, 0.23, 0.31, 0.42, 0.57, 0.77];
const SWAY_DAMPING: [f64; 2] = [0.05, 0.2];
const FADES_S: [f64; 3] = [0.7, 1.5, 3.0];

fn sizes((from, to, count): (f64, f64, usize)) -> impl Iterator<Item = f64> + Clone {
    (0..count).map(move |at| 10.0_f64.powf(from + (to - from) * at as f64 / (count - 1) as f64))
}

/// Every law with every size, for a burn between two times, s.
pub(super) fn hypotheses(burn_s: (f64, f64)) -> Vec<Hypothesis> {
    let plain = |law, range| sizes(range).map(move |size| (law, size, 0.0));
    let walks: Vec<_> = plain(Law::Walk, WALK_SIZES).collect();
    let forget = FORGETTING_S.map(|time_s| Law::Forgetting { time_s });
    let sways = SWAY_HZ
        .iter()
        .flat_map(|&hz| SWAY_DAMPING.map(|damping| Law::Sway { hz, damping }));
    let heats = FADES_S.map(|fades_s| Law::Heat { fades_s, burn_s });
    let heats = heats.into_iter().flat_map(|law| {
        sizes(HEAT_SIZES)
            .flat_map(move |size| sizes(BESIDE_SIZES).map(move |walk| (law, size, walk)))
    });
    let families = [
        walks,
        forget
            .into_iter()
            .flat_map(|law| plain(law, SIZES))
            .collect(),
        sways.flat_map(|law| plain(law, SIZES)).collect(),
        heats.collect(),
    ];
    let of_family = |family: Vec<(Law, f64, f64)>| {
        let log_prior = -(family.len() as f64).ln();
        family.into_iter().map(move |(law, size, walk)| Hypothesis {
            law,
            size,
            walk,
            log_prior,
        })
    };
    families.into_iter().flat_map(of_family).collect()
}

impl Law {
    /// Covariance of its values at two instants, s; a walk starts at `from_s`.
    pub(super) fn covariance(&self, a_s: f64, b_s: f64, from_s: f64) -> f64 {
        let apart_s = (a_s - b_s).abs();
        match *self {
            Self::Walk => a_s.min(b_s) - from_s,
            Self::Forgetting { time_s } => (-apart_s / time_s).exp(),
            Self::Sway { hz, damping } => {
                let natural = std::f64::consts::TAU * hz;
                let turns = natural * (1.0 - damping * damping).sqrt();
                let (sin, cos) = (turns * apart_s).sin_cos();
                (-damping * natural * apart_s).exp() * (cos + damping * natural / turns * sin)
            }
            Self::Heat { fades_s, burn_s } => {
                warmth(a_s, fades_s, burn_s) * warmth(b_s, fades_s, burn_s)
            }
        }
    }
}

/// How warm a body is that is heated evenly through the burn and cools with a time constant; 1 where nothing had faded.
fn warmth(time_s: f64, fades_s: f64, burn_s: (f64, f64)) -> f64 {
    let length_s = burn_s.1 - burn_s.0;
    let heated_s = (time_s - burn_s.0).clamp(0.0, length_s);
    let cooled_s = (time_s - burn_s.1).max(0.0);
    fades_s / length_s * (1.0 - (-heated_s / fades_s).exp()) * (-cooled_s / fades_s).exp()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // Closed forms: a body that hardly cools is at 1/2 half way; after one time constant 1/e is left; a quarter turn of an undamped
    // oscillator is not correlated, a half turn against it.
    #[test]
    fn laws_have_their_closed_forms() {
        let burn_s = (1.0, 3.0);
        assert_relative_eq!(warmth(2.0, 1e6, burn_s), 0.5, max_relative = 1e-5);
        assert_relative_eq!(
            warmth(5.0, 1.0, burn_s) / warmth(4.0, 1.0, burn_s),
            (-1.0_f64).exp(),
            max_relative = 1e-12
        );
        assert_eq!(warmth(0.5, 1.0, burn_s), 0.0);
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
    fn the_four_laws_are_as_likely_as_one_another() {
        let all = hypotheses((1.0, 2.0));
        let of = |law: fn(&Law) -> bool| {
            let probability = |one: &Hypothesis| one.log_prior.exp();
            all.iter()
                .filter(|one| law(&one.law))
                .map(probability)
                .sum::<f64>()
        };
        assert_relative_eq!(of(|law| matches!(law, Law::Walk)), 1.0, max_relative = 1e-9);
        assert_relative_eq!(
            of(|law| matches!(law, Law::Sway { .. })),
            1.0,
            max_relative = 1e-9
        );
        assert_relative_eq!(
            of(|law| matches!(law, Law::Heat { .. })),
            1.0,
            max_relative = 1e-9
        );
    }
}
