//! The folder of a desk: what lies in it, what may get in, and what can be done with it.
//!
//! The program works in it, so that files have the names that a terminal there would give them. A name from a page is never
//! opened as it comes: it has to be that of a plain file of this folder (symbolic links are none) or one that the firing file
//! named when the desk was opened, and a new one has to be a plain name. What is there is never overwritten but the firing
//! file, whose text the pages show.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::SystemTime;

use burnwright::{
    Calibration, Code, Desk, DeskCommand, DeskFile, DeskTask, DeskWork, Diagnostic, Error, LogLook,
    Place, Site, begin_firing, calibrate, look, look_at, named_paths, read_firing,
};
use sha2::{Digest, Sha256};

use super::super::serve::Status;
use super::super::{first_problem, is_plain, output, reduce};
use super::{Refused, refused};

/// The firing file, as `reduce` looks for it.
pub(super) const FIRING: &str = "firing.toml";
/// Endings of what is not looked into.
const NO_LOGS: [&str; 5] = ["html", "json", "h", "md", "png"];
/// A longer file is no list of points, bytes.
const MOST_POINTS: u64 = 100_000;
/// Longest name of a file.
const LONGEST_NAME: usize = 80;

/// What a file is.
#[derive(Clone)]
enum Seen {
    Log(Box<LogLook>),
    Points,
    Motor,
    Other(String),
}

/// Length and time of a file that was looked into.
type Stamp = (u64, Option<SystemTime>);

pub(super) struct Folder {
    shown: PathBuf,
    /// Whether it was named: one that was made for this desk has no neighbours to compare with.
    named: bool,
    motors: PathBuf,
    /// Paths that the firing file named before any page could change it.
    known: Vec<String>,
    looks: Mutex<BTreeMap<String, (Stamp, Seen)>>,
    /// Held as long as the desk is open, so that there is one for each folder.
    _lock: Option<File>,
}

