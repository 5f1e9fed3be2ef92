//! `burnwright watch`: a log that grows, or a serial port, on a page and in one line; the verdict at burnout, then the report.
//!
//! A loop of ten milliseconds reads what was added, asks for the verdict when a push is over, and puts the newest state up. What
//! takes longer runs beside it, one at a time.

mod port;

use std::fs::File;
use std::io::{IsTerminal, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitCode, Stdio};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;
use std::time::{Duration, Instant};

use burnwright::{
    Code, Diagnostic, Error, Firing, Outcome, Phase, Place, ReadyOptions, Reduction, Report, Told,
    Watch, first_verdict, read_firing, ready, reduce, served, watch_page,
};
use clap::Args;
use serde_json::json;

use super::desk::{PageArgs, result_file};
use super::serve::{Answer, Events, Kind, Method, Reply, Request, Status};
use super::{Common, output, terminal};

/// Between two looks at the log, and between two states put up.
const LOOK: Duration = Duration::from_millis(10);
const PUT: Duration = Duration::from_millis(33);
/// Bytes read in one look: a log that was there already comes in pieces.
const MOST_AT_ONCE: u64 = 1 << 22;
/// Between two drawings of the terminal's line.
const LINE: Duration = Duration::from_millis(200);
/// A verdict that does not hold is asked for again after so much more of the log, until so long after burnout, s.
const AGAIN_S: f64 = 0.3;
const SETTLED_S: f64 = 1.5;
/// The full reduction comes when the log has been still for so long, or so long after burnout.
const STILL: Duration = Duration::from_secs(2);
const LATEST: Duration = Duration::from_secs(15);
/// Rest that `ready` judges, s.
const REST_S: f64 = 10.0;

#[derive(Args)]
pub(in crate::cli) struct WatchArgs {
    /// The firing file; the log that its load cells are on is watched
    #[arg(value_name = "FIRING.toml")]
    firing: PathBuf,
    /// A serial port, whose bytes are added to that log as they come
    #[arg(long, value_name = "DEVICE", help_heading = "Serial port")]
    port: Option<PathBuf>,
    /// Its speed
    #[arg(
        long,
        value_name = "N",
        default_value_t = 115_200,
        requires = "port",
        help_heading = "Serial port"
    )]
    baud: u32,
    /// Folder for the results of the full reduction [default: `reduced` beside the firing file]
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    out: Option<PathBuf>,
    #[command(flatten)]
    page: PageArgs,
    /// Only add the port's bytes to this file
    #[arg(long, hide = true, requires = "port")]
    keep: Option<PathBuf>,
}

pub(super) fn run(args: &WatchArgs, common: &Common) -> Result<ExitCode, Error> {
    if let (Some(port), Some(file)) = (&args.port, &args.keep) {
        port::keep(port, args.baud, file)?;
        return Ok(ExitCode::SUCCESS);
    }
    let firing = read_firing(&args.firing)?;
    let watch = Watch::new(&firing)?;
    let keeper = args
        .port
        .as_ref()
        .map(|port| keeper(port, args, watch.path()))
        .transpose()?;
    let events = Arc::new(Events::default());
    let results = args
        .out
        .clone()
        .unwrap_or_else(|| args.firing.with_file_name("reduced"));
    let site = Site {
        page: watch_page(&firing.title, &watch.path().display().to_string()),
        events: Arc::clone(&events),
        results: results.clone(),
    };
    let server = args.page.server(common)?;
    thread::spawn(move || server.run(&site));
    Watcher {
        keeper,
        results,
        quiet: common.quiet,
        ..Watcher::new(&args.firing, firing, watch, events)
    }
    .run()
}

