//! `burnwright rehearse`: make a firing with known truth.

use std::process::ExitCode;

use burnwright::{Error, rehearse};

use super::{Common, RehearseArgs, output, terminal};

pub(super) fn run(args: &RehearseArgs, common: &Common) -> Result<ExitCode, Error> {
    let files = rehearse(&args.rehearsal, args.seed)?;
    output::write_all(&args.out, &files)?;
    if common.json {
        let truth = files.iter().find(|file| file.path == "truth.json");
        let text = truth.map(|file| String::from_utf8_lossy(&file.bytes));
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
