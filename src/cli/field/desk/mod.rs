//! `burnwright desk`: files are dropped on a page, a firing file is filled in, reduced, and its report opens.
//!
//! Everything stands in one folder that `burnwright reduce` reads as it is; the page does nothing that the terminal could not.
//! Commands other than `reduce` are given to this same program as a terminal gives them.

mod folder;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::{Command, ExitCode, Stdio};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::SystemTime;

use burnwright::{
    Desk, DeskCommand, DeskDone, DeskTask, DeskWork, Error, desk_page, desk_part, set_key,
    table_copied,
};
use clap::Args;
use serde::Deserialize;

use super::serve::{Answer, Kind, Method, Reply, Request, Status};
use super::{Common, PageArgs, fetched, reduce, reduced, terminal};
use folder::{FIRING, Folder};

#[derive(Args)]
pub(in crate::cli) struct DeskArgs {
    /// The folder to work in, made where there is none [default: a private temporary one, which stays]
    #[arg(value_name = "FOLDER")]
    folder: Option<PathBuf>,
    /// Folder of certified motors to choose from [default: motor-curves in this folder]
    #[arg(long, value_name = "DIR")]
    motors: Option<PathBuf>,
    #[command(flatten)]
    page: PageArgs,
}

pub(super) fn run(args: &DeskArgs, common: &Common) -> Result<ExitCode, Error> {
    let folder = Folder::open(args.folder.as_deref(), args.motors.as_deref())?;
    if !common.quiet {
        let says = format!(
            "files are kept in {}\nCtrl-C, or closing this terminal, ends it\n",
            folder.shown()
        );
        terminal::message(&says);
    }
    let site = Site {
        folder,
        works: Works::default(),
    };
    args.page.server(common)?.run(&site);
    Ok(ExitCode::SUCCESS)
}

/// How far each command is that was given, with the text of the firing file that it was given on.
type Works = Arc<Mutex<BTreeMap<String, (DeskWork, String)>>>;

/// What answers.
struct Site {
    folder: Folder,
    works: Works,
}

/// What a page sends with a change.
#[derive(Deserialize)]
struct Change {
    /// The text that it was made on.
    revision: String,
    #[serde(default)]
    at: String,
    #[serde(default)]
    value: String,
}

impl Answer for Site {
    fn answer(&self, request: &Request) -> Reply {
        let done = match (request.method, request.path.as_str()) {
            (Method::Get, "/") => return Reply::of(Kind::Page, desk_page(&self.desk())),
            (Method::Get, "/part") => Ok(()),
            (Method::Get, path) => return fetched(path, &reduce::own_folder(FIRING.as_ref())),
            (Method::Post, path) => match path.strip_prefix("/drop/") {
                Some(name) => self.folder.take(name, &request.body),
                None => self.change(path, &request.body),
            },
        };
        match done {
            Ok(()) => Reply::of(Kind::Page, desk_part(&self.desk())),
            Err((status, says)) => Reply::refusal(status, says),
        }
    }
}

/// Why something was not done.
type Refused = (Status, String);

fn refused(says: impl Into<String>) -> Refused {
    (Status::BadRequest, says.into())
}