/// A process that keeps the port. It is no part of the terminal's group: Ctrl-C does not tear it from a write; it ends when the
/// pipe to it does.
fn keeper(port: &Path, args: &WatchArgs, file: &Path) -> Result<Child, Error> {
    let program = std::env::current_exe().unwrap_or_else(|_| PathBuf::from("burnwright"));
    let mut command = Command::new(program);
    command
        .arg("watch")
        .arg(&args.firing)
        .arg("--port")
        .arg(port);
    command
        .arg("--baud")
        .arg(args.baud.to_string())
        .arg("--keep")
        .arg(file);
    command.stdin(Stdio::piped());
    #[cfg(unix)]
    std::os::unix::process::CommandExt::process_group(&mut command, 0);
    let failed = |why| {
        let says = format!("the port cannot be kept: {why}");
        Error::from(
            Diagnostic::error(Code::Unreadable, says).at(Place::file(port.display().to_string())),
        )
    };
    command.spawn().map_err(failed)
}

struct Site {
    page: String,
    events: Arc<Events>,
    results: PathBuf,
}

impl Answer for Site {
    fn answer(&self, request: &Request) -> Reply {
        match (request.method, request.path.as_str()) {
            (Method::Get, "/") => Reply::of(Kind::Page, self.page.as_str()),
            (Method::Get, "/events") => Reply::Stream(Arc::clone(&self.events)),
            (Method::Get, path) => match served(path) {
                Some(text) if path.ends_with(".css") => Reply::of(Kind::Style, text),
                Some(text) => Reply::of(Kind::Script, text),
                None => result_file(&self.results, path),
            },
            (Method::Post, _) => Reply::refusal(Status::NotFound, "this page only reads"),
        }
    }
}

/// What work beside the loop brings.
enum Found {
    Verdict(Result<Box<Reduction>, Error>),
    Full(Result<Told, Error>),
    Rest(Vec<String>),
}

struct Watcher {
    path: PathBuf,
    results: PathBuf,
    firing: Firing,
    watch: Watch,
    keeper: Option<Child>,
    events: Arc<Events>,
    quiet: bool,
    file: Option<File>,
    read: u64,
    grown: Instant,
    found: (Sender<Found>, Receiver<Found>),
    working: bool,
    /// End of the push that the verdict was asked of, and how far the log was then, s.
    asked_s: Option<(f64, f64)>,
    asked: Instant,
    full: bool,
    rest: bool,
    told: Option<Told>,
    report: Option<String>,
    at_rest: Vec<String>,
    problem: Option<String>,
    phase: Phase,
}

impl Watcher {
    fn new(path: &Path, firing: Firing, watch: Watch, events: Arc<Events>) -> Self {
        Self {
            path: path.to_owned(),
            results: PathBuf::new(),
            firing,
            watch,
            keeper: None,
            events,
            quiet: false,
            file: None,
            read: 0,
            grown: Instant::now(),
            found: channel(),
            working: false,
            asked_s: None,
            asked: Instant::now(),
            full: false,
            rest: false,
            told: None,
            report: None,
            at_rest: Vec::new(),
            problem: None,
            phase: Phase::Waiting,
        }
    }

    fn run(mut self) -> Result<ExitCode, Error> {
        let (mut put, mut line) = (Instant::now(), Instant::now());
        let mut newer = false;
        self.put();
        loop {
            let grew = self.read_on()?;
            let news = self.hear() | (self.watch.now().phase != self.phase);
            if self.watch.now().phase != self.phase {
                self.phase = self.watch.now().phase;
                self.say(self.phase.word());
            }
            self.ask();
            self.ports()?;
            newer |= grew;
            if news || newer && put.elapsed() >= PUT {
                self.put();
                (put, newer) = (Instant::now(), false);
            }
            if grew && line.elapsed() >= LINE {
                self.line();
                line = Instant::now();
            }
            thread::sleep(LOOK);
        }
    }

    /// Reads what was added to the log; one that became shorter is another.
    fn read_on(&mut self) -> Result<bool, Error> {
        if self.file.is_none() {
            self.file = File::open(self.watch.path()).ok();
        }
        let Some(file) = &mut self.file else {
            return Ok(false);
        };
        let length = file.metadata().map_or(0, |about| about.len());
        if length < self.read {
            self.read = 0;
            self.watch = Watch::new(&self.firing)?;
            (self.asked_s, self.full, self.told, self.report) = (None, false, None, None);
        }
        if length == self.read {
            return Ok(false);
        }
        let mut bytes = Vec::new();
        let read = file.seek(SeekFrom::Start(self.read)).and_then(|_| {
            file.take((length - self.read).min(MOST_AT_ONCE))
                .read_to_end(&mut bytes)
        });
        let Ok(read) = read else { return Ok(false) };
        self.read += read as u64;
        self.grown = Instant::now();
        self.watch.feed(&bytes)?;
        Ok(read > 0)
    }

