//! `burnwright fit`: one plant from several firings.

use std::process::ExitCode;

use indexmap::{IndexMap, IndexSet};

use super::each::each;
use super::{Common, FitArgs, NOT_ALL_HOLD, compare, output, terminal};
use crate::config::read_firing;
use crate::diagnostic::{Diagnostic, Problems};
use crate::finding::Outcome;
use crate::plant::pool::{self, PooledFit};
use crate::plant::{AxisPlant, PlantFile};
use crate::reduce::reduce;
use crate::render;

pub(super) fn run(args: &FitArgs, common: &Common) -> Result<ExitCode, Problems> {
    compare::named_once(&args.firings)?;
    let mut plants: Vec<PlantFile> = Vec::new();
    let mut problems = Vec::new();
    let (quiet, count) = (common.quiet || common.json, args.firings.len());
    let progress = |done| terminal::progress(quiet, done, count, "firings");
    let results = each(&args.firings, |file| reduce(&read_firing(file)?), progress);
    for (file, result) in args.firings.iter().zip(results) {
        match result {
            Ok(reduction) => plants.extend(reduction.plant.or_else(|| {
                let what = format!("{} has no axis that could be fitted", file.display());
                problems.push(
                    Diagnostic::error("no-plant", what)
                        .hint("leave it out, or see what `reduce` says of it"),
                );
                None
            })),
            Err(why) => problems.extend(why.0),
        }
    }
    // One plant from fewer firings than were named would be another answer than was asked for.
    if !problems.is_empty() {
        return Err(Problems(problems));
    }
    let differ = differing(args, &plants)?;
    let names: IndexSet<&String> = plants.iter().flat_map(|plant| plant.axes.keys()).collect();
    let axes: IndexMap<String, pool::PooledAxis> = names
        .into_iter()
        .filter_map(|name| {
            let of: Vec<Option<&AxisPlant>> =
                plants.iter().map(|plant| plant.axes.get(name)).collect();
            Some((name.clone(), pool::pool(&of, &differ)?))
        })
        .collect();
    if axes.is_empty() {
        let none = Diagnostic::error("nothing-shared", "no axis is told by two firings or more");
        return Err(none
            .hint("name firings of one rig, with the same axis names")
            .into());
    }
    let fitted = PooledFit {
        schema: pool::SCHEMA,
        firings: args
            .firings
            .iter()
            .map(|file| file.display().to_string())
            .collect(),
        axes,
    };
    show(args, common, &fitted, &plants)?;
    let mut findings = fitted.axes.values().flat_map(|axis| &axis.plant.findings);
    if args.strict && findings.any(|finding| finding.outcome != Outcome::Holds) {
        return Ok(ExitCode::from(NOT_ALL_HOLD));
    }
    Ok(ExitCode::SUCCESS)
}

/// The parameters that may differ: those named, and what differs by itself unless it is asked for.
fn differing(args: &FitArgs, plants: &[PlantFile]) -> Result<Vec<String>, Problems> {
    let axes = plants.iter().flat_map(|plant| plant.axes.values());
    let known: IndexSet<&str> = axes
        .flat_map(|axis| axis.covariance.names.iter().map(String::as_str))
        .collect();
    for name in &args.differ {
        if !known.contains(name.as_str()) {
            let all: Vec<&str> = known.iter().copied().collect();
            return Err(Diagnostic::error(
                "no-parameter",
                format!("`{name}` is no parameter of these plants"),
            )
            .hint(format!("choose from {}", all.join(", ")))
            .into());
        }
    }
    let mut out = args.differ.clone();
    if !args.share_all {
        out.push(pool::DIFFERS_BY_ITSELF.to_owned());
    }
    Ok(out)
}

fn show(
    args: &FitArgs,
    common: &Common,
    fitted: &PooledFit,
    plants: &[PlantFile],
) -> Result<(), Problems> {
    let json = render::json::pooled_json(fitted);
    let plant = PlantFile {
        axes: fitted
            .axes
            .iter()
            .map(|(name, axis)| (name.clone(), axis.plant.clone()))
            .collect(),
        ..plants[0].clone()
    };
    let header = render::c_header::plant_header(&plant, "Several firings");
    let files = [
        ("fit.json".to_owned(), json.clone().into_bytes()),
        (
            "plant.json".to_owned(),
            render::json::plant_json(&plant).into_bytes(),
        ),
        ("plant.h".to_owned(), header.into_bytes()),
    ];
    output::write_all(&args.out, &files)?;
    if common.json {
        terminal::result(&json)?;
    } else if !common.quiet {
        let (width, colour) = (terminal::width(), terminal::colour());
        terminal::result(&render::text::pooled_plant(fitted, width, colour))?;
        let written = args.out.join("plant.json");
        terminal::message(&format!("written: {}\n", written.display()));
    }
    Ok(())
}
