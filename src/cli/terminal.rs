//! Writing to the terminal: results to stdout, messages to stderr, colour only where it is wanted.

use std::io::{ErrorKind, IsTerminal, Write};

use burnwright::{Code, Diagnostic, Error, Place, Screen, Units};
use clap::ValueEnum;

use super::Common;

/// Width of text when the terminal does not say.
const STANDARD_WIDTH: usize = 80;

/// Prints a result. A reader that has gone away (`| head`) is not an error.
pub(super) fn result(text: &str) -> Result<(), Error> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            let message = format!("the result cannot be printed: {error}");
            Err(Diagnostic::error(Code::Stdout, message)
                .at(Place::file("standard output"))
                .into())
        }
        _ => Ok(()),
    }
}

/// Prints a message. There is nowhere left to complain if this fails.
pub(super) fn message(text: &str) {
    let _ = std::io::stderr().lock().write_all(text.as_bytes());
}

/// Units that are asked for.
#[derive(Clone, Copy, ValueEnum)]
pub(super) enum UnitsArg {
    /// None
    Si,
    /// US customary: lbf, lbf s, oz, in, ft/s, psi
    Us,
}

impl UnitsArg {
    pub(super) const fn units(self) -> Units {
        match self {
            Self::Si => Units::Si,
            Self::Us => Units::Us,
        }
    }
}

/// The units that the command line asks for.
pub(super) fn units(common: &Common) -> Units {
    common.units.map_or(Units::Si, UnitsArg::units)
}

/// What stdout is: its width, and whether it takes colour; whether everything is asked for, and in which units.
pub(super) fn screen(full: bool, units: Units) -> Screen {
    Screen {
        width: width(),
        colour: colour(),
        full,
        units,
    }
}

/// Whether stdout takes colour: it is a terminal, and `NO_COLOR` is not set.
fn colour() -> bool {
    let forbidden = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    std::io::stdout().is_terminal() && !forbidden
}

/// Width to format for: what `COLUMNS` says, or else the terminal, or 80 columns.
pub(super) fn width() -> usize {
    let stated = std::env::var("COLUMNS").ok();
    let stated = stated.and_then(|columns| columns.parse().ok());
    let seen = || {
        Some(usize::from(
            terminal_size::terminal_size_of(std::io::stdout())?.0.0,
        ))
    };
    stated
        .or_else(seen)
        .unwrap_or(STANDARD_WIDTH)
        .clamp(40, 120)
}
