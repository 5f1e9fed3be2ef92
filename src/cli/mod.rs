//! The command line: its grammar, and one short file for each command.
//!
//! Only the program touches the terminal and writes files; the library gives text back. Results go to stdout, messages to
//! stderr. Exit codes: 0 done; 1 bad input or failure; 2 wrong command line; 3 done, but `--strict`
//! was given and a finding fails or is undecided.

mod archive;
mod busy;
mod calibrate;
mod compare;
#[cfg(feature = "report")]
mod field;
mod fit;
mod help;
mod look;
mod output;
mod plan;
mod quantity_argument;
mod ready;
mod reduce;
mod rehearse;
mod shell;
mod simulate;
mod terminal;
mod tune;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use burnwright::{Error, Report};
use clap::{Args, CommandFactory, Parser, Subcommand};
use terminal::UnitsArg;
use tune::TuneArgs;

use burnwright::quantity::{Acceleration, Angle, Frequency, Given, Length, Ratio};

/// Exit code for bad input or failure.
const FAILED: u8 = 1;
/// Exit code for a result with a finding that fails or is undecided, under `--strict`.
const NOT_ALL_HOLD: u8 = 3;

#[derive(Parser)]
#[command(
    name = "burnwright",
    version,
    about = "Reduce captive firings of motor-steered model rockets: raw recorder files in, verdict, \
             impulse, plant model and report out",
    after_help = "Exit codes: 0 done; 1 bad input or failure; 2 wrong command line; 3 done, but \
                  --strict was given and a finding fails or is undecided.\n\nThe keys of the files that \
                  you write: `burnwright help firing-file`, `motor-file`, `vehicle-file`, \
                  `rehearsal-file`.",
    disable_help_subcommand = true
)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    common: Common,
}

#[derive(Args, Default)]
struct Common {
    /// Print the results as JSON on stdout
    #[arg(long, global = true, help_heading = "Output")]
    json: bool,
    /// Print everything, in place of what fits one screen
    #[arg(long, global = true, help_heading = "Output")]
    full: bool,
    /// Units shown beside those of the SI, on screen, page and picture; data stay SI [default: what the firing file says]
    #[arg(long, global = true, value_name = "UNITS", help_heading = "Output")]
    units: Option<UnitsArg>,
    /// Print nothing but errors
    #[arg(long, short, global = true, help_heading = "Output")]
    quiet: bool,
}