    /// The log as far as it was read.
    fn bytes(&self) -> Arc<[u8]> {
        let mut bytes = Vec::new();
        let file = File::open(self.watch.path());
        // A log that cannot be read any more has no rows, which the verdict says.
        let _ = file.and_then(|file| file.take(self.read).read_to_end(&mut bytes));
        bytes.into()
    }

    /// Asks for what is due, one thing at a time.
    fn ask(&mut self) {
        let now = self.watch.now().clone();
        if self.working {
            return;
        }
        let over_s = now
            .end_s
            .or((now.phase == Phase::NoThrust).then_some(now.time_s));
        let over_s = if now.phase == Phase::NoThrust {
            self.asked_s.map(|one| one.0).or(over_s)
        } else {
            over_s
        };
        let Some(end_s) = over_s.filter(|_| now.phase != Phase::Burning) else {
            if !self.rest && now.phase == Phase::AtRest && now.time_s > REST_S {
                // It does not stand in the way of a verdict.
                self.rest = true;
                let (firing, path) = (self.firing.clone(), self.watch.path().to_owned());
                self.beside(move || Found::Rest(rest(&firing, path)));
            }
            return;
        };
        let again = match self.asked_s {
            Some((asked_end, at_s)) if asked_end == end_s => {
                let holds = self
                    .told
                    .as_ref()
                    .is_some_and(|told| told.outcome == Outcome::Holds);
                !holds && now.time_s >= at_s + AGAIN_S && at_s < end_s + SETTLED_S
            }
            _ => {
                (self.asked, self.full) = (Instant::now(), false);
                true
            }
        };
        if again {
            (self.asked_s, self.working) = (Some((end_s, now.time_s)), true);
            let (firing, log, bytes) = (
                self.firing.clone(),
                self.watch.log().to_owned(),
                self.bytes(),
            );
            self.beside(move || Found::Verdict(first_verdict(&firing, &log, &bytes).map(Box::new)));
        } else if !self.full && (self.grown.elapsed() > STILL || self.asked.elapsed() > LATEST) {
            (self.full, self.working) = (true, true);
            self.report = Some("the full reduction runs".to_owned());
            let (path, results) = (self.path.clone(), self.results.clone());
            self.beside(move || Found::Full(fully(&path, &results)));
        }
    }

    fn beside(&self, work: impl FnOnce() -> Found + Send + 'static) {
        let sender = self.found.0.clone();
        thread::spawn(move || sender.send(work()));
    }

    /// Takes in what was found; whether there was anything.
    fn hear(&mut self) -> bool {
        let Ok(found) = self.found.1.try_recv() else {
            return false;
        };
        self.working &= matches!(found, Found::Rest(_));
        match found {
            Found::Verdict(Ok(reduction)) => {
                self.problem = None;
                // Something that was laid on the cell is no misfire.
                let fired = self.watch.now().fire_s.is_some();
                let meant = reduction.result.burn.is_some() || fired;
                self.tell(
                    meant.then(|| Told::of(&reduction.result)),
                    "no burn in what pushed",
                );
            }
            Found::Verdict(Err(why)) => {
                let says = why
                    .problems()
                    .first()
                    .map_or(String::new(), |one| one.message.clone());
                self.problem = Some(format!("no verdict yet: {says}"));
            }
            Found::Full(Ok(told)) => {
                self.report = Some("written".to_owned());
                self.say(&format!(
                    "the full reduction is in {}",
                    self.results.display()
                ));
                self.tell(Some(told), "");
            }
            Found::Full(Err(why)) => {
                let says = why
                    .problems()
                    .first()
                    .map_or(String::new(), |one| one.message.clone());
                let says = format!("the full reduction has to wait: {says}");
                self.say(&says);
                self.report = Some(says);
            }
            Found::Rest(found) => self.at_rest = found,
        }
        true
    }

