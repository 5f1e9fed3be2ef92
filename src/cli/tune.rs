//! `burnwright tune`: read the plant, find gains, write them with margins and firmware.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use burnwright::quantity::{Angle, AngularRate, Frequency, Given, Ratio, Time};
use burnwright::{Body, Derivative, Error, PlantFile, Scheduling, Specification, Start, tune};
use clap::{Args, ValueEnum};
use sha2::{Digest, Sha256};

use super::{Common, ended, quantity_argument, tell};

#[derive(Clone, Copy, ValueEnum)]
pub(super) enum BodyWord {
    /// The free rocket
    Flight,
    /// The rig it was fired in
    Rig,
}

impl From<BodyWord> for Body {
    fn from(word: BodyWord) -> Self {
        match word {
            BodyWord::Flight => Self::Flight,
            BodyWord::Rig => Self::Rig,
        }
    }
}

#[derive(Clone, Copy, ValueEnum)]
enum DerivativeWord {
    /// The gyro's rate
    Rate,
    /// The difference of two tilts
    Difference,
}

impl From<DerivativeWord> for Derivative {
    fn from(word: DerivativeWord) -> Self {
        match word {
            DerivativeWord::Rate => Self::Rate,
            DerivativeWord::Difference => Self::Difference,
        }
    }
}

#[derive(Clone, Copy, ValueEnum)]
enum StartWord {
    /// As controller.h does: the command in force stays and gives way within the fade time
    Shipped,
    /// Derivative on the measurement, started at rest; the proportional part acts at once
    Measurement,
    /// Derivative of the error, the error before the first taken as the first
    Seeded,
    /// Derivative of the error, the error before the first taken as zero
    ZeroError,
}

impl From<StartWord> for Start {
    fn from(word: StartWord) -> Self {
        match word {
            StartWord::Shipped => Self::Shipped,
            StartWord::Measurement => Self::Measurement,
            StartWord::Seeded => Self::Seeded,
            StartWord::ZeroError => Self::ZeroError,
        }
    }
}

#[derive(Clone, Copy, ValueEnum)]
enum ScheduleWord {
    /// By thrust when fixed gains miss the limits or leave twice the tilt after a disturbance
    WhenNeeded,
    /// Gains by thrust
    Always,
    /// Fixed gains
    Never,
}

impl From<ScheduleWord> for Scheduling {
    fn from(word: ScheduleWord) -> Self {
        match word {
            ScheduleWord::WhenNeeded => Self::WhenNeeded,
            ScheduleWord::Always => Self::Always,
            ScheduleWord::Never => Self::Never,
        }
    }
}

