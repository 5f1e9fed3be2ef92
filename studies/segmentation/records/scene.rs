//! A whole session on the stand, drawn: motor, rate, order of events, zero, noise. Nothing is read yet.
//! The order of events is in `timeline.rs`.

use super::curve::Curve;
use super::force::Force;
use super::random::Random;
use super::truth::{Category, Disturbance, Ejection, Kind, Ringing};
use super::zero::Zero;

/// Most rows in a record.
const MOST_ROWS: f64 = 380_000.0;

/// Rates recorders are met at, readings/s.
const USUAL_RATES: [f64; 16] = [
    10.0, 10.5, 12.5, 40.0, 63.0, 79.3, 80.0, 91.0, 100.0, 200.0, 500.0, 1000.0, 1652.0, 4800.0,
    10_000.0, 20_000.0,
];

/// A motor burning on the clock; `at` is its first thrust.
pub(crate) struct Placed {
    pub(crate) curve: Curve,
    pub(crate) at: f64,
}

/// Noise of the cell and its converter, N.
#[derive(Default)]
pub(crate) struct Noise {
    pub(crate) white: f64,
    /// Size and correlation time of coloured noise.
    pub(crate) coloured: (f64, f64),
    /// Amplitude and frequency of hum.
    pub(crate) hum: (f64, f64),
    pub(crate) quantum: f64,
}

impl Noise {
    /// With white noise averaged by eye over so many readings, as far as there are more than fifty of them.
    pub(crate) fn averaged(&self, readings: usize) -> f64 {
        let share = (50.0 / readings.max(1) as f64).min(1.0).sqrt();
        Self {
            white: self.white * share,
            quantum: self.quantum * share,
            ..*self
        }
        .sd()
    }

    pub(crate) fn sd(&self) -> f64 {
        let parts = [
            self.white,
            self.coloured.0,
            self.hum.0 / 2.0_f64.sqrt(),
            self.quantum / 12.0_f64.sqrt(),
        ];
        parts.iter().map(|part| part * part).sum::<f64>().sqrt()
    }
}

/// What happens on the stand.
pub(crate) struct Scene {
    pub(crate) category: Category,
    pub(crate) kinds: Vec<Kind>,
    pub(crate) sign: f64,
    /// The first motor's peak thrust, or that of a motor the stand is made for.
    pub(crate) size: f64,
    pub(crate) rate: f64,
    pub(crate) length: f64,
    pub(crate) firings: Vec<Placed>,
    pub(crate) forces: Vec<Force>,
    pub(crate) zero: Zero,
    /// Where nothing happens.
    pub(crate) rests: Vec<(f64, f64)>,
    /// Hands and taps: begin, end, size.
    pub(crate) hands: Vec<(f64, f64, f64)>,
    /// Lone pushes.
    pub(crate) pushes: Vec<Force>,
    /// Begin of an igniter's pop.
    pub(crate) pop: Option<f64>,
    pub(crate) ejection: Option<Ejection>,
    pub(crate) ringing: Option<Ringing>,
    pub(crate) noise: Noise,
    pub(crate) averaging: bool,
    pub(crate) jitter: f64,
    pub(crate) tared: bool,
    pub(crate) hole: Option<(f64, f64)>,
    pub(crate) disturbances: Vec<Disturbance>,
    pub(crate) t: f64,
    pub(crate) span: f64,
    pub(crate) longest: f64,
}

