//! The stand as it is built and recorded: motors in cells, cells with converters, recorders.

use super::axis::Axis;
use super::design::Design;
use super::rng::{Rng, Stream};

/// Standard gravity: the firing files state no site.
pub(super) const GRAVITY: f64 = 9.806_65;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mount {
    NozzleDown,
    NozzleUp,
    Level,
}

impl Mount {
    pub(super) fn word(self) -> &'static str {
        match self {
            Mount::NozzleDown => "nozzle-down",
            Mount::NozzleUp => "nozzle-up",
            Mount::Level => "level",
        }
    }
    /// Newtons along thrust for each newton of weight lost: a rocket with its nozzle down pulls against its thrust.
    pub(super) fn weight_lost(self) -> f64 {
        match self {
            Mount::NozzleDown => 1.0,
            Mount::NozzleUp => -1.0,
            Mount::Level => 0.0,
        }
    }
}

#[derive(Clone, Debug)]
pub(super) struct MotorPlan {
    pub(super) name: &'static str,
    /// What its label says.
    pub(super) label: Design,
    pub(super) cell: usize,
    pub(super) command_s: f64,
    pub(super) offset_mm: f64,
}

#[derive(Clone, Debug)]
pub(super) struct CellPlan {
    pub(super) name: String,
    pub(super) motors: Vec<usize>,
    /// Sum of the certified peaks of its motors, and the largest of them.
    pub(super) peak_n: f64,
    pub(super) largest_n: f64,
    pub(super) capacity_n: f64,
    pub(super) zero: f64,
    pub(super) slope: f64,
    /// Counts for each square newton.
    pub(super) bend: f64,
    pub(super) zero_shift_n: f64,
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) noise_n: f64,
    pub(super) delay_s: f64,
    /// Natural frequency in Hz and damping ratio of the stand under it.
    pub(super) mode: Option<(f64, f64)>,
    pub(super) mode_stated: bool,
    /// Calibration points rather than a stated scale.
    pub(super) by_points: bool,
    /// Half of what it reads higher on the way down, at half its capacity.
    pub(super) half_loop_n: f64,
}

impl CellPlan {
    pub(super) fn counts(&self, force: f64) -> f64 {
        self.zero + self.slope * force + self.bend * force * force
    }

