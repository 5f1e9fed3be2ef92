//! Events laid along one clock: rest, loading, handling, rest, burn, ejection charge, rest, handling, removal, a second firing.
//!
//! What does not fit into the record's longest span is left out and not listed as a disturbance.

use super::curve::Curve;
use super::force::{Force, handle};
use super::random::Random;
use super::scene::{Placed, Scene};
use super::truth::{Category, Disturbance, Ejection, Kind};
use super::zero::{Course, Shift, Step};

impl Scene {
    pub(crate) fn has(&self, kind: Kind) -> bool {
        self.kinds.contains(&kind)
    }

    pub(crate) fn note(&mut self, kind: Kind, start: f64, end: f64, size: f64) {
        self.disturbances.push(Disturbance {
            kind,
            start,
            end,
            size,
        });
    }

    /// Shortest rest that can be seen as one.
    fn breath(&self) -> f64 {
        (6.0 / self.rate).max(0.3)
    }

    fn room(&self, reserved: f64) -> f64 {
        self.longest - self.t - reserved
    }

    fn rest(&mut self, random: &mut Random, reserved: f64) {
        let low = self.breath();
        let high = (self.span / 5.0).min(self.room(reserved) / 3.0).max(low);
        let end = self.t + random.log_uniform(low, high);
        self.rests.push((self.t, end));
        self.t = end;
    }

    /// Hands on the stand; the interval, or nothing if there is no room.
    fn session(&mut self, random: &mut Random, kind: Kind, reserved: f64) -> Option<(f64, f64)> {
        let low = (8.0 / self.rate).max(0.8);
        let length = random.log_uniform(low, (low * 1.2).max((self.span / 6.0).min(12.0)));
        if self.room(reserved) < length + 2.0 * self.breath() {
            return None;
        }
        let size = self.size * random.log_uniform(0.2, 5.0);
        let interval = (self.t, self.t + length);
        self.forces.extend(handle(random, self.t, length, size));
        self.hands.push((interval.0, interval.1, size));
        self.note(kind, interval.0, interval.1, size);
        self.t = interval.1;
        Some(interval)
    }

    fn step(&mut self, random: &mut Random, interval: (f64, f64), size: f64) {
        let at = random.uniform(interval.0, 0.5 * (interval.0 + interval.1));
        let within = random.log_uniform(0.05, 0.5).min(interval.1 - at);
        self.zero.steps.push(Step {
            at,
            size,
            within,
            creeping: false,
        });
    }

    fn lone_push(&mut self, random: &mut Random, reserved: f64) {
        let length = random.log_uniform(0.5, 4.0);
        if self.room(reserved) < length + 2.0 * self.breath() {
            return;
        }
        let size = self.size * random.log_uniform(0.2, 3.0) * random.sign();
        let push = Force::pulse(self.t, length, size, random.uniform(0.3, 0.7));
        self.note(Kind::LonePush, push.at, push.end(), self.sign * size);
        self.t = push.end();
        self.forces.push(push.clone());
        self.pushes.push(push);
        self.rest(random, reserved);
    }

    pub(crate) fn lay_before(&mut self, random: &mut Random, burn: f64) {
        let reserved = 1.05 * burn + 2.0 * self.breath();
        self.rest(random, reserved);
        if self.has(Kind::Loading)
            && let Some(interval) = self.session(random, Kind::Loading, reserved)
        {
            let weight = self.sign * self.size * random.log_uniform(0.01, 0.8) * random.sign();
            self.step(random, interval, weight);
            self.rest(random, reserved);
        }
        if self.has(Kind::HandlingBefore)
            && let Some(interval) = self.session(random, Kind::HandlingBefore, reserved)
        {
            if random.chance(0.05) {
                self.t -= random
                    .uniform(0.0, 0.6 * burn)
                    .min(0.5 * (interval.1 - interval.0));
            } else {
                self.rest(random, reserved);
            }
        }
        if self.has(Kind::LonePush) && random.chance(0.5) {
            self.lone_push(random, reserved);
            self.kinds.retain(|kind| *kind != Kind::LonePush);
        }
    }

