//! `burnwright compare`: reduce several firings, set them side by side.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use burnwright::result::Failed;
use burnwright::{Code, Diagnostic, Error, Place, compare, each, read_firing, reduce};

use super::busy::Busy;
use super::{Common, CompareArgs, FAILED, ended, tell, terminal};

pub(super) fn run(args: &CompareArgs, common: &Common) -> Result<ExitCode, Error> {
    named_once(&args.firings)?;
    let mut reduced = Vec::new();
    let mut failed = Vec::new();
    let mut problems = Vec::new();
    let busy = Busy::new(common.quiet, "firings");
    let results = each(
        &args.firings,
        |file| reduce(&read_firing(file)?),
        |done| busy.at(done, args.firings.len()),
    );
    drop(busy);
    for (file, result) in args.firings.iter().zip(results) {
        let file = file.display().to_string();
        match result {
            Ok(reduction) => reduced.push((file, reduction)),
            Err(why) => {
                failed.push(Failed::new(file, &why));
                problems.extend(why);
            }
        }
    }
    let compared = compare(&reduced, failed);
    if !compared.firings.is_empty() {
        tell(&compared, &args.out, common)?;
    }
    if let Err(error) = Error::if_any(problems) {
        terminal::message(&error.render());
        return Ok(ExitCode::from(FAILED));
    }
    if !compared.failed.is_empty() {
        return Ok(ExitCode::from(FAILED));
    }
    Ok(ended(args.strict, compared.every_finding_holds()))
}

/// A firing named twice would count twice.
pub(super) fn named_once(files: &[PathBuf]) -> Result<(), Error> {
    for (at, file) in files.iter().enumerate() {
        let same = |other: &PathBuf| {
            let real = |path: &Path| path.canonicalize().ok();
            other == file || real(other).is_some_and(|path| real(file) == Some(path))
        };
        if files[..at].iter().any(same) {
            return Err(
                Diagnostic::error(Code::NamedTwice, "this firing is named twice")
                    .at(Place::file(file.display().to_string()))
                    .hint("name each firing once: a second time it would count as another firing")
                    .into(),
            );
        }
    }
    Ok(())
}
