//! `burnwright reduce`: read the firing, reduce it, write the results, print the summary.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::{Common, NOT_ALL_HOLD, ReduceArgs, output, terminal};
use crate::diagnostic::Problems;
use crate::firing::read_firing;
use crate::reduction::{Reduction, reduce_told};
use crate::report;

pub(super) fn run(args: &ReduceArgs, common: &Common) -> Result<ExitCode, Problems> {
    let firing = read_firing(&args.firing)?;
    let slow = terminal::Slow::new(common.quiet || common.json);
    let reduction = reduce_told(&firing, &|done, of| {
        slow.show(done, of, "steps of the fit");
    })?;
    let folder = args.out.clone().unwrap_or_else(|| beside(&args.firing));
    output::write_all(&folder, &report::files(&reduction))?;
    if common.json {
        terminal::result(&report::json::result_json(&reduction.result))?;
    } else if !common.quiet {
        let summary =
            report::text::summary_with_trace(&reduction, terminal::width(), terminal::colour());
        terminal::result(&summary)?;
        terminal::message(&format!(
            "written: {}\n",
            folder.join("report.html").display()
        ));
    }
    Ok(code(args.strict, &reduction))
}

fn beside(firing: &Path) -> PathBuf {
    firing.parent().unwrap_or(Path::new("")).join("reduced")
}

fn code(strict: bool, reduction: &Reduction) -> ExitCode {
    if strict && !reduction.result.every_finding_holds() {
        return ExitCode::from(NOT_ALL_HOLD);
    }
    ExitCode::SUCCESS
}
