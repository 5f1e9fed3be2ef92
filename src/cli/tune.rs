//! `burnwright tune`: read the plant, find gains, write them with margins and firmware.

use std::path::Path;
use std::process::ExitCode;

use burnwright::quantity::{Angle, AngularRate, Given};
use burnwright::{Error, PlantFile, Specification, tune};
use sha2::{Digest, Sha256};

use super::{Common, TuneArgs, ended, tell};

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
