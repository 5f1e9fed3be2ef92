//! Writing to the terminal: results to stdout, messages to stderr, colour only where it is wanted.

use std::io::{ErrorKind, IsTerminal, Write};
use std::time::{Duration, Instant};

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

use crate::diagnostic::{Diagnostic, Place, Problems};
use crate::reduce::Doing;
use crate::{log, look};

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

/// Shows how far long work is, on a terminal only; the line goes when it is done.
pub(super) fn progress(quiet: bool, done: usize, of: usize, what: &str) {
    let mut out = std::io::stderr().lock();
    if quiet || !std::io::stderr().is_terminal() {
        return;
    }
    let _ = out.write_all(bar(done, of, what).as_bytes());
    let _ = out.flush();
}

/// Work shorter than this shows no progress: a line that flashes up tells nobody anything.
const SOON: Duration = Duration::from_secs(1);

/// Progress of work that is often too short to be worth showing.
pub(super) struct Slow {
    since: Instant,
    quiet: bool,
    /// What was drawn last: reading is told of thousands of times.
    drawn: Mutex<(usize, usize)>,
}

impl Slow {
    /// Begins now.
    pub(super) fn new(quiet: bool) -> Self {
        Self {
            since: Instant::now(),
            quiet,
            drawn: Mutex::new((0, 0)),
        }
    }

    /// Shows what a reduction is at.
    pub(super) fn tell(&self, doing: Doing) {
        match doing {
            Doing::Reading { done, of } => self.bytes(done, of, log::PASSES),
            Doing::Fitting { done, of } => self.show(done, of, "steps of the fit"),
        }
    }

    /// What hears of bytes looked at while so many are to be.
    pub(super) fn looking(&self, of: u64) -> impl Fn(u64) + Sync {
        let read = AtomicU64::new(0);
        move |more| {
            let done = read.fetch_add(more, Ordering::Relaxed).saturating_add(more);
            self.bytes(done.min(of), of, look::PASSES);
        }
    }

    /// Bytes that are gone through so many times, as megabytes of files.
    fn bytes(&self, done: u64, of: u64, passes: u64) {
        let megabytes =
            |bytes: u64| usize::try_from(bytes / passes / 1_000_000).unwrap_or(usize::MAX);
        self.show(megabytes(done), megabytes(of), "MB of logs read");
    }

    /// Shows how far it is, once it has taken longer than a second.
    fn show(&self, done: usize, of: usize, what: &str) {
        if self.quiet || self.since.elapsed() < SOON {
            return;
        }
        let mut drawn = self.drawn.lock().unwrap_or_else(PoisonError::into_inner);
        if *drawn != (done, of) {
            *drawn = (done, of);
            progress(false, done, of, what);
        }
    }
}

/// The line of progress, drawn over the one before; when all is done, what takes it away.
fn bar(done: usize, of: usize, what: &str) -> String {
    if done >= of {
        return "\r\u{1b}[K".to_owned();
    }
    let filled = 30 * done / of;
    let bar = format!("{}{}", "#".repeat(filled), ".".repeat(30 - filled));
    format!("\r{bar} {done} of {of} {what}\u{1b}[K")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bar_fills_and_goes_when_all_is_done() {
        let half = "#".repeat(15) + &".".repeat(15);
        assert_eq!(
            bar(9, 18, "steps"),
            format!("\r{half} 9 of 18 steps\u{1b}[K")
        );
        assert_eq!(bar(18, 18, "steps"), "\r\u{1b}[K");
        assert_eq!(bar(0, 0, "steps"), "\r\u{1b}[K");
    }
}