impl Scene {
    pub(crate) fn draw(random: &mut Random) -> Self {
        let category = match random.whole(0, 5) {
            0 => Category::WithoutBurn,
            1 => Category::Trimmed,
            2..=3 => Category::Few,
            _ => Category::Several,
        };
        let impulse = random.log_uniform(0.05, 5000.0);
        let duration =
            (0.9 * (impulse / 10.0).powf(0.2) * (0.6 * random.normal()).exp()).clamp(0.15, 15.0);
        let curve = Curve::draw(random, impulse, duration);
        let rate = draw_rate(random, curve.length(), curve.facts.end - curve.facts.start);
        let rows = if random.chance(0.08) {
            random.log_uniform(1e5, MOST_ROWS)
        } else {
            random.log_uniform(1500.0, 1.2e5)
        };
        let longest = (MOST_ROWS / rate).min(1200.0);
        let mut scene = Self {
            category,
            kinds: draw_kinds(random, category),
            sign: if random.chance(0.75) { 1.0 } else { -1.0 },
            size: curve.facts.peak,
            rate,
            length: 0.0,
            firings: Vec::new(),
            forces: Vec::new(),
            zero: Zero::default(),
            rests: Vec::new(),
            hands: Vec::new(),
            pushes: Vec::new(),
            pop: None,
            ejection: None,
            ringing: None,
            noise: Noise::default(),
            averaging: rate <= 100.0 && random.chance(0.6),
            jitter: if random.chance(0.3) {
                random.uniform(0.0, 0.06)
            } else {
                0.0
            },
            tared: false,
            hole: None,
            disturbances: Vec::new(),
            t: 0.0,
            span: (rows / rate)
                .min(900.0)
                .max(1.5 * curve.length() + 3.0)
                .min(longest),
            longest,
        };
        scene.draw_ringing(random, duration);
        scene.draw_zero(random);
        scene.draw_noise(random);
        if category == Category::WithoutBurn {
            scene.lay_idle(random);
        } else {
            scene.lay_before(random, curve.length());
            scene.lay_burn(random, curve, impulse, duration);
            scene.lay_after(random, impulse, duration);
        }
        scene.length = scene.t;
        scene.lay_taps(random);
        scene.lay_hole(random);
        scene
    }

    /// The share of a firing's impulse spent by `t`.
    pub(crate) fn burnt(&self, firing: usize, t: f64) -> f64 {
        self.firings.get(firing).map_or(0.0, |placed| {
            placed.curve.impulse_until((t - placed.at).max(0.0)) / placed.curve.facts.impulse
        })
    }

    pub(crate) fn unloaded(&self, t: f64) -> f64 {
        self.zero.unloaded(t, |firing, t| self.burnt(firing, t))
    }

    /// All forces in the direction of thrust.
    pub(crate) fn force(&self, t: f64) -> f64 {
        let thrust: f64 = self
            .firings
            .iter()
            .map(|placed| placed.curve.thrust(t - placed.at))
            .sum();
        thrust + self.forces.iter().map(|force| force.value(t)).sum::<f64>()
    }

    fn draw_ringing(&mut self, random: &mut Random, duration: f64) {
        if !self.has(Kind::Ringing) {
            return;
        }
        let frequency = random.log_uniform((2.0 / duration).clamp(5.0, 100.0), 200.0);
        let ringing = Ringing {
            frequency,
            quality: random.log_uniform(5.0, 60.0),
            stated: random.chance(0.4),
        };
        self.ringing = Some(ringing);
        self.note(Kind::Ringing, 0.0, f64::INFINITY, frequency);
    }

    fn draw_zero(&mut self, random: &mut Random) {
        let size = self.size;
        self.tared = random.chance(0.35);
        self.zero.base = size
            * if self.tared {
                random.uniform(-0.01, 0.01)
            } else if random.chance(0.65) {
                random.log_uniform(0.05, 2.0) * random.sign()
            } else {
                random.log_uniform(2.0, 20.0) * random.sign()
            };
        if self.has(Kind::WarmUp) {
            let warm = (
                size * random.uniform(0.01, 0.15) * random.sign(),
                random.log_uniform(10.0, 150.0),
            );
            self.zero.warm = Some(warm);
            self.note(Kind::WarmUp, 0.0, 4.0 * warm.1, warm.0);
        }
        if self.has(Kind::Drift) {
            let most = if self.category == Category::WithoutBurn {
                1.5
            } else {
                0.06
            };
            let drift = size * random.log_uniform(0.005, most);
            let slowest = self.span.clamp(20.0, 600.0);
            self.zero.swings = (0..3)
                .map(|_| {
                    (
                        drift * random.uniform(0.1, 0.6),
                        random.log_uniform(0.3 * slowest, slowest),
                        random.uniform(0.0, std::f64::consts::TAU),
                    )
                })
                .collect();
            self.zero.slope = drift * random.uniform(-1.0, 1.0) / slowest;
            self.note(Kind::Drift, 0.0, f64::INFINITY, drift);
        }
    }

