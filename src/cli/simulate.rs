//! `burnwright simulate`: fly plant and gains, once, many times, and the captive firing again.

use std::path::Path;
use std::process::ExitCode;

use burnwright::{
    AxisRecord, Code, Diagnostic, Error, GainsFile, MonteCarlo, Place, PlantFile, SimulationInputs,
    SimulationOptions, Vehicle, axis_records, read_firing, reduce_watched, simulate,
};
use indexmap::IndexMap;

use super::busy::Busy;
use super::{Common, SimulateArgs, ended, tell};

pub(super) fn run(args: &SimulateArgs, common: &Common) -> Result<ExitCode, Error> {
    let plant = PlantFile::read(&args.plant)?;
    let folder = args.plant.parent().unwrap_or(Path::new(""));
    let gains_path = args
        .gains
        .clone()
        .unwrap_or_else(|| folder.join("gains.json"));
    let gains = GainsFile::read(&gains_path)?;
    let vehicle = match &args.vehicle {
        Some(path) => Vehicle::read(path)?,
        None => Vehicle::default(),
    };
    let quiet = common.quiet || common.json;
    let captive = match &args.firing {
        Some(path) => captive(path, quiet)?,
        None => IndexMap::new(),
    };
    let options = SimulationOptions {
        monte_carlo: MonteCarlo {
            runs: args.runs,
            seed: args.seed,
            tilt_limit_deg: args
                .tilt_limit
                .as_ref()
                .map_or(TILT_LIMIT_DEG, |limit| limit.si().to_degrees()),
            spreads: vehicle.spreads,
        },
        only: args.run,
        threads: std::thread::available_parallelism().map_or(1, usize::from),
    };
    let (plant_name, gains_name) = (
        args.plant.display().to_string(),
        gains_path.display().to_string(),
    );
    let inputs = SimulationInputs {
        plant: &plant,
        plant_name: &plant_name,
        gains: &gains,
        gains_name: &gains_name,
        vehicle: &vehicle,
        recorded: &captive,
    };
    let busy = Busy::new(quiet, "flights");
    let progress = |done: usize| busy.at(done, args.runs);
    let flown = simulate(&inputs, &options, &progress)?;
    drop(busy);
    tell(&flown, args.out.as_deref().unwrap_or(folder), common)?;
    Ok(ended(args.strict, flown.every_finding_holds()))
}

/// Tilt beyond which a flight counts as lost unless the user says otherwise, deg: the launch angle limit
/// of the model rocket safety codes, 30 degrees from vertical, is where it may go at launch.
const TILT_LIMIT_DEG: f64 = 30.0;

/// Commands and tilt of a firing, on the clock of its ignition.
fn captive(path: &Path, quiet: bool) -> Result<IndexMap<String, AxisRecord>, Error> {
    let busy = Busy::new(quiet, "steps of the fit");
    let reduced = reduce_watched(&read_firing(path)?, &|done, of| busy.at(done, of))?;
    axis_records(&reduced).ok_or_else(|| {
        Diagnostic::error(
            Code::NoBurn,
            "nothing burnt in this firing, so nothing can be replayed",
        )
        .at(Place::file(path.display().to_string()))
        .into()
    })
}
