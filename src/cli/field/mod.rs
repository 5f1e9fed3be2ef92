//! The commands that serve a page on this machine: `desk` and `watch`.

mod browser;
mod desk;
mod serve;
mod watch;

use std::fs;
use std::path::Path;
use std::process::ExitCode;

use burnwright::{Comparison, Error, GainsFile, Reduction, Report, Told, served};
use clap::{Args, Subcommand};

use super::{Common, output, reduce, terminal};
use serve::{Reply, Server, Status};

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

/// How a page is served.
#[derive(Args)]
struct PageArgs {
    /// Port of this machine to serve the page on [default: any that is free]
    #[arg(
        long,
        value_name = "N",
        default_value_t = 0,
        hide_default_value = true,
        help_heading = "Page"
    )]
    http_port: u16,
    /// Do not open a browser
    #[arg(long, help_heading = "Page")]
    no_browser: bool,
}

impl PageArgs {
    /// Listens, says where, and opens a browser there.
    fn server(&self, common: &Common) -> Result<Server, Error> {
        let server = Server::bind(self.http_port)?;
        terminal::message(&format!("open {}\n", server.address()));
        if !self.no_browser && !browser::open(&server.address()) && !common.quiet {
            terminal::message("no browser could be opened here: open that address yourself\n");
        }
        Ok(server)
    }
}

/// What a page can fetch beside itself: its look and script, and what a command wrote into a folder, each by its fixed name.
fn fetched(path: &str, reduced: &Path) -> Reply {
    if let Some(text) = served(path) {
        return Reply::file(path, text);
    }
    let (folder, names) = match path.rsplit_once('/') {
        Some(("/reduced", _)) => (reduced, [Reduction::FILES, GainsFile::FILES].concat()),
        Some(("/compared", _)) => (Path::new("compared"), Comparison::FILES.to_vec()),
        _ => (reduced, vec![]),
    };
    let mut names = names.iter();
    let name = names.find(|name| path.rsplit('/').next() == Some(name));
    let file = name.map(|name| folder.join(name));
    match file
        .filter(|file| is_plain(file))
        .and_then(|file| fs::read(file).ok())
    {
        Some(bytes) => Reply::file(path, bytes),
        None => Reply::refusal(Status::NotFound, "there is no such thing here"),
    }
}

/// A file that is there itself, not a link to another, nor in a folder that is one.
fn is_plain(path: &Path) -> bool {
    let is_link = |path: &Path| fs::symlink_metadata(path).is_ok_and(|about| about.is_symlink());
    fs::symlink_metadata(path).is_ok_and(|about| about.is_file())
        && !path.parent().is_some_and(is_link)
}

/// What `burnwright reduce` does, beside a page.
fn reduced(
    file: &Path,
    folder: &Path,
    steps: &(dyn Fn(usize, usize) + Sync),
) -> Result<Told, Error> {
    let done = reduce::one(file, folder, None, &Common::default(), steps)?;
    Ok(Told::of(&done.result))
}

/// The first thing that was wrong.
fn first_problem(why: &Error) -> String {
    let first = why.problems().first();
    first.map_or(String::new(), |one| one.message.clone())
}