    /// What it reads besides on the way down from a highest load, N.
    pub(super) fn loop_at(&self, force: f64, highest: f64) -> f64 {
        if highest <= 0.0 {
            return 0.0;
        }
        let part = (force / highest).clamp(0.0, 1.0);
        8.0 * self.half_loop_n * part * (1.0 - part) * (highest / self.capacity_n).powi(2)
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Clock {
    Micros,
    Millis,
    Seconds,
    RateOnly,
}

/// Where the fire line is logged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum FireLine {
    Absent,
    Stand,
    /// In a second recorder, whose clock is tied by the rise of the line in both.
    BoxByEdge,
    /// In a second recorder, whose clock is tied by a stated offset.
    BoxByOffset,
}

#[derive(Clone, Debug)]
pub(super) struct Recorder {
    pub(super) rate_hz: f64,
    /// A slow converter averages over its period.
    pub(super) averages: bool,
    pub(super) clock: Clock,
    pub(super) start: f64,
    pub(super) jitter_s: f64,
    pub(super) dropped: f64,
    pub(super) fire_line: FireLine,
    /// A line of its own for each motor.
    pub(super) own_lines: bool,
    pub(super) igniters: bool,
    /// The box's first row on the first log's clock, and its rate.
    pub(super) box_start_s: f64,
    pub(super) box_rate_hz: f64,
    pub(super) tail_s: f64,
}

#[derive(Clone, Debug)]
pub(super) struct Rig {
    pub(super) mount: Mount,
    pub(super) fire_s: f64,
    pub(super) motors: Vec<MotorPlan>,
    pub(super) cells: Vec<CellPlan>,
    pub(super) recorder: Recorder,
    pub(super) axis: Option<Axis>,
}

const NAMES: [&[&str]; 4] = [
    &["one"],
    &["left", "right"],
    &["left", "middle", "right"],
    &["left", "right", "upper", "lower"],
];

pub(super) fn draw(seed: u64, designs: &[Design]) -> Rig {
    let mut rng = Rng::new(seed, Stream::Rig);
    let count = 1 + rng.weighted(&[0.2, 0.4, 0.2, 0.2]);
    let groups = groups(&mut rng, count);
    let fire_s = rng.uniform(1.8, 4.0);
    let recorder = recorder(&mut rng, fire_s);
    let motors = motors(
        &mut rng,
        count,
        &groups,
        fire_s,
        recorder.own_lines,
        designs,
    );
    let noise_share = rng.log_uniform(0.0002, 0.02);
    let mount =
        [Mount::NozzleDown, Mount::NozzleUp, Mount::Level][rng.weighted(&[0.5, 0.25, 0.25])];
    let converter = Converter::draw(&mut rng, &recorder);
    let cells = groups
        .iter()
        .enumerate()
        .map(|(i, group)| {
            let name = match (groups.len(), group.as_slice()) {
                (1, _) => "base".to_string(),
                (_, [one]) => format!("at_{}", motors[*one].name),
                _ => format!("shared_{i}"),
            };
            cell(&mut rng, name, group, &motors, &converter, noise_share)
        })
        .collect();
    let mut rng = Rng::new(seed, Stream::Axis);
    let steers =
        count > 1 && motors[0].offset_mm != 0.0 && recorder.rate_hz > 300.0 && rng.chance(0.6);
    let axis = steers.then(|| Axis::draw(&mut rng, motors.iter().map(|m| m.label.peak()).sum()));
    Rig {
        mount,
        fire_s,
        motors,
        cells,
        recorder,
        axis,
    }
}

/// Which motors share a cell.
fn groups(rng: &mut Rng, count: usize) -> Vec<Vec<usize>> {
    let own: Vec<Vec<usize>> = (0..count).map(|i| vec![i]).collect();
    let all = vec![(0..count).collect()];
    match (count, rng.unit()) {
        (1, _) => own,
        (2, u) if u < 0.5 => own,
        (2, _) => all,
        (3, u) if u < 0.4 => own,
        (3, u) if u < 0.7 => all,
        (3, _) => vec![vec![0, 2], vec![1]],
        (_, u) if u < 0.35 => own,
        (_, u) if u < 0.6 => all,
        (_, u) if u < 0.75 => vec![vec![0, 1], vec![2, 3]],
        (_, u) if u < 0.88 => vec![vec![0, 1, 2], vec![3]],
        _ => vec![vec![0, 1], vec![2], vec![3]],
    }
}

fn recorder(rng: &mut Rng, fire_s: f64) -> Recorder {
    let rate_hz = match rng.weighted(&[0.15, 0.85]) {
        0 => 80.0,
        _ => rng.log_uniform(80.0, 2000.0).round(),
    };
    let clock = [
        Clock::Micros,
        Clock::Millis,
        Clock::Seconds,
        Clock::RateOnly,
    ][rng.weighted(&[0.4, 0.25, 0.2, 0.15])];
    let steady = clock == Clock::RateOnly;
    let fire_line = [
        FireLine::Absent,
        FireLine::Stand,
        FireLine::BoxByEdge,
        FireLine::BoxByOffset,
    ][rng.weighted(&[0.2, 0.5, 0.1, 0.2])];
    let seen = fire_line != FireLine::Absent;
    Recorder {
        rate_hz,
        averages: rate_hz < 200.0,
        clock,
        start: if clock == Clock::Micros && rng.chance(0.3) {
            4_292_000_000.0
        } else {
            rng.uniform(0.0, 9e6).round()
        },
        jitter_s: if steady {
            0.0
        } else {
            rng.uniform(0.0, 30e-6).min(0.02 / rate_hz)
        },
        dropped: if steady || rng.chance(0.5) {
            0.0
        } else {
            rng.uniform(0.0, 0.001)
        },
        fire_line,
        own_lines: seen && fire_line != FireLine::BoxByEdge && rng.chance(0.2),
        igniters: seen && rng.chance(0.35),
        box_start_s: -rng.uniform(0.0, 1.5).min(fire_s),
        box_rate_hz: rng.log_uniform(100.0, 1000.0).round(),
        tail_s: rng.uniform(1.8, 4.0),
    }
}

fn motors(
    rng: &mut Rng,
    count: usize,
    groups: &[Vec<usize>],
    fire_s: f64,
    own_lines: bool,
    designs: &[Design],
) -> Vec<MotorPlan> {
    let alike = rng.chance(0.75);
    let first = rng.below(designs.len());
    let radius = rng.uniform(10.0, 30.0);
    let given = rng.chance(0.5);
    (0..count)
        .map(|i| {
            let other = (first + [0, 1, 2, designs.len() - 1][rng.below(4)]) % designs.len();
            let command = if own_lines && i > 0 {
                rng.uniform(0.0, 1.5)
            } else {
                0.0
            };
            let angle = std::f64::consts::TAU * i as f64 / count as f64;
            MotorPlan {
                name: NAMES[count - 1][i],
                label: designs[if alike { first } else { other }].clone(),
                cell: groups.iter().position(|g| g.contains(&i)).unwrap_or(0),
                command_s: fire_s + command,
                offset_mm: if given && count > 1 {
                    radius * angle.cos()
                } else {
                    0.0
                },
            }
        })
        .collect()
}

/// One model of converter for all cells of a rig.
struct Converter {
    low: f64,
    high: f64,
    zero: f64,
    /// Counts at capacity, above zero.
    span: f64,
    delay_s: f64,
    by_points: bool,
    stiff: bool,
    roomy: f64,
}

impl Converter {
    fn draw(rng: &mut Rng, recorder: &Recorder) -> Self {
        let (low, high, zero, span) = match rng.weighted(&[0.12, 0.28, 0.6]) {
            0 => (0.0, 4095.0, rng.uniform(250.0, 600.0), 3300.0),
            1 => (
                -32768.0,
                32767.0,
                rng.uniform(-2000.0, 2000.0),
                rng.uniform(16000.0, 30000.0) * rng.sign(0.85),
            ),
            _ => {
                let share = rng.uniform(0.3, 0.85) * rng.sign(0.85);
                (
                    -8388608.0,
                    8388607.0,
                    rng.uniform(-200_000.0, 200_000.0),
                    8388607.0 * share,
                )
            }
        };
        let half = if recorder.averages {
            0.5 / recorder.rate_hz
        } else {
            0.0
        };
        let own = if rng.chance(0.4) {
            rng.uniform(0.5e-3, 5e-3)
        } else {
            0.0
        };
        Self {
            low,
            high,
            zero: zero.round(),
            span,
            delay_s: half + own,
            by_points: rng.chance(0.8),
            stiff: rng.chance(0.45),
            roomy: rng.log_uniform(1.6, 6.0),
        }
    }
}

fn cell(
    rng: &mut Rng,
    name: String,
    group: &[usize],
    motors: &[MotorPlan],
    converter: &Converter,
    noise_share: f64,
) -> CellPlan {
    let peaks = group.iter().map(|&i| motors[i].label.peak());
    let peak_n: f64 = peaks.clone().sum();
    let largest_n = peaks.fold(0.0, f64::max);
    let capacity_n = (peak_n * converter.roomy).ceil();
    let slope = converter.span / capacity_n * rng.uniform(0.95, 1.0);
    let bend = if converter.by_points {
        rng.uniform(-0.003, 0.003) * slope / capacity_n
    } else {
        0.0
    };
    let mode = (rng.log_uniform(50.0, 350.0), rng.uniform(0.02, 0.1));
    CellPlan {
        name,
        motors: group.to_vec(),
        peak_n,
        largest_n,
        capacity_n,
        zero: converter.zero
            + if converter.high < 5000.0 {
                0.0
            } else {
                rng.uniform(-500.0, 500.0).round()
            },
        slope,
        bend,
        zero_shift_n: rng.uniform(-0.03, 0.03) * largest_n,
        low: converter.low,
        high: converter.high,
        noise_n: (noise_share * largest_n).max(0.45 / slope.abs()),
        delay_s: converter.delay_s,
        mode: (!converter.stiff).then_some(mode),
        mode_stated: rng.chance(0.6),
        by_points: converter.by_points,
        half_loop_n: 0.0,
    }
}
