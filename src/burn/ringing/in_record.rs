//! Ringing in the firing's own record: after the snap of the ignition, after burnout.
//!
//! Thrust that falls away quickly leaves the stand ringing about a rest that still moves a little;
//! after ignition it rings about the thrust itself. A polynomial stands for what moves. The decay counts
//! only when it explains nearly all of what that leaves, stands well out of what is left, and
//! is known to a few hundredths: rough burning is broad noise that no decay explains. What explains less, but
//! more than chance does, is a [`Swing`].

use super::Ringing;
use super::decay::{self, Decay, SLOWEST_HZ, Sought};
use super::swing::Swing;
use super::taps::together;
use crate::series::Series;

/// Degree of what moves beside the ringing, in stretches up to a length, s, and in longer ones.
const DEGREES: (usize, f64, usize) = (3, 0.3, 5);

/// Stretches looked at begin this long after ignition or burnout, s; after ignition also later, for a second motor may light.
const BEGINS_S: [f64; 3] = [0.01, 0.03, 0.06];
const LATER_S: [f64; 2] = [0.15, 0.3];

/// ... and are this long, s.
const LASTS_S: [f64; 3] = [0.12, 0.24, 0.5];

/// Fewest periods in a stretch.
const FEWEST_PERIODS: f64 = 4.0;

/// Without the oscillation the sum of squares is this many times larger.
const EXPLAINS: f64 = 6.0;

/// The first swing stands this many residual deviations high.
const STANDS_OUT: f64 = 5.0;

/// Largest relative standard uncertainty of the frequency.
const FREQUENCY_U: f64 = 0.01;

/// ... and of that of a swing that is no mode.
const SWING_FREQUENCY_U: f64 = 0.03;

/// Largest damping ratio that still rings, and largest uncertainty of it as a share.
const DAMPING: (f64, f64) = (0.2, 0.3);

/// Rough burning reaches to so many hertz: what readings say of a swing grows no further with their rate. Common practice, no source.
const ROUGH_HZ: f64 = 150.0;

/// A swing is more than chance where -2 ln of the likelihoods' ratio is beyond this: four parameters, the best of some fifty
/// frequencies and fifteen stretches.
const CHANCE: f64 = 28.0;

/// What a record shows of ringing.
#[derive(Debug, Clone, Default)]
pub(crate) struct Seen {
    /// The stand's mode, where it rings freely and strongly enough.
    pub mode: Option<Ringing>,
    /// What swings beyond chance: where the mode is not taken off, it may be the stand or the thrust.
    pub swings: Vec<Swing>,
}

/// When the burn begins and ends, s, where that is known.
type Edges = (Option<f64>, Option<f64>);

/// Looks for free ringing about ignition and burnout, and for swings.
#[must_use]
pub(crate) fn find(thrust: &Series, edges_s: Edges) -> Seen {
    let each = about(thrust, edges_s, true);
    Seen {
        mode: of_one_mode(&each),
        swings: each.iter().filter_map(|all| clearest(all)).collect(),
    }
}

/// Looks for free ringing alone.
#[must_use]
pub(crate) fn mode(thrust: &Series, edges_s: Edges) -> Option<Ringing> {
    of_one_mode(&about(thrust, edges_s, false))
}

/// The stretches after burnout, and those after ignition.
fn about(thrust: &Series, (ignition_s, burnout_s): Edges, swings: bool) -> [Vec<Stretch>; 2] {
    let from = |edge_s: Option<f64>, begins_s: &[f64]| {
        edge_s.map_or_else(Vec::new, |edge_s| {
            stretches(thrust, edge_s, begins_s, swings)
        })
    };
    let lit = [&BEGINS_S[..], &LATER_S].concat();
    [from(burnout_s, &BEGINS_S), from(ignition_s, &lit)]
}

/// The mode that decays tell, those after burnout first.
fn of_one_mode(each: &[Vec<Stretch>; 2]) -> Option<Ringing> {
    let found: Vec<&Decay> = each.iter().filter_map(|all| surest(all)).collect();
    let first = found.first()?;
    // Two rings that are not of one mode: the quieter one, after burnout, is the stand's.
    let same = |other: &&&Decay| {
        let apart = (other.natural_hz - first.natural_hz).abs();
        apart <= 0.05 * first.natural_hz
    };
    let agreeing: Vec<Decay> = found.iter().filter(same).copied().cloned().collect();
    together(&agreeing)
}

