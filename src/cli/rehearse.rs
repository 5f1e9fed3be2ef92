//! `burnwright rehearse`: make a firing with known truth.

use std::process::ExitCode;

use super::{Common, RehearseArgs, output, terminal};
use crate::diagnostic::Problems;
use crate::plan::rehearsal::{read_rehearsal, rehearse};

pub(super) fn run(args: &RehearseArgs, common: &Common) -> Result<ExitCode, Problems> {
    let mut rehearsal = read_rehearsal(&args.rehearsal)?;
    if let Some(seed) = args.seed {
        rehearsal.seed = seed;
    }
    let files: Vec<(String, Vec<u8>)> = rehearse(&rehearsal)?
        .into_iter()
        .map(|file| (file.path, file.bytes))
        .collect();
    output::write_all(&args.out, &files)?;
    if common.json {
        let truth = files.iter().find(|(name, _)| name == "truth.json");
        let text = truth.map(|(_, bytes)| String::from_utf8_lossy(bytes));
        terminal::result(&text.unwrap_or_default())?;
    } else if !common.quiet {
        let firing = args.out.join("firing.toml");
        terminal::result(&format!(
            "{} files with known truth in {}\nnow try: burnwright reduce {}\n",
            files.len(),
            args.out.display(),
            firing.display()
        ))?;
    }
    Ok(ExitCode::SUCCESS)
}
