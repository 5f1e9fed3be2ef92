//! `burnwright reduce`: read each firing, reduce it, write the results, print the summary.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use burnwright::{
    Code, Diagnostic, Error, FiringResult, Place, Reduction, Report, Units, each, overview,
    read_firing, reduce_watched,
};

use super::busy::Busy;
use super::terminal::UnitsArg;
use super::{Common, ReduceArgs, ended, output, terminal, written, wrong_command_line};

/// The firing file that is taken when none is named.
const USUAL_FILE: &str = "firing.toml";

/// What is left to say of a firing whose results are written.
pub(super) struct Done {
    /// For stdout, unless it is told with others.
    says: String,
    pub(super) result: FiringResult,
    files: Vec<String>,
}

pub(super) fn run(args: &ReduceArgs, common: &Common) -> Result<ExitCode, Error> {
    let firings = named_or_usual(&args.firings);
    let folders = folders(&firings, args.out.as_deref())?;
    let many = folders.len() > 1;
    let picture = wanted_picture(args);
    if many && picture.is_some() {
        let kind = clap::error::ErrorKind::ArgumentConflict;
        wrong_command_line(
            "reduce",
            kind,
            "--picture shows one firing, and several are named",
        );
    }
    let what = if many { "firings" } else { "steps of the fit" };
    let busy = Busy::new(common.quiet || common.json, what);
    let steps = |done, of| {
        if !many {
            busy.at(done, of);
        }
    };
    let reduced = each(
        &folders,
        |(file, folder)| one(file, folder, picture, common, &steps),
        |done| {
            if many {
                busy.at(done, folders.len());
            }
        },
    );
    drop(busy);
    let mut problems = Vec::new();
    let mut finished = Vec::new();
    for (result, (file, folder)) in reduced.into_iter().zip(&folders) {
        match result {
            Ok(done) => finished.push((file, folder, done)),
            Err(why) => problems.extend(why),
        }
    }
    let all: Vec<(&Path, &Done)> = finished
        .iter()
        .map(|(file, _, done)| (file.as_path(), done))
        .collect();
    let printed = if common.quiet && !common.json || all.is_empty() {
        Ok(())
    } else {
        terminal::result(&told(&all, many, common))
    };
    if !common.json && !common.quiet {
        for (_, folder, done) in &finished {
            let names: Vec<&str> = done.files.iter().map(String::as_str).collect();
            if let Some((page, others)) = names.split_first() {
                written(&folder.join(page), others);
            }
        }
        if let (Some(file), false) = (picture, finished.is_empty()) {
            written(file, &[]);
        }
    }
    // What was wrong with other firings is told even when nothing can be printed.
    problems.extend(printed.err().into_iter().flatten());
    Error::if_any(problems)?;
    let mut results = finished.iter().map(|(.., done)| &done.result);
    let all_hold = results.all(FiringResult::every_finding_holds);
    Ok(ended(args.strict, all_hold))
}

/// What is printed of all that could be reduced.
fn told(all: &[(&Path, &Done)], many: bool, common: &Common) -> String {
    let says = all.iter().map(|(_, done)| done.says.as_str());
    if !many {
        return says.collect();
    }
    if common.json {
        let each: Vec<&str> = says.map(str::trim_end).collect();
        return format!("[\n{}\n]\n", each.join(",\n"));
    }
    if common.full {
        let headed = |(file, done): &(&Path, &Done)| format!("\n{}\n{}", file.display(), done.says);
        return all.iter().map(headed).collect();
    }
    let results: Vec<FiringResult> = all.iter().map(|(_, done)| done.result.clone()).collect();
    overview(&results, terminal::screen(false, terminal::units(common)))
}

/// The firings that are named; when none is, that of this folder.
fn named_or_usual(named: &[PathBuf]) -> Vec<PathBuf> {
    if !named.is_empty() {
        return named.to_vec();
    }
    let usual = PathBuf::from(USUAL_FILE);
    if !usual.exists() {
        let says = format!(
            "no firing file is named, and there is no {USUAL_FILE} in this folder\n\n  \
             name one, or begin one with `burnwright look LOG.csv --start {USUAL_FILE}`"
        );
        let kind = clap::error::ErrorKind::MissingRequiredArgument;
        wrong_command_line("reduce", kind, &says);
    }
    vec![usual]
}

