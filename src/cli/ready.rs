//! `burnwright ready`: findings on the armed stand at rest.

use std::path::PathBuf;
use std::process::ExitCode;

use burnwright::quantity::{Given, Mass};
use burnwright::{Error, ReadyOptions, read_firing, ready};
use clap::Args;

use super::{Common, ended, quantity_argument, tell};

#[derive(Args)]
pub(super) struct ReadyArgs {
    /// The firing file
    #[arg(value_name = "FIRING.toml")]
    firing: PathBuf,
    /// A recording at rest, one for each recorder [default: the logs of the firing file, where they are there]
    #[arg(long, value_name = "LOG.csv", help_heading = "Recordings")]
    rest: Vec<PathBuf>,
    /// A recording in which a known weight is laid on and taken off
    #[arg(
        long,
        value_name = "LOG.csv",
        requires = "mass",
        help_heading = "Recordings"
    )]
    weight: Option<PathBuf>,
    /// Its mass, such as "500 g"
    #[arg(long, value_name = "MASS", value_parser = quantity_argument::positive::<Mass>, requires = "weight", help_heading = "Recordings")]
    mass: Option<Given<Mass>>,
    /// A recording in which the nozzle is wiggled by command and the rig tilted by hand, one for each recorder
    #[arg(long, value_name = "LOG.csv", help_heading = "Recordings")]
    wiggle: Vec<PathBuf>,
    /// A recording in which the rig is tapped, a second apart
    #[arg(long, value_name = "LOG.csv", help_heading = "Recordings")]
    tap: Option<PathBuf>,
    /// A file that a recorder is writing now, to see that it grows; may be given again
    #[arg(long, value_name = "LOG.csv", help_heading = "Recordings")]
    growing: Vec<PathBuf>,
    /// Folder for the results [default: `readied` beside the firing file]
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    out: Option<PathBuf>,
    /// Exit with code 3 unless every finding holds
    #[arg(long, help_heading = "Output")]
    strict: bool,
}

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
