//! Writing files whole or not at all.
//!
//! Every file is first written in full under a temporary name in the target folder and synced; only
//! when all of them are there are they renamed, and the folder is synced, so that a failure leaves the old
//! files as they were. A process that is killed between two renames leaves new files beside old ones, and
//! then the temporary file of every old one is still there (`.burnwright-......-NAME`): that is how such a
//! folder is told. The next writing sweeps them up, and not before its own are ready.

mod held;
mod signals;

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use crate::diagnostic::{Diagnostic, Place, Problems};
use held::{Held, here};

/// Writes files, given by name relative to a folder, into it.
pub(super) fn write_all<N: AsRef<Path>>(
    folder: &Path,
    files: &[(N, Vec<u8>)],
) -> Result<(), Problems> {
    write_instead(folder, files, &[])
}

/// Writes files into a folder in place of an earlier run's; those of the `earlier` names that are not
/// written anew go, so that no file of another run stands beside them.
pub(super) fn write_instead<N: AsRef<Path>>(
    folder: &Path,
    files: &[(N, Vec<u8>)],
    earlier: &[&str],
) -> Result<(), Problems> {
    is_no_file(folder)?;
    let written = |name: &&&str| !files.iter().any(|(new, _)| new.as_ref() == Path::new(name));
    let gone: Vec<&str> = earlier.iter().filter(written).copied().collect();
    let files = files
        .iter()
        .map(|(name, bytes)| (folder.join(name), bytes.as_slice()));
    let gone = gone.iter().map(|name| folder.join(name));
    Writing::new(files)?.finish(&gone.collect::<Vec<_>>(), |file, target| {
        file.persist(target)
            .map(|_| ())
            .map_err(|error| error.error)
    })
}

/// Writes a file that is not there yet, whole or not at all.
pub(super) fn write_new(target: &Path, bytes: &[u8]) -> Result<(), Problems> {
    is_no_file(&folder_of(target))?;
    let files = [(target.to_owned(), bytes)];
    Writing::new(files.into_iter())?.finish(&[], |file, target| {
        file.persist_noclobber(target)
            .map(|_| ())
            .map_err(|error| error.error)
    })
}

/// Refuses a folder that is, or lies in, a file.
fn is_no_file(folder: &Path) -> Result<(), Problems> {
    let file = folder
        .ancestors()
        .find(|part| part.exists() && !part.is_dir());
    file.map_or(Ok(()), |file| {
        let no_folder = "results need a folder, and this is a file";
        Err(Diagnostic::error("no-folder", no_folder)
            .at(Place::file(file.display().to_string()))
            .hint("move it away, or name another folder")
            .into())
    })
}

/// Files that are ready, each under its temporary name.
struct Writing {
    folders: BTreeMap<PathBuf, Held>,
    ready: Vec<(NamedTempFile, PathBuf)>,
    /// The temporary names, which whoever ends the program has to know.
    temporaries: Vec<PathBuf>,
}

impl Writing {
    fn new<'a>(files: impl Iterator<Item = (PathBuf, &'a [u8])> + Clone) -> Result<Self, Problems> {
        signals::listen();
        let mut out = Self {
            folders: BTreeMap::new(),
            ready: vec![],
            temporaries: vec![],
        };
        // In the order of their names, so that two programs never wait for each other.
        let folders: BTreeMap<PathBuf, PathBuf> = files
            .clone()
            .map(|(target, _)| (folder_of(&target), target))
            .collect();
        for (folder, target) in folders {
            let held = made(&folder).and_then(|()| Held::new(&folder));
            let held = held.map_err(|error| cannot_write(&target, &error))?;
            out.folders.insert(folder, held);
        }
        for (target, bytes) in files {
            out.write(&target, bytes)
                .map_err(|error| cannot_write(&target, &error))?;
        }
        Ok(out)
    }

    fn write(&mut self, target: &Path, bytes: &[u8]) -> io::Result<()> {
        let nameless = || io::Error::new(io::ErrorKind::InvalidInput, "it has no name");
        let name = target.file_name().ok_or_else(nameless)?;
        let held = self.folders.get(&folder_of(target)).ok_or_else(nameless)?;
        let mut file = {
            let mut undisturbed = signals::undisturbed();
            let file = held.temporary(name)?;
            undisturbed.note(file.path());
            self.temporaries.push(file.path().to_owned());
            file
        };
        file.write_all(bytes)?;
        file.as_file().sync_all()?;
        self.ready.push((file, target.to_owned()));
        Ok(())
    }

    /// Gives the files their names.
    fn finish(
        mut self,
        gone: &[PathBuf],
        name: impl Fn(NamedTempFile, &Path) -> io::Result<()>,
    ) -> Result<(), Problems> {
        let _undisturbed = signals::undisturbed();
        // Found out before the first is renamed: nothing else stops a rename once the files are there.
        let targets = self.ready.iter().map(|(_, target)| target);
        if let Some(folder) = targets.clone().find(|target| target.is_dir()) {
            let error = io::Error::from(io::ErrorKind::IsADirectory);
            return Err(cannot_write(folder, &error));
        }
        for target in targets.chain(gone) {
            let held = self.folders.get(&folder_of(target));
            if let Some((held, name)) = held.zip(target.file_name()) {
                held.sweep(name, &self.temporaries);
            }
        }
        for target in gone {
            match fs::remove_file(target) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => {
                    return Err(cannot_write(target, &error));
                }
                _ => {}
            }
        }
        for (file, target) in std::mem::take(&mut self.ready) {
            name(file, &target).map_err(|error| cannot_write(&target, &error))?;
        }
        self.folders.values().for_each(Held::sync);
        Ok(())
    }
}

impl Drop for Writing {
    fn drop(&mut self) {
        self.ready.clear();
        signals::undisturbed().forget(&self.temporaries);
    }
}

fn folder_of(target: &Path) -> PathBuf {
    target.parent().map(Path::to_owned).unwrap_or_default()
}

/// Makes a folder with those above it, and has their names written to the disk.
fn made(folder: &Path) -> io::Result<()> {
    let missing = folder.ancestors().take_while(|part| !part.exists());
    let above: Vec<&Path> = missing.filter_map(Path::parent).collect();
    fs::create_dir_all(folder)?;
    #[cfg(unix)]
    for part in above {
        let _ = fs::File::open(here(part)).and_then(|part| part.sync_all());
    }
    Ok(())
}

fn cannot_write(target: &Path, error: &io::Error) -> Problems {
    Diagnostic::error(
        "cannot-write",
        format!("the file cannot be written: {error}"),
    )
    .at(Place::file(target.display().to_string()))
    .hint("see to that, or name another folder; what was there before is there still")
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

    #[test]
    fn files_of_an_earlier_run_that_this_one_does_not_write_go() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["a.txt", "b.txt", "mine.txt"] {
            fs::write(folder.path().join(name), "old").unwrap();
        }
        let files = [("a.txt", b"new".to_vec())];
        write_instead(folder.path(), &files, &["a.txt", "b.txt", "c.txt"]).unwrap();
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
