//! Integration of ordinary differential equations by the classical Runge-Kutta method of fourth
//! order (Kutta, Zeitschrift fuer Mathematik und Physik 46, 1901). The step is the caller's; nothing
//! within it may jump.

/// One classical Runge-Kutta step.
pub(super) fn runge_kutta(
    state: &[f64],
    time_s: f64,
    step_s: f64,
    slope: impl Fn(f64, &[f64], &mut [f64]),
) -> Vec<f64> {
    let size = state.len();
    let mut sum = vec![0.0; size];
    let mut now = vec![0.0; size];
    let mut at = state.to_vec();
    let half = 0.5 * step_s;
    let stages = [
        (0.0, 1.0, half),
        (half, 2.0, half),
        (half, 2.0, step_s),
        (step_s, 1.0, 0.0),
    ];
    for (lead_s, weight, reach_s) in stages {
        slope(time_s + lead_s, &at, &mut now);
        for index in 0..size {
            sum[index] += weight * now[index];
            at[index] = state[index] + reach_s * now[index];
        }
    }
    state
        .iter()
        .zip(&sum)
        .map(|(from, sum)| from + step_s / 6.0 * sum)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // x'' = -x from (1, 0): one step of a fourth-order method errs by h^5, a fixed time by h^4.
    #[test]
    fn the_integration_is_of_fourth_order() {
        let error = |steps: usize| {
            let step = 1.0 / steps as f64;
            let mut state = vec![1.0, 0.0];
            for at in 0..steps {
                state = runge_kutta(&state, at as f64 * step, step, |_, x, slope| {
                    slope[0] = x[1];
                    slope[1] = -x[0];
                });
            }
            (state[0] - 1.0_f64.cos()).hypot(state[1] + 1.0_f64.sin())
        };
        assert_relative_eq!(error(10) / error(20), 16.0, max_relative = 0.06);
        assert_relative_eq!(error(20) / error(40), 16.0, max_relative = 0.03);
    }
}
