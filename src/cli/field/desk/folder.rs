//! The folder of a desk: what lies in it, and what may get in.
//!
//! The program works in it, so that files have the names that a terminal there would give them. A name from a page is never
//! opened as it comes: it has to be that of a plain file of this folder (symbolic links are none) or one that the firing file
//! named when the desk was opened, and a new one has to be a plain name. What is there is never overwritten but the firing
//! file, whose text the pages show.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Mutex, PoisonError};
use std::time::SystemTime;

use burnwright::{
    Code, Desk, DeskFile, Diagnostic, Error, LogLook, Place, Site, begin_firing, calibrate, look,
    look_at, named_paths, read_firing,
};
use sha2::{Digest, Sha256};

use super::super::output;
use super::super::serve::Status;
use super::{Refused, refused};

/// The firing file, as `reduce` looks for it.
pub(super) const FIRING: &str = "firing.toml";
/// Endings of what is not looked into.
const NO_LOGS: [&str; 6] = ["toml", "html", "json", "h", "md", "png"];
/// A longer file is no list of points, bytes.
const MOST_POINTS: u64 = 100_000;
/// Longest name of a file.
const LONGEST_NAME: usize = 80;

/// What was seen in a file of this length and time.
type Known = (u64, Option<SystemTime>, Result<LogLook, String>);

pub(super) struct Folder {
    shown: PathBuf,
    motors: PathBuf,
    /// Paths that the firing file named before any page could change it.
    known: Vec<String>,
    looks: Mutex<BTreeMap<String, Known>>,
    /// Held as long as the desk is open, so that there is one for each folder.
    _lock: Option<File>,
}

impl Folder {
    pub(super) fn open(named: Option<&Path>, motors: Option<&Path>) -> Result<Self, Error> {
        let folder = match named {
            Some(folder) => folder.to_owned(),
            None => tempfile::Builder::new()
                .prefix("burnwright-")
                .tempdir()
                .map_err(|why| unusable(Path::new("a temporary folder"), &why))?
                .keep(),
        };
        let usable = |why| unusable(&folder, &why);
        let motors =
            std::path::absolute(motors.unwrap_or(Path::new("motor-curves"))).map_err(usable)?;
        fs::create_dir_all(&folder).map_err(usable)?;
        let shown = fs::canonicalize(&folder).map_err(usable)?;
        std::env::set_current_dir(&shown).map_err(usable)?;
        // Where a folder cannot be locked, the check of what the text was still holds.
        let lock = File::open(".").ok();
        if let Some(Err(fs::TryLockError::WouldBlock)) = lock.as_ref().map(File::try_lock) {
            return Err(
                Diagnostic::error(Code::InUse, "another desk is open on this folder")
                    .at(Place::file(folder.display().to_string()))
                    .hint("go on in its page, or end it first")
                    .into(),
            );
        }
        let known = fs::read_to_string(FIRING).map_or(vec![], |text| named_paths(&text));
        let out = Self {
            shown,
            motors,
            known,
            looks: Mutex::default(),
            _lock: lock,
        };
        // Logs that lie there already begin a firing file as dropped ones do; where none can be written the page says so.
        if fs::symlink_metadata(FIRING).is_err()
            && let Some(text) = out.begun()
        {
            out.keep(&text).ok();
        }
        Ok(out)
    }

    pub(super) fn shown(&self) -> String {
        self.shown.display().to_string()
    }

    pub(super) fn results(&self) -> PathBuf {
        PathBuf::from("reduced")
    }

    pub(super) fn text(&self) -> Option<String> {
        is_plain(Path::new(FIRING))
            .then(|| fs::read_to_string(FIRING).ok())
            .flatten()
    }

    /// The text, if it is still the one that a page shows.
    pub(super) fn text_of(&self, shown: &str) -> Option<String> {
        self.text().filter(|text| revision(text) == shown)
    }

    /// Everything there is to show but the reduction.
    pub(super) fn desk(&self) -> Desk {
        let (names, logs, mut files) = self.seen();
        let text = self.text();
        let paths = text.as_deref().map(named_paths).unwrap_or_default();
        for file in &mut files {
            file.named = text.is_none()
                || paths.contains(&file.name)
                || !logs.iter().any(|log| log.file == file.name);
        }
        let problems = match &text {
            Some(text) => match self.may_open(text) {
                Ok(()) => read_firing(FIRING.as_ref())
                    .err()
                    .map_or(vec![], |why| why.problems().to_vec()),
                Err((_, says)) => {
                    vec![Diagnostic::error(Code::NoPlainFile, says).at(Place::file(FIRING))]
                }
            },
            None => vec![],
        };
        let mut motors = files_in(&self.motors);
        motors.extend(names);
        motors.retain(|name| name.ends_with(".toml") && name != FIRING);
        motors.sort();
        motors.dedup();
        Desk {
            folder: self.shown(),
            files,
            look: look(logs),
            revision: text.as_deref().map(revision).unwrap_or_default(),
            text,
            problems,
            motors,
            ..Desk::default()
        }
    }

