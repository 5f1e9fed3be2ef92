//! Evidence beside the load: weighings of a motor, mass that the stand lost, pressure in a chamber, lines and currents.
//!
//! Each says little that nothing else could say as well: motors and their weighings get mixed up, a zero moves, lines are
//! wired to another motor. The probabilities are common practice, no source; what the verdicts are worth is counted in a
//! study over firings drawn by another program.

use super::evidence::normal;
use super::hypothesis::{EvidenceTerm, Subset, floored};

/// Least rise of pressure of a burning motor, Pa: below, its throat is not choked (air at sea level over
/// the critical ratio 0.55, for a ratio of specific heats of 1.2).
const CHOKED_PA: f64 = 8.5e4;

/// How far apart motors' pressures may lie, in powers of e: burning pressures of small motors span from the
/// choked throat to some 15 MPa.
const PRESSURES_LOG: f64 = 5.2;

/// The rise of pressure in the chamber of one motor while something burnt.
#[must_use]
pub(crate) fn pressure(motors: usize, motor: usize, rise_pa: f64, u_pa: f64) -> EvidenceTerm {
    // A dead motor's transducer reads its baseline, but for noise and what heat and shaking do to it.
    let dead = normal(rise_pa, 0.0, u_pa.hypot(0.1 * CHOKED_PA));
    let lit = if rise_pa > CHOKED_PA {
        1.0 / (PRESSURES_LOG * rise_pa)
    } else {
        normal(rise_pa, CHOKED_PA, u_pa.hypot(0.1 * CHOKED_PA)) / PRESSURES_LOG
    };
    EvidenceTerm {
        from: "pressure in its chamber".to_owned(),
        says: format!("pressure rose by {:.0} kPa during the burn", 1e-3 * rise_pa),
        log_likelihood: floored(for_one_motor(motors, motor, lit.ln(), dead.ln())),
    }
}

/// Probability that motors, or their weighings, were mixed up. Common practice, no source.
const MIXED_UP: f64 = 2e-3;

/// A motor that did not burn may lose so much: its igniter and what held it, kg. Common practice, no source.
const IGNITER_KG: f64 = 1.5e-3;

/// What a motor lost between its two weighings, kg; one that burns loses at least `least_kg`. A mass in between says
/// nothing: a smaller motor may have been loaded.
#[must_use]
pub(crate) fn weighing(
    motors: usize,
    motor: usize,
    lost_kg: f64,
    u_kg: f64,
    least_kg: f64,
) -> EvidenceTerm {
    let lit = if lost_kg - 3.0 * u_kg > 0.5 * least_kg {
        1.0 - MIXED_UP
    } else if lost_kg + 3.0 * u_kg < (0.3 * least_kg).min(IGNITER_KG.max(0.1 * least_kg)) {
        MIXED_UP
    } else {
        0.5
    };
    EvidenceTerm {
        from: "its weighings".to_owned(),
        says: format!(
            "{:.1} g lost, and {:.1} g is the least it burns",
            1e3 * lost_kg,
            1e3 * least_kg
        ),
        log_likelihood: for_one_motor(motors, motor, f64::ln(lit), f64::ln(1.0 - lit)),
    }
}

/// Probability that the zero moved over the burn by something else than the weight that burnt; it then moved by about
/// as much as all propellant weighs. Common practice, no source.
const MOVED: f64 = 0.3;

/// The mass that is gone weighs no more than this: a cable that came off moves a zero, too.
const MASS_MOST: f64 = 2.0;

/// What the stand lost over the burn, kg, by its zero: that tells how many motors burnt. `burnt_kg` is what each of them
/// loses, and `spread` how far it may be from that.
#[must_use]
pub(crate) fn mass_lost(
    (seen_kg, u_kg): (f64, f64),
    burnt_kg: &[f64],
    spread: f64,
) -> EvidenceTerm {
    let all_kg: f64 = burnt_kg.iter().sum();
    let log = |subset: Subset| {
        let lit = (0..burnt_kg.len()).filter(|motor| subset.has(*motor));
        let lost_kg: f64 = lit.map(|motor| burnt_kg[motor]).sum();
        let weight = normal(seen_kg, lost_kg, u_kg.hypot(spread * lost_kg));
        let moved = normal(seen_kg, lost_kg, all_kg);
        ((1.0 - MOVED) * weight + MOVED * moved).ln()
    };
    let each: Vec<f64> = Subset::all(burnt_kg.len()).map(log).collect();
    let best = each.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    EvidenceTerm {
        from: "mass lost over the burn".to_owned(),
        says: format!(
            "the zero moved by {:.1} g, and all propellant weighs {:.1} g",
            1e3 * seen_kg,
            1e3 * all_kg
        ),
        log_likelihood: each
            .into_iter()
            .map(|one| one.max(best - MASS_MOST))
            .collect(),
    }
}

