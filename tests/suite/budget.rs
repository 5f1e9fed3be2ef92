//! The worked page on uncertainty, redone from the raw files with code of its own.

use std::collections::BTreeMap;

use nalgebra::{Matrix3, Vector3};

use crate::runner::{Folder, repository};

/// Gravity at the demo's site by the WGS 84 ellipsoid, m/s2 (docs/budget.md).
const GRAVITY: f64 = 9.812_44;

/// Shares of the weights and of gravity that the page states.
const WEIGHTS_RELATIVE_U: f64 = 2e-4 / 1.732_050_8;
const GRAVITY_RELATIVE_U: f64 = 5e-5;

/// The cell's delay, s, and rest beside the burn, s, as the demo's firing file and the page have them.
const DELAY_S: f64 = 0.003;

fn columns(path: &str, names: [&str; 2]) -> Vec<(f64, f64, String)> {
    let text = std::fs::read_to_string(repository().join(path)).unwrap();
    let mut lines = text.lines();
    let header: Vec<&str> = lines.next().unwrap().split(',').collect();
    let at = |name: &str| header.iter().position(|one| *one == name).unwrap();
    let (a, b) = (at(names[0]), at(names[1]));
    let way = header.iter().position(|one| *one == "direction");
    lines
        .map(|line| {
            let fields: Vec<&str> = line.split(',').collect();
            let number = |at: usize| fields[at].parse().unwrap();
            let way = way.map_or_else(String::new, |way| fields[way].to_owned());
            (number(a), number(b), way)
        })
        .collect()
}

/// The calibration by hand: loop, parabola in z = F/half - 1, covariance.
struct Hand {
    half_n: f64,
    loop_counts: f64,
    coefficients: Vector3<f64>,
    covariance: Matrix3<f64>,
}

fn powers(z: f64) -> Vector3<f64> {
    Vector3::new(1.0, z, z * z)
}

impl Hand {
    fn of_points() -> Self {
        let points: Vec<(f64, f64, String)> = columns(
            "demo-data/twin-captive/cell-base-points.csv",
            ["mass_g", "raw"],
        )
        .into_iter()
        .map(|(mass_g, raw, way)| (1e-3 * mass_g * GRAVITY, raw, way))
        .collect();
        let most_n = points.iter().map(|one| one.0).fold(0.0, f64::max);
        let shape = |force: f64| 4.0 * force / most_n * (1.0 - force / most_n);
        // Mean gap between down and up at each load, against the shape of the loop.
        let mut gaps: BTreeMap<u64, (f64, f64)> = BTreeMap::new();
        for (force, raw, way) in &points {
            let signed = if way == "down" { *raw } else { -raw };
            let gap = gaps.entry(force.to_bits()).or_insert((*force, 0.0));
            gap.1 += 0.5 * signed;
        }
        let (over, under) = gaps.values().fold((0.0, 0.0), |sums, (force, gap)| {
            let shape = shape(*force);
            (sums.0 + shape * gap, sums.1 + shape * shape)
        });
        let loop_counts = over / under;
        let half_n = 0.5 * most_n;
        let moved = points.iter().map(|(force, raw, way)| {
            let half_loop = 0.5 * loop_counts * shape(*force);
            let raw = if way == "down" {
                raw - half_loop
            } else {
                raw + half_loop
            };
            (powers(force / half_n - 1.0), raw)
        });
        let moved: Vec<(Vector3<f64>, f64)> = moved.collect();
        let normal: Matrix3<f64> = moved.iter().map(|(z, _)| z * z.transpose()).sum();
        let target: Vector3<f64> = moved.iter().map(|(z, raw)| z * *raw).sum();
        let inverse = normal.try_inverse().unwrap();
        let coefficients = inverse * target;
        let squares: f64 = moved
            .iter()
            .map(|(z, raw)| (raw - coefficients.dot(z)).powi(2))
            .sum();
        Self {
            half_n,
            loop_counts,
            coefficients,
            covariance: inverse * (squares / (points.len() - 3) as f64),
        }
    }

    fn slope(&self, force: f64) -> f64 {
        let z = force / self.half_n - 1.0;
        (self.coefficients[1] + 2.0 * self.coefficients[2] * z) / self.half_n
    }