    /// Names of the files, the logs among them looked into, and what each file is.
    fn seen(&self) -> (Vec<String>, Vec<LogLook>, Vec<DeskFile>) {
        let names = files_in(Path::new("."));
        let mut looks = self.looks.lock().unwrap_or_else(PoisonError::into_inner);
        let (mut logs, mut files) = (Vec::new(), Vec::new());
        for name in names.iter().filter(|name| *name != FIRING) {
            let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending);
            let mut is = "a file".to_owned();
            if ending == "toml" {
                "a certified motor or a curve".clone_into(&mut is);
            } else if !NO_LOGS.contains(&ending) {
                let of = fs::metadata(name)
                    .map_or((0, None), |about| (about.len(), about.modified().ok()));
                let known = looks.get(name).filter(|known| (known.0, known.1) == of);
                let seen = known.map_or_else(|| look_into(name), |known| known.2.clone());
                looks.insert(name.clone(), (of.0, of.1, seen.clone()));
                match seen {
                    Ok(log) => {
                        is = format!("a log: {} rows", log.tally.rows_read);
                        logs.push(log);
                    }
                    Err(what) => is = what,
                }
            }
            files.push(DeskFile {
                name: name.clone(),
                is,
                named: true,
            });
        }
        // The clock of the first is that of the results: the one that burns.
        logs.sort_by_key(|log| log.burning().next().is_none());
        (names, logs, files)
    }

    /// Takes a file in; a firing file is begun, and begun anew as long as nobody has touched it.
    pub(super) fn take(&self, name: &str, bytes: &[u8]) -> Result<(), Refused> {
        let name = decoded(name).filter(|name| is_name(name));
        let name = name.ok_or_else(|| refused("a file is named by letters, digits, blanks and . - _ ( ) alone, and begins with a letter or a digit"))?;
        if name.ends_with(".toml") {
            self.may_open(&String::from_utf8_lossy(bytes))?;
        }
        let begun = self.begun();
        let untouched = self.text().is_none_or(|text| begun.as_ref() == Some(&text));
        match fs::symlink_metadata(&name) {
            Ok(there) if there.is_file() && fs::read(&name).is_ok_and(|old| old == bytes) => {}
            Ok(_) => {
                let says = format!(
                    "{name} is there already and holds something else, so it stays as it is: rename the new one"
                );
                return Err((Status::Conflict, says));
            }
            Err(_) => {
                output::write_new(Path::new(&name), bytes).map_err(|why| refused(why.render()))?;
            }
        }
        if untouched
            && name != FIRING
            && let Some(text) = self.begun()
        {
            self.keep(&text)?;
        }
        Ok(())
    }

    /// The firing file as `look --start` begins it; `None` without a log.
    fn begun(&self) -> Option<String> {
        let (_, logs, _) = self.seen();
        let files: Vec<String> = logs.iter().map(|log| log.file.clone()).collect();
        (!logs.is_empty()).then(|| begin_firing(&look(logs), &files).text)
    }

    /// Begins the firing file anew, and keeps the old one beside it.
    pub(super) fn begin(&self, old: &str) -> Result<(), Refused> {
        let text = self
            .begun()
            .ok_or_else(|| refused("there is no log to begin it from"))?;
        let free = (1..1000)
            .map(|nth| format!("firing-before-{nth}.toml"))
            .find(|name| fs::symlink_metadata(name).is_err());
        let free = free.ok_or_else(|| refused("a thousand earlier ones are kept already"))?;
        output::write_new(Path::new(&free), old.as_bytes()).map_err(|why| refused(why.render()))?;
        self.keep(&text)
    }

    /// Makes this the text of the firing file.
    pub(super) fn keep(&self, text: &str) -> Result<(), Refused> {
        self.may_open(text)?;
        if fs::symlink_metadata(FIRING).is_ok_and(|about| !about.is_file()) {
            return Err(refused(
                "firing.toml leads elsewhere, so it is not written to",
            ));
        }
        output::write_in_place(Path::new(FIRING), text.as_bytes())
            .map_err(|why| refused(why.render()))
    }

    /// Refuses a text that would open a file outside.
    pub(super) fn may_open(&self, text: &str) -> Result<(), Refused> {
        let fine = |path: &String| {
            let open = path.starts_with("??");
            let here =
                is_name(path) && fs::symlink_metadata(path).is_ok_and(|about| !about.is_symlink());
            open || here
                || self.known.contains(path)
                || (is_name(path) && fs::symlink_metadata(path).is_err())
        };
        match named_paths(text).iter().find(|path| !fine(path)) {
            Some(path) => Err(refused(format!(
                "the page opens files of its own folder alone, and {path} is none: drop it here, or use the terminal for it"
            ))),
            None => Ok(()),
        }
    }

    /// Copies a certified motor that was chosen into the folder, unless it is there.
    pub(super) fn fetch_motor(&self, name: &str) -> Result<(), Refused> {
        let offered = files_in(&self.motors)
            .into_iter()
            .find(|one| one == name && is_name(one));
        if let Some(name) = offered.filter(|name| fs::symlink_metadata(name).is_err()) {
            let bytes =
                fs::read(self.motors.join(&name)).map_err(|why| refused(why.to_string()))?;
            return self.take(&name, &bytes);
        }
        Ok(())
    }
}

