//! The `burnwright` program: parse the command line, run one command, report how it ended.

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run()
}
