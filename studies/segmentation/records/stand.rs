//! The stand between force and cell: rigid, or a lightly damped oscillator, read at an instant or averaged over a period.
//!
//! The oscillator `x'' + (w/Q) x' + w^2 x = w^2 u` is stepped exactly for a force that is linear within each step (first-order
//! hold; Franklin, Powell & Workman, Digital Control, 3rd ed., ch. 6): the particular solution of the ramp and the
//! rotated, decayed remainder.

use super::truth::Ringing;

/// Longest step, s: a tenth of the shortest ejection charge.
const LONGEST_STEP: f64 = 0.0005;

/// Steps in one swing of the stand.
const STEPS_A_SWING: f64 = 24.0;

pub(crate) struct Stand {
    ringing: Option<(f64, f64)>,
    longest: f64,
    matrix: (f64, [f64; 4]),
    t: f64,
    force: f64,
    place: f64,
    speed: f64,
}

impl Stand {
    pub(crate) fn new(ringing: Option<Ringing>, start: f64) -> Self {
        let ringing = ringing.map(|r| (std::f64::consts::TAU * r.frequency, 0.5 / r.quality));
        let longest = ringing.map_or(LONGEST_STEP, |(w, _)| {
            LONGEST_STEP.min(std::f64::consts::TAU / (w * STEPS_A_SWING))
        });
        Self {
            ringing,
            longest,
            matrix: (0.0, [0.0; 4]),
            t: start,
            force: 0.0,
            place: 0.0,
            speed: 0.0,
        }
    }

    pub(crate) fn time(&self) -> f64 {
        self.t
    }

    /// At rest, as near as makes no difference to forces of this size.
    pub(crate) fn at_rest(&self, size: f64) -> bool {
        let speed = self.ringing.map_or(0.0, |(w, _)| self.speed.abs() / w);
        self.force == 0.0 && self.place.abs().max(speed) < 1e-7 * size
    }

    /// Stays at rest until then.
    pub(crate) fn wait(&mut self, until: f64) {
        (self.t, self.force, self.place, self.speed) = (until, 0.0, 0.0, 0.0);
    }

    /// What the cell feels at `until`, and its mean since the call before.
    pub(crate) fn advance(
        &mut self,
        until: f64,
        force: impl Fn(f64) -> f64,
        averaging: bool,
    ) -> (f64, f64) {
        let span = until - self.t;
        let steps = if self.ringing.is_some() || averaging {
            (span / self.longest).ceil().max(1.0)
        } else {
            1.0
        };
        let h = span / steps;
        let from = self.t;
        let mut sum = 0.0;
        for i in 1..=steps as usize {
            let next = force(from + i as f64 * h);
            let before = self.place;
            self.step(h, next);
            sum += 0.5 * (before + self.place);
        }
        self.t = until;
        (self.place, sum / steps)
    }

    fn step(&mut self, h: f64, next: f64) {
        let Some((w, damping)) = self.ringing else {
            self.force = next;
            self.place = next;
            return;
        };
        if (h - self.matrix.0).abs() > 1e-9 * h {
            self.matrix = (h, free_motion(w, damping, h));
        }
        let [pp, pv, vp, vv] = self.matrix.1;
        let slope = (next - self.force) / h;
        let lag = 2.0 * damping * slope / w;
        let place = self.place - (self.force - lag);
        let speed = self.speed - slope;
        self.place = pp * place + pv * speed + next - lag;
        self.speed = vp * place + vv * speed + slope;
        self.force = next;
    }
}

/// Place and speed after `h` of free motion, from place and speed.
fn free_motion(w: f64, damping: f64, h: f64) -> [f64; 4] {
    let turn = w * (1.0 - damping * damping).sqrt();
    let decay = (-damping * w * h).exp();
    let (sin, cos) = (turn * h).sin_cos();
    let drag = damping * w / turn;
    [
        decay * (cos + drag * sin),
        decay * sin / turn,
        -decay * w * w / turn * sin,
        decay * (cos - drag * sin),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_of_force_swings_to_nearly_twice_itself_and_settles_on_it() {
        let mut stand = Stand::new(
            Some(Ringing {
                frequency: 10.0,
                quality: 30.0,
                stated: true,
            }),
            0.0,
        );
        let mut largest = 0.0_f64;
        let mut last = 0.0;
        for i in 1..40_000 {
            last = stand
                .advance(
                    f64::from(i) * 0.0005,
                    |t| if t > 0.1 { 1.0 } else { 0.0 },
                    false,
                )
                .0;
            largest = largest.max(last);
        }
        // First overshoot of a step: exp(-pi z / sqrt(1 - z^2)) with z = 1/60.
        let overshoot = (-std::f64::consts::PI / 60.0 / (1.0 - 1.0 / 3600.0_f64).sqrt()).exp();
        assert!((largest - 1.0 - overshoot).abs() < 2e-3, "{largest}");
        assert!((last - 1.0).abs() < 1e-6);
    }

    #[test]
    fn the_mean_over_periods_keeps_the_impulse() {
        let mut stand = Stand::new(
            Some(Ringing {
                frequency: 25.0,
                quality: 8.0,
                stated: true,
            }),
            0.0,
        );
        let force = |t: f64| if (1.0..1.5).contains(&t) { 3.0 } else { 0.0 };
        let sum: f64 = (1..=60)
            .map(|i| 0.1 * stand.advance(f64::from(i) * 0.1, force, true).1)
            .sum();
        assert!((sum - 1.5).abs() < 2e-3, "{sum}");
    }
}