#[derive(Subcommand)]
enum Command {
    /// Reduce firings: which motors lit, what they delivered, how the steering answered
    #[command(
        after_help = "Examples:\n  burnwright reduce demo-data/twin-captive/firing.toml\n  burnwright reduce \
                      --full\n\nOne firing is told on one screen, several in a table; --full prints everything, \
                      and the page has it with pictures."
    )]
    Reduce(ReduceArgs),
    /// Look into logs right after a firing, without a firing file: columns, clocks, what burnt
    #[command(
        after_help = "Examples:\n  burnwright look demo-data/twin-captive/stand.csv\n  burnwright look \
                      stand.csv computer.csv --start firing.toml\n\nWith --start, a first firing file is \
                      written: what was found is filled in, what only you know reads \"??\". A file that is \
                      there already stays as it is."
    )]
    Look(LookArgs),
    /// Fit a curve to known loads or angles, judge it, and keep it for later firings
    #[command(
        after_help = "Examples:\n  burnwright calibrate demo-data/twin-captive/cell-base-points.csv \
                      --latitude \"52.1 deg\" --out cell-base.toml\n  burnwright calibrate \
                      sweep.csv --strict\n\nThe points file has a column `raw` and one of mass_g, \
                      mass_kg, force_n, force_lbf or angle_deg, and perhaps `direction` (up, down) \
                      and `run`."
    )]
    Calibrate(CalibrateArgs),
    /// Set several firings side by side: mean, spread, drift, the outlier
    #[command(
        after_help = "Example:\n  burnwright compare demo-data/twin-captive/firing.toml \
                      demo-data/twin-one-dead/firing.toml --out compared\n\nA firing that cannot be \
                      reduced does not stop the others; its errors come last, and the exit code is 1."
    )]
    Compare(CompareArgs),
    /// Fit one plant to several firings of one rig, and say whether they agree
    #[command(
        after_help = "Example:\n  burnwright fit demo-data/twin-captive/firing.toml \
                      demo-data/twin-one-dead/firing.toml --out fitted\n\nWrites plant.json and \
                      plant.h with the common values, and fit.json with each firing's beside them. \
                      The thrust bias changes with every motor that is put in, so it may differ \
                      unless --share-all is given."
    )]
    Fit(FitArgs),
    /// Before the motors are spent: how narrow each result will be, and what would narrow it
    #[command(
        after_help = "Examples:\n  burnwright plan firing.toml\n  burnwright plan firing.toml --rest stand-at-rest.csv\n  burnwright plan firing.toml --pattern\n\nLogs \
                      need not exist yet. What the firing file does not say under [plan] is learned from logs that \
                      are there, or assumed; --full tells what it rests on."
    )]
    Plan(plan::PlanArgs),
    /// Look at the armed stand at rest: noise, range, gaps, signs, hum, the gyro, the sync edge
    #[command(
        after_help = "Example:\n  burnwright ready firing.toml --rest stand-rest.csv --rest computer-rest.csv\n\nFindings \
                      on recordings of about ten seconds; never a permission."
    )]
    Ready(ready::ReadyArgs),
    #[cfg(feature = "report")]
    #[command(flatten)]
    Field(field::FieldCommand),
    /// Make up a firing with known truth, in the files that a real one leaves
    #[command(
        after_help = "Example:\n  burnwright rehearse demo-data/twin-captive/REHEARSAL.toml --out trial"
    )]
    Rehearse(RehearseArgs),
    /// Find controller gains for a plant: margins, limit cycle, start-up transient, firmware
    #[command(
        after_help = "Example:\n  burnwright tune reduced/plant.json --rate \"200 Hz\"\n\nWrites gains.html, \
                      gains.json, gains.h, controller.h and check-vectors.csv."
    )]
    Tune(TuneArgs),
    /// Fly plant and gains: release, disturbance, dead motor, spread, and the captive firing again
    #[command(
        after_help = "Examples:\n  burnwright simulate reduced/plant.json --vehicle vehicle.toml --runs 10000\n  \
                      burnwright simulate reduced/plant.json --seed 1 --run 4711\n\nThe keys of the vehicle file: \
                      burnwright help vehicle-file."
    )]
    Simulate(SimulateArgs),
    /// Gather a season of results into tables that any data engine reads
    #[command(
        after_help = "Example:\n  burnwright archive firings --out season\n\nEvery folder in FOLDER that holds a \
                      result.json is one firing. Writes firings, motors, axes, cells and thrust, each as .parquet and \
                      as .jsonl. What is in DIR already is kept: a firing that is found again takes the place of its \
                      earlier rows."
    )]
    Archive(ArchiveArgs),
    /// Print a script with which a shell completes commands and options
    #[command(
        after_help = "Examples:\n  burnwright shell bash > ~/.local/share/bash-completion/completions/burnwright\n  \
                      burnwright shell fish > ~/.config/fish/completions/burnwright.fish"
    )]
    Shell(ShellArgs),
    /// Write man pages, one for each command
    #[command(
        after_help = "Example:\n  burnwright man ~/.local/share/man/man1\n\nThen `man burnwright-reduce` shows one."
    )]
    Man(ManArgs),
    /// Explain a command, or the keys of a file that you write
    #[command(
        after_help = "Examples:\n  burnwright help firing-file\n  burnwright help tune\n\nFiles: firing-file, \
                      motor-file, vehicle-file, rehearsal-file."
    )]
    Help(HelpArgs),
}

#[derive(Args)]
struct HelpArgs {
    /// A command or a file
    #[arg(value_name = "TOPIC")]
    topic: Option<String>,
}

#[derive(Args)]
struct ReduceArgs {
    /// The firing files [default: firing.toml in this folder]
    #[arg(value_name = "FIRING.toml")]
    firings: Vec<PathBuf>,
    /// Folder for the results [default: `reduced` beside each firing file]
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    out: Option<PathBuf>,
    /// Draw one firing as a picture to share, a .png or an .svg file
    #[cfg(feature = "report")]
    #[arg(long, value_name = "FILE", value_parser = reduce::picture_file, help_heading = "Output")]
    picture: Option<PathBuf>,
    /// Exit with code 3 unless every finding holds
    #[arg(long, help_heading = "Output")]
    strict: bool,
}