    fn tell(&mut self, told: Option<Told>, nothing: &str) {
        if told != self.told || told.is_none() {
            match &told {
                Some(one) => {
                    let parts = [
                        Some(&one.verdict),
                        one.delivered.as_ref(),
                        one.danger.as_ref(),
                        one.caution.as_ref(),
                    ];
                    let words: Vec<&str> =
                        parts.into_iter().flatten().map(String::as_str).collect();
                    self.say(&words.join(" "));
                }
                None => self.say(nothing),
            }
        }
        self.told = told;
    }

    /// A port that cannot be kept is told at once.
    fn ports(&mut self) -> Result<(), Error> {
        match self.keeper.as_mut().map(Child::try_wait) {
            Some(Ok(Some(_))) => Err(Diagnostic::error(
                Code::Unreadable,
                "the port is kept no longer",
            )
            .hint("what came is in the log")
            .into()),
            _ => Ok(()),
        }
    }

    /// Puts the newest state up.
    fn put(&mut self) {
        let range = self.watch.range_n();
        let now = self.watch.now();
        let told = self.told.as_ref().map(|told| {
            json!({
                "outcome": told.outcome.word(), "verdict": told.verdict, "delivered": told.delivered,
                "danger": told.danger, "caution": told.caution,
            })
        });
        let state = json!({
            "phase": now.phase.word(), "time_s": now.time_s, "thrust_n": now.thrust_n, "peak_n": now.onset_s.map(|_| now.peak_n),
            "range_n": range, "tilt_deg": self.watch.tilt_deg(), "told": told, "report": self.report, "ready": self.at_rest,
            "problem": self.problem,
        });
        self.events.put(state.to_string());
    }

    /// A line that stays, on stdout.
    fn say(&self, words: &str) {
        if !self.quiet {
            let clear = if std::io::stderr().is_terminal() {
                "\r\u{1b}[K"
            } else {
                ""
            };
            // A terminal that has gone ends the program by itself.
            let _ = terminal::result(&format!(
                "{clear}{:.3} s  {words}\n",
                self.watch.now().time_s
            ));
        }
    }

    /// The line that is drawn over and over, on a terminal only.
    fn line(&self) {
        if self.quiet || !std::io::stderr().is_terminal() {
            return;
        }
        let now = self.watch.now();
        let thrust = now
            .thrust_n
            .map_or(String::new(), |thrust_n| format!("  {thrust_n:.1} N"));
        let tilts: String = self
            .watch
            .tilt_deg()
            .iter()
            .map(|(name, deg)| format!("  {name} {deg:.2} deg"))
            .collect();
        terminal::message(&format!(
            "\r\u{1b}[K{:.1} s  {}{thrust}{tilts}",
            now.time_s,
            now.phase.word()
        ));
    }
}

/// What does not hold of the stand at rest.
fn rest(firing: &Firing, log: PathBuf) -> Vec<String> {
    let options = ReadyOptions {
        rest: vec![log],
        ..ReadyOptions::default()
    };
    let Ok(found) = ready(firing, &options) else {
        return vec![];
    };
    let all = || {
        found
            .findings
            .iter()
            .flat_map(|(about, findings)| findings.iter().map(move |one| (about, one)))
    };
    let fails = all().filter(|(_, one)| one.outcome == Outcome::Fails);
    let mut out: Vec<String> = fails
        .map(|(about, one)| format!("fails, {about}: {}", one.claim))
        .collect();
    let open = all()
        .filter(|(_, one)| one.outcome == Outcome::Undecided)
        .count();
    out.push(format!("{open} findings are undecided without more than rest: burnwright ready. None of this is a permission."));
    out
}

/// What `burnwright reduce` does.
fn fully(path: &Path, results: &Path) -> Result<Told, Error> {
    let reduction = reduce(&read_firing(path)?)?;
    output::write_instead(results, &reduction.files(), Reduction::FILES)?;
    Ok(Told::of(&reduction.result))
}