impl Folder {
    pub(super) fn open(named: Option<&Path>, motors: Option<&Path>) -> Result<Self, Error> {
        let temporary = || tempfile::Builder::new().prefix("burnwright-").tempdir();
        let folder = match named {
            Some(folder) => Ok(folder.to_owned()),
            None => temporary().map(tempfile::TempDir::keep),
        };
        let folder = folder.map_err(|why| unusable("a temporary folder", &why))?;
        let name = folder.display().to_string();
        let usable = |why| unusable(&name, &why);
        let motors = motors.unwrap_or(Path::new("motor-curves"));
        let motors = std::path::absolute(motors).map_err(usable)?;
        fs::create_dir_all(&folder).map_err(usable)?;
        let shown = fs::canonicalize(&folder).map_err(usable)?;
        std::env::set_current_dir(&shown).map_err(usable)?;
        // Where a folder cannot be locked, the check of what the text was still holds.
        let lock = File::open(".").ok();
        if let Some(Err(fs::TryLockError::WouldBlock)) = lock.as_ref().map(File::try_lock) {
            let says = Diagnostic::error(Code::InUse, "another desk is open on this folder");
            let says = says.at(Place::file(name));
            return Err(says.hint("go on in its page, or end it first").into());
        }
        let out = Self {
            shown,
            named: named.is_some(),
            motors,
            known: fs::read_to_string(FIRING).map_or(vec![], |text| named_paths(&text)),
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

    pub(super) fn text(&self) -> Option<String> {
        let text = fs::read_to_string(FIRING).ok();
        text.filter(|_| is_plain(Path::new(FIRING)))
    }

    /// The text, if it is still the one that a page shows.
    pub(super) fn text_of(&self, shown: &str) -> Option<String> {
        Some(self.text().unwrap_or_default()).filter(|text| revision(text) == shown)
    }

    /// Everything there is to show, but how far the commands are.
    pub(super) fn desk(&self) -> Desk {
        let (seen, text) = (self.seen(), self.text());
        let paths = text.as_deref().map(named_paths).unwrap_or_default();
        let files = seen.iter().map(|(name, seen)| DeskFile {
            name: name.clone(),
            is: match seen {
                Seen::Log(log) => format!("a log: {} rows", log.tally.rows_read),
                Seen::Points => "known loads or angles against readings".to_owned(),
                Seen::Motor => "a certified motor".to_owned(),
                Seen::Other(what) => what.clone(),
            },
            named: text.is_none() || paths.contains(name) || !matches!(seen, Seen::Log(_)),
        });
        let shown = text.as_deref().unwrap_or_default();
        let wrong = match (&text, self.may_open(shown)) {
            (None, _) => None,
            (_, Ok(())) => read_firing(FIRING.as_ref()).err(),
            (_, Err((_, says))) => {
                let says = Diagnostic::error(Code::NoPlainFile, says);
                Some(says.at(Place::file(FIRING)).into())
            }
        };
        let mut motors = files_in(&self.motors);
        motors.retain(|name| name.ends_with(".toml"));
        let here = seen.iter().filter(|(_, seen)| matches!(seen, Seen::Motor));
        motors.extend(here.map(|(name, _)| name.clone()));
        motors.sort();
        motors.dedup();
        Desk {
            folder: self.shown(),
            files: files.collect(),
            tasks: self.tasks(shown, &seen),
            revision: revision(shown),
            look: look(logs(seen)),
            problems: wrong.into_iter().flatten().collect(),
            text,
            motors,
        }
    }

    /// The commands that the page gives, as the terminal is given them.
    fn tasks(&self, text: &str, seen: &[(String, Seen)]) -> Vec<DeskTask> {
        let task = |does, words: Vec<String>, cannot: Option<&str>| DeskTask {
            does,
            words,
            work: cannot.map_or(DeskWork::Ready, |why| DeskWork::Cannot(why.to_owned())),
        };
        let words = |line: &[&str]| line.iter().map(ToString::to_string).collect::<Vec<_>>();
        let no_log = "needs a log first: a firing file is begun from it";
        let no_text = text.is_empty().then_some(no_log);
        let mut out = vec![task(DeskCommand::Reduce, words(&["reduce"]), no_text)];
        let points = seen.iter().filter(|(_, seen)| matches!(seen, Seen::Points));
        out.extend(points.map(|(name, _)| {
            let line = [words(&["calibrate", name]), given_with(text, name)].concat();
            task(DeskCommand::Calibrate, line, None)
        }));
        if out.len() < 2 {
            let why = Some("needs a points file: known loads or angles against readings");
            out.push(task(DeskCommand::Calibrate, words(&["calibrate"]), why));
        }
        let line = [words(&["compare", FIRING]), self.neighbours()].concat();
        let alone = "needs a second firing: a folder beside this one with a firing.toml in it";
        let alone = no_text.or((line.len() < 3).then_some(alone));
        out.push(task(DeskCommand::Compare, line, alone));
        let results = reduce::own_folder(FIRING.as_ref());
        let plant = results.join("plant.json");
        let none = match results.join("result.json").is_file() {
            true => "needs a plant: the reduction could fit no steering axis",
            false => "needs a plant: reduce a firing with a steering axis first",
        };
        let why = (!is_plain(&plant)).then_some(none);
        let line = words(&["tune", &plant.display().to_string()]);
        out.push(task(DeskCommand::Tune, line, why));
        out
    }

    /// Firing files of the folders beside this one.
    fn neighbours(&self) -> Vec<String> {
        let mut names = if self.named {
            names_in(Path::new(".."), fs::FileType::is_dir)
        } else {
            vec![]
        };
        names.retain(|name| self.shown.file_name() != Some(name.as_ref()));
        let files = names.iter().map(|name| format!("../{name}/{FIRING}"));
        files.filter(|file| is_plain(Path::new(file))).collect()
    }

    /// The files with what they are; what was looked into before is known.
    fn seen(&self) -> Vec<(String, Seen)> {
        let mut looks = self.looks.lock().unwrap_or_else(PoisonError::into_inner);
        let mut names = files_in(Path::new("."));
        names.retain(|name| name != FIRING);
        let seen = names.into_iter().map(|name| {
            let about = fs::metadata(&name);
            let stamp = about.map_or((0, None), |about| (about.len(), about.modified().ok()));
            let known = looks.get(&name).filter(|known| known.0 == stamp);
            let seen = known.map_or_else(|| look_into(&name, stamp.0), |known| known.1.clone());
            looks.insert(name.clone(), (stamp, seen.clone()));
            (name, seen)
        });
        seen.collect()
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
                let says = "is there already and holds something else, so it stays as it is: rename the new one";
                return Err((Status::Conflict, format!("{name} {says}")));
            }
            Err(_) => output::write_new(Path::new(&name), bytes).map_err(unwritten)?,
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
        let logs = logs(self.seen());
        let files: Vec<String> = logs.iter().map(|log| log.file.clone()).collect();
        (!logs.is_empty()).then(|| begin_firing(&look(logs), &files).text)
    }

    /// Begins the firing file anew, and keeps the old one beside it.
    pub(super) fn begin(&self, old: &str) -> Result<(), Refused> {
        let text = self.begun();
        let text = text.ok_or_else(|| refused("there is no log to begin it from"))?;
        let mut names = (1..1000).map(|nth| format!("firing-before-{nth}.toml"));
        let free = names.find(|name| fs::symlink_metadata(name).is_err());
        let free = free.ok_or_else(|| refused("a thousand earlier ones are kept already"))?;
        output::write_new(Path::new(&free), old.as_bytes()).map_err(unwritten)?;
        self.keep(&text)
    }

    /// Makes this the text of the firing file.
    pub(super) fn keep(&self, text: &str) -> Result<(), Refused> {
        self.may_open(text)?;
        if fs::symlink_metadata(FIRING).is_ok_and(|about| !about.is_file()) {
            let says = "firing.toml leads elsewhere, so it is not written to";
            return Err(refused(says));
        }
        output::write_in_place(Path::new(FIRING), text.as_bytes()).map_err(unwritten)
    }

    /// Refuses a text that would open a file outside.
    pub(super) fn may_open(&self, text: &str) -> Result<(), Refused> {
        let is_link = |path: &str| fs::symlink_metadata(path).is_ok_and(|about| about.is_symlink());
        let fine = |path: &String| {
            path.starts_with("??") || self.known.contains(path) || is_name(path) && !is_link(path)
        };
        let outside = named_paths(text).into_iter().find(|path| !fine(path));
        outside.map_or(Ok(()), |path| {
            Err(refused(format!("the page opens files of its own folder alone, and {path} is none: drop it here, or use the terminal for it")))
        })
    }

    /// Copies a certified motor that was chosen into the folder, unless it is there.
    pub(super) fn fetch_motor(&self, name: &str) -> Result<(), Refused> {
        let offered = files_in(&self.motors).into_iter().find(|one| one == name);
        let Some(name) = offered.filter(|name| fs::symlink_metadata(name).is_err()) else {
            return Ok(());
        };
        let bytes = fs::read(self.motors.join(&name)).map_err(|why| refused(why.to_string()))?;
        self.take(&name, &bytes)
    }
}

/// The logs; the clock of the first is that of the results: the one that burns.
fn logs(seen: Vec<(String, Seen)>) -> Vec<LogLook> {
    let log = |(_, seen)| match seen {
        Seen::Log(log) => Some(*log),
        _ => None,
    };
    let mut logs: Vec<LogLook> = seen.into_iter().filter_map(log).collect();
    logs.sort_by_key(|log| log.burning().next().is_none());
    logs
}

/// What a file of so many bytes is.
fn look_into(name: &str, bytes: u64) -> Seen {
    let path = Path::new(name);
    let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending);
    if ending == "toml" {
        let text = fs::read_to_string(path).unwrap_or_default();
        return match () {
            () if Calibration::is_curve_file(path) => Seen::Other("a calibration curve".to_owned()),
            () if text.contains("[log.") => Seen::Other("a firing file".to_owned()),
            () => Seen::Motor,
        };
    }
    if NO_LOGS.contains(&ending) {
        return Seen::Other("a file".to_owned());
    }
    if bytes < MOST_POINTS && calibrate(path, &Site::default(), None).is_ok() {
        return Seen::Points;
    }
    match look_at(path, None) {
        Ok(log) if log.no_log.is_none() => Seen::Log(Box::new(log)),
        Ok(log) => Seen::Other(log.no_log.unwrap_or_default().to_owned()),
        Err(why) => Seen::Other(first_problem(&why)),
    }
}