/// A decay in a stretch of the record.
struct Stretch {
    from_s: f64,
    to_s: f64,
    decay: Decay,
    /// By how much -2 ln of the likelihoods' ratio is beyond chance.
    beyond_chance: f64,
}

/// How many readings of a stretch that lasts so long, of so many, tell of a swing.
fn tells(lasts_s: f64, readings: usize) -> f64 {
    (2.0 * ROUGH_HZ * lasts_s).min(readings as f64)
}

/// The decays in the stretches after an edge.
fn stretches(thrust: &Series, edge_s: f64, begins_s: &[f64], swings: bool) -> Vec<Stretch> {
    let of = |(begins_s, lasts_s): (f64, f64)| {
        let (from_s, to_s) = (edge_s + begins_s, edge_s + begins_s + lasts_s);
        let part = thrust.between(from_s, to_s);
        let (few, up_to_s, many) = DEGREES;
        let tells = tells(to_s - from_s, part.len());
        let sought = Sought {
            degree: if lasts_s <= up_to_s { few } else { many },
            from_hz: SLOWEST_HZ.max(FEWEST_PERIODS / lasts_s),
            to_hz: f64::INFINITY,
            explains: if swings {
                EXPLAINS.min((CHANCE / tells).exp())
            } else {
                EXPLAINS
            },
            damping: DAMPING.0,
        };
        let decay = decay::fit(&part, sought)?;
        Some(Stretch {
            from_s,
            to_s,
            beyond_chance: tells * decay.explains.ln() - CHANCE,
            decay,
        })
    };
    let each = begins_s
        .iter()
        .copied()
        .flat_map(|begins_s| LASTS_S.map(|lasts_s| (begins_s, lasts_s)));
    each.filter_map(of).collect()
}

/// The surest decay that is strong enough.
fn surest(all: &[Stretch]) -> Option<&Decay> {
    let strong = all
        .iter()
        .map(|one| &one.decay)
        .filter(|decay| is_strong(decay));
    strong.min_by(|a, b| a.covariance[0][0].total_cmp(&b.covariance[0][0]))
}

/// The swing that is clearest of those beyond chance.
fn clearest(all: &[Stretch]) -> Option<Swing> {
    let beyond = |one: &&Stretch| one.beyond_chance > 0.0 && swings(&one.decay);
    let clearest = all
        .iter()
        .filter(beyond)
        .max_by(|a, b| a.beyond_chance.total_cmp(&b.beyond_chance))?;
    let decay = &clearest.decay;
    let omega_per_s = std::f64::consts::TAU * decay.natural_hz;
    Some(Swing {
        from_s: clearest.from_s,
        to_s: clearest.to_s,
        amplitude: decay.amplitude,
        fades_per_s: decay.damping * omega_per_s,
        omega_per_s,
    })
}

/// Whether it swings again and again, which a bend of the thrust does not.
fn swings(decay: &Decay) -> bool {
    let u_hz = decay.covariance[0][0].sqrt();
    decay.damping <= DAMPING.0 && u_hz <= SWING_FREQUENCY_U * decay.natural_hz
}