    pub(crate) fn lay_burn(
        &mut self,
        random: &mut Random,
        mut curve: Curve,
        impulse: f64,
        duration: f64,
    ) {
        let at = self.t;
        if self.has(Kind::Burst) && self.rate > 60.0 {
            let length = random.log_uniform(0.005, 0.05).max(5.0 / self.rate);
            let share = if random.chance(0.4) {
                random.uniform(0.02, 0.12)
            } else {
                random.uniform(0.12, 0.9)
            };
            let size = random.log_uniform(1.5, 8.0) * curve.facts.peak;
            curve.add_burst(share, length, size);
            let moment = at + curve.burst_at().unwrap_or(0.0);
            let shift = self.size * random.log_uniform(0.02, 1.0) * random.sign();
            let course = Course::At {
                moment: moment + 0.8 * length,
                within: length,
            };
            self.zero.shifts.push(Shift {
                firing: 0,
                size: shift,
                course,
            });
            self.note(
                Kind::Burst,
                moment,
                moment + length,
                self.sign * curve.facts.peak,
            );
            self.size = curve.facts.peak.min(2.0 * self.size);
        }
        if self.has(Kind::IgniterPop) {
            let before = random.log_uniform(0.03, 1.0);
            let rest = self.rests.last().map_or(0.0, |rest| rest.0);
            let pop = (at + curve.facts.start - before).max(rest + 0.01);
            let length = random.log_uniform(0.002, 0.015);
            let size = random.log_uniform(0.05, 0.6) * self.size;
            self.forces.push(Force::pulse(pop, length, size, 0.3));
            self.note(Kind::IgniterPop, pop, pop + length, self.sign * size);
            self.pop = Some(pop);
        }
        self.weigh(random, 0, impulse);
        self.shift_zero(
            random,
            at + curve.facts.start,
            at + curve.facts.end,
            duration,
        );
        self.t = at + curve.length();
        self.firings.push(Placed { curve, at });
    }

    /// Propellant burnt away: nothing on a level mount, less weight with the nozzle up, less pull with it down.
    fn weigh(&mut self, random: &mut Random, firing: usize, impulse: f64) {
        let weight = impulse / random.uniform(75.0, 240.0);
        let size = self.sign * random.pick(&[0.0, 0.0, -weight, -weight, weight]);
        self.zero.shifts.push(Shift {
            firing,
            size,
            course: Course::WithImpulse,
        });
    }

    fn shift_zero(&mut self, random: &mut Random, start: f64, end: f64, duration: f64) {
        if self.has(Kind::ZeroShift) {
            let size = self.size * random.uniform(0.005, 0.1) * random.sign();
            let course = match random.whole(0, 3) {
                0 => Course::WithImpulse,
                1 => Course::At {
                    moment: start + 0.1 * duration,
                    within: 0.2 * duration,
                },
                2 => Course::At {
                    moment: end - 0.1 * duration,
                    within: 0.2 * duration,
                },
                _ => Course::Relaxing {
                    from: start,
                    time: random.log_uniform(0.3, 5.0) * duration,
                },
            };
            self.zero.shifts.push(Shift {
                firing: 0,
                size,
                course,
            });
            self.note(Kind::ZeroShift, start, end, size);
        }
        if self.has(Kind::ThermalHump) {
            let size = self.size * random.uniform(0.01, 0.08) * random.sign();
            let time = random.log_uniform(2.0, 20.0);
            self.zero.hump = Some((start, size, time));
            self.note(Kind::ThermalHump, start, start + 6.0 * time, size);
        }
    }

    pub(crate) fn lay_after(&mut self, random: &mut Random, impulse: f64, duration: f64) {
        let reserved = self.breath();
        if self.has(Kind::Ejection) {
            self.eject(random, reserved, duration);
        }
        self.rest(random, reserved);
        if self.has(Kind::LonePush) {
            self.lone_push(random, reserved);
        }
        if self.has(Kind::HandlingAfter)
            && self
                .session(random, Kind::HandlingAfter, reserved)
                .is_some()
        {
            self.rest(random, reserved);
        }
        if self.has(Kind::Removal)
            && let Some(interval) = self.session(random, Kind::Removal, reserved)
        {
            let weight = -self.size * random.log_uniform(0.02, 3.0) * random.sign();
            self.step(random, interval, weight);
            self.rest(random, reserved);
        }
        if self.has(Kind::SecondFiring) {
            self.lay_second(random, impulse, duration);
        }
        if random.chance(0.5) {
            self.rest(random, 0.0);
        }
    }

    fn eject(&mut self, random: &mut Random, reserved: f64, duration: f64) {
        let Some(placed) = self.firings.first() else {
            return;
        };
        let at = (placed.at + placed.curve.facts.end + random.uniform(2.0, 10.0)).max(self.t);
        if self.room(reserved) < at - self.t + 1.0 {
            return;
        }
        let length = random.log_uniform(0.005, 0.05).min(0.2 * duration);
        let size =
            self.size * random.log_uniform(0.2, 3.0) * if random.chance(0.7) { -1.0 } else { 1.0 };
        self.rests.push((self.t, at));
        self.forces
            .push(Force::pulse(at, length, size, random.uniform(0.15, 0.4)));
        self.t = at + length;
        self.note(Kind::Ejection, at, self.t, self.sign * size);
        self.ejection = Some(Ejection {
            start: at,
            end: self.t,
            size: self.sign * size,
        });
    }

