//! `burnwright archive`: gather a season of results into tables.

use std::process::ExitCode;

use burnwright::{Error, archive};

use super::busy::Busy;
use super::{ArchiveArgs, Common, FAILED, tell};

pub(super) fn run(args: &ArchiveArgs, common: &Common) -> Result<ExitCode, Error> {
    let busy = Busy::new(common.quiet || common.json, "results");
    let gathered = archive(&args.folders, &args.out, &|done, of| busy.at(done, of));
    drop(busy);
    let gathered = gathered?;
    tell(&gathered, &args.out, common)?;
    if gathered.left_out.is_empty() {
        return Ok(ExitCode::SUCCESS);
    }
    for one in &gathered.left_out {
        super::terminal::message(&format!("{}\n", one.why.trim_end()));
    }
    Ok(ExitCode::from(FAILED))
}
