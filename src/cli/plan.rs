//! `burnwright plan`: what a firing to come will tell, or the pattern that tells most.

use std::path::PathBuf;
use std::process::ExitCode;

use burnwright::{Error, PlanOptions, design, plan, read_firing};
use clap::Args;

use super::busy::Busy;
use super::{Common, ended, tell};

#[derive(Args)]
pub(super) struct PlanArgs {
    /// The firing file
    #[arg(value_name = "FIRING.toml")]
    firing: PathBuf,
    /// A recording at rest, for a log that is not there yet; may be given again
    #[arg(long, value_name = "LOG.csv")]
    rest: Vec<PathBuf>,
    /// Design the commands of the burn that tell most, in place of a prediction
    #[arg(long)]
    pattern: bool,
    /// Rehearsals of each case
    #[arg(long, value_name = "N", default_value_t = 24, value_parser = clap::value_parser!(u16).range(2..=1000))]
    draws: u16,
    /// Moves tried to improve the pattern of each axis; without a measured nozzle angle an eighth of them
    #[arg(long, value_name = "N", default_value_t = 20_000, requires = "pattern")]
    moves: u16,
    /// Folder for the results [default: `planned` beside the firing file]
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    out: Option<PathBuf>,
    /// Exit with code 3 unless every finding holds
    #[arg(long, help_heading = "Output")]
    strict: bool,
}

pub(super) fn run(args: &PlanArgs, common: &Common) -> Result<ExitCode, Error> {
    let firing = read_firing(&args.firing)?;
    let options = PlanOptions {
        draws: usize::from(args.draws),
        moves: usize::from(args.moves),
        rest: args.rest.clone(),
    };
    let beside = || args.firing.with_file_name("planned");
    let folder = args.out.clone().unwrap_or_else(beside);
    let what = if args.pattern { "axes" } else { "rehearsals" };
    let busy = Busy::new(common.quiet || common.json, what);
    let watch = |done, of| busy.at(done, of);
    if args.pattern {
        let design = design(&firing, &options, &watch);
        drop(busy);
        tell(&design?, &folder, common)?;
        return Ok(ExitCode::SUCCESS);
    }
    let prediction = plan(&firing, &options, &watch);
    drop(busy);
    let prediction = prediction?;
    tell(&prediction, &folder, common)?;
    Ok(ended(args.strict, prediction.every_finding_holds()))
}
