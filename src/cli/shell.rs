//! `burnwright shell` and `burnwright man`: what a shell and `man` want to know of the program.
//!
//! Both are made from the command grammar itself when they are asked for, so that they never fall
//! behind it and `cargo install` needs no build script.

use std::process::ExitCode;

use burnwright::{Code, Diagnostic, Error, OutputFile};
use clap::CommandFactory;

use super::{CommandLine, Common, ManArgs, ShellArgs, output, terminal};

/// The program's name, as it is called.
const NAME: &str = "burnwright";

/// What stands at the foot of a man page.
const VERSION: &str = concat!("burnwright ", env!("CARGO_PKG_VERSION"));

/// How every command ends, as a section of a man page.
const EXIT_STATUS: &str = ".SH \"EXIT STATUS\"
.TP
0
It is done.
.TP
1
The input is bad, or the work failed; the message on stderr says where and why.
.TP
2
The command line is wrong.
.TP
3
It is done, but \\-\\-strict was given and a finding fails or is undecided.
";

/// Prints a completion script.
pub(super) fn completions(args: &ShellArgs) -> Result<ExitCode, Error> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut CommandLine::command(), NAME, &mut script);
    terminal::result(&String::from_utf8_lossy(&script))?;
    Ok(ExitCode::SUCCESS)
}

/// Writes a man page for the program and one for each command.
pub(super) fn man(args: &ManArgs, common: &Common) -> Result<ExitCode, Error> {
    let mut grammar = CommandLine::command();
    grammar.build();
    // What `burnwright help` prints is in the pages.
    let commands = grammar
        .get_subcommands()
        .filter(|command| command.get_name() != "help");
    let mut files = Vec::new();
    for command in std::iter::once(&grammar).chain(commands) {
        let page = clap_mangen::Man::new(command.clone()).source(VERSION);
        let mut text = Vec::new();
        page.render(&mut text).map_err(|error| {
            Error::from(Diagnostic::error(
                Code::ManualPage,
                format!("the page cannot be made: {error}"),
            ))
        })?;
        text.extend(EXIT_STATUS.bytes());
        files.push(OutputFile {
            path: page.get_filename(),
            bytes: text,
        });
    }
    output::write_all(&args.folder, &files)?;
    if !common.quiet {
        let folder = args.folder.display();
        terminal::message(&format!("written: {} pages in {folder}\n", files.len()));
    }
    Ok(ExitCode::SUCCESS)
}
