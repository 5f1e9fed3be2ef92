//! `burnwright plan`: what a firing to come will tell, or the pattern that tells most.

use std::process::ExitCode;

use burnwright::{Error, PlanOptions, design, plan, read_firing};

use super::busy::Busy;
use super::{Common, PlanArgs, ended, tell};

pub(super) fn run(args: &PlanArgs, common: &Common) -> Result<ExitCode, Error> {
    let firing = read_firing(&args.firing)?;
    let options = PlanOptions {
        draws: usize::from(args.draws),
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
