//! Opens the first address in a browser, by a private page that leads there: what is started with the address itself would show
//! the token to every user of the machine.

use std::fs;
use std::process::{Command, Stdio};
use std::thread;
use std::time::Duration;

/// How long the private page stays.
const STAYS: Duration = Duration::from_secs(20);

/// Whether there was a browser to open it.
pub(super) fn open(address: &str) -> bool {
    let page = format!(
        "<!DOCTYPE html><meta http-equiv=\"refresh\" content=\"0;url={address}\"><title>burnwright</title>"
    );
    let mut builder = tempfile::Builder::new();
    let Ok(file) = builder.prefix("burnwright-").suffix(".html").tempfile() else {
        return false;
    };
    if fs::write(file.path(), page).is_err() {
        return false;
    }
    let program = match std::env::consts::OS {
        "macos" => "open",
        "windows" => "explorer",
        _ => "xdg-open",
    };
    let mut command = Command::new(program);
    command.arg(file.path()).stdin(Stdio::null());
    command.stdout(Stdio::null()).stderr(Stdio::null());
    command.spawn().is_ok_and(|mut child| {
        thread::spawn(move || {
            // What it says of itself changes nothing: the page goes with its handle.
            let _ = child.wait();
            thread::sleep(STAYS);
            drop(file);
        });
        true
    })
}
