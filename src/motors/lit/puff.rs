//! A puff that dies before the burn: the motor's thrust first reaches 5 % of its peak there (its ignition by the
//! contract), and again when the burn begins.
//!
//! A puff is short, falls back to rest before the burn, follows the fire command, and stands above what other motors
//! that push at the time can leave in the cell. Whatever is shorter is a knock, whatever is longer a hand.
//!
//! Limit: a puff in a cell of several motors is seen only before the first of them burns.

use crate::burn::crossing::{self, Edge};
use crate::numeric::noise;
use crate::quantity::{Measured, Unit};
use crate::series::Series;

/// A puff comes at most so long before the burn, s.
pub(super) const LOOKED_BACK_S: f64 = 2.0;

/// It stands above the level for at least and at most so long, s, ...
const LASTS_S: (f64, f64) = (0.02, 0.3);

/// ... longer than the igniter of a dead motor pops, where one is in the same cells, ...
const POPS_S: f64 = 0.06;

/// ... and there is at least so much rest between it and the burn, s.
const DIES_S: f64 = 0.05;

/// Readings are averaged over this long, s.
const AVERAGED_S: f64 = 0.008;

/// It stands so many standard deviations of such a mean above zero.
const STANDS_OUT: f64 = 5.0;

/// Most of what other cells feel at the time that may be cross-talk; how much it is is read from the rest before the burn ...
const CROSS_TALK: f64 = 0.06;

/// ... as well as this share of it.
const CROSS_TALK_U: f64 = 0.01;

/// The burn before which a puff is looked for.
pub(super) struct Before<'a> {
    /// Thrust of the motor, N.
    pub thrust: &'a Series,
    /// Thrust of all motors together, N.
    pub all: &'a Series,
    /// Beginning of the burn and its standard uncertainty, s.
    pub burn: &'a Measured,
    /// Five per cent of the motor's peak, N.
    pub level_n: f64,
    /// Noise of a reading, N.
    pub noise_n: f64,
    /// The fire command, where it is known, s.
    pub fire_s: Option<f64>,
    /// Whether the igniter of a dead motor may have popped in these cells.
    pub may_pop: bool,
}

/// When the first puff reaches the level; `None` where there is none.
pub(super) fn find(before: &Before<'_>) -> Option<Measured> {
    let burn_s = before.burn.value;
    // A command that comes after the burn says nothing.
    let fire_s = before.fire_s.filter(|fire| *fire < burn_s);
    let from_s = (burn_s - LOOKED_BACK_S).max(fire_s.unwrap_or(f64::NEG_INFINITY));
    let part = before.thrust.between(from_s, burn_s - DIES_S);
    let group = (AVERAGED_S / part.step_s()?).round().max(1.0);
    let smooth = part.averaged(group as usize);
    let noise_n = STANDS_OUT * before.noise_n / group.sqrt();
    let others_n = |(time_s, thrust_n): (f64, f64)| {
        let all_n = before.all.at(time_s).unwrap_or(0.0);
        (all_n - thrust_n).max(0.0)
    };
    let least_n = before.level_n.max(noise_n);
    // A puff is a small part of what comes before the burn, so the median is that of the rest.
    let pushed = smooth.iter().filter(|row| others_n(*row) > least_n);
    let shares: Vec<f64> = pushed.map(|row| row.1 / others_n(row)).collect();
    let share = noise::median(&shares).unwrap_or(0.0);
    let share = share.clamp(-CROSS_TALK, CROSS_TALK);
    let stands_out = |row: (f64, f64)| {
        let others_n = others_n(row);
        row.1 > least_n + (share + CROSS_TALK_U) * others_n
    };
    let rows: Vec<(f64, bool)> = smooth.iter().map(|row| (row.0, stands_out(row))).collect();
    let shortest_s = if before.may_pop { POPS_S } else { LASTS_S.0 };
    let mut runs = rows.chunk_by(|a, b| a.1 == b.1).filter(|run| run[0].1);
    let (begins_s, ends_s) = runs.find_map(|run| {
        let (first, last) = (run.first()?.0, run.last()?.0);
        let dies = last < rows.last()?.0;
        let begins = first > rows.first()?.0;
        let lasts = (shortest_s..LASTS_S.1).contains(&(last - first + AVERAGED_S));
        (dies && begins && lasts).then_some((first, last))
    })?;
    let (from_s, to_s) = (begins_s - 4.0 * AVERAGED_S, ends_s);
    let noise_n = before.noise_n;
    let near = before.thrust.between(from_s - AVERAGED_S, burn_s);
    let own = near.map(|time_s, thrust_n| thrust_n - share * others_n((time_s, thrust_n)));
    let seen = crossing::find(&own, from_s, to_s, before.level_n, Edge::First, noise_n)?;
    let u_s = seen.u_s.hypot(before.burn.u);
    Some(Measured::normal(seen.time_s, u_s, Unit::Second))
}

