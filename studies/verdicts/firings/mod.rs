//! Captive firings of one to four motors with known truth, to judge "which motors lit".
//!
//! Written from the file formats and the physics alone, without a look at the program that reads the files: a second source of
//! truth. Nothing here knows how the program weighs its evidence.
//!
//! Left out: dead band and delay of the steering, a second axis, cells that each feel a part of one motor, chamber pressure, clock drift, outliers.

mod axis;
mod burn;
mod design;
mod file;
mod record;
mod rig;
mod rng;
mod trouble;
mod truth;
mod world;

use rng::{Rng, Stream};
pub use trouble::Trouble;
pub use truth::{Cause, Kind, MotorTruth, Together, Truth};

/// One firing in memory.
#[derive(Clone, Debug)]
pub struct Firing {
    /// Its firing file.
    pub firing_toml: String,
    /// Name and text, the first log first.
    pub logs: Vec<(String, String)>,
    /// Calibration points.
    pub points: Vec<(String, String)>,
    /// Certified motors.
    pub certified: Vec<(String, String)>,
    /// What really happened.
    pub truth: Truth,
}

impl Firing {
    /// All files with their names, `firing.toml` first.
    pub fn files(&self) -> impl Iterator<Item = (&str, &str)> {
        let others = self.logs.iter().chain(&self.points).chain(&self.certified);
        std::iter::once(("firing.toml", self.firing_toml.as_str()))
            .chain(others.map(|(n, t)| (n.as_str(), t.as_str())))
    }
}

/// A firing in which anything may have happened.
pub fn draw(seed: u64) -> Firing {
    let designs = design::designs();
    let rig = rig::draw(seed, &designs);
    let (motors, mut causes) = burn::draw(seed, &rig, &designs);
    let courses = courses(seed, &rig, &motors);
    let world = world::act(seed, &rig, &motors, &courses);
    let record = record::record(seed, &rig, &motors, &courses, &world.forces, true);
    causes.extend(world.causes.iter().cloned());
    causes.extend(record.causes.iter().cloned());
    let truth = truth(&rig, &motors, courses, &world.pops, causes);
    firing(seed, &rig, &motors, record, truth)
}

/// A firing whose motors all light, with one trouble.
pub fn with(seed: u64, trouble: Trouble) -> Firing {
    let mut rig = rig::draw(seed, &design::designs());
    trouble.build(seed, &mut rig);
    let mut motors = burn::plain_ones(seed, &rig);
    trouble::all_light(&mut motors, trouble.roughness(seed));
    let courses = courses(seed, &rig, &motors);
    let forces = world::only(seed, &rig, &motors, &courses, trouble);
    let record = record::record(seed, &rig, &motors, &courses, &forces, false);
    let nothing = vec![Vec::new(); motors.len()];
    let truth = truth(&rig, &motors, courses, &nothing, record.causes.clone());
    firing(seed, &rig, &motors, record, truth)
}

/// Thrust of each motor over the grid.
fn courses(seed: u64, rig: &rig::Rig, motors: &[burn::Motor]) -> Vec<Vec<f64>> {
    let ends = rig.motors.iter().zip(motors).map(|(p, m)| {
        if m.lit {
            p.command_s + m.ends_after()
        } else {
            p.command_s + 1.5
        }
    });
    let count = ((ends.fold(0.0, f64::max) + rig.recorder.tail_s) / burn::STEP) as usize;
    let mut rough = Rng::new(seed, Stream::Rough);
    let each = rig.motors.iter().zip(motors);
    each.map(|(p, m)| m.course(p.command_s, count, &mut rough))
        .collect()
}

fn firing(
    seed: u64,
    rig: &rig::Rig,
    motors: &[burn::Motor],
    record: record::Record,
    truth: Truth,
) -> Firing {
    let weighed = file::weigh(seed, rig, motors);
    // a wrong motor's certified file lies beside the label's in half of the firings
    let known = Rng::new(seed.wrapping_add(33), Stream::Rig).chance(0.5);
    Firing {
        firing_toml: file::firing(seed, rig, &record, &weighed),
        points: file::points(seed, rig),
        certified: file::certified(rig, motors, known),
        truth,
        logs: record.logs,
    }
}

fn truth(
    rig: &rig::Rig,
    motors: &[burn::Motor],
    courses: Vec<Vec<f64>>,
    pops: &[Vec<f64>],
    causes: Vec<Cause>,
) -> Truth {
    let mut sum = vec![0.0; courses.iter().map(Vec::len).max().unwrap_or(0)];
    for course in &courses {
        sum.iter_mut()
            .zip(course)
            .for_each(|(sum, thrust)| *sum += thrust);
    }
    let burn_s = burn::ignition(&sum).zip(burn::burnout(&sum));
    let together = burn_s.map(|burn_s| Together {
        burn_s,
        peak_n: sum.iter().copied().fold(0.0, f64::max),
        impulse_ns: burn::impulse(&sum),
    });
    let motors: Vec<_> = courses
        .into_iter()
        .enumerate()
        .map(|(i, course)| {
            let (plan, motor) = (&rig.motors[i], &motors[i]);
            MotorTruth {
                name: plan.name.to_string(),
                cell: rig.cells[plan.cell].name.clone(),
                lit: motor.lit,
                ignition_s: burn::ignition(&course),
                impulse_ns: burn::impulse(&course),
                pop_ns: burn::impulse(&pops[i]),
                certified_ns: plan.label.impulse(),
            }
        })
        .collect();
    Truth {
        together,
        motors,
        causes,
    }
}
