//! The firing file, points files and weighings.

use std::fmt::Write as _;

use super::burn::{Event, Motor};
use super::design::Design;
use super::record::Record;
use super::rig::{CellPlan, Clock, FireLine, GRAVITY, Rig};
use super::rng::{Rng, Stream};

/// What was weighed of each motor, as lines of the firing file.
pub(super) fn weigh(seed: u64, rig: &Rig, motors: &[Motor]) -> Vec<Vec<String>> {
    let mut rng = Rng::new(seed, Stream::Weighing);
    let scale_g = rng.log_uniform(0.02, 0.3);
    let limits = rng.chance(0.5);
    // each motor loaded and spent, nothing, or propellant from the maker
    let way = rng.weighted(&[0.35, 0.32, 0.33]);
    motors
        .iter()
        .zip(&rig.motors)
        .map(|(motor, plan)| {
            let (loaded, spent) = masses_g(&mut rng, motor);
            let (grain, skipped) = (
                plan.label.propellant_g * (1.0 + 0.01 * rng.normal()),
                rng.chance(0.15),
            );
            let mut read = |truth: f64| {
                let error = if limits {
                    rng.uniform(-1.0, 1.0)
                } else {
                    rng.normal()
                };
                let sign = if limits { "±" } else { "u" };
                format!("{:.2} g {sign} {scale_g:.2} g", truth + scale_g * error)
            };
            match way {
                0 => {
                    let (a, b) = (read(loaded), read(spent));
                    if skipped {
                        Vec::new()
                    } else {
                        vec![
                            format!("loaded     = \"{a}\""),
                            format!("spent      = \"{b}\""),
                        ]
                    }
                }
                2 => vec![format!("propellant = \"{}\"", read(grain))],
                _ => Vec::new(),
            }
        })
        .collect()
}

/// A motor before and after, in grams.
fn masses_g(rng: &mut Rng, motor: &Motor) -> (f64, f64) {
    let propellant = 1e3 * motor.propellant_kg();
    let loaded = propellant * rng.uniform(1.9, 2.4) + 6.0;
    let (igniter, parts) = (rng.uniform(0.0, 0.15), rng.unit());
    let lost = match motor.event {
        _ if !motor.lit => 0.0,
        Event::Burst { .. } => propellant + igniter + 5.0 * parts,
        Event::NozzleLost { .. } => propellant + igniter + 1.0 + 2.0 * parts,
        _ => propellant + igniter,
    };
    (loaded, loaded - lost)
}

pub(super) fn certified(rig: &Rig, motors: &[Motor], known: bool) -> Vec<(String, String)> {
    let mut designs: Vec<&Design> = rig.motors.iter().map(|m| &m.label).collect();
    if known {
        designs.extend(motors.iter().map(|m| &m.loaded));
    }
    let mut files: Vec<_> = designs.iter().map(|d| (d.file(), d.text())).collect();
    files.sort();
    files.dedup();
    files
}

pub(super) fn points(seed: u64, rig: &Rig) -> Vec<(String, String)> {
    let mut rng = Rng::new(seed.wrapping_add(31), Stream::Rig);
    let up_down = rng.chance(0.75);
    let runs = 1 + rng.below(2);
    rig.cells
        .iter()
        .filter(|c| c.by_points)
        .map(|c| (points_file(c), table(&mut rng, c, up_down, runs)))
        .collect()
}

fn points_file(cell: &CellPlan) -> String {
    format!("cell-{}-points.csv", cell.name.replace('_', "-"))
}

fn table(rng: &mut Rng, cell: &CellPlan, up_down: bool, runs: usize) -> String {
    let as_mass = rng.chance(0.6);
    let steps = 6 + rng.below(4);
    let top = (1.3 * cell.peak_n).min(0.98 * cell.capacity_n);
    let mut text = format!(
        "raw,{},direction,run\n",
        if as_mass { "mass_g" } else { "force_n" }
    );
    for run in 1..=runs {
        let up = (0..steps).map(|k| (k, "up"));
        let down = (0..steps).rev().map(|k| (k, "down"));
        let order: Vec<_> = if up_down {
            up.chain(down).collect()
        } else {
            up.collect()
        };
        for (k, direction) in order {
            let force = top * k as f64 / (steps - 1) as f64;
            let marked = if as_mass {
                (force / GRAVITY * 1e3).round()
            } else {
                (force * 100.0).round() / 100.0
            };
            let truth = if as_mass {
                marked * 1e-3 * GRAVITY
            } else {
                marked
            };
            let noise = 0.15 * cell.noise_n + 0.0001 * cell.peak_n;
            let late = if direction == "down" {
                cell.loop_at(truth, top)
            } else {
                0.0
            };
            let code = cell.counts(truth + late + noise * rng.normal()).round();
            let _ = writeln!(text, "{code},{marked},{direction},{run}");
        }
    }
    text
}

