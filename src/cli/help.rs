//! `burnwright help`: a command explained, or the keys of a file.

use std::process::ExitCode;

use burnwright::{Error, Units, UserFile, key_reference};
use clap::CommandFactory;
use clap::error::ErrorKind;

use super::{CommandLine, HelpArgs, terminal, wrong_command_line};

pub(super) fn run(args: &HelpArgs) -> Result<ExitCode, Error> {
    let mut grammar = CommandLine::command();
    grammar.build();
    let Some(topic) = &args.topic else {
        terminal::result(&grammar.render_help().to_string())?;
        return Ok(ExitCode::SUCCESS);
    };
    let file = UserFile::ALL.into_iter().find(|file| file.name() == topic);
    if let Some(file) = file {
        terminal::result(&key_reference(file, terminal::screen(true, Units::Si)))?;
        return Ok(ExitCode::SUCCESS);
    }
    let Some(command) = grammar.find_subcommand_mut(topic) else {
        let files: Vec<&str> = UserFile::ALL.iter().map(|file| file.name()).collect();
        let says = format!(
            "there is no help on '{topic}'\n\n  it explains each command, and {}",
            files.join(", ")
        );
        wrong_command_line("help", ErrorKind::InvalidValue, &says);
    };
    terminal::result(&command.render_help().to_string())?;
    Ok(ExitCode::SUCCESS)
}
