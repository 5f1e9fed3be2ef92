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
    Code, Diagnostic, Error, Firing, Outcome, Phase, Place, ReadyOptions, Told, Watch,
    first_verdict, read_firing, ready, watch_page,
};
use clap::Args;
use serde_json::json;

use super::serve::{Answer, Events, Kind, Method, Reply, Request, Status};
use super::{Common, PageArgs, fetched, first_problem, reduce, reduced, terminal};

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
    let keeper = match &args.port {
        Some(port) => Some(keeper(port, args, watch.path())?),
        None => None,
    };
    let results = args.out.clone();
    let results = results.unwrap_or_else(|| reduce::own_folder(&args.firing));
    let events = Arc::new(Events::default());
    let site = Site {
        page: watch_page(&firing.title, &watch.path().display().to_string()),
        events: Arc::clone(&events),
        results: results.clone(),
    };
    let server = args.page.server(common)?;
    thread::spawn(move || server.run(&site));
    Watcher {
        path: args.firing.clone(),
        results,
        firing,
        watch,
        keeper,
        events,
        quiet: common.quiet,
        file: None,
        read: 0,
        grown: Instant::now(),
        found: channel(),
        working: false,
        asked: Instant::now(),
        so_far: SoFar::default(),
    }
    .run()
}

/// A process that keeps the port. It is no part of the terminal's group: Ctrl-C does not tear it from a write; it ends when the
/// pipe to it does.
fn keeper(port: &Path, args: &WatchArgs, file: &Path) -> Result<Child, Error> {
    let program = std::env::current_exe().unwrap_or_else(|_| PathBuf::from("burnwright"));
    let mut command = Command::new(program);
    command.args(["watch".as_ref(), args.firing.as_os_str()]);
    command.args([
        "--port".as_ref(),
        port.as_os_str(),
        "--keep".as_ref(),
        file.as_os_str(),
    ]);
    command.args(["--baud", &args.baud.to_string()]);
    command.stdin(Stdio::piped());
    #[cfg(unix)]
    std::os::unix::process::CommandExt::process_group(&mut command, 0);
    command.spawn().map_err(|why| {
        let says = format!("the port cannot be kept: {why}");
        let place = Place::file(port.display().to_string());
        Diagnostic::error(Code::Unreadable, says).at(place).into()
    })
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
            (Method::Get, path) => fetched(path, &self.results),
            (Method::Post, _) => Reply::refusal(Status::NotFound, "this page only reads"),
        }
    }
}

/// What work beside the loop brings.
enum Found {
    /// With whether there was a burn.
    Verdict(Result<(bool, Told), Error>),
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
    asked: Instant,
    so_far: SoFar,
}

/// What was asked and found of a log so far.
#[derive(Default)]
struct SoFar {
    /// End of the push that the verdict was asked of, and how far the log was then, s.
    asked_s: Option<(f64, f64)>,
    full: bool,
    rest: bool,
    told: Option<Told>,
    report: Option<String>,
    at_rest: Vec<String>,
    problem: Option<String>,
    phase: Phase,
}