fn locked<T>(works: &Mutex<T>) -> MutexGuard<'_, T> {
    works.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Site {
    fn desk(&self) -> Desk {
        let mut desk = self.folder.desk();
        let works = locked(&self.works);
        for task in &mut desk.tasks {
            if let Some((work, of)) = works.get(&task.command()) {
                task.work = work.clone();
                if let DeskWork::Done(done) = &mut task.work {
                    done.stale = *of != desk.revision;
                }
            }
        }
        desk
    }

    fn change(&self, path: &str, body: &[u8]) -> Result<(), Refused> {
        let change: Change = serde_json::from_slice(body)
            .map_err(|_| refused("this is no change that is understood here"))?;
        let text = self.folder.text_of(&change.revision);
        let text = text.ok_or_else(|| {
            let says = "firing.toml was changed elsewhere meanwhile, in another tab or an editor: load this page again";
            (Status::Conflict, says.to_owned())
        })?;
        let new = match path {
            "/text" => change.value,
            "/set" => {
                if change.at.ends_with(".certified") {
                    self.folder.fetch_motor(&change.value)?;
                }
                set_key(&text, &change.at, &change.value).map_err(refused)?
            }
            "/copy" => table_copied(&text, &change.value)
                .ok_or_else(|| refused("there is no such table"))?,
            "/begin" => return self.folder.begin(&text),
            "/run" => return self.begin_work(&change.value, &text),
            _ => return Err((Status::NotFound, "there is no such thing here".to_owned())),
        };
        self.folder.keep(&new)
    }

    /// Gives a command of the page's own list, one at a time, beside the page, which asks how far it is.
    fn begin_work(&self, command: &str, text: &str) -> Result<(), Refused> {
        let desk = self.desk();
        let busy = |task: &DeskTask| matches!(task.work, DeskWork::Busy(..));
        if desk.tasks.iter().any(busy) {
            return Ok(());
        }
        let mut tasks = desk.tasks.into_iter();
        let task = tasks.find(|task| task.command() == command);
        let task = task.filter(|task| !matches!(task.work, DeskWork::Cannot(_)));
        let task = task.ok_or_else(|| refused("this cannot be done now"))?;
        self.folder.may_open(text)?;
        let (works, command, of) = (Arc::clone(&self.works), command.to_owned(), desk.revision);
        let put = move |work| locked(&works).insert(command.clone(), (work, of.clone()));
        let first = task.does == DeskCommand::Reduce;
        if first {
            // What came of the reduction before rests on it.
            locked(&self.works).clear();
        }
        put(DeskWork::Busy(0, 0));
        thread::spawn(move || {
            let work = || {
                if first {
                    reduction(&put)
                } else {
                    as_typed(&task)
                }
            };
            let done = thread::scope(|scope| scope.spawn(work).join());
            let says = "it broke off, which is a mistake of this program";
            put(DeskWork::Done(
                done.unwrap_or_else(|_| failed(says.to_owned())),
            ));
        });
        Ok(())
    }
}

fn failed(says: String) -> DeskDone {
    DeskDone {
        says,
        failed: true,
        ..DeskDone::default()
    }
}

fn reduction<T>(put: &(impl Fn(DeskWork) -> T + Sync)) -> DeskDone {
    let steps = |done, of| drop(put(DeskWork::Busy(done, of)));
    let results = reduce::own_folder(FIRING.as_ref());
    match reduced(FIRING.as_ref(), &results, &steps) {
        Ok(told) => DeskDone {
            told: Some(told),
            opens: Some("/reduced/report.html".to_owned()),
            ..DeskDone::default()
        },
        Err(why) => failed(why.render()),
    }
}

/// Gives this program the command that a terminal in this folder would.
fn as_typed(task: &DeskTask) -> DeskDone {
    let start = SystemTime::now();
    let program = std::env::current_exe().unwrap_or_else(|_| PathBuf::from("burnwright"));
    let mut command = Command::new(program);
    command.args(&task.words).env("COLUMNS", "80");
    let ended = command.stdin(Stdio::null()).output();
    let page = match task.does {
        DeskCommand::Compare => Some(("compared".into(), "/compared/compare.html")),
        DeskCommand::Tune => Some((reduce::own_folder(FIRING.as_ref()), "/reduced/gains.html")),
        _ => None,
    };
    // What compares some firings and not all fails, and has a page.
    let opens = page.and_then(|(folder, address)| {
        let about = folder.join(address.rsplit('/').next()?).metadata();
        (about.ok()?.modified().ok()? >= start).then(|| address.to_owned())
    });
    match ended {
        Ok(ended) => DeskDone {
            says: String::from_utf8_lossy(&[ended.stdout, ended.stderr].concat()).into_owned(),
            failed: !ended.status.success(),
            opens,
            ..DeskDone::default()
        },
        Err(why) => failed(format!("the command cannot be given: {why}")),
    }
}
