//! Start-up transient: the first commands, by how the controller is started.
//!
//! A derivative of the error that starts from an error of zero takes the whole tilt for a jump
//! within one period: kd tilt / h, most often more than the nozzle can travel. This derivative kick
//! lasts one period and decays through the filter, but the rocket keeps the rate it gave. Here the first
//! command of each way of starting is split into what the tilt asks for (kp tilt) and the kick on top.
//! The tilt that the kick causes is the difference between two runs of the loop, one with it and one
//! without.
//!
//! Source: Åström & Hägglund, Advanced PID Control, 2006, on derivative of the set point and bumpless
//! start; that no more than half of a command should be kick is common practice, no source.

use serde::{Deserialize, Serialize};

use super::axis_loop::SampledAxis;
use super::pid::{Controller, Derivative, Pid, Reading};

/// How long the tilt after the kick is followed, s.
const FOLLOWED_S: f64 = 2.0;
/// How long the commands are kept for the picture, s.
const SHOWN_S: f64 = 0.25;

/// Ways of starting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Start {
    /// The derivative is that of the error, and the error before the first is taken as zero.
    ZeroError,
    /// The derivative is that of the error, and the error before is taken as the first one.
    Seeded,
    /// The derivative is that of the measurement, started at rest; the proportional part acts at
    /// once.
    Measurement,
    /// As shipped, bumpless: the command in force stays, and decays with the fade time.
    #[default]
    Shipped,
}

impl Start {
    /// All of them.
    pub const ALL: [Self; 4] = [
        Self::ZeroError,
        Self::Seeded,
        Self::Measurement,
        Self::Shipped,
    ];

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::ZeroError => "derivative of the error, started from zero",
            Self::Seeded => "derivative of the error, seeded with the first one",
            Self::Measurement => "derivative on measurement, no fade",
            Self::Shipped => "as shipped: bumpless",
        }
    }
}

/// Start-up transient of one way of starting.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct StartUpTransient {
    /// How it was started.
    pub start: Start,
    /// Tilt at the first tick, deg.
    pub tilt_deg: f64,
    /// First command before any limit, deg.
    pub wanted_deg: f64,
    /// First command, deg.
    pub command_deg: f64,
    /// Its share of the largest command.
    pub share_of_limit: f64,
    /// Derivative kick: command on top of what the tilt asks for, within the limit, deg.
    pub kick_deg: f64,
    /// Share of what is wanted that is derivative kick.
    #[serde(rename = "initialisation_share")]
    pub kick_share: f64,
    /// Largest tilt that the kick causes, deg.
    pub kick_tilt_deg: f64,
    /// The first commands in the closed loop, one each period, deg.
    pub commands_deg: Vec<f64>,
}

/// Start-up transients for a tilt at rest, under a thrust, N.
#[must_use]
pub(crate) fn start_up_transients(
    axis: &SampledAxis,
    of: &Controller,
    tilt_deg: f64,
    thrust_n: f64,
) -> Vec<StartUpTransient> {
    Start::ALL
        .iter()
        .map(|start| start_up_transient(axis, of, *start, tilt_deg, thrust_n))
        .collect()
}

fn start_up_transient(
    axis: &SampledAxis,
    of: &Controller,
    start: Start,
    tilt_deg: f64,
    thrust_n: f64,
) -> StartUpTransient {
    let asked = -of.kp * tilt_deg;
    let wanted_deg = match start {
        Start::ZeroError => {
            // Through the same filter as the controller's derivative.
            asked - of.kd_s * (1.0 - of.filter_share()) * tilt_deg / of.period_s
        }
        Start::Seeded | Start::Measurement => asked,
        Start::Shipped => 0.0,
    };
    let limited = |command: f64| command.clamp(-of.limit_deg, of.limit_deg);
    // A command that is less than asked for is no kick.
    let extra = if start == Start::ZeroError {
        wanted_deg - asked
    } else {
        0.0
    };
    let (commands_deg, tilts_deg) = run(axis, of, start, tilt_deg, thrust_n);
    let command_deg = commands_deg.first().copied().unwrap_or(0.0);
    let kick_tilt_deg = if extra == 0.0 {
        0.0
    } else {
        let (_, seeded_deg) = run(axis, of, Start::Seeded, tilt_deg, thrust_n);
        let apart = tilts_deg.iter().zip(&seeded_deg);
        apart.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
    };
    let shown = (SHOWN_S / of.period_s).ceil() as usize + 1;
    StartUpTransient {
        start,
        tilt_deg,
        wanted_deg,
        command_deg,
        share_of_limit: command_deg.abs() / of.limit_deg,
        kick_deg: if extra == 0.0 {
            0.0
        } else {
            command_deg - limited(asked)
        },
        kick_share: if wanted_deg == 0.0 {
            0.0
        } else {
            (extra / wanted_deg).abs()
        },
        kick_tilt_deg,
        commands_deg: commands_deg.into_iter().take(shown).collect(),
    }
}

