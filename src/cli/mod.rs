//! The command line: its grammar, and one short file for each command.
//!
//! Only the program touches the terminal and writes files; the library gives text back. Results go to stdout, messages to
//! stderr. Exit codes: 0 done; 1 bad input or failure; 2 wrong command line; 3 done, but `--strict`
//! was given and a finding fails or is undecided.

mod busy;
mod calibrate;
mod compare;
mod each;
mod fit;
mod look;
mod output;
mod quantity_argument;
mod reduce;
mod rehearse;
mod shell;
mod simulate;
mod terminal;
mod tune;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use burnwright::{Body, Derivative, Error, Report, Scheduling, Start};
use clap::{Args, Parser, Subcommand, ValueEnum};

use burnwright::quantity::{
    Acceleration, Angle, AngularRate, Frequency, Given, Length, Ratio, Time,
};

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
                  --strict was given and a finding fails or is undecided."
)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    common: Common,
}

#[derive(Args)]
struct Common {
    /// Print the results as JSON on stdout
    #[arg(long, global = true)]
    json: bool,
    /// Print nothing but errors
    #[arg(long, short, global = true)]
    quiet: bool,
}

#[derive(Subcommand)]
enum Command {
    /// Reduce one firing: the main job
    #[command(after_help = "Example:\n  burnwright reduce demo-data/twin-captive/firing.toml")]
    Reduce(ReduceArgs),
    /// Look into logs right after a firing, with no firing file: columns, clocks, what burnt
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
    /// Set several firings side by side: mean, spread, drift, the odd one
    #[command(
        after_help = "Example:\n  burnwright compare demo-data/twin-captive/firing.toml \
                      demo-data/twin-one-dead/firing.toml --out compared\n\nA firing that cannot be \
                      reduced does not stop the others; its errors come last, and the exit code is 1."
    )]
    Compare(CompareArgs),
    /// One plant from several firings of one rig, and whether they agree
    #[command(
        after_help = "Example:\n  burnwright fit demo-data/twin-captive/firing.toml \
                      demo-data/twin-one-dead/firing.toml --out fitted\n\nWrites plant.json and \
                      plant.h with the common values, and fit.json with each firing's beside them. \
                      The thrust bias changes with every motor that is put in, so it may differ \
                      unless --share-all is given."
    )]
    Fit(FitArgs),
    /// Make a firing with known truth, in the files a real one leaves
    #[command(
        after_help = "Example:\n  burnwright rehearse demo-data/twin-captive/REHEARSAL.toml --out trial"
    )]
    Rehearse(RehearseArgs),
    /// Find controller gains for a plant: margins, dead band, first tick, firmware
    #[command(
        after_help = "Example:\n  burnwright tune reduced/plant.json --rate \"200 Hz\"\n\nWrites gains.html, \
                      gains.json, gains.h, controller.h and check-vectors.csv."
    )]
    Tune(TuneArgs),
    /// Fly plant and gains: release, push, dead motor, spread, and the captive firing again
    #[command(
        after_help = "Examples:\n  burnwright simulate reduced/plant.json --vehicle vehicle.toml --runs 10000\n  \
                      burnwright simulate reduced/plant.json --seed 1 --run 4711\n\nThe vehicle file is told in \
                      docs/control.md."
    )]
    Simulate(SimulateArgs),
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
}

#[derive(Args)]
struct ReduceArgs {
    /// The firing files
    #[arg(required = true, value_name = "FIRING.toml")]
    firings: Vec<PathBuf>,
    /// Folder for the results [default: `reduced` beside each firing file]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Exit with code 3 unless every finding holds
    #[arg(long)]
    strict: bool,
}

#[derive(Args)]
struct LookArgs {
    /// The recorders' files; the first one's clock becomes that of the results
    #[arg(required = true, value_name = "LOG.csv")]
    logs: Vec<PathBuf>,
    /// Write a first firing file with what was found
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
    folder: PathBuf,
}

#[derive(Args)]
struct CalibrateArgs {
    /// Known loads or angles against raw readings
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
    #[arg(long)]
    strict: bool,
}

#[derive(Args)]
struct CompareArgs {
    /// The firing files, two or more
    #[arg(required = true, num_args = 2..)]
    firings: Vec<PathBuf>,
    /// Folder for the results
    #[arg(long, value_name = "DIR", default_value = "compared")]
    out: PathBuf,
    /// Exit with code 3 unless every finding holds
    #[arg(long)]
    strict: bool,
}

