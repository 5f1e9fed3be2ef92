//! A sign of life while work lasts: a spinner, and a bar once it has lasted two seconds.
//!
//! Drawn on standard error, on a terminal only, over and over on one line, which goes when the work is done.

use std::io::{IsTerminal, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// Work shorter than this shows nothing: a line that flashes up tells nobody anything.
const SPINNER_AFTER: Duration = Duration::from_millis(300);

/// From here on it is worth knowing how much is left.
const BAR_AFTER: Duration = Duration::from_secs(2);

/// Between two drawings.
const STEP: Duration = Duration::from_millis(100);

/// Takes the line away.
const CLEAR: &str = "\r\u{1b}[K";

#[derive(Default)]
struct State {
    done: AtomicUsize,
    of: AtomicUsize,
    over: AtomicBool,
}

/// Work that lasts until this is dropped.
pub(super) struct Busy {
    state: Arc<State>,
    drawing: Option<JoinHandle<()>>,
}

impl Busy {
    /// Begins now; `what` is counted.
    pub(super) fn new(quiet: bool, what: &'static str) -> Self {
        let state = Arc::new(State::default());
        let drawing = (!quiet && std::io::stderr().is_terminal()).then(|| {
            let state = Arc::clone(&state);
            thread::spawn(move || draw(&state, what))
        });
        Self { state, drawing }
    }

    /// So many are done of those known to be needed.
    pub(super) fn at(&self, done: usize, of: usize) {
        self.state.done.store(done, Ordering::Relaxed);
        self.state.of.store(of, Ordering::Relaxed);
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        self.state.over.store(true, Ordering::Relaxed);
        if let Some(drawing) = self.drawing.take() {
            drawing.thread().unpark();
            // A panic there would have been told.
            let _ = drawing.join();
        }
    }
}

fn draw(state: &State, what: &str) {
    let since = Instant::now();
    let mut drawn = false;
    while !state.over.load(Ordering::Relaxed) {
        let (done, of) = (&state.done, &state.of);
        let counts = (done.load(Ordering::Relaxed), of.load(Ordering::Relaxed));
        if let Some(line) = line(since.elapsed(), counts, what) {
            print(&line);
            drawn = true;
        }
        thread::park_timeout(STEP);
    }
    if drawn {
        print(CLEAR);
    }
}

fn print(text: &str) {
    let mut out = std::io::stderr().lock();
    // There is nowhere left to complain.
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

fn line(elapsed: Duration, (done, of): (usize, usize), what: &str) -> Option<String> {
    if elapsed < SPINNER_AFTER {
        return None;
    }
    let turn = elapsed.as_millis() / STEP.as_millis() % 4;
    let spinner = ["|", "/", "-", "\\"][usize::try_from(turn).unwrap_or(0)];
    if elapsed < BAR_AFTER || of == 0 {
        return Some(format!("{CLEAR}{spinner}"));
    }
    let filled = (30 * done / of).min(30);
    let bar = format!("{}{}", "#".repeat(filled), ".".repeat(30 - filled));
    Some(format!("{CLEAR}{spinner} {bar} {done} of {of} {what}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_nothing_then_a_spinner_then_a_bar() {
        let at = |ms, done, of| line(Duration::from_millis(ms), (done, of), "steps");
        assert_eq!(at(200, 1, 2), None);
        assert_eq!(at(1100, 1, 2).unwrap(), "\r\u{1b}[K\\");
        assert_eq!(
            at(2000, 9, 18).unwrap(),
            "\r\u{1b}[K| ###############............... 9 of 18 steps"
        );
        assert_eq!(at(2100, 0, 0).unwrap(), "\r\u{1b}[K/");
    }
}
