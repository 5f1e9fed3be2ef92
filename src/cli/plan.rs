//! `burnwright plan`: what a firing to come will tell, or the pattern that tells most.

use std::path::Path;
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
    let beside = args
        .firing
        .parent()
        .unwrap_or(Path::new(""))
        .join("planned");
    let folder = args.out.as_ref().unwrap_or(&beside);
    if args.pattern {
        let busy = Busy::new(common.quiet || common.json, "axes");
        let design = design(&firing, &options, &|done, of| busy.at(done, of));
        drop(busy);
        tell(&design?, folder, common)?;
        return Ok(ExitCode::SUCCESS);
    }
    let busy = Busy::new(common.quiet || common.json, "rehearsals");
    let prediction = plan(&firing, &options, &|done, of| busy.at(done, of));
    drop(busy);
    let prediction = prediction?;
    let beside = args
        .firing
        .parent()
        .unwrap_or(Path::new(""))
        .join("planned");
    tell(&prediction, args.out.as_ref().unwrap_or(&beside), common)?;
    Ok(ended(args.strict, prediction.every_finding_holds()))
}