#[derive(Args)]
struct LookArgs {
    /// The recorders' files; the first one's clock becomes that of the results
    #[arg(required = true, value_name = "LOG.csv")]
    logs: Vec<PathBuf>,
    /// Begin a firing file with what was found
    #[arg(long, value_name = "FILE.toml")]
    start: Option<PathBuf>,
    /// Readings a second, such as "80 Hz", of logs without a time column
    #[arg(long, value_name = "RATE", value_parser = quantity_argument::positive::<Frequency>)]
    rate: Option<Given<Frequency>>,
}

#[derive(Args)]
struct ShellArgs {
    /// Which shell
    #[arg(value_enum)]
    shell: clap_complete::Shell,
}

#[derive(Args)]
struct ManArgs {
    /// Folder for the pages
    #[arg(value_name = "DIR")]
    folder: PathBuf,
}

#[derive(Args)]
struct CalibrateArgs {
    /// Known loads or angles against raw readings
    #[arg(value_name = "POINTS.csv")]
    points: PathBuf,
    /// The curve file to write [default: beside the points, ending in .toml]
    #[arg(long, value_name = "FILE.toml")]
    out: Option<PathBuf>,
    /// Tolerance that the weights share, such as "0.02 %"
    #[arg(long, value_name = "SHARE", value_parser = quantity_argument::not_negative::<Ratio>)]
    masses: Option<Given<Ratio>>,
    /// Latitude of the place, such as "52.1 deg": it sets the weight of the masses
    #[arg(long, value_name = "ANGLE", value_parser = quantity_argument::latitude, allow_hyphen_values = true)]
    latitude: Option<Given<Angle>>,
    /// Height of the place, such as "40 m"
    #[arg(long, value_name = "HEIGHT", value_parser = quantity_argument::any::<Length>, allow_hyphen_values = true, requires = "latitude")]
    altitude: Option<Given<Length>>,
    /// Measured gravity, such as "9.812 m/s2", in place of latitude and height
    #[arg(long, value_name = "GRAVITY", value_parser = quantity_argument::positive::<Acceleration>, conflicts_with = "latitude")]
    gravity: Option<Given<Acceleration>>,
    /// Exit with code 3 unless every finding holds
    #[arg(long, help_heading = "Output")]
    strict: bool,
}

#[derive(Args)]
struct CompareArgs {
    /// The firing files, two or more
    #[arg(required = true, num_args = 2.., value_name = "FIRING.toml")]
    firings: Vec<PathBuf>,
    /// Folder for the results
    #[arg(
        long,
        value_name = "DIR",
        default_value = "compared",
        help_heading = "Output"
    )]
    out: PathBuf,
    /// Exit with code 3 unless every finding holds
    #[arg(long, help_heading = "Output")]
    strict: bool,
}

#[derive(Args)]
struct FitArgs {
    /// The firing files, two or more
    #[arg(required = true, num_args = 2.., value_name = "FIRING.toml")]
    firings: Vec<PathBuf>,
    /// A parameter that may differ between firings, by its name in plant.json's covariance
    #[arg(long, value_name = "NAME")]
    differ: Vec<String>,
    /// Take the thrust bias, too, as one number for all firings
    #[arg(long)]
    share_all: bool,
    /// Folder for the results
    #[arg(
        long,
        value_name = "DIR",
        default_value = "fitted",
        help_heading = "Output"
    )]
    out: PathBuf,
    /// Exit with code 3 unless the firings agree
    #[arg(long, help_heading = "Output")]
    strict: bool,
}

#[derive(Args)]
struct ArchiveArgs {
    /// Folders with results of `reduce`, at any depth
    #[arg(required = true, value_name = "FOLDER")]
    folders: Vec<PathBuf>,
    /// Folder of the archive
    #[arg(
        long,
        value_name = "DIR",
        default_value = "season",
        help_heading = "Output"
    )]
    out: PathBuf,
}

#[derive(Args)]
struct RehearseArgs {
    /// The rehearsal file
    #[arg(value_name = "REHEARSAL.toml")]
    rehearsal: PathBuf,
    /// Folder for the firing
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    out: PathBuf,
    /// Seed of all randomness, in place of the file's
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
}

