//! The `burnwright` program: parse the command line, run one command, report how it ended.

use std::process::ExitCode;

fn main() -> ExitCode {
    burnwright::cli::run()
}
