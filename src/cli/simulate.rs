//! `burnwright simulate`: fly plant and gains, once, many times, and the captive firing again.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use indexmap::IndexMap;

use super::{Common, NOT_ALL_HOLD, SimulateArgs, json_file, output, terminal};
use crate::config::read_firing;
use crate::control::GainsFile;
use crate::diagnostic::{Diagnostic, Place, Problems, Source};
use crate::flight::{self, Campaign, Named, Orders, Recorded, Vehicle, read_vehicle, simulate};
use crate::plant::PlantFile;
use crate::reduce::reduce_told;
use crate::render;

pub(super) fn run(args: &SimulateArgs, common: &Common) -> Result<ExitCode, Problems> {
    let plant: PlantFile = json_file::read(&args.plant, ("plant file", "reduce"))?;
    let folder = args.plant.parent().unwrap_or(Path::new("")).to_owned();
    let gains_path = args
        .gains
        .clone()
        .unwrap_or_else(|| folder.join("gains.json"));
    let gains: GainsFile = json_file::read(&gains_path, ("gains file", "tune PLANT.json"))?;
    let vehicle = match &args.vehicle {
        Some(path) => read_vehicle(&Source::read(path)?)?,
        None => Vehicle::default(),
    };
    let quiet = common.quiet || common.json;
    let recorded = match &args.firing {
        Some(path) => recorded(path, &terminal::Slow::new(quiet))?,
        None => IndexMap::new(),
    };
    let orders = Orders {
        campaign: Campaign {
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
    let named = Named {
        plant: &plant_name,
        gains: &gains_name,
    };
    let progress = |done: usize| terminal::progress(quiet, done, args.runs, "flights");
    let flown = simulate(
        &plant, &gains, &vehicle, &orders, &recorded, named, &progress,
    )?;
    show(args, common, &folder, &flown)?;
    if args.strict && !flown.every_finding_holds() {
        return Ok(ExitCode::from(NOT_ALL_HOLD));
    }
    Ok(ExitCode::SUCCESS)
}

/// Tilt beyond which a flight counts as lost unless the user says otherwise, deg: the launch angle limit
/// of the model rocket safety codes, 30 degrees from vertical, is where it may go at launch.
const TILT_LIMIT_DEG: f64 = 30.0;

fn show(
    args: &SimulateArgs,
    common: &Common,
    beside: &Path,
    flown: &flight::SimulationFile,
) -> Result<(), Problems> {
    let folder: PathBuf = args.out.clone().unwrap_or_else(|| beside.to_owned());
    let json = render::json::simulation_json(flown);
    let page = render::page::simulation(flown);
    let files = [
        ("simulation.html".to_owned(), page.into_bytes()),
        ("simulation.json".to_owned(), json.clone().into_bytes()),
    ];
    output::write_all(&folder, &files)?;
    if common.json {
        terminal::result(&json)?;
    } else if !common.quiet {
        let (width, colour) = (terminal::width(), terminal::colour());
        terminal::result(&render::text::simulation(flown, width, colour))?;
        let written = folder.join("simulation.html");
        terminal::message(&format!("written: {}\n", written.display()));
    }
    Ok(())
}

/// Commands and tilt of a firing, on the clock of its ignition.
fn recorded(path: &Path, slow: &terminal::Slow) -> Result<IndexMap<String, Recorded>, Problems> {
    let reduced = reduce_told(&read_firing(path)?, &|doing| slow.tell(doing))?;
    flight::recorded(&reduced).ok_or_else(|| {
        Diagnostic::error(
            "no-burn",
            "nothing burnt in this firing, so nothing can be replayed",
        )
        .at(Place::file(path.display().to_string()))
        .into()
    })
}