#[derive(Args)]
struct SimulateArgs {
    /// The plant file
    #[arg(value_name = "PLANT.json")]
    plant: PathBuf,
    /// The gains file [default: gains.json beside the plant file]
    #[arg(long, value_name = "GAINS.json", help_heading = "Input")]
    gains: Option<PathBuf>,
    /// What is flown: mass, release, wind, sensors, motors, spreads
    #[arg(long, value_name = "VEHICLE.toml", help_heading = "Input")]
    vehicle: Option<PathBuf>,
    /// The captive firing, to be replayed against its record
    #[arg(long, value_name = "FIRING.toml", help_heading = "Input")]
    firing: Option<PathBuf>,
    /// Number of sampled flights (Monte Carlo)
    #[arg(
        long,
        value_name = "N",
        default_value_t = 1000,
        help_heading = "Flights"
    )]
    runs: usize,
    /// Seed of all randomness
    #[arg(long, value_name = "N", default_value_t = 1, help_heading = "Flights")]
    seed: u64,
    /// Show this one of the sampled flights in place of the best estimate
    #[arg(long, value_name = "N", help_heading = "Flights")]
    run: Option<u64>,
    /// Tilt beyond which a flight counts as lost [default: "30 deg"]
    #[arg(long, value_name = "ANGLE", value_parser = quantity_argument::positive::<Angle>, help_heading = "Flights")]
    tilt_limit: Option<Given<Angle>>,
    /// Folder for the results [default: beside the plant file]
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    out: Option<PathBuf>,
    /// Exit with code 3 unless every finding holds
    #[arg(long, help_heading = "Output")]
    strict: bool,
}

/// Runs the program on the process's own arguments.
#[must_use]
pub(crate) fn run() -> ExitCode {
    let line = CommandLine::parse();
    let done = match &line.command {
        Command::Reduce(args) => reduce::run(args, &line.common),
        Command::Look(args) => look::run(args, &line.common),
        Command::Calibrate(args) => calibrate::run(args, &line.common),
        Command::Compare(args) => compare::run(args, &line.common),
        Command::Fit(args) => fit::run(args, &line.common),
        Command::Plan(args) => plan::run(args, &line.common),
        Command::Ready(args) => ready::run(args, &line.common),
        Command::Archive(args) => archive::run(args, &line.common),
        #[cfg(feature = "report")]
        Command::Field(command) => command.run(&line.common),
        Command::Rehearse(args) => rehearse::run(args, &line.common),
        Command::Tune(args) => tune::run(args, &line.common),
        Command::Simulate(args) => simulate::run(args, &line.common),
        Command::Shell(args) => shell::completions(args),
        Command::Man(args) => shell::man(args, &line.common),
        Command::Help(args) => help::run(args),
    };
    match done {
        Ok(code) => code,
        Err(error) => {
            terminal::message(&error.render());
            ExitCode::from(FAILED)
        }
    }
}

/// Keeps a result, and shows it: all of it as JSON, or the summary and where the rest is.
fn tell<R: Report>(result: &R, folder: &Path, common: &Common) -> Result<(), Error> {
    let files = result.files_in(terminal::units(common));
    output::write_instead(folder, &files, R::FILES)?;
    if common.json {
        return terminal::result(&result.json());
    }
    if !common.quiet {
        terminal::result(&result.text(terminal::screen(common.full, terminal::units(common))))?;
        let names: Vec<&str> = files.iter().map(|file| file.path.as_str()).collect();
        // The first is the one to open.
        if let Some((first, others)) = names.split_first() {
            written(&folder.join(first), others);
        }
    }
    Ok(())
}

/// Says which files were written: one whole, so that it can be copied, and those beside it by name.
fn written(file: &Path, beside: &[&str]) {
    let first = format!("written: {}", file.display());
    let others = format!("beside it {}", beside.join(", "));
    let says = match (beside, first.chars().count() + 2 + others.chars().count()) {
        ([], _) => first,
        (_, wide) if wide <= terminal::width() => format!("{first}; {others}"),
        _ => format!("{first};\n         {others}"),
    };
    terminal::message(&format!("{says}\n"));
}

/// Ends the program as for any wrong command line: message, usage, code 2.
fn wrong_command_line(command: &str, kind: clap::error::ErrorKind, says: &str) -> ! {
    let mut grammar = CommandLine::command();
    grammar.build();
    match grammar.find_subcommand_mut(command) {
        Some(command) => command.error(kind, says).exit(),
        None => grammar.error(kind, says).exit(),
    }
}

/// The exit code of a result, whose findings all hold or not.
fn ended(strict: bool, all_hold: bool) -> ExitCode {
    if strict && !all_hold {
        ExitCode::from(NOT_ALL_HOLD)
    } else {
        ExitCode::SUCCESS
    }
}
