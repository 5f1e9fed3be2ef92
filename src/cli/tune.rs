//! `burnwright tune`: read the plant, find gains, write them with margins and firmware.

use std::path::Path;
use std::process::ExitCode;

use super::{Common, NOT_ALL_HOLD, TuneArgs, json_file, output, terminal};
use crate::control::{Wishes, tune};
use crate::diagnostic::Problems;
use crate::plant::PlantFile;
use crate::quantity::Given;
use crate::render;

pub(super) fn run(args: &TuneArgs, common: &Common) -> Result<ExitCode, Problems> {
    let plant: PlantFile = json_file::read(&args.plant, ("plant file", "reduce"))?;
    let named = args.plant.display().to_string();
    let gains = tune(&plant, &named, &wishes(args))?;
    let beside = args.plant.parent().unwrap_or(Path::new("")).to_owned();
    let folder = args.out.clone().unwrap_or(beside);
    output::write_all(&folder, &render::gains_files(&gains))?;
    if common.json {
        terminal::result(&render::json::gains_json(&gains))?;
    } else if !common.quiet {
        let (width, colour) = (terminal::width(), terminal::colour());
        terminal::result(&render::text::gains(&gains, width, colour))?;
        let written = folder.join("gains.html");
        terminal::message(&format!("written: {}\n", written.display()));
    }
    if args.strict && !gains.every_finding_holds() {
        return Ok(ExitCode::from(NOT_ALL_HOLD));
    }
    Ok(ExitCode::SUCCESS)
}

fn wishes(args: &TuneArgs) -> Wishes {
    let usual = Wishes::default();
    Wishes {
        body: args.body.into(),
        rate_hz: args.rate.as_ref().map_or(usual.rate_hz, Given::si),
        late_s: args.late.as_ref().map_or(usual.late_s, Given::si),
        derivative: args.derivative.into(),
        filter_s: args.filter.as_ref().map(Given::si),
        sensitivity_peak: args.sensitivity.unwrap_or(usual.sensitivity_peak),
        limit_deg: args.limit.as_ref().map(|limit| limit.si().to_degrees()),
        slew_deg_s: args.slew.as_ref().map(|slew| slew.si().to_degrees()),
        tilt_noise_deg: args
            .tilt_noise
            .as_ref()
            .map(|noise| noise.si().to_degrees()),
        rate_noise_deg_s: args
            .rate_noise
            .as_ref()
            .map(|noise| noise.si().to_degrees()),
        thrust_from: args
            .thrust_from
            .as_ref()
            .map_or(usual.thrust_from, Given::si),
        first_tilt_deg: args
            .first_tilt
            .as_ref()
            .map_or(usual.first_tilt_deg, |tilt| tilt.si().to_degrees()),
        start: args.start.into(),
        scheduling: args.schedule.into(),
        draws: usual.draws,
        seed: args.seed,
    }
}
