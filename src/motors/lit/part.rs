//! One motor's part of the thrust: its certified curve, moved, scaled, stretched, perhaps cut short.
//!
//! With certified curve C, thrust at time t is h C((t - t0) / r). From the time it goes out on, thrust
//! fades exponentially, as a case blows down through its throat. Impulses are exact for straight lines
//! between the certified points.

use crate::series::Series;

/// A certified curve begun at zero, with its impulse up to each point.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Pattern {
    time_s: Vec<f64>,
    thrust_n: Vec<f64>,
    impulse_ns: Vec<f64>,
    /// For each of many equal parts of the curve the last point at or before its beginning.
    near: Vec<usize>,
}

/// Parts of a curve for each of its points, so that a time is found in a step or two.
const PARTS: usize = 4;

impl Pattern {
    /// Takes a curve; `None` when it has no area.
    #[must_use]
    pub(crate) fn new(curve: &Series) -> Option<Self> {
        let mut out = Self {
            time_s: Vec::new(),
            thrust_n: Vec::new(),
            impulse_ns: Vec::new(),
            near: Vec::new(),
        };
        if curve.time_s().first().is_some_and(|first| *first > 0.0) {
            out.push(0.0, 0.0);
        }
        for (time_s, thrust_n) in curve.iter() {
            out.push(time_s, thrust_n);
        }
        let parts = PARTS * out.time_s.len();
        let begins = |part: usize| out.duration_s() * part as f64 / parts as f64;
        let last = |part| out.time_s.partition_point(|time| *time <= begins(part));
        out.near = (0..parts).map(|part| last(part).max(1) - 1).collect();
        (out.total_ns() > 0.0).then_some(out)
    }

    fn push(&mut self, time_s: f64, thrust_n: f64) {
        let before = self.time_s.last().zip(self.thrust_n.last());
        let gained = before.map_or(0.0, |(t, n)| 0.5 * (time_s - t) * (thrust_n + n));
        self.impulse_ns.push(self.total_ns() + gained);
        self.time_s.push(time_s);
        self.thrust_n.push(thrust_n);
    }

    /// Its whole impulse, N s.
    #[must_use]
    pub(crate) fn total_ns(&self) -> f64 {
        self.impulse_ns.last().copied().unwrap_or(0.0)
    }

    /// Its end, s.
    #[must_use]
    pub(crate) fn duration_s(&self) -> f64 {
        self.time_s.last().copied().unwrap_or(0.0)
    }

    /// Its largest thrust, N.
    #[must_use]
    pub(crate) fn peak_n(&self) -> f64 {
        self.thrust_n.iter().copied().fold(0.0, f64::max)
    }

    /// Time of its largest thrust, s.
    #[must_use]
    pub(crate) fn rise_s(&self) -> f64 {
        let peak_n = self.peak_n();
        let row = self.thrust_n.iter().position(|thrust| *thrust >= peak_n);
        row.map_or(0.0, |row| self.time_s[row])
    }

    /// Time at which it first reaches a share of its peak, s.
    #[must_use]
    pub(crate) fn reaches_s(&self, share: f64) -> f64 {
        let level = share * self.peak_n();
        let row = self.thrust_n.iter().position(|thrust| *thrust >= level);
        let Some(row) = row.filter(|row| *row > 0) else {
            return self.time_s.first().copied().unwrap_or(0.0);
        };
        let (t0, t1) = (self.time_s[row - 1], self.time_s[row]);
        let (n0, n1) = (self.thrust_n[row - 1], self.thrust_n[row]);
        t0 + (t1 - t0) * (level - n0) / (n1 - n0)
    }

    /// Thrust, its slope and the impulse up to a time after its beginning: N, N/s, N s.
    #[must_use]
    fn at(&self, after_s: f64) -> (f64, f64, f64) {
        let Some(row) = self.row(after_s) else {
            let over = after_s >= self.duration_s();
            return (0.0, 0.0, if over { self.total_ns() } else { 0.0 });
        };
        let (slope, since) = (self.slope(row), after_s - self.time_s[row]);
        let impulse = self.impulse_ns[row] + since * (self.thrust_n[row] + 0.5 * slope * since);
        (self.thrust_n[row] + slope * since, slope, impulse)
    }

    /// Thrust and its slope at a time after its beginning: N, N/s.
    #[must_use]
    #[inline]
    pub(crate) fn thrust_and_slope(&self, after_s: f64) -> (f64, f64) {
        let (thrust, slope, _) = self.at(after_s);
        (thrust, slope)
    }

    /// Impulse up to a time after its beginning, N s.
    #[must_use]
    pub(crate) fn impulse_to_ns(&self, after_s: f64) -> f64 {
        self.at(after_s).2
    }

    #[inline]
    fn row(&self, after_s: f64) -> Option<usize> {
        let within = after_s >= *self.time_s.first()? && after_s < self.duration_s();
        within.then(|| {
            let part = after_s / self.duration_s() * self.near.len() as f64;
            // The part before: rounding must not begin behind the time.
            let near = self.near[(part as usize).saturating_sub(1)];
            let beyond = self.time_s[near + 1..].iter();
            near + beyond.take_while(|time| **time <= after_s).count()
        })
    }

    #[inline]
    fn slope(&self, row: usize) -> f64 {
        (self.thrust_n[row + 1] - self.thrust_n[row]) / (self.time_s[row + 1] - self.time_s[row])
    }
}

/// Time in which the thrust of a motor that goes out fades to 1/e, s: the blow-down time (free volume
/// over throat area, characteristic velocity and a factor near one; Sutton & Biblarz, Rocket Propulsion
/// Elements, ch. 12) of a small case lies at 10 to 30 ms.
const FADE_S: f64 = 0.02;

