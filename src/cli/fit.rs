//! `burnwright fit`: one plant from several firings.

use std::process::ExitCode;

use burnwright::{Code, Diagnostic, Error, FiringResult, PlantFile, fit, read_firing, reduce};

use super::busy::Busy;
use super::each::each;
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
    let mut results_so_far: Vec<(String, FiringResult)> = Vec::new();
    let mut problems = Vec::new();
    for (file, result) in args.firings.iter().zip(results) {
        let name = file.display().to_string();
        if let Ok(reduction) = &result {
            let again = results_so_far
                .iter()
                .find_map(|(other, one)| Some((reduction.result.repeated_log(one)?, other)));
            problems.extend(again.map(|(log, other)| {
                let text = format!("the log {log} of {name} is that of {other}, byte for byte");
                Diagnostic::error(Code::NamedTwice, text)
                    .hint("name each firing once: a second time it would count as another firing")
            }));
            results_so_far.push((name.clone(), reduction.result.clone()));
        }
        match result.map(|reduction| reduction.plant) {
            Ok(Some(plant)) => plants.push((name, plant)),
            Ok(None) => problems.push(
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
