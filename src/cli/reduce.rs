//! `burnwright reduce`: read each firing, reduce it, write the results, print the summary.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use burnwright::{Code, Diagnostic, Error, Place, Reduction, Report, read_firing, reduce_watched};

use super::busy::Busy;
use super::each::each;
use super::{Common, ReduceArgs, ended, output, terminal, written};

/// What is left to say of a firing whose results are written.
struct Done {
    /// For stdout.
    says: String,
    page: PathBuf,
    every_finding_holds: bool,
}

pub(super) fn run(args: &ReduceArgs, common: &Common) -> Result<ExitCode, Error> {
    let folders = folders(args)?;
    let many = folders.len() > 1;
    let what = if many { "firings" } else { "steps of the fit" };
    let busy = Busy::new(common.quiet || common.json, what);
    let steps = |done, of| {
        if !many {
            busy.at(done, of);
        }
    };
    let reduced = each(
        &folders,
        |(file, folder)| one(file, folder, common, &steps),
        |done| {
            if many {
                busy.at(done, folders.len());
            }
        },
    );
    drop(busy);
    let mut problems = Vec::new();
    let mut all_hold = true;
    let mut json = Vec::new();
    for (result, (file, _)) in reduced.into_iter().zip(&folders) {
        match result {
            Ok(done) => {
                all_hold &= done.every_finding_holds;
                if common.json {
                    json.push(done.says);
                } else if !common.quiet {
                    let mut says = done.says;
                    if many {
                        says = format!("\n{}\n{says}", file.display());
                    }
                    if let Err(why) = terminal::result(&says) {
                        problems.extend(why);
                    }
                    written(&done.page);
                }
            }
            Err(why) => problems.extend(why),
        }
    }
    let printed = match json.as_slice() {
        [] => Ok(()),
        [one] if !many => terminal::result(one),
        all => terminal::result(&format!("[\n{}\n]\n", joined(all))),
    };
    // What was wrong with other firings is told even when nothing can be printed.
    problems.extend(printed.err().into_iter().flatten());
    Error::if_any(problems)?;
    Ok(ended(args.strict, all_hold))
}

fn one(
    file: &Path,
    folder: &Path,
    common: &Common,
    steps: &(dyn Fn(usize, usize) + Sync),
) -> Result<Done, Error> {
    let reduction = reduce_watched(&read_firing(file)?, steps)?;
    let files = reduction.files();
    output::write_instead(folder, &files, Reduction::FILES)?;
    let says = if common.json {
        reduction.json()
    } else {
        reduction.text(terminal::screen())
    };
    Ok(Done {
        says,
        page: folder.join(files.first().map_or("", |page| &page.path)),
        every_finding_holds: reduction.result.every_finding_holds(),
    })
}

fn joined(all: &[String]) -> String {
    let each: Vec<&str> = all.iter().map(|one| one.trim_end()).collect();
    each.join(",\n")
}

/// Each firing file with the folder of its results. Two firings never share one.
fn folders(args: &ReduceArgs) -> Result<Vec<(PathBuf, PathBuf)>, Error> {
    if let [file] = args.firings.as_slice() {
        let folder = args.out.clone().unwrap_or_else(|| beside(file, "reduced"));
        return Ok(vec![(file.clone(), folder)]);
    }
    let mut out: Vec<(PathBuf, PathBuf)> = Vec::new();
    for file in &args.firings {
        let alone = args
            .firings
            .iter()
            .filter(|other| other.parent() == file.parent());
        let name = if alone.count() == 1 {
            "reduced".to_owned()
        } else {
            let stem = file.file_stem().unwrap_or_default();
            format!("reduced-{}", stem.to_string_lossy())
        };
        let folder = match &args.out {
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

fn beside(firing: &Path, name: &str) -> PathBuf {
    firing.parent().unwrap_or(Path::new("")).join(name)
}

/// The folder of a firing by its own name.
fn under(firing: &Path) -> PathBuf {
    let folder = firing.parent().and_then(Path::file_name);
    folder.map_or_else(PathBuf::new, PathBuf::from)
}
