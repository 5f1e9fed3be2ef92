//! Ctrl-C and the request to end: temporary files go first, and files being renamed are all renamed.
//!
//! The program then ends by the signal itself, as it would without this, so that shells and scripts see
//! what happened (exit code 130 after Ctrl-C, 143 after the request to end). Before anything is written
//! the signals are left alone: there is nothing to clean up.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// The temporary files of all threads.
static TEMPORARIES: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// While this is held, no signal ends the program.
pub(super) struct Undisturbed(MutexGuard<'static, Vec<PathBuf>>);

/// Waits until nobody else needs to be undisturbed.
pub(super) fn undisturbed() -> Undisturbed {
    // The list is whole after a panic, too: it is changed by single calls only.
    Undisturbed(TEMPORARIES.lock().unwrap_or_else(PoisonError::into_inner))
}

impl Undisturbed {
    /// Notes a temporary file that has to go when the program ends before its time.
    pub(super) fn note(&mut self, temporary: &Path) {
        self.0.push(temporary.to_owned());
    }

    /// Forgets temporary files that have got their names, or are gone.
    pub(super) fn forget(&mut self, temporaries: &[PathBuf]) {
        self.0.retain(|noted| !temporaries.contains(noted));
    }
}

/// Begins to listen, once.
#[cfg(unix)]
pub(super) fn listen() {
    use signal_hook::consts::{SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;
    use signal_hook::low_level::emulate_default_handler;
    use std::sync::Once;

    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let wanted = [SIGINT, SIGTERM].into_iter().filter(|one| !ignored(*one));
        // Without a listener the signals end the program at once, and the next writing sweeps up.
        let Ok(mut signals) = Signals::new(wanted) else {
            return;
        };
        std::thread::spawn(move || {
            for signal in signals.forever() {
                let writing = undisturbed();
                for temporary in writing.0.iter() {
                    let _ = std::fs::remove_file(temporary);
                }
                let _ = emulate_default_handler(signal);
            }
        });
    });
}

/// Whether whoever started the program had it ignore a signal, as shells do for work in the background.
#[cfg(unix)]
fn ignored(signal: i32) -> bool {
    // Linux tells it here (proc_pid_status(5)); elsewhere it is not asked.
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    let mask = mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok());
    mask.is_some_and(|mask| mask >> (signal - 1) & 1 == 1)
}

/// Begins to listen, once.
#[cfg(not(unix))]
pub(super) fn listen() {}