/// A file that a picture can be written to.
#[cfg(feature = "report")]
pub(super) fn picture_file(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    let known = burnwright::PictureFormat::of(&path).is_some();
    known
        .then_some(path)
        .ok_or_else(|| "a picture is a .png or an .svg file".to_owned())
}

#[cfg(feature = "report")]
fn wanted_picture(args: &ReduceArgs) -> Option<&Path> {
    args.picture.as_deref()
}

#[cfg(not(feature = "report"))]
const fn wanted_picture(_: &ReduceArgs) -> Option<&Path> {
    None
}

/// Draws the firing into a file.
#[cfg(feature = "report")]
fn draw(reduction: &Reduction, target: &Path, units: Units) -> Result<(), Error> {
    let format = burnwright::PictureFormat::of(target);
    let bytes = format.and_then(|format| burnwright::picture(reduction, format, units));
    let bytes = bytes.ok_or_else(|| {
        Diagnostic::error(Code::CannotWrite, "the picture cannot be drawn")
            .at(Place::file(target.display().to_string()))
    })?;
    output::write_in_place(target, &bytes)
}

#[cfg(not(feature = "report"))]
fn draw(_: &Reduction, _: &Path, _: Units) -> Result<(), Error> {
    Ok(())
}

/// Reduces one firing and writes what comes of it into its folder.
pub(super) fn one(
    file: &Path,
    folder: &Path,
    picture: Option<&Path>,
    common: &Common,
    steps: &(dyn Fn(usize, usize) + Sync),
) -> Result<Done, Error> {
    let firing = read_firing(file)?;
    let units = common.units.map_or(firing.units, UnitsArg::units);
    let reduction = reduce_watched(&firing, steps)?;
    let files = reduction.files_in(units);
    output::write_instead(folder, &files, Reduction::FILES)?;
    if let Some(target) = picture {
        draw(&reduction, target, units)?;
    }
    let says = if common.json {
        reduction.json()
    } else {
        reduction.text(terminal::screen(common.full, units))
    };
    Ok(Done {
        says,
        result: reduction.result,
        files: files.into_iter().map(|file| file.path).collect(),
    })
}

/// Each firing file with the folder of its results. Two firings never share one.
fn folders(
    firings: &[PathBuf],
    out_folder: Option<&Path>,
) -> Result<Vec<(PathBuf, PathBuf)>, Error> {
    if let [file] = firings {
        let folder = out_folder.map_or_else(|| own_folder(file), Path::to_owned);
        return Ok(vec![(file.clone(), folder)]);
    }
    let mut out: Vec<(PathBuf, PathBuf)> = Vec::new();
    for file in firings {
        let alone = firings
            .iter()
            .filter(|other| other.parent() == file.parent());
        let name = if alone.count() == 1 {
            "reduced".to_owned()
        } else {
            let stem = file.file_stem().unwrap_or_default();
            format!("reduced-{}", stem.to_string_lossy())
        };
        let folder = match out_folder {
            Some(out) => out.join(under(file)).join(name),
            None => beside(file, &name),
        };
        if out.iter().any(|(_, known)| *known == folder) {
            return Err(Diagnostic::error(
                Code::SameFolder,
                "two firings would write to one folder",
            )
            .at(Place::file(folder.display().to_string()))
            .hint("name each firing once, or reduce them one by one with --out DIR")
            .into());
        }
        out.push((file.clone(), folder));
    }
    Ok(out)
}

/// `reduced` beside the firing file, or one named after it where `reduced` holds the results of another.
pub(super) fn own_folder(file: &Path) -> PathBuf {
    let usual = beside(file, "reduced");
    let text = std::fs::read_to_string(usual.join("result.json"));
    let held = text
        .ok()
        .and_then(|text| serde_json::from_str::<FiringResult>(&text).ok());
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    let another = held.is_some_and(|held| !held.firing.is_empty() && held.firing != name);
    if another {
        beside(
            file,
            &format!(
                "reduced-{}",
                file.file_stem().unwrap_or_default().to_string_lossy()
            ),
        )
    } else {
        usual
    }
}

fn beside(firing: &Path, name: &str) -> PathBuf {
    firing.parent().unwrap_or(Path::new("")).join(name)
}

/// The folder of a firing by its own name.
fn under(firing: &Path) -> PathBuf {
    let folder = firing.parent().and_then(Path::file_name);
    folder.map_or_else(PathBuf::new, PathBuf::from)
}