/// How one motor's curve lies in the record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Part {
    /// When its curve begins, s.
    pub onset_s: f64,
    /// Height relative to the certified curve.
    pub height: f64,
    /// Length relative to the certified curve.
    pub stretch: f64,
    /// How long after its onset it goes out, s, where that is before the end of its curve.
    pub out_s: Option<f64>,
}

impl Part {
    /// Place on the certified curve of a time of the record, s; no later than where it goes out.
    #[must_use]
    #[inline]
    pub(crate) fn phase_s(&self, time_s: f64) -> f64 {
        let since = time_s - self.onset_s;
        self.out_s.map_or(since, |out| since.min(out)) / self.stretch
    }

    /// Thrust at a time, N.
    #[must_use]
    #[inline]
    pub(crate) fn thrust_n(&self, pattern: &Pattern, time_s: f64) -> f64 {
        let (thrust, _) = pattern.thrust_and_slope(self.phase_s(time_s));
        self.height * thrust * self.fading(time_s)
    }

    /// Share of the thrust that is left after it went out.
    #[must_use]
    #[inline]
    pub(crate) fn fading(&self, time_s: f64) -> f64 {
        self.out_s.map_or(1.0, |out| {
            let since = time_s - self.onset_s - out;
            (-since.max(0.0) / FADE_S).exp()
        })
    }

    /// Impulse delivered up to a time, N s, and its derivatives by onset, by impulse relative to the
    /// certificate (height times stretch), by stretch and by the time of going out.
    #[must_use]
    pub(crate) fn delivered_ns(&self, pattern: &Pattern, time_s: f64) -> (f64, [f64; 4]) {
        let phase = self.phase_s(time_s);
        let (thrust, slope, impulse) = pattern.at(phase);
        let (h, r) = (self.height, self.stretch);
        let whole = h * r * impulse;
        if !self.is_out(time_s) {
            let by_stretch = -h * thrust * phase;
            return (whole, [-h * thrust, impulse, by_stretch, 0.0]);
        }
        let left = self.fading(time_s);
        let faded = FADE_S * (1.0 - left);
        let slows = h * slope * faded / r;
        (
            whole + h * thrust * faded,
            [
                -h * thrust * left,
                impulse + thrust * faded / r,
                -h * thrust * phase - h * thrust * faded / r - slows * phase,
                h * thrust * (1.0 - left) + slows,
            ],
        )
    }

    /// Whether it has gone out early by a time.
    #[must_use]
    pub(crate) fn is_out(&self, time_s: f64) -> bool {
        self.out_s.is_some_and(|out| time_s - self.onset_s > out)
    }

    /// What it delivers in all, N s.
    #[must_use]
    pub(crate) fn impulse_ns(&self, pattern: &Pattern) -> f64 {
        let end = self.onset_s + self.stretch * pattern.duration_s() + 20.0 * FADE_S;
        self.delivered_ns(pattern, end).0
    }
}

/// How one motor of a set burns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Burning {
    /// Its curve in the record.
    pub part: Part,
    /// Whether its impulse is free rather than held near its certificate by the spread.
    pub weak: bool,
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    // Trapezoid by hand: 0.1 * 10 / 2 + 0.9 * 10 = 0.5 + 9.0 = 9.5 N s, begun at zero.
    fn pattern() -> Pattern {
        Pattern::new(&Series::new(&[0.1, 1.0, 1.0001], &[10.0, 10.0, 0.0])).unwrap()
    }

    #[test]
    fn a_curve_that_begins_late_begins_at_zero_here() {
        let pattern = pattern();
        assert_relative_eq!(pattern.impulse_to_ns(0.05), 0.125);
        assert_relative_eq!(pattern.impulse_to_ns(1.0), 9.5, max_relative = 1e-12);
        assert_relative_eq!(pattern.reaches_s(0.05), 0.005);
        assert_relative_eq!(pattern.thrust_and_slope(0.05).0, 5.0);
        assert_eq!(pattern.impulse_to_ns(-1.0), 0.0);
    }

    #[test]
    fn the_mean_over_pieces_adds_up_to_the_impulse_and_ends_where_the_motor_goes_out() {
        let pattern = pattern();
        let part = Part {
            onset_s: 2.0,
            height: 1.1,
            stretch: 2.0,
            out_s: Some(0.7),
        };
        let delivered_ns = |at: i32| part.delivered_ns(&pattern, 1.0 + 0.05 * f64::from(at)).0;
        let sum: f64 = (0..100)
            .map(|at| delivered_ns(at + 1) - delivered_ns(at))
            .sum();
        // 0.7 s of a doubly stretched curve, 0.2 s rise (1.0 N s) and 0.5 s at 10 N, then 20 ms at 10 N
        // as the area of the fading; all times 1.1.
        assert_relative_eq!(sum, 1.1 * 6.2, max_relative = 1e-12);
        assert_relative_eq!(part.impulse_ns(&pattern), 1.1 * 6.2, max_relative = 1e-8);
        let after = 11.0 * (-1.0_f64).exp();
        assert_relative_eq!(part.thrust_n(&pattern, 2.72), after, max_relative = 1e-12);
        assert_relative_eq!(part.thrust_n(&pattern, 2.6), 11.0);
    }

    #[test]
    fn a_curve_without_area_is_none() {
        assert!(Pattern::new(&Series::new(&[0.0, 1.0], &[0.0, 0.0])).is_none());
    }
}