#[derive(Args)]
struct FitArgs {
    /// The firing files, two or more
    #[arg(required = true, num_args = 2..)]
    firings: Vec<PathBuf>,
    /// A parameter that may differ between firings, by its name in plant.json's covariance
    #[arg(long, value_name = "NAME")]
    differ: Vec<String>,
    /// Take the thrust bias, too, as one number
    #[arg(long)]
    share_all: bool,
    /// Folder for the results
    #[arg(long, value_name = "DIR", default_value = "fitted")]
    out: PathBuf,
    /// Exit with code 3 unless the firings agree
    #[arg(long)]
    strict: bool,
}

#[derive(Args)]
struct RehearseArgs {
    /// The rehearsal file
    rehearsal: PathBuf,
    /// Folder for the firing
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Seed of all randomness, in place of the file's
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
}

#[derive(Clone, Copy, ValueEnum)]
enum BodyWord {
    /// The free rocket
    Flight,
    /// The rig it was fired in
    Rig,
}

impl From<BodyWord> for Body {
    fn from(word: BodyWord) -> Self {
        match word {
            BodyWord::Flight => Self::Flight,
            BodyWord::Rig => Self::Rig,
        }
    }
}

#[derive(Clone, Copy, ValueEnum)]
enum DerivativeWord {
    /// The gyro's rate
    Rate,
    /// The difference of two tilts
    Difference,
}

impl From<DerivativeWord> for Derivative {
    fn from(word: DerivativeWord) -> Self {
        match word {
            DerivativeWord::Rate => Self::Rate,
            DerivativeWord::Difference => Self::Difference,
        }
    }
}

#[derive(Clone, Copy, ValueEnum)]
enum StartWord {
    /// As controller.h does: the command in force stays and gives way within the glide time
    Shipped,
    /// Derivative on the measurement, started at rest; the proportional part acts at once
    Measurement,
    /// Derivative of the error, the error before the first taken as the first
    Seeded,
    /// Derivative of the error, the error before the first taken as zero
    ZeroError,
}

impl From<StartWord> for Start {
    fn from(word: StartWord) -> Self {
        match word {
            StartWord::Shipped => Self::Shipped,
            StartWord::Measurement => Self::Measurement,
            StartWord::Seeded => Self::Seeded,
            StartWord::ZeroError => Self::ZeroError,
        }
    }
}

#[derive(Clone, Copy, ValueEnum)]
enum ScheduleWord {
    /// By thrust when fixed gains miss the limits or leave twice the tilt after a push
    WhenNeeded,
    /// Gains by thrust
    Always,
    /// Fixed gains
    Never,
}

impl From<ScheduleWord> for Scheduling {
    fn from(word: ScheduleWord) -> Self {
        match word {
            ScheduleWord::WhenNeeded => Self::WhenNeeded,
            ScheduleWord::Always => Self::Always,
            ScheduleWord::Never => Self::Never,
        }
    }
}