/// What is seen in a log; of anything else, what it is.
fn look_into(name: &str) -> Result<LogLook, String> {
    let few = fs::metadata(name).is_ok_and(|about| about.len() < MOST_POINTS);
    if few && calibrate(Path::new(name), &Site::default(), None).is_ok() {
        return Err("known loads or angles against readings".to_owned());
    }
    match look_at(Path::new(name), None) {
        Ok(log) => match log.no_log {
            Some(what) => Err(what.to_owned()),
            None => Ok(log),
        },
        Err(why) => Err(why
            .problems()
            .first()
            .map_or(String::new(), |one| one.message.clone())),
    }
}

fn unusable(folder: &Path, why: &std::io::Error) -> Error {
    Diagnostic::error(
        Code::NoFolder,
        format!("this folder cannot be worked in: {why}"),
    )
    .at(Place::file(folder.display().to_string()))
    .into()
}

/// What a text is told by.
pub(super) fn revision(text: &str) -> String {
    Sha256::digest(text)
        .iter()
        .take(8)
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

/// A file that is there itself, not a link to another.
pub(super) fn is_plain(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok_and(|about| about.is_file())
        && path.parent().is_none_or(|folder| {
            !fs::symlink_metadata(folder).is_ok_and(|about| about.is_symlink())
        })
}

/// Names of the plain files of a folder that a page may show, sorted.
fn files_in(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let plain = entries.filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file()));
    let mut names: Vec<String> = plain
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| is_name(name))
        .collect();
    names.sort();
    names
}

/// A plain name, which leads nowhere else on any system.
fn is_name(name: &str) -> bool {
    let plain = |ch: char| ch.is_alphanumeric() || matches!(ch, ' ' | '.' | '-' | '_' | '(' | ')');
    name.chars().next().is_some_and(char::is_alphanumeric)
        && name.chars().all(plain)
        && !name.ends_with(['.', ' '])
        && name.chars().count() <= LONGEST_NAME
}

/// A name as a page sends it (RFC 3986, percent-encoding).
fn decoded(text: &str) -> Option<String> {
    let mut out = Vec::new();
    let mut rest = text.as_bytes().iter();
    while let Some(byte) = rest.next() {
        out.push(match byte {
            b'%' => {
                let digits = [*rest.next()?, *rest.next()?];
                u8::from_str_radix(std::str::from_utf8(&digits).ok()?, 16).ok()?
            }
            byte => *byte,
        });
    }
    String::from_utf8(out).ok()
}

/// Opens the first address in a browser, by a private page that leads there: what is started with the address itself would show
/// the token to every user of the machine.
pub(super) fn open_browser(address: &str) -> bool {
    let page = format!(
        "<!DOCTYPE html><meta http-equiv=\"refresh\" content=\"0;url={address}\"><title>burnwright</title>"
    );
    let file = tempfile::Builder::new()
        .prefix("burnwright-")
        .suffix(".html")
        .tempfile();
    let Some(file) = file
        .ok()
        .filter(|file| fs::write(file.path(), page).is_ok())
        .and_then(|file| file.keep().ok())
    else {
        return false;
    };
    let (program, first): (&str, &[&str]) = match std::env::consts::OS {
        "macos" => ("open", &[]),
        "windows" => ("explorer", &[]),
        _ => ("xdg-open", &[]),
    };
    let mut command = Command::new(program);
    command.args(first).arg(&file.1);
    command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let started = command.spawn();
    std::thread::spawn(move || {
        let done = started.and_then(|mut child| child.wait());
        std::thread::sleep(std::time::Duration::from_secs(20));
        let _ = fs::remove_file(&file.1);
        done
    });
    which(program)
}

fn which(program: &str) -> bool {
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path).any(|folder| {
        folder.join(program).is_file() || folder.join(format!("{program}.exe")).is_file()
    })
}
