//! `burnwright compare`: reduce several firings, set them side by side.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::each::each;
use super::{Common, CompareArgs, FAILED, NOT_ALL_HOLD, output, terminal};
use crate::compare::{Comparison, Failed, compare};
use crate::config::read_firing;
use crate::diagnostic::{Diagnostic, Place, Problems};
use crate::reduce::{Reduction, reduce};
use crate::render;

pub(super) fn run(args: &CompareArgs, common: &Common) -> Result<ExitCode, Problems> {
    named_once(&args.firings)?;
    let mut reduced = Vec::new();
    let mut failed = Vec::new();
    let mut problems = Vec::new();
    let progress = |done| terminal::progress(common.quiet, done, args.firings.len(), "firings");
    let results = each(&args.firings, |file| one(file), progress);
    for (file, result) in args.firings.iter().zip(results) {
        match result {
            Ok(reduction) => reduced.push((file.display().to_string(), reduction)),
            Err(why) => {
                failed.push(Failed {
                    file: file.display().to_string(),
                    why: why.render(),
                });
                problems.extend(why.0);
            }
        }
    }
    let compared = compare(&reduced, failed);
    if !compared.firings.is_empty() {
        show(args, common, &compared)?;
    }
    if !problems.is_empty() {
        terminal::message(&Problems(problems).render());
        return Ok(ExitCode::from(FAILED));
    }
    if args.strict && !compared.every_finding_holds() {
        return Ok(ExitCode::from(NOT_ALL_HOLD));
    }
    Ok(ExitCode::SUCCESS)
}

fn one(file: &Path) -> Result<Reduction, Problems> {
    reduce(&read_firing(file)?)
}

/// A firing named twice would count twice.
pub(super) fn named_once(files: &[PathBuf]) -> Result<(), Problems> {
    for (at, file) in files.iter().enumerate() {
        let same = |other: &PathBuf| {
            let real = |path: &Path| path.canonicalize().ok();
            other == file || real(other).is_some_and(|path| real(file) == Some(path))
        };
        if files[..at].iter().any(same) {
            return Err(
                Diagnostic::error("named-twice", "this firing is named twice")
                    .at(Place::file(file.display().to_string()))
                    .hint("name each firing once: a second time it would count as another firing")
                    .into(),
            );
        }
    }
    Ok(())
}

fn show(args: &CompareArgs, common: &Common, compared: &Comparison) -> Result<(), Problems> {
    let json = render::json::comparison_json(compared);
    let page = render::page::comparison(compared);
    let files = [
        ("compare.html".to_owned(), page.into_bytes()),
        ("compare.json".to_owned(), json.clone().into_bytes()),
    ];
    output::write_all(&args.out, &files)?;
    if common.json {
        terminal::result(&json)?;
    } else if !common.quiet {
        let (width, colour) = (terminal::width(), terminal::colour());
        terminal::result(&render::text::comparison(compared, width, colour))?;
        let written = args.out.join("compare.html");
        terminal::message(&format!("written: {}\n", written.display()));
    }
    Ok(())
}