    fn lay_second(&mut self, random: &mut Random, impulse: f64, duration: f64) {
        let other = (duration * random.uniform(0.6, 1.6)).clamp(0.15, 15.0);
        let impulse = impulse * random.log_uniform(0.15, 4.0);
        let curve = Curve::draw(random, impulse, other);
        let reserved = 1.05 * curve.length() + 2.0 * self.breath();
        if self.room(reserved) < 2.0 * self.breath() {
            return;
        }
        if random.chance(0.5)
            && let Some(interval) = self.session(random, Kind::Loading, reserved)
        {
            let weight = self.sign * self.size * random.log_uniform(0.01, 0.5) * random.sign();
            self.step(random, interval, weight);
            self.rest(random, reserved);
        } else if self.room(reserved) > 40.0 && self.span > 60.0 {
            self.rest(random, reserved);
        }
        let facts = curve.facts.clone();
        self.note(
            Kind::SecondFiring,
            self.t + facts.start,
            self.t + facts.end,
            self.sign * facts.peak,
        );
        self.weigh(random, 1, facts.impulse);
        self.firings.push(Placed { at: self.t, curve });
        self.t += self
            .firings
            .last()
            .map_or(0.0, |placed| placed.curve.length());
        self.rest(random, 0.0);
    }

    pub(crate) fn lay_taps(&mut self, random: &mut Random) {
        if !self.has(Kind::Taps) {
            return;
        }
        let most = if self.category == Category::WithoutBurn {
            25
        } else {
            5
        };
        for _ in 0..random.whole(if most > 5 { 3 } else { 1 }, most) {
            let (from, to) = random.pick(&self.rests);
            let margin = 0.1 * (to - from);
            let size = self.size * random.log_uniform(0.05, 3.0) * random.sign();
            let tap = Force::knock(random, 0.0, size);
            let at = random.uniform(from + margin, to - margin - tap.length);
            if at < from {
                continue;
            }
            let tap = tap.moved(at);
            self.note(Kind::Taps, tap.at, tap.end(), self.sign * size);
            self.hands
                .push((tap.at, tap.at + 0.5 * tap.length, size.abs()));
            self.forces.push(tap);
        }
    }

    pub(crate) fn lay_hole(&mut self, random: &mut Random) {
        if !self.has(Kind::Hole) {
            return;
        }
        let (from, to) = random.pick(&self.rests);
        let margin = 2.0 * self.breath();
        if to - from > 3.0 * margin {
            let at = random.uniform(from + margin, to - 2.0 * margin);
            let until = random.uniform(at + 3.0 / self.rate, to - margin);
            self.hole = Some((at, until));
            self.note(Kind::Hole, at, until, until - at);
        }
    }

    /// A record in which nothing burns.
    pub(crate) fn lay_idle(&mut self, random: &mut Random) {
        self.rest(random, 0.0);
        if self.has(Kind::HandlingBefore) {
            for _ in 0..random.whole(1, 4) {
                if let Some(interval) = self.session(random, Kind::HandlingBefore, self.breath()) {
                    if random.chance(0.4) {
                        let weight = self.size * random.log_uniform(0.05, 3.0) * random.sign();
                        self.step(random, interval, weight);
                    }
                    self.rest(random, self.breath());
                }
            }
        }
        if self.has(Kind::TareHunting) {
            self.lay_hunt(random);
        }
        if self.has(Kind::SquareWave) {
            self.lay_square(random);
        }
        let until = (self.span * random.uniform(0.4, 1.0))
            .max(self.t + 2.0)
            .min(self.longest);
        if until > self.t {
            self.rests.push((self.t, until));
            self.t = until;
        }
    }

    fn lay_hunt(&mut self, random: &mut Random) {
        let begin = self.t;
        let mut level = 0.0;
        let beat = (6.0 / self.rate)
            .max(random.log_uniform(0.3, 3.0))
            .min(self.room(0.0) / 60.0);
        for _ in 0..random.whole(10, 40) {
            let back = random.chance(0.3);
            let target = if back {
                0.0
            } else {
                self.size * random.log_uniform(0.05, 1.5) * random.sign()
            };
            let within = if back {
                1.0 / self.rate
            } else {
                beat * random.uniform(0.2, 1.0)
            };
            self.zero.steps.push(Step {
                at: self.t,
                size: target - level,
                within,
                creeping: !back,
            });
            level = target;
            self.t += beat * random.uniform(0.6, 2.5).min(2.4);
        }
        self.note(Kind::TareHunting, begin, self.t, self.size);
    }

    fn lay_square(&mut self, random: &mut Random) {
        let begin = self.t;
        let size = self.size * random.log_uniform(0.1, 3.0) * random.sign();
        let period = random
            .log_uniform((12.0 / self.rate).max(0.2), 20.0)
            .min(self.room(0.0) / 20.0);
        let duty = random.uniform(0.3, 0.7);
        for _ in 0..random.whole(6, 18) {
            let within = 0.5 / self.rate;
            self.zero.steps.push(Step {
                at: self.t,
                size,
                within,
                creeping: false,
            });
            self.zero.steps.push(Step {
                at: self.t + duty * period,
                size: -size,
                within,
                creeping: false,
            });
            self.t += period;
        }
        self.note(Kind::SquareWave, begin, self.t, size);
    }
}
