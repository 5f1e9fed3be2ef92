//! Integration of the equations of motion by the classical Runge-Kutta method of fourth order (Kutta,
//! Zeitschrift fuer Mathematik und Physik 46, 1901).
//!
//! The step is the caller's; nothing that depends on time may jump within it. A step in which dry
//! friction would turn an axis round is cut at that instant.

use super::restraint::Restraint;

/// Equations of motion: a state, and its slope under what acts at a time.
pub(crate) trait Equations {
    /// A row of numbers.
    type State: Clone + AsRef<[f64]> + AsMut<[f64]>;
    /// What depends on time alone.
    type Inputs;

    /// What acts at a time.
    fn inputs(&mut self, time_s: f64) -> Self::Inputs;

    /// Slope of the state.
    fn slope(&self, inputs: &Self::Inputs, state: &Self::State, slope: &mut Self::State);
}

/// Equations of axes that clamps and dry friction hold.
pub(crate) trait Restrained: Equations {
    /// Restraints of the axes.
    fn restraints(&self) -> &[Restraint];

    /// The same, to be changed.
    fn restraints_mut(&mut self) -> &mut [Restraint];

    /// Where the tilt rate of an axis stands in the state.
    fn rate_index(axis: usize) -> usize;

    /// Angular acceleration of an axis without its restraint, rad/s2.
    fn acceleration_rad_s2(&self, axis: usize, inputs: &Self::Inputs, state: &Self::State) -> f64;
}

/// Moves a state on by one step; what acts at its beginning is given, what acts at its end is given back.
pub(crate) fn advance<S: Restrained>(
    system: &mut S,
    state: &mut S::State,
    (from_s, step_s): (f64, f64),
    mut begin: S::Inputs,
) -> S::Inputs {
    let to_s = from_s + step_s;
    let (mut now_s, mut left_s) = (from_s, step_s);
    let rubs = system.restraints().iter().any(Restraint::rubs);
    loop {
        if rubs {
            choose_headings(system, state, &begin);
        }
        let (trial, end) = runge_kutta(system, state, (now_s, left_s), &begin);
        let reversal = if rubs {
            first_reversal(system, state, &trial)
        } else {
            None
        };
        let Some((axis, share)) = reversal else {
            *state = trial;
            return end;
        };
        let part_s = left_s * share;
        if now_s + part_s > now_s && now_s + part_s < to_s {
            (*state, begin) = runge_kutta(system, state, (now_s, part_s), &begin);
            now_s += part_s;
            left_s = to_s - now_s;
        }
        state.as_mut()[S::rate_index(axis)] = 0.0;
        system.restraints_mut()[axis].stop();
    }
}

fn choose_headings<S: Restrained>(system: &mut S, state: &S::State, inputs: &S::Inputs) {
    for axis in 0..system.restraints().len() {
        let rate = state.as_ref()[S::rate_index(axis)];
        let acceleration = system.acceleration_rad_s2(axis, inputs, state);
        system.restraints_mut()[axis].choose_heading(rate, acceleration);
    }
}

/// The axis whose rate changes sign first within a trial step, and at which share of it.
fn first_reversal<S: Restrained>(
    system: &S,
    before: &S::State,
    after: &S::State,
) -> Option<(usize, f64)> {
    let rate = |state: &S::State, axis| state.as_ref()[S::rate_index(axis)];
    let restraints = system.restraints().iter().enumerate();
    restraints
        .filter_map(|(axis, one)| {
            Some((axis, one.reversal(rate(before, axis), rate(after, axis))?))
        })
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

/// One classical Runge-Kutta step, and what acts at its end.
#[allow(
    clippy::needless_range_loop,
    reason = "several rows run side by side; iterators over them are not made one loop"
)]
pub(crate) fn runge_kutta<S: Equations>(
    system: &mut S,
    state: &S::State,
    (time_s, step_s): (f64, f64),
    begin: &S::Inputs,
) -> (S::State, S::Inputs) {
    let half = 0.5 * step_s;
    let middle = system.inputs(time_s + half);
    let end = system.inputs(time_s + step_s);
    let (mut sum, mut now, mut at) = (state.clone(), state.clone(), state.clone());
    system.slope(begin, state, &mut sum);
    now.as_mut().copy_from_slice(sum.as_ref());
    for (reach_s, weight, inputs) in [
        (half, 2.0, &middle),
        (half, 2.0, &middle),
        (step_s, 1.0, &end),
    ] {
        moved(at.as_mut(), state.as_ref(), reach_s, now.as_ref());
        system.slope(inputs, &at, &mut now);
        let sum = sum.as_mut();
        let now = &now.as_ref()[..sum.len()];
        for i in 0..sum.len() {
            sum[i] += weight * now[i];
        }
    }
    let sixth_s = step_s / 6.0;
    let sum_of = sum.as_mut();
    let from = &state.as_ref()[..sum_of.len()];
    for i in 0..sum_of.len() {
        sum_of[i] = from[i] + sixth_s * sum_of[i];
    }
    (sum, end)
}

/// Where a slope leads within a time.
#[allow(
    clippy::needless_range_loop,
    reason = "several rows run side by side; iterators over them are not made one loop"
)]
#[inline]
fn moved(to: &mut [f64], from: &[f64], time_s: f64, slope: &[f64]) {
    let n = to.len();
    let (from, slope) = (&from[..n], &slope[..n]);
    for i in 0..n {
        to[i] = from[i] + time_s * slope[i];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// x'' = -x.
    struct Pendulum;

    impl Equations for Pendulum {
        type State = [f64; 2];
        type Inputs = ();

        fn inputs(&mut self, _: f64) {}

        fn slope(&self, (): &(), x: &[f64; 2], slope: &mut [f64; 2]) {
            *slope = [x[1], -x[0]];
        }
    }

    // x'' = -x from (1, 0): one step of a fourth-order method errs by h^5, a fixed time by h^4.
    #[test]
    fn the_integration_is_of_fourth_order() {
        let error = |steps: usize| {
            let step = 1.0 / steps as f64;
            let mut state = [1.0, 0.0];
            for at in 0..steps {
                let step = (at as f64 * step, step);
                (state, ()) = runge_kutta(&mut Pendulum, &state, step, &());
            }
            (state[0] - 1.0_f64.cos()).hypot(state[1] + 1.0_f64.sin())
        };
        assert_relative_eq!(error(10) / error(20), 16.0, max_relative = 0.06);
        assert_relative_eq!(error(20) / error(40), 16.0, max_relative = 0.03);
    }
}