#[derive(Args)]
struct TuneArgs {
    /// The plant file
    plant: PathBuf,
    /// Folder for the results [default: beside the plant file]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// What the gains are for
    #[arg(long, value_enum, default_value = "flight")]
    body: BodyWord,
    /// Rate of the firmware's loop [default: "100 Hz"]
    #[arg(long, value_name = "RATE", value_parser = quantity_argument::positive::<Frequency>)]
    rate: Option<Given<Frequency>>,
    /// Time between reading the sensors and the command's leaving [default: "2 ms"]
    #[arg(long, value_name = "TIME", value_parser = quantity_argument::not_negative::<Time>)]
    late: Option<Given<Time>>,
    /// Where the derivative comes from
    #[arg(long, value_enum, default_value = "rate")]
    derivative: DerivativeWord,
    /// Time constant of the derivative's filter [default: one period of the loop]
    #[arg(long, value_name = "TIME", value_parser = quantity_argument::not_negative::<Time>)]
    filter: Option<Given<Time>>,
    /// Largest sensitivity peak; higher is quicker and less robust [default: 1.6]
    #[arg(long, value_name = "PEAK", value_parser = sensitivity_peak)]
    sensitivity: Option<f64>,
    /// Largest command either side [default: what the travel allows]
    #[arg(long, value_name = "ANGLE", value_parser = quantity_argument::positive::<Angle>)]
    limit: Option<Given<Angle>>,
    /// Fastest change of the command [default: none]
    #[arg(long, value_name = "RATE", value_parser = quantity_argument::positive::<AngularRate>)]
    slew: Option<Given<AngularRate>>,
    /// Standard deviation of a tilt reading [default: that of the record]
    #[arg(long, value_name = "ANGLE", value_parser = quantity_argument::not_negative::<Angle>)]
    tilt_noise: Option<Given<Angle>>,
    /// Standard deviation of a rate reading [default: that of the record]
    #[arg(long, value_name = "RATE", value_parser = quantity_argument::not_negative::<AngularRate>)]
    rate_noise: Option<Given<AngularRate>>,
    /// Share of peak thrust from which on the loop has to bear [default: "20 %"]
    #[arg(long, value_name = "SHARE", value_parser = quantity_argument::positive::<Ratio>)]
    thrust_from: Option<Given<Ratio>>,
    /// Whether gains follow thrust
    #[arg(long, value_enum, default_value = "when-needed")]
    schedule: ScheduleWord,
    /// How the firmware starts the controller before its first tick
    #[arg(long, value_enum, value_name = "WAY", default_value = "shipped")]
    start: StartWord,
    /// Tilt for which the first command is told [default: "3 deg"]
    #[arg(long, value_name = "ANGLE", value_parser = quantity_argument::positive::<Angle>)]
    first_tilt: Option<Given<Angle>>,
    /// Seed of the plants drawn from the covariance
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Exit with code 3 unless every finding holds
    #[arg(long)]
    strict: bool,
}

/// A sensitivity peak of 1 allows no feedback, and one of 3 is asking for it.
fn sensitivity_peak(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(peak) if (1.1..=3.0).contains(&peak) => Ok(peak),
        _ => Err("a sensitivity peak must lie between 1.1 and 3".to_owned()),
    }
}

#[derive(Args)]
struct SimulateArgs {
    /// The plant file
    plant: PathBuf,
    /// The gains file [default: gains.json beside the plant file]
    #[arg(long, value_name = "GAINS.json")]
    gains: Option<PathBuf>,
    /// What is flown: mass, release, wind, sensors, motors, spreads
    #[arg(long, value_name = "VEHICLE.toml")]
    vehicle: Option<PathBuf>,
    /// The captive firing, to be replayed against its record
    #[arg(long, value_name = "FIRING.toml")]
    firing: Option<PathBuf>,
    /// Flights with everything drawn
    #[arg(long, value_name = "N", default_value_t = 1000)]
    runs: usize,
    /// Seed of all randomness
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Show this one drawn flight in place of the best estimate
    #[arg(long, value_name = "N")]
    run: Option<u64>,
    /// Tilt beyond which a flight counts as lost [default: "30 deg"]
    #[arg(long, value_name = "ANGLE", value_parser = quantity_argument::positive::<Angle>)]
    tilt_limit: Option<Given<Angle>>,
    /// Folder for the results [default: beside the plant file]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Exit with code 3 unless every finding holds
    #[arg(long)]
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
        Command::Rehearse(args) => rehearse::run(args, &line.common),
        Command::Tune(args) => tune::run(args, &line.common),
        Command::Simulate(args) => simulate::run(args, &line.common),
        Command::Shell(args) => shell::completions(args),
        Command::Man(args) => shell::man(args, &line.common),
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
    let files = result.files();
    output::write_instead(folder, &files, R::FILES)?;
    if common.json {
        return terminal::result(&result.json());
    }
    if !common.quiet {
        terminal::result(&result.text(terminal::screen()))?;
        // The first is the one to open.
        if let Some(first) = files.first() {
            written(&folder.join(&first.path));
        }
    }
    Ok(())
}

/// Says that a file was written.
fn written(file: &Path) {
    terminal::message(&format!("written: {}\n", file.display()));
}

/// The exit code of a result, whose findings all hold or not.
fn ended(strict: bool, all_hold: bool) -> ExitCode {
    if strict && !all_hold {
        ExitCode::from(NOT_ALL_HOLD)
    } else {
        ExitCode::SUCCESS
    }
}