/// When the thrust rises for good, where it rested between its first 5 % and its top; `None` where it burns in one piece.
pub(super) fn rises_again(
    thrust: &Series,
    began: &Measured,
    (level_n, noise_n): (f64, f64),
) -> Option<Measured> {
    let part = thrust.between(began.value, f64::INFINITY);
    let group = (AVERAGED_S / part.step_s()?).round().max(1.0);
    let smooth = part.averaged(group as usize);
    let rows: Vec<(f64, f64)> = smooth.iter().collect();
    let top = (0..rows.len()).max_by(|a, b| rows[*a].1.total_cmp(&rows[*b].1))?;
    let rests = |row: &(f64, f64)| row.1 < level_n;
    let mut runs = rows[..top].chunk_by(|a, b| rests(a) == rests(b)).rev();
    let rested_s = runs.find_map(|run| {
        let (first_s, last_s) = (run.first()?.0, run.last()?.0);
        (rests(&run[0]) && last_s - first_s >= DIES_S).then_some(last_s)
    })?;
    let seen = crossing::find(
        thrust,
        rested_s - AVERAGED_S,
        rows[top].0,
        level_n,
        Edge::First,
        noise_n,
    )?;
    let u_s = seen.u_s.max(began.u);
    Some(Measured::normal(seen.time_s, u_s, Unit::Second))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(push: impl Fn(f64) -> f64, fire_s: Option<f64>) -> Option<Measured> {
        let time: Vec<f64> = (0..4000).map(|at| f64::from(at) * 1e-3).collect();
        let noise = |at: usize| 0.05 * (((at * 7919) % 101) as f64 / 101.0 - 0.5);
        let value: Vec<f64> = time
            .iter()
            .enumerate()
            .map(|(at, t)| push(*t) + noise(at))
            .collect();
        let thrust = Series::new(&time, &value);
        find(&Before {
            thrust: &thrust,
            all: &thrust,
            burn: &Measured::normal(2.0, 1e-3, Unit::Second),
            level_n: 1.0,
            noise_n: 0.015,
            fire_s,
            may_pop: false,
        })
    }

    fn burn(t: f64) -> f64 {
        if t >= 2.0 { 20.0 } else { 0.0 }
    }

    // Rises from 1.5 s to 4 N in 40 ms, so it reaches 1 N after 10 ms; dies by 1.6 s.
    fn puff(t: f64) -> f64 {
        let shape = ((t - 1.5) / 0.04).min((1.6 - t) / 0.06);
        4.0 * shape.clamp(0.0, 1.0)
    }

    #[test]
    fn a_puff_before_the_burn_is_the_ignition() {
        let found = seen(|t| burn(t) + puff(t), None).unwrap();
        assert!((found.value - 1.51).abs() < 1e-3, "{found:?}");
        assert_eq!(seen(burn, None), None);
    }

    // Another motor of 40 N burns meanwhile, of which the cell reads 3 %; 6 % of it would hide the puff.
    #[test]
    fn a_puff_is_seen_beside_what_another_motor_leaves_in_the_cell() {
        let time: Vec<f64> = (0..4000).map(|at| f64::from(at) * 1e-3).collect();
        let other = |t: f64| if t >= 1.4 { 40.0 } else { 0.0 };
        let own = |t: f64, puff_n: f64| burn(t) + puff_n * puff(t) + 0.03 * other(t);
        let seen = |puff_n: f64| {
            let own: Vec<f64> = time.iter().map(|t| own(*t, puff_n)).collect();
            let all = time.iter().zip(&own).map(|(t, own)| own + other(*t));
            let (own, all) = (&own, all.collect::<Vec<f64>>());
            find(&Before {
                thrust: &Series::new(&time, own),
                all: &Series::new(&time, &all),
                burn: &Measured::normal(2.0, 1e-3, Unit::Second),
                level_n: 1.0,
                noise_n: 0.015,
                fire_s: None,
                may_pop: false,
            })
        };
        let found = seen(0.6).unwrap();
        // 2.4 N in 40 ms: 1 N after 17 ms.
        assert!((found.value - 1.517).abs() < 0.01, "{found:?}");
        assert_eq!(seen(0.0), None);
    }

    #[test]
    fn the_burn_after_a_puff_is_where_thrust_rises_for_good() {
        let time: Vec<f64> = (0..4000).map(|at| f64::from(at) * 1e-3).collect();
        let again = |push: &dyn Fn(f64) -> f64, began_s: f64| {
            let value: Vec<f64> = time.iter().map(|t| push(*t)).collect();
            let began = Measured::normal(began_s, 1e-4, Unit::Second);
            rises_again(&Series::new(&time, &value), &began, (1.0, 0.015))
        };
        let found = again(&|t| burn(t) + puff(t), 1.51).unwrap();
        assert!((found.value - 2.0).abs() < 2e-3, "{found:?}");
        assert_eq!(again(&burn, 2.0), None);
    }

    #[test]
    fn a_hand_a_knock_and_what_comes_before_the_command_are_no_puff() {
        let from_to =
            |from: f64, to: f64| move |t: f64| if (from..to).contains(&t) { 4.0 } else { 0.0 };
        for (push, name) in [(from_to(1.0, 1.8), "hand"), (from_to(1.5, 1.508), "knock")] {
            assert_eq!(seen(|t| burn(t) + push(t), None), None, "{name}");
        }
        assert_eq!(seen(|t| burn(t) + puff(t), Some(1.8)), None);
        assert!(seen(|t| burn(t) + puff(t), Some(1.4)).is_some());
    }
}