#[derive(Args)]
pub(super) struct TuneArgs {
    /// The plant file
    #[arg(value_name = "PLANT.json")]
    plant: PathBuf,
    /// Folder for the results [default: beside the plant file]
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    out: Option<PathBuf>,
    /// What the gains are for
    #[arg(long, value_enum, default_value = "flight", help_heading = "Design")]
    body: BodyWord,
    /// Rate of the firmware's loop [default: "100 Hz"]
    #[arg(long, value_name = "RATE", value_parser = quantity_argument::positive::<Frequency>, help_heading = "Firmware loop")]
    rate: Option<Given<Frequency>>,
    /// Latency: from reading the sensors to sending the command [default: "2 ms"]
    #[arg(long, alias = "late", value_name = "TIME", value_parser = quantity_argument::not_negative::<Time>, help_heading = "Firmware loop")]
    latency: Option<Given<Time>>,
    /// Where the derivative comes from
    #[arg(
        long,
        value_enum,
        default_value = "rate",
        help_heading = "Firmware loop"
    )]
    derivative: DerivativeWord,
    /// Time constant of the derivative's filter [default: one period of the loop]
    #[arg(long, value_name = "TIME", value_parser = quantity_argument::not_negative::<Time>, help_heading = "Firmware loop")]
    filter: Option<Given<Time>>,
    /// Largest sensitivity peak; higher is quicker and less robust [default: 1.6]
    #[arg(long, value_name = "PEAK", value_parser = sensitivity_peak, help_heading = "Design")]
    sensitivity: Option<f64>,
    /// Largest command to either side [default: what the travel allows]
    #[arg(long, value_name = "ANGLE", value_parser = quantity_argument::positive::<Angle>, help_heading = "Command")]
    limit: Option<Given<Angle>>,
    /// Fastest change of the command [default: none]
    #[arg(long, value_name = "RATE", value_parser = quantity_argument::positive::<AngularRate>, help_heading = "Command")]
    slew: Option<Given<AngularRate>>,
    /// Standard deviation of a tilt reading [default: that of the record]
    #[arg(long, value_name = "ANGLE", value_parser = quantity_argument::not_negative::<Angle>, help_heading = "Sensors")]
    tilt_noise: Option<Given<Angle>>,
    /// Standard deviation of a rate reading [default: that of the record]
    #[arg(long, value_name = "RATE", value_parser = quantity_argument::not_negative::<AngularRate>, help_heading = "Sensors")]
    rate_noise: Option<Given<AngularRate>>,
    /// Lowest thrust of the design, as a share of the peak [default: "20 %"]
    #[arg(long, value_name = "SHARE", value_parser = quantity_argument::positive::<Ratio>, help_heading = "Design")]
    thrust_from: Option<Given<Ratio>>,
    /// Whether gains follow thrust
    #[arg(
        long,
        value_enum,
        default_value = "when-needed",
        help_heading = "Design"
    )]
    schedule: ScheduleWord,
    /// How the firmware starts the controller
    #[arg(
        long,
        value_enum,
        value_name = "WAY",
        default_value = "shipped",
        help_heading = "Start-up"
    )]
    start: StartWord,
    /// Tilt for which the first command is predicted [default: "3 deg"]
    #[arg(long, value_name = "ANGLE", value_parser = quantity_argument::positive::<Angle>, help_heading = "Start-up")]
    first_tilt: Option<Given<Angle>>,
    /// Seed of the plants sampled from the covariance
    #[arg(long, value_name = "N", default_value_t = 1, help_heading = "Design")]
    seed: u64,
    /// Exit with code 3 unless every finding holds
    #[arg(long, help_heading = "Output")]
    strict: bool,
}

/// A sensitivity peak of 1 allows no feedback, and one of 3 is asking for it.
fn sensitivity_peak(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(peak) if (1.1..=3.0).contains(&peak) => Ok(peak),
        _ => Err("a sensitivity peak must lie between 1.1 and 3".to_owned()),
    }
}

pub(super) fn run(args: &TuneArgs, common: &Common) -> Result<ExitCode, Error> {
    let plant = PlantFile::read(&args.plant)?;
    let mut gains = tune(
        &plant,
        &args.plant.display().to_string(),
        &specification(args),
    )?;
    let bytes = std::fs::read(&args.plant).ok();
    gains.plant_sha256 = bytes.map(|bytes| hexadecimal(&Sha256::digest(bytes)));
    let beside = args.plant.parent().unwrap_or(Path::new("")).to_owned();
    tell(&gains, args.out.as_ref().unwrap_or(&beside), common)?;
    Ok(ended(args.strict, gains.every_finding_holds()))
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn specification(args: &TuneArgs) -> Specification {
    let degrees = |angle: &Given<Angle>| angle.si().to_degrees();
    let degrees_a_second = |rate: &Given<AngularRate>| rate.si().to_degrees();
    let usual = Specification::default();
    Specification {
        body: args.body.into(),
        rate_hz: args.rate.as_ref().map_or(usual.rate_hz, Given::si),
        latency_s: args.latency.as_ref().map_or(usual.latency_s, Given::si),
        derivative: args.derivative.into(),
        filter_s: args.filter.as_ref().map(Given::si),
        sensitivity_peak: args.sensitivity.unwrap_or(usual.sensitivity_peak),
        limit_deg: args.limit.as_ref().map(degrees),
        slew_deg_s: args.slew.as_ref().map(degrees_a_second),
        tilt_noise_deg: args.tilt_noise.as_ref().map(degrees),
        rate_noise_deg_s: args.rate_noise.as_ref().map(degrees_a_second),
        thrust_from: args
            .thrust_from
            .as_ref()
            .map_or(usual.thrust_from, Given::si),
        first_tilt_deg: args
            .first_tilt
            .as_ref()
            .map_or(usual.first_tilt_deg, degrees),
        start: args.start.into(),
        scheduling: args.schedule.into(),
        draws: usual.draws,
        seed: args.seed,
    }
}
