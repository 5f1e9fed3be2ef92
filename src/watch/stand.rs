//! What the stand does now, told from the load as it comes in: at rest, ignition, burning, burnout.
//!
//! Rest has a running mean and scatter with a memory of a second, of readings at least a tenth of a second old, so that an onset
//! does not move them. A push begins where the load stays above rest by more than eight standard deviations (and 0.3 N, more
//! than a cable moves) for 20 ms, and ends where it stays below 5 % of its peak for 0.1 s. Common practice, no source: these
//! times only decide when `reduce` is asked, which alone says whether it was a burn and what lit.

use std::collections::VecDeque;

/// Memory of the rest, s; age of the readings that enter it, s; readings that make a rest.
const MEMORY_S: f64 = 1.0;
const AGE_S: f64 = 0.1;
const FEWEST: usize = 30;
/// What stands out of the rest: in standard deviations, N, s.
const SIGMAS: f64 = 8.0;
const LEAST_N: f64 = 0.3;
const ONSET_S: f64 = 0.02;
/// What counts as out: share of the peak, s.
const OUT_SHARE: f64 = 0.05;
const OUT_S: f64 = 0.1;
/// What lasts longer is no burn but something laid on the cell, s.
const LONGEST_S: f64 = 30.0;
/// A fire command that nothing followed for so long is a misfire, s.
const MISFIRE_S: f64 = 3.0;

/// What the stand does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum Phase {
    /// Nothing has been read.
    #[default]
    Waiting,
    /// Nothing pushes.
    AtRest,
    /// The fire line rose, and nothing pushes yet.
    Ignition,
    /// Something pushes.
    Burning,
    /// It pushes no more.
    Burnout,
    /// The fire line rose, and nothing pushed for three seconds.
    NoThrust,
}

impl Phase {
    /// In a word or two.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Waiting => "no readings yet",
            Self::AtRest => "at rest",
            Self::Ignition => "ignition",
            Self::Burning => "burning",
            Self::Burnout => "burnout",
            Self::NoThrust => "fire command, no thrust",
        }
    }
}

/// What is seen of the stand.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct StandNow {
    /// What it does.
    pub phase: Phase,
    /// Time of the newest row since the first, s.
    pub time_s: f64,
    /// Load above rest, N; `None` without a calibrated cell, or before there was a rest.
    pub thrust_n: Option<f64>,
    /// Greatest of the push that lasts or was the last, N.
    pub peak_n: f64,
    /// When the fire line rose, s.
    pub fire_s: Option<f64>,
    /// When that push began, s.
    pub onset_s: Option<f64>,
    /// When it was over, s.
    pub end_s: Option<f64>,
}

/// Rest, and what it is told from.
#[derive(Debug, Default)]
pub(super) struct Detector {
    pub(super) now: StandNow,
    young: VecDeque<(f64, f64)>,
    mean_n: f64,
    variance: f64,
    seen: usize,
    last_s: Option<f64>,
    above_since_s: Option<f64>,
    below_since_s: Option<f64>,
    fire_was: Option<f64>,
}

impl Detector {
    /// One row: load of all cells, N, and the fire line.
    pub(super) fn row(&mut self, time_s: f64, load_n: f64, fire: f64) {
        self.now.time_s = time_s;
        self.fire_line(time_s, fire);
        if !load_n.is_finite() {
            return;
        }
        if self.now.phase == Phase::Waiting {
            self.now.phase = Phase::AtRest;
        }
        if self.now.phase == Phase::Burning {
            self.burning(time_s, load_n);
        } else {
            self.resting(time_s, load_n);
        }
        self.now.thrust_n = (self.seen > 0).then_some(load_n - self.mean_n);
    }

    fn fire_line(&mut self, time_s: f64, fire: f64) {
        if !fire.is_finite() {
            return;
        }
        let least = self.fire_was.map_or(fire, |was| was.min(fire));
        if self.now.fire_s.is_none() && fire > least {
            self.now.fire_s = Some(time_s);
            if self.now.phase == Phase::AtRest {
                self.now.phase = Phase::Ignition;
            }
        }
        self.fire_was = Some(least);
        let since_s = self.now.fire_s.map_or(0.0, |fired_s| time_s - fired_s);
        if self.now.phase == Phase::Ignition && since_s > MISFIRE_S {
            self.now.phase = Phase::NoThrust;
        }
    }

    /// Takes readings that are old enough into the rest, and looks for an onset.
    fn resting(&mut self, time_s: f64, load_n: f64) {
        let threshold_n = (SIGMAS * self.variance.sqrt()).max(LEAST_N);
        if self.seen >= FEWEST && load_n - self.mean_n > threshold_n {
            let since_s = *self.above_since_s.get_or_insert(time_s);
            if time_s - since_s >= ONSET_S {
                self.now.phase = Phase::Burning;
                (self.now.onset_s, self.now.end_s) = (Some(since_s), None);
                self.now.peak_n = load_n - self.mean_n;
                self.below_since_s = None;
                self.young.clear();
            }
            return;
        }
        self.above_since_s = None;
        self.young.push_back((time_s, load_n));
        while let Some((old_s, old_n)) = self.young.pop_front_if(|one| time_s - one.0 >= AGE_S) {
            let step_s = self.last_s.map_or(0.0, |last_s| old_s - last_s);
            self.last_s = Some(old_s);
            self.seen += 1;
            let share = (step_s / MEMORY_S).clamp(1.0 / self.seen as f64, 1.0);
            let off_n = old_n - self.mean_n;
            self.mean_n += share * off_n;
            self.variance = (1.0 - share) * (self.variance + share * off_n * off_n);
        }
    }