    fn draw_noise(&mut self, random: &mut Random) {
        let style = random.uniform(0.0, 1.0);
        let (sd, quantum) = if style < 0.35 {
            let quantum = random.log_uniform(1e-4, 1e-3);
            (quantum * random.uniform(0.02, 0.4), quantum)
        } else {
            let sd = if style < 0.95 {
                random.log_uniform(3e-4, 0.05)
            } else {
                random.log_uniform(0.05, 0.3)
            };
            (sd, sd * random.log_uniform(0.02, 2.0))
        };
        let sd = self.size * sd;
        let coloured = if random.chance(0.4) {
            random.uniform(0.3, 0.95)
        } else {
            0.0
        };
        let hum = if self.has(Kind::Hum) {
            random.uniform(0.4, 0.95)
        } else {
            0.0
        };
        let rest = (1.0 - hum * hum).sqrt();
        self.noise = Noise {
            white: sd * rest * (1.0 - coloured * coloured).sqrt(),
            coloured: (sd * rest * coloured, random.log_uniform(0.02, 2.0)),
            hum: (
                sd * hum * 2.0_f64.sqrt(),
                random.pick(&[50.0, 60.0]) * random.uniform(0.998, 1.002),
            ),
            quantum: self.size * quantum,
        };
        if hum > 0.0 {
            self.note(Kind::Hum, 0.0, f64::INFINITY, sd * hum);
        }
    }
}

fn draw_rate(random: &mut Random, length: f64, burn: f64) -> f64 {
    let rate = if random.chance(0.5) {
        random.pick(&USUAL_RATES)
    } else {
        random.log_uniform(5.0, 20_000.0)
    };
    let rate = if random.chance(0.3) {
        rate * random.uniform(0.97, 1.03)
    } else {
        rate
    };
    let rate = rate.min(MOST_ROWS / (1.5 * length + 3.0));
    if rate * burn < 5.0 && random.chance(0.92) {
        random.log_uniform(5.0, 60.0) / burn
    } else {
        rate
    }
}

fn draw_kinds(random: &mut Random, category: Category) -> Vec<Kind> {
    let of_any = [
        Kind::Spikes,
        Kind::Spikes,
        Kind::IdenticalRun,
        Kind::FullScaleRun,
        Kind::ZeroRun,
        Kind::Hum,
    ];
    let of_burn = [
        Kind::ZeroShift,
        Kind::ZeroShift,
        Kind::ThermalHump,
        Kind::Saturated,
        Kind::Burst,
        Kind::Ringing,
    ];
    let of_time = [
        Kind::Drift,
        Kind::WarmUp,
        Kind::HandlingBefore,
        Kind::HandlingBefore,
        Kind::HandlingAfter,
        Kind::HandlingAfter,
        Kind::LonePush,
        Kind::Taps,
        Kind::Loading,
        Kind::Removal,
        Kind::Ejection,
        Kind::Ejection,
        Kind::SecondFiring,
        Kind::IgniterPop,
        Kind::Hole,
    ];
    let mut kinds = Vec::new();
    let (pool, count) = match category {
        Category::WithoutBurn => {
            let main = random.whole(0, 5);
            kinds = [
                vec![],
                vec![Kind::HandlingBefore],
                vec![Kind::Drift, Kind::WarmUp],
                vec![Kind::Taps],
                vec![Kind::TareHunting],
                vec![Kind::SquareWave],
            ][main]
                .clone();
            let more = [
                Kind::Taps,
                Kind::Drift,
                Kind::Hole,
                Kind::Ringing,
                Kind::WarmUp,
            ];
            ([&of_any[..], &more[..]].concat(), random.whole(0, 2))
        }
        Category::Trimmed => ([&of_any[..], &of_burn[..]].concat(), random.whole(0, 2)),
        Category::Few => (
            [&of_any[..], &of_burn[..], &of_time[..]].concat(),
            random.whole(1, 2),
        ),
        Category::Several => (
            [&of_any[..], &of_burn[..], &of_time[..]].concat(),
            random.whole(3, 7),
        ),
    };
    let wanted = kinds.len() + count;
    for _ in 0..60 {
        let kind = random.pick(&pool);
        let apart = |a, b| (kind == a && kinds.contains(&b)) || (kind == b && kinds.contains(&a));
        if kinds.len() < wanted
            && !kinds.contains(&kind)
            && !apart(Kind::Saturated, Kind::FullScaleRun)
            && !apart(Kind::Burst, Kind::Saturated)
        {
            kinds.push(kind);
        }
    }
    kinds
}
