//! `burnwright calibrate`: fit a curve to points, judge it, print the judgement, write the curve.

use std::path::Path;
use std::process::ExitCode;

use burnwright::{Calibration, Code, Diagnostic, Error, Place, Report, Site, calibrate};

use super::{CalibrateArgs, Common, ended, output, terminal, written};

pub(super) fn run(args: &CalibrateArgs, common: &Common) -> Result<ExitCode, Error> {
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
    let fitted = calibrate(&args.points, &site, args.masses.as_ref())?;
    output::write_in_place(&target, fitted.curve_file.as_bytes())?;
    if common.json {
        terminal::result(&fitted.json())?;
    } else if !common.quiet {
        terminal::result(&fitted.text(terminal::screen(common.full, terminal::units(common))))?;
        written(&target, &[]);
    }
    if !common.quiet {
        for told in without_effect(args, &fitted) {
            terminal::message(&told.render());
        }
    }
    Ok(ended(args.strict, fitted.judgement.every_finding_holds()))
}

/// A curve takes the place of a curve only: points, a firing file or notes stay.
fn may_write(target: &Path) -> Result<(), Error> {
    let problem = |code, message: &str| {
        Diagnostic::error(code, message)
            .at(Place::file(target.display().to_string()))
            .hint("name another file with --out FILE.toml")
    };
    if target.is_dir() {
        return Err(problem(
            Code::IsFolder,
            "the curve needs a file, and this is a folder",
        )
        .into());
    }
    if target.exists() && !Calibration::is_curve_file(target) {
        let message = "this file is there already and is not a curve, so it stays as it is";
        return Err(problem(Code::WouldOverwrite, message).into());
    }
    Ok(())
}

/// Options that changed nothing: nobody shall believe they did.
fn without_effect(args: &CalibrateArgs, fitted: &Calibration) -> Vec<Diagnostic> {
    let mut out = Vec::new();
    let unused = |option: &str, why: &str| {
        Diagnostic::warning(Code::NoEffect, format!("{option} has no effect: {why}"))
    };
    if fitted.judgement.gravity_m_s2.is_none() {
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