/// What a firing file says that the curve of these points rests on, as options of `calibrate`.
fn given_with(text: &str, points: &str) -> Vec<String> {
    let file: toml::Table = text.parse().unwrap_or_default();
    let said = |table: &toml::Value, key: &str| {
        let value = table.get(key).and_then(toml::Value::as_str);
        let value = value.filter(|value| !value.starts_with("??"))?;
        Some([format!("--{key}"), value.to_owned()])
    };
    let site = |key: &str| said(file.get("site")?, key);
    let cells = file.get("cell").and_then(toml::Value::as_table);
    let of_points =
        |cell: &&toml::Value| cell.get("points").and_then(toml::Value::as_str) == Some(points);
    let cell = cells.and_then(|cells| cells.values().find(of_points));
    let place = || {
        [site("latitude"), site("altitude")]
            .into_iter()
            .flatten()
            .flatten()
            .collect()
    };
    let mut out: Vec<String> = site("gravity").map_or_else(place, Vec::from);
    let masses = cell.and_then(|cell| said(cell, "masses"));
    out.extend(masses.into_iter().flatten());
    out
}

#[allow(clippy::needless_pass_by_value, reason = "as map_err gives it")]
fn unwritten(why: Error) -> Refused {
    refused(why.render())
}

fn unusable(folder: &str, why: &std::io::Error) -> Error {
    let says = format!("this folder cannot be worked in: {why}");
    Error::from(Diagnostic::error(Code::NoFolder, says).at(Place::file(folder)))
}

/// What a text is told by.
pub(super) fn revision(text: &str) -> String {
    let digest = &Sha256::digest(text)[..8];
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Names of the plain files of a folder that a page may show, sorted.
fn files_in(folder: &Path) -> Vec<String> {
    names_in(folder, fs::FileType::is_file)
}

fn names_in(folder: &Path, is: impl Fn(&fs::FileType) -> bool) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let those = entries.filter(|entry| entry.file_type().is_ok_and(|kind| is(&kind)));
    let names = those.filter_map(|entry| entry.file_name().into_string().ok());
    let mut names: Vec<String> = names.filter(|name| is_name(name)).collect();
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
    let mut parts = text.split('%');
    let mut out = parts.next()?.as_bytes().to_vec();
    for part in parts {
        out.push(u8::from_str_radix(part.get(..2)?, 16).ok()?);
        out.extend_from_slice(&part.as_bytes()[2..]);
    }
    String::from_utf8(out).ok()
}
