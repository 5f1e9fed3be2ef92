//! The commands that serve a page on this machine: `desk` and `watch`.

mod desk;
mod serve;
mod watch;

use std::process::ExitCode;

use burnwright::Error;
use clap::Subcommand;

use super::{Common, output, terminal};

#[derive(Subcommand)]
pub(super) enum FieldCommand {
    /// Open a page on this machine: drop logs, fill in the firing file, reduce, see the report
    #[command(
        after_help = "Example:\n  burnwright desk firing-7\n\nServed to this machine alone, by the address that is printed; \
                      everything stands in FOLDER, which `burnwright reduce` reads. It ends with the terminal (docs/field.md)."
    )]
    Desk(desk::DeskArgs),
    /// Watch a log that grows, or a serial port: thrust and tilt now, the verdict at burnout
    #[command(
        after_help = "Examples:\n  burnwright watch firing.toml\n  burnwright watch firing.toml --port /dev/ttyUSB0 --baud 115200\n\n\
                      It only reads: it gives no command to the stand, and nothing it shows is a permission (docs/field.md)."
    )]
    Watch(watch::WatchArgs),
}

impl FieldCommand {
    pub(super) fn run(&self, common: &Common) -> Result<ExitCode, Error> {
        match self {
            Self::Desk(args) => desk::run(args, common),
            Self::Watch(args) => watch::run(args, common),
        }
    }
}
