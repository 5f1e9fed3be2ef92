//! `burnwright desk`: files are dropped on a page, a firing file is filled in, reduced, and its report opens.
//!
//! Everything stands in one folder that `burnwright reduce` reads as it is; the page does nothing that the terminal could not.

mod folder;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;

use burnwright::{
    Desk, DeskWork, Error, Reduction, Report, Told, desk_page, desk_part, read_firing,
    reduce_watched, served, set_key, table_copied,
};
use clap::Args;
use serde::Deserialize;

use super::serve::{Answer, Kind, Method, Reply, Request, Server, Status};
use super::{Common, output, terminal};
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

/// How a page is served.
#[derive(Args)]
pub(super) struct PageArgs {
    /// Port of this machine to serve the page on [default: any that is free]
    #[arg(
        long,
        value_name = "N",
        default_value_t = 0,
        hide_default_value = true,
        help_heading = "Page"
    )]
    http_port: u16,
    /// Do not open a browser
    #[arg(long, help_heading = "Page")]
    no_browser: bool,
}

impl PageArgs {
    /// Listens, says where, and opens a browser there.
    pub(super) fn server(&self, common: &Common) -> Result<Server, Error> {
        let server = Server::bind(self.http_port)?;
        terminal::message(&format!("open {}\n", server.address()));
        if !self.no_browser && !folder::open_browser(&server.address()) && !common.quiet {
            terminal::message("no browser could be opened here: open that address yourself\n");
        }
        Ok(server)
    }
}

pub(super) fn run(args: &DeskArgs, common: &Common) -> Result<ExitCode, Error> {
    let site = Site {
        folder: Folder::open(args.folder.as_deref(), args.motors.as_deref())?,
        work: Arc::default(),
    };
    if !common.quiet {
        let says = format!(
            "files are kept in {}\nCtrl-C, or closing this terminal, ends it\n",
            site.folder.shown()
        );
        terminal::message(&says);
    }
    args.page.server(common)?.run(&site);
    Ok(ExitCode::SUCCESS)
}

/// The reduction, with the text it was made of.
#[derive(Default)]
struct Work {
    state: DeskWork,
    of: String,
}

/// What answers.
struct Site {
    folder: Folder,
    work: Arc<Mutex<Work>>,
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
            (Method::Get, path) => return self.file(path),
            (Method::Post, "/reduce") => self.begin_reduction(),
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

fn locked(work: &Mutex<Work>) -> MutexGuard<'_, Work> {
    work.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Site {
    fn desk(&self) -> Desk {
        let mut desk = self.folder.desk();
        let work = locked(&self.work);
        desk.work = match &work.state {
            DeskWork::Done(told, _) => DeskWork::Done(told.clone(), work.of != desk.revision),
            other => other.clone(),
        };
        desk
    }

    /// What can be fetched: look and scripts, and the files of a reduction, each by its own fixed name.
    fn file(&self, path: &str) -> Reply {
        if let Some(text) = served(path) {
            let kind = if path.ends_with(".css") {
                Kind::Style
            } else {
                Kind::Script
            };
            return Reply::of(kind, text);
        }
        result_file(&self.folder.results(), path)
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
            _ => return Err((Status::NotFound, "there is no such thing here".to_owned())),
        };
        self.folder.keep(&new)
    }

    /// Reduces beside the page, which asks how far it is.
    fn begin_reduction(&self) -> Result<(), Refused> {
        let mut work = locked(&self.work);
        if matches!(work.state, DeskWork::Busy(..)) {
            return Ok(());
        }
        let text = self.folder.text().unwrap_or_default();
        self.folder.may_open(&text)?;
        *work = Work {
            state: DeskWork::Busy(0, 0),
            of: folder::revision(&text),
        };
        drop(work);
        let (work, results) = (Arc::clone(&self.work), self.folder.results());
        thread::spawn(move || {
            let inner = Arc::clone(&work);
            let state = thread::spawn(move || reduced(&inner, &results)).join();
            locked(&work).state = state.unwrap_or_else(|_| {
                DeskWork::Failed(
                    "the reduction broke off, which is a mistake of this program".to_owned(),
                )
            });
        });
        Ok(())
    }
}

fn reduced(work: &Mutex<Work>, results: &Path) -> DeskWork {
    let steps = |done, of| locked(work).state = DeskWork::Busy(done, of);
    let reduction = read_firing(FIRING.as_ref()).and_then(|firing| reduce_watched(&firing, &steps));
    let written = reduction.and_then(|reduction| {
        output::write_instead(results, &reduction.files(), Reduction::FILES)?;
        Ok(Told::of(&reduction.result))
    });
    match written {
        Ok(told) => DeskWork::Done(told, false),
        Err(why) => DeskWork::Failed(why.render()),
    }
}

/// A file of a reduction by its fixed name.
pub(super) fn result_file(folder: &Path, path: &str) -> Reply {
    let named = path.strip_prefix("/reduced/");
    let name = named.and_then(|name| Reduction::FILES.iter().find(|one| **one == name));
    let file = name
        .map(|name| folder.join(name))
        .filter(|file| folder::is_plain(file));
    match file.and_then(|file| Some((std::fs::read(&file).ok()?, file))) {
        Some((bytes, file)) if file.extension().is_some_and(|ending| ending == "html") => {
            Reply::of(Kind::Report, bytes)
        }
        Some((bytes, _)) => Reply::of(Kind::Text, bytes),
        None => Reply::refusal(Status::NotFound, "there is no such thing here"),
    }
}
