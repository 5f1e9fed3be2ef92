//! Writing to the terminal: results to stdout, messages to stderr, colour only where it is wanted.

use std::io::{ErrorKind, IsTerminal, Write};

use crate::diagnostic::{Diagnostic, Place, Problems};

/// Width of text when the terminal does not say.
const STANDARD_WIDTH: usize = 80;

/// Prints a result. A reader that has gone away (`| head`) is not an error.
pub(super) fn result(text: &str) -> Result<(), Problems> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            let message = format!("the result cannot be printed: {error}");
            Err(Diagnostic::error("stdout", message)
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

/// Whether stdout takes colour: it is a terminal, and `NO_COLOR` is not set.
pub(super) fn colour() -> bool {
    let forbidden = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    std::io::stdout().is_terminal() && !forbidden
}

/// Width to format for.
pub(super) fn width() -> usize {
    let stated = std::env::var("COLUMNS")
        .ok()
        .and_then(|columns| columns.parse().ok());
    stated.unwrap_or(STANDARD_WIDTH).clamp(40, 120)
}

/// Shows how far long work is, on a terminal only; the line goes when it is done.
pub(super) fn progress(quiet: bool, done: usize, of: usize, what: &str) {
    let mut out = std::io::stderr().lock();
    if quiet || !std::io::stderr().is_terminal() {
        return;
    }
    let filled = 30 * done / of.max(1);
    let bar = format!("{}{}", "#".repeat(filled), ".".repeat(30 - filled.min(30)));
    let _ = if done >= of {
        write!(out, "\r\u{1b}[K")
    } else {
        write!(out, "\r{bar} {done} of {of} {what}")
    };
    let _ = out.flush();
}