/// Commands and tilts of the closed loop, tick by tick, from a tilt at rest.
fn run(
    axis: &SampledAxis,
    of: &Controller,
    start: Start,
    tilt_deg: f64,
    thrust_n: f64,
) -> (Vec<f64>, Vec<f64>) {
    let by_error = matches!(start, Start::ZeroError | Start::Seeded);
    let own = Controller {
        derivative: if by_error {
            Derivative::Difference
        } else {
            of.derivative
        },
        fade_s: if start == Start::Shipped {
            of.fade_s
        } else {
            0.0
        },
        ..of.clone()
    };
    let read = |tilt_deg: f64, rate_deg_s: f64| Reading {
        set_point_deg: 0.0,
        tilt_deg,
        rate_deg_s,
        factor: 1.0,
    };
    let mut pid = Pid::<f64>::new(&own, 0.0);
    if start == Start::ZeroError {
        pid.tick(&read(0.0, 0.0));
    }
    let mut moving = axis.at_rest();
    moving.state[1] = tilt_deg;
    (0..(FOLLOWED_S / of.period_s).ceil() as usize)
        .map(|_| {
            let tilt_deg = moving.state[1];
            let command = pid.tick(&read(tilt_deg, moving.state[2]));
            axis.step(&mut moving, command * thrust_n);
            (command, tilt_deg)
        })
        .unzip()
}

#[cfg(test)]
mod tests {
    use super::super::axis_loop::tests::{controller, numbers};
    use super::*;
    use approx::assert_relative_eq;

    // kp 0.8, kd 0.12 s, h = filter = 10 ms: from zero 3 deg of tilt ask for 2.4 deg and kick by
    // 0.12 / (0.01 + 0.01) 3 = 18 deg.
    #[test]
    fn a_derivative_of_the_error_from_zero_slams_the_nozzle_and_the_shipped_start_does_not() {
        let axis = SampledAxis::new(&numbers(), 0.01, 0.0);
        let mut of = controller(Derivative::Difference);
        of.limit_deg = 5.0;
        of.fade_s = 0.1;
        let all = start_up_transients(&axis, &of, 3.0, 40.0);
        let by = |start: Start| all.iter().find(|one| one.start == start).unwrap();
        let slam = by(Start::ZeroError);
        assert_relative_eq!(slam.wanted_deg, -20.4, max_relative = 1e-12);
        assert_relative_eq!(slam.share_of_limit, 1.0);
        assert_relative_eq!(slam.kick_share, 18.0 / 20.4, max_relative = 1e-12);
        // 2.6 deg for 10 ms at 40 N: 0.95 x 160/s2 x 2.6 deg x 0.01 s = 3.95 deg/s, and most of that
        // again for the next two periods, which the loop takes about 0.2 s to stop: under a degree.
        assert_relative_eq!(slam.kick_deg, -2.6, max_relative = 1e-12);
        assert!((0.2..1.5).contains(&slam.kick_tilt_deg), "{slam:?}");
        for start in [Start::Seeded, Start::Measurement, Start::Shipped] {
            assert_eq!(by(start).kick_tilt_deg, 0.0);
            assert_eq!(by(start).kick_share, 0.0);
        }
        assert_relative_eq!(by(Start::Seeded).command_deg, -2.4, max_relative = 1e-12);
        // The filter halves the kick from tick to tick: 2.4 + 9 is still above the limit of 5 deg.
        assert_relative_eq!(slam.commands_deg[1], -5.0);
        // What the table says of the shipped start is what the controller does.
        let mut pid = Pid::<f64>::new(&of, 0.0);
        let first = pid.tick(&Reading {
            set_point_deg: 0.0,
            tilt_deg: 3.0,
            rate_deg_s: 0.0,
            factor: 1.0,
        });
        assert_eq!(first, by(Start::Shipped).command_deg);
    }
}
