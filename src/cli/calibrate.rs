//! `burnwright calibrate`: fit a curve to points, judge it, print the judgement, write the curve.

use std::path::Path;
use std::process::ExitCode;

use super::{CalibrateArgs, Common, NOT_ALL_HOLD, output, terminal};
use crate::calibration::judgement::{Judgement, judge};
use crate::calibration::{curve_file, gravity, points, tolerance};
use crate::config::Site;
use crate::diagnostic::{Diagnostic, Place, Problems};
use crate::render;

pub(super) fn run(args: &CalibrateArgs, common: &Common) -> Result<ExitCode, Problems> {
    let target = args
        .out
        .clone()
        .unwrap_or_else(|| args.points.with_extension("toml"));
    may_write(&target)?;
    let site = Site {
        latitude: args.latitude,
        altitude: args.altitude,
        gravity: args.gravity,
    };
    let points = points::read_any(&args.points, &gravity::at(&site))?;
    let masses = args.masses.as_ref().map(tolerance);
    let (cell, judgement) = judge(&points, masses)?;
    let curve = curve_file::write(&cell.curve, points.kind, &about(&args.points, &judgement))?;
    let name = target.file_name().unwrap_or_default().to_owned();
    let folder = target.parent().unwrap_or(Path::new(""));
    output::write_all(folder, &[(name, curve.into_bytes())])?;
    if common.json {
        terminal::result(&render::json::judgement_json(&judgement))?;
    } else if !common.quiet {
        let width = terminal::width();
        let text = render::text::calibration(&judgement, width, terminal::colour());
        terminal::result(&text)?;
        terminal::message(&format!("written: {}\n", target.display()));
    }
    if !common.quiet {
        for told in without_effect(args, &judgement) {
            terminal::message(&told.render());
        }
    }
    if args.strict && !judgement.every_finding_holds() {
        return Ok(ExitCode::from(NOT_ALL_HOLD));
    }
    Ok(ExitCode::SUCCESS)
}

/// A curve takes the place of a curve only: points, a firing file or notes stay.
fn may_write(target: &Path) -> Result<(), Problems> {
    let problem = |code, message: &str| {
        Diagnostic::error(code, message)
            .at(Place::file(target.display().to_string()))
            .hint("name another file with --out FILE.toml")
    };
    if target.is_dir() {
        return Err(problem("is-folder", "the curve needs a file, and this is a folder").into());
    }
    if target.exists() && !curve_file::is_one(target) {
        let message = "this file is there already and is not a curve, so it stays as it is";
        return Err(problem("would-overwrite", message).into());
    }
    Ok(())
}

/// One line on where a curve comes from.
fn about(points: &Path, judgement: &Judgement) -> String {
    let name = points
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    match judgement.gravity_m_s2 {
        Some(gravity) => format!("From {name}, masses under gravity of {gravity:.5} m/s2."),
        None => format!("From {name}."),
    }
}

/// Options that changed nothing: nobody shall believe they did.
fn without_effect(args: &CalibrateArgs, judgement: &Judgement) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let unused = |option: &str, why: &str| {
        Diagnostic::warning("no-effect", format!("{option} has no effect: {why}"))
    };
    if judgement.gravity_m_s2.is_none() {
        let why = "the points give no masses";
        if args.latitude.is_some() {
            out.push(unused("--latitude", why));
        }
        if args.gravity.is_some() {
            out.push(unused("--gravity", why));
        }
    }
    out
}
