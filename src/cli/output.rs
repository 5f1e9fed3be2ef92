//! Writing files whole or not at all.
//!
//! Every file is first written in full under a temporary name in the target folder and synced; only
//! when all of them are there are they renamed, so that a failure leaves the old files as they were.

use std::fs;
use std::io::Write;
use std::path::Path;

use tempfile::{Builder, NamedTempFile};

use crate::diagnostic::{Diagnostic, Place, Problems};

/// Writes files, given by name relative to a folder, into it.
pub(super) fn write_all(folder: &Path, files: &[(String, Vec<u8>)]) -> Result<(), Problems> {
    if let Some(file) = folder
        .ancestors()
        .find(|part| part.exists() && !part.is_dir())
    {
        return Err(
            Diagnostic::error("no-folder", "results need a folder, and this is a file")
                .at(Place::file(file.display().to_string()))
                .hint("move it away, or name another folder with --out DIR")
                .into(),
        );
    }
    let mut ready = Vec::with_capacity(files.len());
    for (name, bytes) in files {
        let target = folder.join(name);
        let parent = target.parent().unwrap_or(folder);
        let temporary = fs::create_dir_all(parent)
            .and_then(|()| write_temporary(parent, bytes))
            .map_err(|error| cannot_write(&target, &error))?;
        ready.push((temporary, target));
    }
    for (temporary, target) in ready {
        temporary
            .persist(&target)
            .map_err(|error| cannot_write(&target, &error.error))?;
    }
    Ok(())
}

/// Writes a file that is not there yet, whole or not at all.
pub(super) fn write_new(target: &Path, bytes: &[u8]) -> Result<(), Problems> {
    let folder = target
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    let temporary = fs::create_dir_all(folder)
        .and_then(|()| write_temporary(folder, bytes))
        .map_err(|error| cannot_write(target, &error))?;
    temporary
        .persist_noclobber(target)
        .map(|_| ())
        .map_err(|error| cannot_write(target, &error.error))
}

fn write_temporary(folder: &Path, bytes: &[u8]) -> std::io::Result<NamedTempFile> {
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

fn cannot_write(target: &Path, error: &std::io::Error) -> Problems {
    Diagnostic::error(
        "cannot-write",
        format!("the file cannot be written: {error}"),
    )
    .at(Place::file(target.display().to_string()))
    .hint("name another folder with --out DIR")
    .into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_written_when_one_file_cannot_be() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("blocked"), "a file, not a folder").unwrap();
        let files = [
            ("a.txt".to_owned(), b"new".to_vec()),
            ("blocked/b.txt".to_owned(), b"x".to_vec()),
        ];
        assert!(write_all(folder.path(), &files).is_err());
        let left: Vec<_> = fs::read_dir(folder.path()).unwrap().flatten().collect();
        assert_eq!(left.len(), 1, "{left:?}");
    }
}
