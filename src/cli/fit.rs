//! `burnwright fit`: one plant from several firings.

use std::process::ExitCode;

use burnwright::{
    Code, Diagnostic, Error, FiringResult, Place, PlantFile, each, fit, read_firing, reduce,
};

use super::busy::Busy;
use super::{Common, FitArgs, compare, ended, tell};

pub(super) fn run(args: &FitArgs, common: &Common) -> Result<ExitCode, Error> {
    compare::named_once(&args.firings)?;
    let busy = Busy::new(common.quiet || common.json, "firings");
    let results = each(
        &args.firings,
        |file| reduce(&read_firing(file)?),
        |done| busy.at(done, args.firings.len()),
    );
    drop(busy);
    let mut plants: Vec<(String, PlantFile)> = Vec::new();
    let mut fitted: Vec<(String, FiringResult)> = Vec::new();
    let mut problems = Vec::new();
    for (file, result) in args.firings.iter().zip(results) {
        let name = file.display().to_string();
        match result.map(|reduction| (reduction.plant, reduction.result)) {
            Ok((Some(plant), result)) => {
                let before = fitted.iter().map(|(name, one)| (name.as_str(), one));
                let twice = result.repeated(before);
                problems.extend(twice.map(|one| one.at(Place::file(name.clone()))));
                fitted.push((name.clone(), result));
                plants.push((name, plant));
            }
            Ok((None, _)) => problems.push(
                Diagnostic::error(
                    Code::NoPlant,
                    format!("{name} has no axis that could be fitted"),
                )
                .hint("leave it out, or see what `reduce` says of it"),
            ),
            Err(why) => problems.extend(why),
        }
    }
    // One plant from fewer firings than were named would be another answer than was asked for.
    Error::if_any(problems)?;
    let common_plant = fit(&plants, &args.differ, args.share_all)?;
    tell(&common_plant, &args.out, common)?;
    Ok(ended(args.strict, common_plant.every_finding_holds()))
}
