//! Writing files whole or not at all: under a temporary name beside the target, synced, then renamed.
//!
//! No file is renamed before all of them are there, so that a failure leaves the old files as they were.
//! A program that is killed may leave new files beside old ones, each of them whole, and temporary files
//! (`.burnwright-......`), which may be deleted.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

use burnwright::{Code, Diagnostic, Error, OutputFile, Place};
use tempfile::{Builder, NamedTempFile, PersistError};

/// Writes files into a folder.
pub(super) fn write_all(folder: &Path, files: &[OutputFile]) -> Result<(), Error> {
    write_instead(folder, files, &[])
}

/// Writes files into a folder in place of an earlier run's; those of the `earlier` names that are not
/// written anew go, so that no file of another run stands beside them.
pub(super) fn write_instead(
    folder: &Path,
    files: &[OutputFile],
    earlier: &[&str],
) -> Result<(), Error> {
    is_no_file(folder)?;
    let mut ready = Vec::new();
    for OutputFile { path, bytes } in files {
        let target = folder.join(path);
        let file = temporary(&target, bytes).map_err(|error| cannot_write(&target, &error))?;
        ready.push((file, target));
    }
    // Found out before the first is renamed: nothing else stops a rename once the files are there.
    if let Some((_, taken)) = ready.iter().find(|(_, target)| target.is_dir()) {
        return Err(cannot_write(taken, &io::ErrorKind::IsADirectory.into()));
    }
    for name in earlier {
        let target = folder.join(name);
        if target.exists() && !ready.iter().any(|(_, new)| *new == target) {
            fs::remove_file(&target).map_err(|error| cannot_write(&target, &error))?;
        }
    }
    for (file, target) in ready {
        let renamed = file.persist(&target);
        renamed.map_err(|error| cannot_write(&target, &error.error))?;
    }
    Ok(())
}

/// Writes one file, in place of the one that is there.
pub(super) fn write_in_place(target: &Path, bytes: &[u8]) -> Result<(), Error> {
    write_one(target, bytes, |file| file.persist(target))
}

/// Writes one file that is not there yet.
pub(super) fn write_new(target: &Path, bytes: &[u8]) -> Result<(), Error> {
    write_one(target, bytes, |file| file.persist_noclobber(target))
}

fn write_one(
    target: &Path,
    bytes: &[u8],
    rename: impl FnOnce(NamedTempFile) -> Result<fs::File, PersistError>,
) -> Result<(), Error> {
    is_no_file(folder_of(target))?;
    let file = temporary(target, bytes).map_err(|error| cannot_write(target, &error))?;
    rename(file).map_err(|error| cannot_write(target, &error.error))?;
    Ok(())
}

/// Refuses a folder that is, or lies in, a file.
fn is_no_file(folder: &Path) -> Result<(), Error> {
    let file = folder
        .ancestors()
        .find(|part| part.exists() && !part.is_dir());
    file.map_or(Ok(()), |file| {
        let no_folder = "results need a folder, and this is a file";
        Err(Diagnostic::error(Code::NoFolder, no_folder)
            .at(Place::file(file.display().to_string()))
            .hint("move it away, or name another folder")
            .into())
    })
}

/// A temporary file beside the one it is to replace, its content on the disk.
fn temporary(target: &Path, bytes: &[u8]) -> io::Result<NamedTempFile> {
    let folder = folder_of(target);
    fs::create_dir_all(folder)?;
    let mut builder = Builder::new();
    builder.prefix(".burnwright-");
    #[cfg(unix)]
    {
        // Temporary files are private by default; results are for everybody the umask allows.
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    let mut file = builder.tempfile_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    Ok(file)
}

fn folder_of(target: &Path) -> &Path {
    match target.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

fn cannot_write(target: &Path, error: &io::Error) -> Error {
    Diagnostic::error(
        Code::CannotWrite,
        format!("the file cannot be written: {error}"),
    )
    .at(Place::file(target.display().to_string()))
    .hint("see to that, or name another folder; what was there before is there still")
    .into()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn new(path: &str) -> OutputFile {
        OutputFile {
            path: path.to_owned(),
            bytes: b"new".to_vec(),
        }
    }

    #[test]
    fn nothing_is_written_when_one_file_cannot_be() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("blocked"), "a file, not a folder").unwrap();
        let files = ["a.txt", "blocked/b.txt"].map(new);
        assert!(write_all(folder.path(), &files).is_err());
        let left: Vec<_> = fs::read_dir(folder.path()).unwrap().flatten().collect();
        assert_eq!(left.len(), 1, "{left:?}");
    }

    #[test]
    fn files_of_an_earlier_run_that_this_one_does_not_write_go() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["a.txt", "b.txt", "mine.txt"] {
            fs::write(folder.path().join(name), "old").unwrap();
        }
        write_instead(folder.path(), &[new("a.txt")], &["a.txt", "b.txt", "c.txt"]).unwrap();
        let mut left: Vec<_> = fs::read_dir(folder.path())
            .unwrap()
            .flatten()
            .map(|entry| entry.file_name())
            .collect();
        left.sort();
        assert_eq!(left, ["a.txt", "mine.txt"]);
        assert_eq!(fs::read(folder.path().join("a.txt")).unwrap(), b"new");
    }
}