impl Watcher {
    fn run(mut self) -> Result<ExitCode, Error> {
        let (mut put, mut line) = (Instant::now(), Instant::now());
        let mut newer = false;
        self.put();
        loop {
            let grew = self.read_on()?;
            let phase = self.watch.now().phase;
            let news = self.hear() | (phase != self.so_far.phase);
            if phase != self.so_far.phase {
                self.so_far.phase = phase;
                self.say(phase.word());
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
            self.so_far = SoFar::default();
        }
        if length == self.read {
            return Ok(false);
        }
        let mut bytes = Vec::new();
        let most = (length - self.read).min(MOST_AT_ONCE);
        let at = file.seek(SeekFrom::Start(self.read));
        let read = at.and_then(|_| file.take(most).read_to_end(&mut bytes));
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
        if self.working {
            return;
        }
        let now = self.watch.now();
        let (phase, time_s) = (now.phase, now.time_s);
        let asked_s = self.so_far.asked_s;
        let over_s = match phase {
            Phase::Burning => None,
            // Asked once, and again as it goes on.
            Phase::NoThrust => Some(asked_s.map_or(now.end_s.unwrap_or(time_s), |one| one.0)),
            _ => now.end_s,
        };
        let Some(end_s) = over_s else {
            if !self.so_far.rest && phase == Phase::AtRest && time_s > REST_S {
                // It does not stand in the way of a verdict.
                self.so_far.rest = true;
                let (firing, path) = (self.firing.clone(), self.watch.path().to_owned());
                self.beside(move || Found::Rest(rest(&firing, path)));
            }
            return;
        };
        let before = self.so_far.asked_s.filter(|asked| asked.0 == end_s);
        let again = before.is_none_or(|(_, at_s)| {
            let outcome = self.so_far.told.as_ref().map(|told| told.outcome);
            outcome != Some(Outcome::Holds) && time_s >= at_s + AGAIN_S && at_s < end_s + SETTLED_S
        });
        if before.is_none() {
            (self.asked, self.so_far.full) = (Instant::now(), false);
        }
        if again {
            (self.so_far.asked_s, self.working) = (Some((end_s, time_s)), true);
            let (firing, log) = (self.firing.clone(), self.watch.log().to_owned());
            let bytes = self.bytes();
            self.beside(move || {
                let found = first_verdict(&firing, &log, &bytes);
                Found::Verdict(found.map(|one| (one.result.burn.is_some(), Told::of(&one.result))))
            });
        } else if !self.so_far.full
            && (self.grown.elapsed() > STILL || self.asked.elapsed() > LATEST)
        {
            (self.so_far.full, self.working) = (true, true);
            self.so_far.report = Some("the full reduction runs".to_owned());
            let (path, results) = (self.path.clone(), self.results.clone());
            self.beside(move || Found::Full(reduced(&path, &results, &|_, _| {})));
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
            Found::Verdict(Ok((burnt, told))) => {
                self.so_far.problem = None;
                // Something that was laid on the cell is no misfire.
                let meant = burnt || self.watch.now().fire_s.is_some();
                self.tell(meant.then_some(told));
            }
            Found::Verdict(Err(why)) => {
                self.so_far.problem = Some(format!("no verdict yet: {}", first_problem(&why)));
            }
            Found::Full(Ok(told)) => {
                self.so_far.report = Some("written".to_owned());
                let folder = self.results.display();
                self.say(&format!("the full reduction is in {folder}"));
                self.tell(Some(told));
            }
            Found::Full(Err(why)) => {
                let says = format!("the full reduction has to wait: {}", first_problem(&why));
                self.say(&says);
                self.so_far.report = Some(says);
            }
            Found::Rest(found) => self.so_far.at_rest = found,
        }
        true
    }

    fn tell(&mut self, told: Option<Told>) {
        match &told {
            Some(_) if told == self.so_far.told => {}
            Some(one) => {
                let mut words = one.verdict.clone();
                for more in [&one.delivered, &one.danger, &one.caution]
                    .into_iter()
                    .flatten()
                {
                    words += &format!(" {more}");
                }
                self.say(&words);
            }
            None => self.say("no burn in what pushed"),
        }
        self.so_far.told = told;
    }

    /// A port that cannot be kept is told at once.
    fn ports(&mut self) -> Result<(), Error> {
        if let Some(Ok(Some(_))) = self.keeper.as_mut().map(Child::try_wait) {
            let lost = Diagnostic::error(Code::Unreadable, "the port is kept no longer");
            return Err(lost.hint("what came is in the log").into());
        }
        Ok(())
    }

    /// Puts the newest state up.
    fn put(&mut self) {
        let range_n = self.watch.range_n();
        let (now, so_far) = (self.watch.now(), &self.so_far);
        let state = json!({
            "phase": now.phase.word(), "time_s": now.time_s, "thrust_n": now.thrust_n, "peak_n": now.onset_s.map(|_| now.peak_n),
            "range_n": range_n, "tilt_deg": self.watch.tilt_deg(), "told": so_far.told, "report": so_far.report, "ready": so_far.at_rest,
            "problem": so_far.problem,
        });
        self.events.put(state.to_string());
    }

    /// A line that stays, on stdout.
    fn say(&self, words: &str) {
        let drawn = std::io::stderr().is_terminal();
        let (clear, time_s) = (if drawn { CLEAR } else { "" }, self.watch.now().time_s);
        if !self.quiet {
            // A terminal that has gone ends the program by itself.
            let _ = terminal::result(&format!("{clear}{time_s:.3} s  {words}\n"));
        }
    }

    /// The line that is drawn over and over, on a terminal only.
    fn line(&self) {
        if self.quiet || !std::io::stderr().is_terminal() {
            return;
        }
        let now = self.watch.now();
        let mut line = format!("{CLEAR}{:.1} s  {}", now.time_s, now.phase.word());
        if let Some(thrust_n) = now.thrust_n {
            line += &format!("  {thrust_n:.1} N");
        }
        for (name, deg) in self.watch.tilt_deg() {
            line += &format!("  {name} {deg:.2} deg");
        }
        terminal::message(&line);
    }
}

/// Takes the line away.
const CLEAR: &str = "\r\u{1b}[K";

/// What does not hold of the stand at rest.
fn rest(firing: &Firing, log: PathBuf) -> Vec<String> {
    let options = ReadyOptions {
        rest: vec![log],
        ..ReadyOptions::default()
    };
    let Ok(found) = ready(firing, &options) else {
        return vec![];
    };
    let (mut out, mut open) = (Vec::new(), 0);
    for (about, findings) in &found.findings {
        for finding in findings {
            match finding.outcome {
                Outcome::Fails => out.push(format!("fails, {about}: {}", finding.claim)),
                Outcome::Undecided => open += 1,
                Outcome::Holds => {}
            }
        }
    }
    out.push(format!("{open} findings are undecided without more than rest: burnwright ready. None of this is a permission."));
    out
}
