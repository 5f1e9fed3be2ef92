//! `burnwright ready`: findings on the armed stand at rest.

use std::process::ExitCode;

use burnwright::{Error, ReadyOptions, read_firing, ready};

use super::{Common, ReadyArgs, ended, tell};

pub(super) fn run(args: &ReadyArgs, common: &Common) -> Result<ExitCode, Error> {
    let firing = read_firing(&args.firing)?;
    let options = ReadyOptions {
        rest: args.rest.clone(),
        weight: args.weight.clone().zip(args.mass),
        wiggle: args.wiggle.clone(),
        tap: args.tap.clone(),
        growing: args.growing.clone(),
    };
    let readiness = ready(&firing, &options)?;
    let beside = || args.firing.with_file_name("readied");
    tell(&readiness, &args.out.clone().unwrap_or_else(beside), common)?;
    Ok(ended(args.strict, readiness.every_finding_holds()))
}