pub(super) fn firing(seed: u64, rig: &Rig, record: &Record, weighed: &[Vec<String>]) -> String {
    let mut rng = Rng::new(seed.wrapping_add(32), Stream::Rig);
    let mut s = format!("title = \"Drawn firing {seed}\"\ndate  = 2026-05-02\n\n");
    logs(&mut s, rig, record);
    for cell in &rig.cells {
        self::cell(&mut s, &mut rng, rig, cell);
    }
    let _ = write!(
        s,
        "[stand]\nmount    = \"{}\"\ncells_on = \"rocket\"\n",
        rig.mount.word()
    );
    if let ([cell], true) = (rig.cells.as_slice(), rig.cells[0].mode_stated)
        && let Some((frequency, damping)) = cell.mode
    {
        let told = frequency * (1.0 + 0.01 * rng.normal());
        let _ = writeln!(
            s,
            "natural_frequency = \"{told:.1} Hz u {:.1} Hz\"\ndamping_ratio = \"{damping:.3}\"",
            0.01 * told
        );
    }
    s.push('\n');
    motors(&mut s, rig, weighed);
    if let Some(axis) = &rig.axis {
        s += &axis.table();
    }
    s
}

fn logs(s: &mut String, rig: &Rig, record: &Record) {
    let r = &rig.recorder;
    let time = match r.clock {
        Clock::Micros => "{ column = \"t_us\", unit = \"us\", counter_bits = 32 }".to_string(),
        Clock::Millis => "{ column = \"ms\", unit = \"ms\" }".to_string(),
        Clock::Seconds => "{ column = \"time_s\", unit = \"s\" }".to_string(),
        Clock::RateOnly => format!("{{ rate = \"{} Hz\" }}", r.rate_hz),
    };
    let _ = write!(s, "[log.stand]\nfile = \"stand.csv\"\ntime = {time}\n\n");
    let align = match r.fire_line {
        FireLine::BoxByEdge => {
            "{ to = \"stand\", by = \"edge\", here = \"fire\", there = \"mark\" }".to_string()
        }
        FireLine::BoxByOffset => {
            format!(
                "{{ to = \"stand\", by = \"offset\", offset = \"{:.4} s u 2 ms\" }}",
                record.box_offset_s
            )
        }
        _ => return,
    };
    let _ = write!(
        s,
        "[log.box]\nfile  = \"box.csv\"\ntime  = {{ column = \"ms\", unit = \"ms\" }}\nalign = {align}\n\n"
    );
}

fn cell(s: &mut String, rng: &mut Rng, rig: &Rig, cell: &CellPlan) {
    let _ = writeln!(
        s,
        "[cell.{}]\nsignal   = {{ log = \"stand\", column = \"{}_raw\" }}",
        cell.name, cell.name
    );
    if cell.by_points {
        let _ = writeln!(s, "points   = \"{}\"", points_file(cell));
    } else {
        let slope = cell.slope * (1.0 + 0.001 * rng.normal());
        let _ = writeln!(
            s,
            "scale    = \"{:.9} N\"\nzero     = {}",
            1.0 / slope,
            cell.zero
        );
    }
    if rng.chance(0.8) {
        let _ = writeln!(s, "capacity = \"{} N\"", cell.capacity_n);
    }
    if cell.delay_s > 0.0 {
        let told = (1e3 * cell.delay_s + 0.3 * rng.normal()).max(0.1);
        let _ = writeln!(s, "delay    = \"{told:.2} ms u 0.3 ms\"");
    }
    let names: Vec<_> = cell
        .motors
        .iter()
        .map(|&m| format!("\"{}\"", rig.motors[m].name))
        .collect();
    let _ = write!(s, "carries  = [{}]\n\n", names.join(", "));
}

fn motors(s: &mut String, rig: &Rig, weighed: &[Vec<String>]) {
    let r = &rig.recorder;
    let log = match r.fire_line {
        FireLine::Absent => None,
        FireLine::Stand => Some("stand"),
        _ => Some("box"),
    };
    for (plan, masses) in rig.motors.iter().zip(weighed) {
        let _ = writeln!(
            s,
            "[motor.{}]\ncertified  = \"{}\"",
            plan.name,
            plan.label.file()
        );
        for line in masses {
            let _ = writeln!(s, "{line}");
        }
        if let Some(log) = log {
            let column = if r.own_lines {
                format!("fire_{}", plan.name)
            } else {
                "fire".to_string()
            };
            let _ = writeln!(
                s,
                "fire       = {{ log = \"{log}\", column = \"{column}\" }}"
            );
            if r.igniters {
                let _ = writeln!(
                    s,
                    "igniter    = {{ log = \"{log}\", column = \"i_{}\" }}",
                    plan.name
                );
            }
        }
        if plan.offset_mm.abs() > 0.05 {
            let _ = writeln!(
                s,
                "offset     = {{ yaw = \"{:.1} mm ± 0.3 mm\" }}",
                plan.offset_mm
            );
        }
        s.push('\n');
    }
}