/// Probability that a motor lit although its line or igniter was seen to stay silent, such as when
/// another motor set it off: as rare as a mixed-up column. Common practice, no source.
const UNASKED: f64 = 0.01;

/// ... and that a dead motor's did.
const SILENT: f64 = 0.3;

/// Whether a motor was told to light at all: its fire line rose, or current went through its igniter.
#[must_use]
pub(crate) fn asked(motors: usize, motor: usize, what: &str, was_asked: bool) -> EvidenceTerm {
    let (lit, dead) = if was_asked {
        (1.0 - UNASKED, 1.0 - SILENT)
    } else {
        (UNASKED, SILENT)
    };
    let says = if was_asked {
        "was seen"
    } else {
        "was not seen"
    };
    EvidenceTerm {
        from: what.to_owned(),
        says: says.to_owned(),
        log_likelihood: for_one_motor(motors, motor, f64::ln(lit), f64::ln(dead)),
    }
}

fn for_one_motor(motors: usize, motor: usize, lit: f64, dead: f64) -> Vec<f64> {
    let each = Subset::all(motors);
    each.map(|subset| if subset.has(motor) { lit } else { dead })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::hypothesis::weigh;
    use super::*;

    // Bayes by hand: a motor of at least 12 g of propellant that lost nothing, and one that lost 20 g.
    #[test]
    fn what_a_motor_weighs_afterwards_says_whether_it_burnt() {
        let of = |lost_kg| weigh(1, &[weighing(1, 0, lost_kg, 1e-4, 0.012)]).lit(0);
        approx::assert_relative_eq!(of(0.0), MIXED_UP, max_relative = 1e-9);
        approx::assert_relative_eq!(of(0.02), 1.0 - MIXED_UP, max_relative = 1e-9);
        approx::assert_relative_eq!(of(0.005), 0.5, max_relative = 1e-9);
    }

    // Two motors of 20 g, the zero known to 10 g; by hand: ln of (0.7 N(0; 10 g) + 0.3 N(0; 40 g)) over the same 20 g away.
    #[test]
    fn the_mass_that_is_gone_counts_the_motors_and_a_moved_zero_cannot_outvote_much() {
        let of = |grams: f64| weigh(2, &[mass_lost((1e-3 * grams, 1e-3), &[0.02, 0.02], 0.0)]);
        for (grams, count) in [(0.0, 0), (20.0, 1), (40.0, 2)] {
            let weighed = of(grams);
            assert_eq!(weighed.count(), count);
            assert!((0.6..0.9).contains(&weighed.count_probability(count)));
        }
        let piece = mass_lost((0.04, 0.01), &[0.02, 0.02], 0.0);
        let here = 0.7 / 0.01 + 0.3 / 0.04;
        let away = 0.7 / 0.01 * (-2.0_f64).exp() + 0.3 / 0.04 * (-0.125_f64).exp();
        let log = &piece.log_likelihood;
        approx::assert_relative_eq!(log[3] - log[1], (here / away).ln(), max_relative = 1e-9);
        let sure = mass_lost((0.04, 1e-4), &[0.02, 0.02], 0.0).log_likelihood;
        approx::assert_relative_eq!(sure[3] - sure[0], MASS_MOST, max_relative = 1e-9);
    }

    #[test]
    fn pressure_tells_a_burning_motor_from_a_dead_one() {
        let of = |rise_pa| weigh(2, &[pressure(2, 1, rise_pa, 2e3)]).lit(1);
        assert!(of(2.4e6) > 0.999, "{}", of(2.4e6));
        assert!(of(1e3) < 0.001, "{}", of(1e3));
        let other = weigh(2, &[pressure(2, 1, 2.4e6, 2e3)]).lit(0);
        assert!((other - 0.5).abs() < 1e-9);
    }

    // Bayes by hand: 0.01 / (0.01 + 0.3) and 0.99 / (0.99 + 0.7).
    #[test]
    fn a_silent_igniter_speaks_against_its_motor_and_current_little_for_it() {
        let of = |seen| weigh(1, &[asked(1, 0, "igniter current", seen)]).lit(0);
        approx::assert_relative_eq!(of(false), 0.01 / 0.31, max_relative = 1e-9);
        approx::assert_relative_eq!(of(true), 0.99 / 1.69, max_relative = 1e-9);
    }
}
