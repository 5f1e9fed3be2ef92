//! The command line: its grammar, and one short file for each command.
//!
//! Only this module touches the terminal and writes files. Results go to stdout, messages to
//! stderr. Exit codes: 0 done; 1 bad input or failure; 2 wrong command line; 3 done, but `--strict`
//! was given and a finding fails or is undecided.

mod output;
mod reduce;
mod rehearse;
mod terminal;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};

use crate::diagnostic::Problems;

/// Exit code for bad input or failure.
const FAILED: u8 = 1;
/// Exit code for a result with a finding that fails or is undecided, under `--strict`.
const NOT_ALL_HOLD: u8 = 3;

#[derive(Parser)]
#[command(
    name = "burnwright",
    version,
    about = "Reduce captive firings of motor-steered model rockets: raw recorder files in, verdict, \
             impulse, plant model and report out",
    after_help = "Exit codes: 0 done; 1 bad input or failure; 2 wrong command line; 3 done, but \
                  --strict was given and a finding fails or is undecided."
)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    common: Common,
}

#[derive(Args)]
struct Common {
    /// Print the results as JSON on stdout
    #[arg(long, global = true)]
    json: bool,
    /// Print nothing but errors
    #[arg(long, short, global = true)]
    quiet: bool,
}

#[derive(Subcommand)]
enum Command {
    /// Reduce one firing: the main job
    #[command(after_help = "Example:\n  burnwright reduce demo-data/twin-captive/firing.toml")]
    Reduce(ReduceArgs),
    /// Make a firing with known truth, in the files a real one leaves
    #[command(
        after_help = "Example:\n  burnwright rehearse demo-data/twin-captive/REHEARSAL.toml --out trial"
    )]
    Rehearse(RehearseArgs),
}

#[derive(Args)]
struct ReduceArgs {
    /// The firing file
    firing: PathBuf,
    /// Folder for the results [default: `reduced` beside the firing file]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Exit with code 3 unless every finding holds
    #[arg(long)]
    strict: bool,
}

#[derive(Args)]
struct RehearseArgs {
    /// The rehearsal file
    rehearsal: PathBuf,
    /// Folder for the firing
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Seed of all randomness, in place of the file's
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
}

/// Runs the program on the process's own arguments.
#[must_use]
pub fn run() -> ExitCode {
    let line = CommandLine::parse();
    let done = match &line.command {
        Command::Reduce(args) => reduce::run(args, &line.common),
        Command::Rehearse(args) => rehearse::run(args, &line.common),
    };
    match done {
        Ok(code) => code,
        Err(problems) => {
            fail(&problems);
            ExitCode::from(FAILED)
        }
    }
}

fn fail(problems: &Problems) {
    terminal::message(&problems.render());
}