fn is_strong(decay: &Decay) -> bool {
    let u_hz = decay.covariance[0][0].sqrt();
    let u_damping = decay.covariance[1][1].sqrt();
    decay.explains >= EXPLAINS
        && decay.amplitude >= STANDS_OUT * decay.residual_sd
        && u_hz <= FREQUENCY_U * decay.natural_hz
        && decay.damping <= DAMPING.0
        && u_damping <= DAMPING.1 * decay.damping
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::burn::coverage_tests::normal;
    use crate::burn::ringing::swing;
    use rand::{SeedableRng, rngs::ChaCha8Rng};
    use std::f64::consts::TAU;

    /// Thrust of 40 N from 1 s to 2 s, read at 2 kHz with 0.02 N of noise. After each edge a stand of
    /// so many hertz and so much damping rings, `swing` high, on a slow fall.
    fn burn(swing: [f64; 2], hertz: [f64; 2], damping: f64) -> Series {
        let mut random = ChaCha8Rng::seed_from_u64(2);
        let mut out = Series::default();
        for row in 0..6000 {
            let t = f64::from(row) / 2000.0;
            let ring = |edge: usize, since: f64| {
                let omega = TAU * hertz[edge];
                let damped = omega * (1.0 - damping * damping).sqrt();
                swing[edge] * (-damping * omega * since).exp() * (damped * since).cos()
            };
            let thrust = if t >= 2.0 {
                0.3 * (2.0 - t) + ring(1, t - 2.0)
            } else if t >= 1.0 {
                40.0 - 3.0 * (t - 1.0) + ring(0, t - 1.0)
            } else {
                0.0
            };
            out.push(t, thrust + 0.02 * normal(&mut random));
        }
        out
    }

    #[test]
    fn a_stand_that_rings_after_an_edge_gives_its_mode() {
        let both = find(&burn([4.0, 5.0], [57.0; 2], 0.04), (Some(1.0), Some(2.0)))
            .mode
            .unwrap();
        assert_eq!(both.decays, 2);
        assert!(
            (both.natural_hz.value - 57.0).abs() < 4.0 * both.natural_hz.u,
            "{both:?}"
        );
        assert!(
            (both.damping.value - 0.04).abs() < 4.0 * both.damping.u,
            "{both:?}"
        );
        assert!(both.natural_hz.relative() < 0.01 && both.damping.relative() < 0.1);
        let one = find(&burn([4.0, 5.0], [57.0; 2], 0.04), (None, Some(2.0)))
            .mode
            .unwrap();
        assert_eq!(one.decays, 1);
        assert!(both.damping.u < one.damping.u);
    }

    // Two rings that are not of one mode: the one after burnout counts.
    #[test]
    fn after_burnout_the_stand_rings_alone() {
        let found = find(
            &burn([4.0, 5.0], [80.0, 57.0], 0.04),
            (Some(1.0), Some(2.0)),
        )
        .mode
        .unwrap();
        assert_eq!(found.decays, 1);
        assert!((found.natural_hz.value - 57.0).abs() < 0.5, "{found:?}");
        // Within a twentieth they are one.
        let found = find(
            &burn([4.0, 5.0], [58.0, 57.0], 0.04),
            (Some(1.0), Some(2.0)),
        )
        .mode
        .unwrap();
        assert_eq!(found.decays, 2);
    }

    #[test]
    fn what_hardly_rings_or_dies_at_once_is_no_mode() {
        let at = |swing, damping| {
            find(
                &burn([swing; 2], [57.0; 2], damping),
                (Some(1.0), Some(2.0)),
            )
            .mode
        };
        assert!(at(0.0, 0.04).is_none());
        assert!(at(0.03, 0.04).is_none());
        assert!(at(5.0, 0.4).is_none());
        assert!(at(5.0, 0.1).is_some());
        assert!(
            find(&burn([5.0; 2], [57.0; 2], 0.04), (None, None))
                .mode
                .is_none()
        );
    }

    // A swing of 0.4 N in rough thrust is no mode, but more than chance.
    #[test]
    fn what_swings_beyond_chance_is_told() {
        let mut random = ChaCha8Rng::seed_from_u64(7);
        let mut rough = Series::default();
        for (time, value) in burn([0.4, 0.0], [40.0; 2], 0.02).iter() {
            let burns = (1.0..2.0).contains(&time);
            let noise = if burns {
                0.2 * normal(&mut random)
            } else {
                0.0
            };
            rough.push(time, value + noise);
        }
        let seen = find(&rough, (Some(1.0), Some(2.0)));
        assert!(seen.mode.is_none());
        let at = std::f64::consts::SQRT_2 * swing::height(&seen.swings, 1.05);
        assert!((0.2..0.5).contains(&at), "{at}");
        assert!(swing::height(&seen.swings, 0.2).abs() < f64::EPSILON);
        assert!(
            find(&burn([0.0; 2], [40.0; 2], 0.02), (Some(1.0), Some(2.0)))
                .swings
                .is_empty()
        );
    }
}
