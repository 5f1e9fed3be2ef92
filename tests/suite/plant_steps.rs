//! The plant stepped three ways from one plant file: by the flight simulator here, by a program in C on `plant.h`, and by
//! the Python module (`python/tests/test_plant.py`), each written from the equations alone. All numbers of the file are
//! sums of few powers of two, so that single precision in the header loses nothing, and all instants fall on steps.
//!
//! `tests/data/plant-steps/steps.csv` is what the simulator says; `BURNWRIGHT_UPDATE=1` writes it anew.

use std::fmt::Write;
use std::process::Command;
use std::sync::Arc;

use burnwright::internal::{
    Air, AxisModel, Commands, Motor, Scenario, Sensors, Wind, fly, plant_header,
};
use burnwright::{Body, PlantFile, Series};
use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;

use crate::runner::{Folder, repository};

/// Largest difference in deg and deg/s.
const ALIKE: f64 = 1e-9;
/// Steps of all three, s: where dry friction stops an axis depends on them.
const STEP_S: f64 = 1.0 / 8192.0;
/// Time between two commands, s, and how many there are.
const PERIOD_S: f64 = 1.0 / 128.0;
const COMMANDS: usize = 136;
/// Commands, deg, each for as many periods.
const PATTERN: [(f64, usize); 9] = [
    (0.0, 5),
    (2.5, 14),
    (-1.25, 20),
    (0.125, 9),
    (3.5, 24),
    (-3.75, 17),
    (0.5, 12),
    (-0.0625, 15),
    (1.5, 20),
];

fn commands() -> Series {
    let held = PATTERN
        .iter()
        .flat_map(|(deg, periods)| std::iter::repeat_n(*deg, *periods));
    let time_s: Vec<f64> = (0..COMMANDS).map(|at| at as f64 * PERIOD_S).collect();
    Series::new(&time_s, &held.collect::<Vec<f64>>())
}

fn flown(plant: &PlantFile, name: &str, commands: &Series) -> String {
    let model = AxisModel::new(name, &plant.axes[name], Body::Rig).unwrap();
    let thrust = plant.thrust.as_ref().unwrap();
    let flight = Scenario {
        axis: model.nominal,
        controller: None,
        schedule: None,
        latency_s: 0.0,
        motors: vec![Motor {
            name: "all".to_owned(),
            thrust_n: Arc::new(Series::new(&thrust.time_s, &thrust.thrust_n)),
            scale: 1.0,
            later_s: 0.0,
            offset_m: 0.0,
            lights: true,
        }],
        mass_kg: None,
        propellant_kg: 0.0,
        inertia_kg_m2: None,
        gravity_m_s2: 9.8,
        air: Air::default(),
        wind: Wind::default(),
        disturbance_rad_s2: None,
        sensors: Sensors::default(),
        tilt_deg: 1.5,
        rate_deg_s: -2.0,
        release_s: 0.0,
        ends_s: *commands.time_s().last().unwrap(),
        step_s: STEP_S,
    };
    let (mut out, mut row) = (String::new(), 0);
    let mut rng = ChaCha8Rng::seed_from_u64(0);
    fly(&flight, &Commands::Record(commands), &mut rng, |state| {
        if commands
            .time_s()
            .get(row)
            .is_none_or(|time| *time != state.time_s)
        {
            return;
        }
        let (tilt, rate) = (state.tilt_rad.to_degrees(), state.rate_rad_s.to_degrees());
        let command = commands.value()[row];
        let _ = writeln!(
            out,
            "{name},{},{command},{},{tilt},{rate}",
            state.time_s, state.nozzle_deg
        );
        row += 1;
    });
    assert_eq!(row, COMMANDS, "{name}");
    out
}

fn numbers(line: &str) -> Vec<f64> {
    let fields = line.split(',').skip(1);
    fields.map(|field| field.parse().unwrap()).collect()
}

#[test]
fn the_simulator_and_a_c_program_agree_on_every_step() {
    let folder = repository().join("tests/data/plant-steps");
    let plant = PlantFile::read(&folder.join("plant.json")).unwrap();
    let commands = commands();
    let mut text = String::from("axis,time_s,command_deg,nozzle_deg,tilt_deg,rate_deg_s\n");
    for name in plant.axes.keys() {
        text += &flown(&plant, name, &commands);
    }
    let file = folder.join("steps.csv");
    if std::env::var_os("BURNWRIGHT_UPDATE").is_some() {
        std::fs::write(&file, &text).unwrap();
    }
    let kept = std::fs::read_to_string(&file).unwrap();
    assert_eq!(kept.lines().count(), text.lines().count());
    for (kept, now) in kept.lines().zip(text.lines()).skip(1) {
        let apart = numbers(kept).into_iter().zip(numbers(now));
        let largest = apart.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(largest < ALIKE, "{kept}\n{now}");
    }

    let build = Folder::new().file("plant.h", &plant_header(&plant));
    let built = Command::new("cc")
        .args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-O1", "-I."])
        .arg(folder.join("model.c"))
        .args(["-o", "model", "-lm"])
        .current_dir(build.path(""))
        .output()
        .expect("a C compiler named cc");
    let said = String::from_utf8_lossy(&built.stderr);
    assert!(built.status.success(), "{said}");
    let run = Command::new(build.path("model"))
        .arg(&file)
        .output()
        .unwrap();
    let said = String::from_utf8(run.stdout).unwrap();
    let (rows, largest) = said.trim().split_once(' ').unwrap();
    assert_eq!(rows, (4 * COMMANDS).to_string());
    let largest: f64 = largest.parse().unwrap();
    println!("C against the simulator: {largest:.1e}");
    assert!(largest < ALIKE, "{said}");
}
