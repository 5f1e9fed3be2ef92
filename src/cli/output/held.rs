//! A folder held while files are written into it: one writer at a time, and no litter of those that were killed.
//!
//! The lock is the kernel's, on the folder itself; it goes when its holder does, however that ends. A
//! temporary file that another writer left in a folder that is held is therefore nobody's any more. Where
//! folders cannot be locked (some network drives, Windows) writing goes on without, and nothing is swept.

use std::ffi::OsStr;
use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use tempfile::{Builder, NamedTempFile};

/// How temporary files begin. Six letters follow, and `-` and the name of the file to be.
const PREFIX: &str = ".burnwright-";
const LETTERS: usize = 6;

/// Longest name that is made part of a temporary one: most file systems allow 255 bytes for both.
const LONGEST_NAME: usize = 200;

/// How long another writer is waited for: writing takes a fraction of a second.
const PATIENCE: Duration = Duration::from_secs(10);

/// A folder, locked where that can be done.
pub(super) struct Held {
    folder: PathBuf,
    file: Option<File>,
    locked: bool,
}

impl Held {
    /// Holds a folder that is there.
    pub(super) fn new(folder: &Path) -> io::Result<Self> {
        let file = File::open(here(folder)).ok();
        let locked = file.as_ref().map_or(Ok(false), locked)?;
        Ok(Self {
            folder: folder.to_owned(),
            file,
            locked,
        })
    }

    /// A new file beside the one it is to replace.
    pub(super) fn temporary(&self, name: &OsStr) -> io::Result<NamedTempFile> {
        let mut builder = Builder::new();
        builder.prefix(PREFIX).rand_bytes(LETTERS);
        let mut ending = OsStr::new("-").to_owned();
        ending.push(name);
        if ending.len() <= LONGEST_NAME {
            builder.suffix(&ending);
        }
        #[cfg(unix)]
        {
            // Temporary files are private by default; results are for everybody the umask allows.
            use std::os::unix::fs::PermissionsExt;
            builder.permissions(fs::Permissions::from_mode(0o666));
        }
        builder.tempfile_in(here(&self.folder))
    }

    /// Removes what killed writers left of a file.
    pub(super) fn sweep(&self, name: &OsStr, ours: &[PathBuf]) {
        let entries = self.locked.then(|| fs::read_dir(here(&self.folder)));
        for entry in entries.into_iter().flatten().flatten().flatten() {
            let left = entry.file_name();
            let is_ours = ours.iter().any(|path| path.file_name() == Some(&left));
            let is_file = entry.file_type().is_ok_and(|kind| kind.is_file());
            if is_file && !is_ours && is_temporary_of(&left, name) {
                let _ = fs::remove_file(entry.path());
            }
        }
    }

    /// Has the new names written to the disk.
    pub(super) fn sync(&self) {
        // Some file systems cannot; the files themselves are on the disk, so nothing is said.
        if let Some(file) = &self.file {
            let _ = file.sync_all();
        }
    }
}

/// A folder by a name that can be opened.
pub(super) fn here(folder: &Path) -> &Path {
    if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    }
}

fn locked(file: &File) -> io::Result<bool> {
    let since = Instant::now();
    loop {
        match file.try_lock() {
            Ok(()) => return Ok(true),
            Err(TryLockError::Error(_)) => return Ok(false),
            Err(TryLockError::WouldBlock) if since.elapsed() > PATIENCE => {
                let message = "another program holds the folder";
                return Err(io::Error::new(io::ErrorKind::ResourceBusy, message));
            }
            Err(TryLockError::WouldBlock) => std::thread::sleep(Duration::from_millis(20)),
        }
    }
}

fn is_temporary_of(left: &OsStr, name: &OsStr) -> bool {
    let rest = left.as_encoded_bytes().strip_prefix(PREFIX.as_bytes());
    rest.and_then(|rest| rest.split_at_checked(LETTERS))
        .is_some_and(|(letters, ending)| {
            let ending = ending.strip_prefix(b"-");
            letters.iter().all(u8::is_ascii_alphanumeric) && ending == Some(name.as_encoded_bytes())
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_left_of_the_same_file_is_swept() {
        let folder = tempfile::tempdir().unwrap();
        let names = [
            ".burnwright-aB3dE6-result.json",
            ".burnwright-aB3dE6-plant.json",
            ".burnwright-result.json",
            "result.json",
            ".burnwright-aB3dE6-my-result.json",
        ];
        for name in names {
            fs::write(folder.path().join(name), "x").unwrap();
        }
        let held = Held::new(folder.path()).unwrap();
        let ours = held.temporary(OsStr::new("result.json")).unwrap();
        held.sweep(OsStr::new("result.json"), &[ours.path().to_owned()]);
        for name in &names[1..] {
            assert!(folder.path().join(name).exists(), "{name}");
        }
        assert!(!folder.path().join(names[0]).exists());
        assert!(ours.path().exists());
    }

    #[test]
    fn a_name_as_long_as_a_name_may_be_gets_a_temporary_one() {
        let folder = tempfile::tempdir().unwrap();
        let held = Held::new(folder.path()).unwrap();
        let name = "n".repeat(255);
        let file = held.temporary(OsStr::new(&name)).unwrap();
        file.persist(folder.path().join(name)).unwrap();
    }
}