    fn burning(&mut self, time_s: f64, load_n: f64) {
        let thrust_n = load_n - self.mean_n;
        self.now.peak_n = self.now.peak_n.max(thrust_n);
        if thrust_n.abs() >= OUT_SHARE * self.now.peak_n {
            self.below_since_s = None;
            if time_s - self.now.onset_s.unwrap_or(time_s) > LONGEST_S {
                self.now.phase = Phase::AtRest;
                (self.seen, self.mean_n, self.variance, self.last_s) = (0, 0.0, 0.0, None);
            }
            return;
        }
        let since_s = *self.below_since_s.get_or_insert(time_s);
        self.young.push_back((time_s, load_n));
        if time_s - since_s >= OUT_S {
            self.now.phase = Phase::Burnout;
            self.now.end_s = Some(since_s);
            self.above_since_s = None;
            // What was burnt has gone: the rest is a new one.
            self.young.retain(|one| one.0 >= since_s);
            let new = self.young.iter().map(|one| one.1).sum::<f64>() / self.young.len() as f64;
            self.mean_n = new;
            self.seen = FEWEST;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Phases with the times they began at, of a load at 1 kHz; the fire line rises at 2 s.
    fn phases(load_n: impl Fn(f64) -> f64) -> (Vec<(Phase, f64)>, StandNow) {
        let mut detector = Detector::default();
        let mut out = Vec::new();
        for row in 0..9000 {
            let time_s = f64::from(row) * 1e-3;
            let noise = f64::from(row * 7919 % 101) * 1e-3 - 0.05;
            detector.row(
                time_s,
                12.0 + noise + load_n(time_s),
                f64::from(u8::from(time_s >= 2.0)),
            );
            if out.last().map(|one: &(Phase, f64)| one.0) != Some(detector.now.phase) {
                out.push((detector.now.phase, time_s));
            }
        }
        (out, detector.now)
    }

    /// 20 N from 2.1 s to 4 s; the weight of what burnt is missing afterwards.
    fn burn(t: f64) -> f64 {
        match t {
            t if t < 2.1 => 0.0,
            t if t < 4.0 => 20.0,
            _ => -0.2,
        }
    }

    #[test]
    fn a_burn_goes_through_all_phases_in_time() {
        let (phases, now) = phases(burn);
        let (names, times): (Vec<Phase>, Vec<f64>) = phases.into_iter().unzip();
        assert_eq!(
            names,
            [
                Phase::AtRest,
                Phase::Ignition,
                Phase::Burning,
                Phase::Burnout
            ]
        );
        approx::assert_abs_diff_eq!(times[1], 2.0, epsilon = 1.5e-3);
        // A push is believed after 20 ms, its end after 0.1 s.
        approx::assert_abs_diff_eq!(times[2], 2.12, epsilon = 2e-3);
        approx::assert_abs_diff_eq!(times[3], 4.1, epsilon = 2e-3);
        approx::assert_abs_diff_eq!(now.onset_s.unwrap(), 2.1, epsilon = 1.5e-3);
        approx::assert_abs_diff_eq!(now.end_s.unwrap(), 4.0, epsilon = 1.5e-3);
        approx::assert_abs_diff_eq!(now.thrust_n.unwrap(), 0.0, epsilon = 0.06);
    }

    #[test]
    fn a_second_motor_that_lights_late_is_a_second_push() {
        let (phases, now) = phases(|t| burn(t) + burn(t - 3.0));
        let names: Vec<Phase> = phases.into_iter().map(|one| one.0).collect();
        assert_eq!(
            names[2..],
            [
                Phase::Burning,
                Phase::Burnout,
                Phase::Burning,
                Phase::Burnout
            ]
        );
        approx::assert_abs_diff_eq!(now.onset_s.unwrap(), 5.1, epsilon = 2e-3);
    }

    #[test]
    fn a_command_that_nothing_follows_is_told_and_a_tap_is_no_burn() {
        let tap = |t: f64| if (1.0..1.01).contains(&t) { 30.0 } else { 0.0 };
        let (phases, _) = phases(tap);
        let (names, times): (Vec<Phase>, Vec<f64>) = phases.into_iter().unzip();
        assert_eq!(names, [Phase::AtRest, Phase::Ignition, Phase::NoThrust]);
        approx::assert_abs_diff_eq!(times[2], 5.0, epsilon = 3e-3);
    }
}
