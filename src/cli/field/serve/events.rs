//! The newest state, for whoever watches: each watcher gets the newest when it is ready for one, so a slow one delays nobody.

use std::io::{self, Write};
use std::net::TcpStream;
use std::sync::{Condvar, Mutex, PoisonError};
use std::time::Duration;

/// Something is said at least so often: a browser that has gone shows when it is written to.
const SIGN_OF_LIFE: Duration = Duration::from_secs(5);

/// The newest state as one line of text, and its number.
#[derive(Default)]
pub(crate) struct Events {
    newest: Mutex<(u64, String)>,
    changed: Condvar,
}

impl Events {
    /// Puts a newer state in place.
    pub(crate) fn put(&self, state: String) {
        let mut newest = self.newest.lock().unwrap_or_else(PoisonError::into_inner);
        *newest = (newest.0 + 1, state);
        self.changed.notify_all();
    }

    /// Sends each state that is newer than the one before, until the browser goes.
    pub(super) fn send_to(&self, stream: &mut TcpStream) -> io::Result<()> {
        let mut sent = 0;
        loop {
            let newest = self.newest.lock().unwrap_or_else(PoisonError::into_inner);
            let waited = self
                .changed
                .wait_timeout_while(newest, SIGN_OF_LIFE, |newest| newest.0 == sent);
            let (newest, _) = waited.unwrap_or_else(PoisonError::into_inner);
            let text = if newest.0 == sent {
                ":\n\n".to_owned()
            } else {
                sent = newest.0;
                format!("data: {}\n\n", newest.1)
            };
            drop(newest);
            stream.write_all(text.as_bytes())?;
        }
    }
}
