//! The serial port: its bytes go to a file as they come, untouched, and nothing else happens here.
//!
//! A process of its own does it, so that nothing that goes wrong with pages or verdicts loses a byte: when the watcher is
//! killed it writes what is still in the port's buffer and ends. The port is set raw (POSIX.1-2017, termios) by `rustix`, which
//! is in the tree already: a crate for serial ports would add enumeration and other systems' ways, which reading does not need.
//! Limits: Unix; bytes that come while nobody holds the port are the system's to keep or to lose.

use std::path::Path;
use std::time::Duration;

use burnwright::{Code, Diagnostic, Error, Place};

/// How long bytes are still taken once the watcher is gone, and the pause where there are none.
const LAST_WORDS: Duration = Duration::from_millis(200);
const PAUSE: Duration = Duration::from_millis(2);

/// Copies a port to the end of a file until the parent is gone.
#[cfg(unix)]
pub(super) fn keep(port: &Path, baud: u32, file: &Path) -> Result<(), Error> {
    use std::fs::{File, OpenOptions};
    use std::io::{Read, Write};
    use std::os::unix::fs::OpenOptionsExt;
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::time::Instant;

    use rustix::fs::OFlags;
    use rustix::termios::{self, OptionalActions, SpecialCodeIndex};

    let failed = |why: std::io::Error| cannot(port, &why.to_string());
    let flags = i32::try_from(OFlags::NOCTTY.bits()).unwrap_or(0);
    let mut source: File = OpenOptions::new()
        .read(true)
        .custom_flags(flags)
        .open(port)
        .map_err(failed)?;
    if termios::isatty(&source) {
        let set = || {
            let mut how = termios::tcgetattr(&source)?;
            how.make_raw();
            how.set_speed(baud)?;
            // A read ends with what is there, or after a tenth of a second with nothing.
            how.special_codes[SpecialCodeIndex::VMIN] = 0;
            how.special_codes[SpecialCodeIndex::VTIME] = 1;
            termios::tcsetattr(&source, OptionalActions::Now, &how)
        };
        set().map_err(|why| cannot(port, &format!("it cannot be set to {baud} baud: {why}")))?;
    }
    static ALONE: AtomicBool = AtomicBool::new(false);
    std::thread::spawn(|| {
        // The parent holds the other end and writes nothing: an end of it is the end of the parent.
        let _ = std::io::stdin().read(&mut [0]);
        ALONE.store(true, Ordering::Relaxed);
    });
    // The port is open by now, so that nothing in its buffer goes when the one before lets go of it, which goes first.
    let target = OpenOptions::new().create(true).append(true).open(file);
    let mut target = target.map_err(|why| cannot(file, &why.to_string()))?;
    while target.try_lock().is_err() {
        if ALONE.load(Ordering::Relaxed) {
            return Ok(());
        }
        std::thread::sleep(PAUSE);
    }
    let mut part = vec![0; 1 << 16];
    let mut alone_since = None;
    loop {
        let alone = ALONE.load(Ordering::Relaxed);
        if alone && alone_since.get_or_insert_with(Instant::now).elapsed() > LAST_WORDS {
            return Ok(());
        }
        match source.read(&mut part) {
            Ok(0) if alone => return Ok(()),
            // A file that was named in place of a port has no timer of its own.
            Ok(0) => std::thread::sleep(PAUSE),
            Ok(read) => target
                .write_all(&part[..read])
                .map_err(|why| cannot(file, &why.to_string()))?,
            Err(why) if why.kind() == std::io::ErrorKind::Interrupted => {}
            Err(why) => return Err(failed(why)),
        }
    }
}

#[cfg(not(unix))]
pub(super) fn keep(port: &Path, _: u32, _: &Path) -> Result<(), Error> {
    Err(cannot(
        port,
        "on this system let another program write the port to a file, and watch that",
    ))
}

fn cannot(file: &Path, why: &str) -> Error {
    Diagnostic::error(Code::Unreadable, format!("the port cannot be kept: {why}"))
        .at(Place::file(file.display().to_string()))
        .into()
}
