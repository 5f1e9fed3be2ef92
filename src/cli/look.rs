//! `burnwright look`: what is in some logs, with no firing file; and a first firing file from it.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use burnwright::{Code, Diagnostic, Error, Place, Report, begin_firing, look, look_at};

use super::busy::Busy;
use super::{Common, FAILED, LookArgs, output, terminal};

pub(super) fn run(args: &LookArgs, common: &Common) -> Result<ExitCode, Error> {
    if let Some(target) = &args.start {
        may_write(target)?;
        args.logs.iter().try_for_each(|log| may_be_named(log))?;
    }
    let mut seen = Vec::new();
    let mut problems = Vec::new();
    let busy = Busy::new(common.quiet || common.json, "logs");
    for (nth, path) in args.logs.iter().enumerate() {
        busy.at(nth, args.logs.len());
        match look_at(path, args.rate) {
            Ok(log) => seen.push(log),
            Err(more) => problems.extend(more),
        }
    }
    drop(busy);
    // A log that cannot be read does not hide the others, but no firing file is begun without it.
    if seen.is_empty() || (args.start.is_some() && !problems.is_empty()) {
        Error::if_any(std::mem::take(&mut problems))?;
    }
    let look = look(seen);
    let mut said = String::new();
    if let Some(target) = &args.start {
        let folder = target.parent().unwrap_or(Path::new(""));
        let files: Vec<String> = args.logs.iter().map(|log| seen_from(folder, log)).collect();
        let start = begin_firing(&look, &files);
        output::write_new(target, start.text.as_bytes())?;
        if !common.quiet {
            let name = target.display();
            let cell = if start.needs_cell {
                "write in which column is the load cell's, "
            } else {
                ""
            };
            let next = match start.to_complete {
                0 => format!("{cell}look through it"),
                1 => format!("{cell}complete the value that reads \"??\""),
                more => format!("{cell}complete the {more} values that read \"??\""),
            };
            said = format!("written: {name}\nnext: {next}, then burnwright reduce {name}\n");
        }
    }
    if common.json {
        terminal::result(&look.json())?;
    } else if !common.quiet {
        terminal::result(&look.text(terminal::screen(common.full, terminal::units(common))))?;
    }
    terminal::message(&said);
    if let Err(error) = Error::if_any(problems) {
        terminal::message(&error.render());
        return Ok(ExitCode::from(FAILED));
    }
    Ok(ExitCode::SUCCESS)
}

/// A first firing file takes nothing's place.
fn may_write(target: &Path) -> Result<(), Error> {
    if !target.exists() {
        return Ok(());
    }
    let message = "this file is there already, so it stays as it is";
    Err(Diagnostic::error(Code::WouldOverwrite, message)
        .at(Place::file(target.display().to_string()))
        .hint("name another file with --start FILE.toml")
        .into())
}

/// A firing file is UTF-8 text, and so are the paths in it.
fn may_be_named(log: &Path) -> Result<(), Error> {
    if log.to_str().is_some() {
        return Ok(());
    }
    let message = "the path of this log is no UTF-8 text, so a firing file cannot name it";
    Err(Diagnostic::error(Code::NotText, message)
        .at(Place::file(log.display().to_string()))
        .hint("rename it, or look without --start")
        .into())
}

/// A log's path as seen from a folder; from the root when the two have nothing in common.
fn seen_from(folder: &Path, log: &Path) -> String {
    let here = if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    };
    let whole = |path: &Path| std::path::absolute(path).map(|path| plain(&path));
    let (Ok(from), Ok(to)) = (whole(here), whole(log)) else {
        return written(log);
    };
    let common = from
        .components()
        .zip(to.components())
        .take_while(|(a, b)| a == b)
        .count();
    if common <= 1 {
        return written(&to);
    }
    let up = from.components().skip(common).map(|_| Path::new(".."));
    let down = to.components().skip(common);
    written(
        &up.chain(down.clone().map(|part| Path::new(part.as_os_str())))
            .collect::<PathBuf>(),
    )
}

/// A path without `.` and `..`.
fn plain(path: &Path) -> PathBuf {
    let mut out = PathBuf::new();
    for part in path.components() {
        match part {
            std::path::Component::ParentDir => {
                out.pop();
            }
            std::path::Component::CurDir => {}
            other => out.push(other),
        }
    }
    out
}

/// A path with slashes, which all systems read.
fn written(path: &Path) -> String {
    path.display().to_string().replace('\\', "/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logs_are_named_from_the_folder_of_the_firing_file() {
        let from = |folder: &str, log: &str| seen_from(Path::new(folder), Path::new(log));
        assert_eq!(from("", "stand.csv"), "stand.csv");
        assert_eq!(from("a", "a/stand.csv"), "stand.csv");
        assert_eq!(from("a/b", "a/logs/./stand.csv"), "../logs/stand.csv");
        assert_eq!(from("/tmp/x", "/var/stand.csv"), "/var/stand.csv");
    }
}