    fn force(&self, raw: f64) -> f64 {
        let mut force = 0.0;
        for _ in 0..20 {
            let missing = raw - self.coefficients.dot(&powers(force / self.half_n - 1.0));
            force += missing / self.slope(force);
        }
        force
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn sd(values: &[f64]) -> f64 {
    let middle = mean(values);
    let sum: f64 = values.iter().map(|value| (value - middle).powi(2)).sum();
    (sum / (values.len() - 1) as f64).sqrt()
}

/// Standard uncertainties of the total by hand, N s, by the program's name of the source.
fn by_hand(ignition_s: f64, burnout_s: f64) -> BTreeMap<&'static str, f64> {
    let hand = Hand::of_points();
    let rows = columns("demo-data/twin-captive/stand.csv", ["t_us", "base_raw"]);
    let first_us = rows[0].0;
    // The counter of 32 bits runs full once: a time before the first is one turn later.
    let time = |us: f64| {
        let us = if us < first_us {
            us + 2.0_f64.powi(32)
        } else {
            us
        };
        1e-6 * (us - first_us) - DELAY_S
    };
    let load: Vec<(f64, f64)> = rows
        .iter()
        .map(|(us, raw, _)| (time(*us), hand.force(*raw)))
        .collect();
    let part = |from: f64, to: f64| -> Vec<f64> {
        let inside = load.iter().filter(|(time, _)| (from..to).contains(time));
        inside.map(|(_, force)| *force).collect()
    };
    let before = part(ignition_s - 3.2, ignition_s - 0.05);
    let rest_n = mean(&before);
    let burning = part(ignition_s - 0.01, burnout_s + 0.1);
    let dt = 1e-3;
    let peak_n = burning.iter().copied().fold(0.0, f64::max);
    let area: f64 = burning.iter().map(|force| dt * (force - rest_n)).sum();
    let mut gradient = Vector3::zeros();
    let mut half_loop = 0.0;
    for force in &burning {
        let per = |force: f64| powers(force / hand.half_n - 1.0) / hand.slope(force);
        gradient -= (per(*force) - per(rest_n)) * dt;
        let share = force / peak_n;
        let reach = (peak_n / (2.0 * hand.half_n)).powi(2);
        let height_n = hand.loop_counts / hand.slope(*force) * reach;
        half_loop += dt * 0.5 * height_n * 4.0 * share * (1.0 - share);
    }
    // Differences of block means six blocks apart grow by q for each second, beside their noise.
    let per_block = before.len() / 18;
    let blocks: Vec<f64> = before.chunks_exact(per_block).map(mean).collect();
    let lag = 3;
    let steps: Vec<f64> = blocks
        .windows(lag + 1)
        .map(|w| (w[lag] - w[0]).powi(2))
        .collect();
    let block_s = dt * per_block as f64;
    let white = 2.0 * sd(&before).powi(2) / per_block as f64;
    let q = (mean(&steps) - white) / (lag as f64 * block_s - block_s / 3.0);
    let gap_s: f64 = burnout_s - ignition_s + 0.3;
    BTreeMap::from([
        ("weights behind the calibration", WEIGHTS_RELATIVE_U * area),
        ("local gravity", GRAVITY_RELATIVE_U * area),
        (
            "calibration of cell base",
            (gradient.transpose() * hand.covariance * gradient)[0].sqrt(),
        ),
        ("hysteresis of cell base", half_loop / 3.0_f64.sqrt()),
        (
            "noise of the readings",
            sd(&before) * dt * (burning.len() as f64).sqrt(),
        ),
        (
            "baseline through the burn",
            (q.max(0.0) * gap_s.powi(3) / 12.0).sqrt(),
        ),
    ])
}

/// Rows of the table of the page: source, u in N s, share in %.
fn page() -> Vec<(String, f64, f64)> {
    let text = std::fs::read_to_string(repository().join("docs/budget.md")).unwrap();
    let table = text.lines().filter(|line| line.starts_with("| "));
    table
        .skip(1)
        .map(|line| {
            let fields: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
            let share = fields[2].trim_end_matches('%').trim();
            (
                fields[0].to_owned(),
                fields[1].parse().unwrap(),
                share.parse().unwrap(),
            )
        })
        .collect()
}

// Tolerances: a tenth, because by hand the area runs to 0.1 s after the burn and the zero line is a
// mean; noise two fifths, because neighbours resemble each other and some
// of the drift may be noise; the zero line a factor of two, because
// by hand its walk is read from one side and one distance of blocks.
#[test]
fn the_worked_page_is_what_the_program_says_and_what_the_files_give() {
    let folder = Folder::copy_of("demo-data/twin-captive");
    let run = folder.run(&["reduce", "demo-data/twin-captive/firing.toml", "--quiet"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    let result = folder.json("demo-data/twin-captive/reduced/result.json");
    let lines = result["impulse"]["budget"].as_array().unwrap();
    let page = page();
    assert_eq!(page.len(), lines.len());
    for ((source, u, share), line) in page.iter().zip(lines) {
        assert_eq!(line["source"], source.as_str());
        let number = |key: &str| line[key].as_f64().unwrap();
        assert!((number("u_ns") - u).abs() <= 0.5e-4, "{source}: {line}");
        assert!(
            (100.0 * number("share") - share).abs() <= 0.5,
            "{source}: {line}"
        );
    }
    let instant = |key: &str| result["burn"][key]["value"].as_f64().unwrap();
    let hand = by_hand(instant("ignition_s"), instant("burnout_s"));
    for line in lines {
        let source = line["source"].as_str().unwrap();
        let Some(by_hand) = hand.get(source) else {
            continue;
        };
        let ratio = line["u_ns"].as_f64().unwrap() / by_hand;
        let off = match source {
            "baseline through the burn" => 2.0,
            "noise of the readings" => 1.4,
            _ => 1.1,
        };
        assert!((1.0 / off..off).contains(&ratio), "{source}: {ratio}");
    }
    assert_eq!(hand.len(), 6);
}
