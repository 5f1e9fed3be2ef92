//! The demo firings are what `rehearse` makes of their rehearsal files, to the byte.
//!
//! `BURNWRIGHT_UPDATE=1 cargo test --test suite demo_data` writes them anew.

#![allow(clippy::unwrap_used, reason = "a test may stop on the first surprise")]

use std::path::{Path, PathBuf};

use burnwright::internal::{Truth, read_rehearsal, rehearse};
use burnwright::{OutputFile, read_firing, reduce};

const FIRINGS: [&str; 2] = ["twin-captive", "twin-one-dead"];

/// Largest demo folder, bytes: a checkout must stay small.
const LARGEST_FOLDER: usize = 2_000_000;

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("demo-data")
        .join(name)
}

fn made(name: &str) -> Vec<OutputFile> {
    let rehearsal = read_rehearsal(&folder(name).join("REHEARSAL.toml")).unwrap();
    rehearse(&rehearsal).unwrap()
}

#[test]
fn demo_firings_are_what_their_rehearsals_give() {
    for name in FIRINGS {
        let files = made(name);
        let size: usize = files.iter().map(|file| file.bytes.len()).sum();
        assert!(size < LARGEST_FOLDER, "{name}: {size} bytes");
        for file in files {
            let path = folder(name).join(&file.path);
            if std::env::var_os("BURNWRIGHT_UPDATE").is_some() {
                std::fs::write(&path, &file.bytes).unwrap();
            }
            let committed = std::fs::read(&path).unwrap();
            if cfg!(all(target_os = "linux", target_arch = "x86_64")) {
                let same = committed == file.bytes;
                assert!(same, "{} differs from its rehearsal", path.display());
            } else {
                alike(&path, &committed, &file.bytes);
            }
        }
    }
}

/// Texts that differ in nothing but the last printed digit of their numbers.
fn alike(path: &Path, left: &[u8], right: &[u8]) {
    let words = |bytes: &[u8]| -> Vec<String> {
        let text = String::from_utf8_lossy(bytes).into_owned();
        let cut = |ch: char| ch.is_whitespace() || ch == ',' || ch == ':';
        text.split(cut).map(str::to_owned).collect()
    };
    let (left, right) = (words(left), words(right));
    assert_eq!(left.len(), right.len(), "{}", path.display());
    for (a, b) in left.iter().zip(&right) {
        let near = match (a.parse::<f64>(), b.parse::<f64>()) {
            (Ok(x), Ok(y)) => (x - y).abs() <= 1.01 * last_digit(a).max(last_digit(b)),
            _ => a == b,
        };
        assert!(near, "{}: {a} and {b}", path.display());
    }
}

/// Size of the last printed digit of a number.
fn last_digit(text: &str) -> f64 {
    let (digits, power) = text.split_once(['e', 'E']).unwrap_or((text, "0"));
    let decimals = digits.split_once('.').map_or(0, |(_, after)| after.len());
    let power: i32 = power.parse().unwrap_or(0);
    10_f64.powi(power - i32::try_from(decimals).unwrap_or(0))
}

#[test]
fn demo_firing_files_are_read_without_complaint() {
    for name in FIRINGS {
        let firing = read_firing(&folder(name).join("firing.toml")).unwrap();
        assert_eq!(firing.motors.len(), 2);
        assert_eq!(firing.axes.len(), 2);
        assert!(firing.vehicle.is_some());
    }
}

#[test]
fn the_truth_of_the_demos_is_the_story_they_tell() {
    let truth = |name| -> Truth {
        let bytes = std::fs::read(folder(name).join("truth.json")).unwrap();
        serde_json::from_slice(&bytes).unwrap()
    };
    let both = truth("twin-captive");
    let dead = truth("twin-one-dead");
    assert_eq!((both.ignition.lit_count, dead.ignition.lit_count), (2, 1));
    assert!(dead.ignition.stagger_s.is_none() && !dead.motors["right"].lit);
    let ratio = dead.impulse.unwrap().total_ns / both.impulse.unwrap().total_ns;
    assert!((0.48..0.54).contains(&ratio), "{ratio}");
    // The limit of the pattern's design, which is for motors that all light; a dead one turns the rig further.
    for axis in both.plant.values() {
        assert!(axis.largest_tilt_in_burn_deg.unwrap() < 10.0);
    }
    for axis in dead.plant.values() {
        assert!(axis.largest_tilt_in_burn_deg.unwrap() < 15.0);
    }
}

/// All code blocks of the page that describes the rehearsal file.
fn documented() -> String {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/rehearsal.md");
    let page = std::fs::read_to_string(page).unwrap();
    let blocks = page.split("```toml\n").skip(1);
    let blocks: Vec<&str> = blocks
        .map(|rest| rest.split("```").next().unwrap())
        .collect();
    blocks.join("\n")
}

#[test]
fn the_documented_rehearsal_runs_and_its_firing_file_reads() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let curves = Path::new(env!("CARGO_MANIFEST_DIR")).join("motor-curves");
    std::fs::copy(curves.join("finch-24.toml"), at("finch-24.toml")).unwrap();
    std::fs::write(at("REHEARSAL.toml"), documented()).unwrap();
    let rehearsal = read_rehearsal(&at("REHEARSAL.toml")).unwrap_or_else(|p| panic!("{p}"));
    for file in rehearse(&rehearsal).unwrap() {
        std::fs::write(at(&file.path), &file.bytes).unwrap();
    }
    let firing = read_firing(&at("firing.toml")).unwrap_or_else(|p| panic!("{p}"));
    let arm = firing.axes["pitch"].arm.as_ref().unwrap();
    assert!(arm.standard_uncertainty().is_some());
    let truth: Truth = serde_json::from_slice(&std::fs::read(at("truth.json")).unwrap()).unwrap();
    assert_eq!(truth.ignition.lit_count, 1);
    assert!(truth.motors["left"].burnt_kg < 0.8 * truth.motors["left"].propellant_kg);
}

/// The twin firing with a pressure transducer on its left motor, read by the computer's recorder.
fn with_chamber(reads: &str) -> String {
    let text = std::fs::read_to_string(folder("twin-captive").join("REHEARSAL.toml")).unwrap();
    let column = "gyro_pitch    = {";
    assert!(text.contains(column));
    let pressure =
        format!("p_left = {{ of = \"pressure\", noise = \"9 kPa\", step = \"1 kPa\" }}\n{column}");
    let chamber = format!(
        "\n[chamber]\nmotor = \"left\"\nreads = \"{reads}\"\nthroat_diameter = \"4.61 mm\"\n\
         thrust_coefficient = 1.42\nambient = \"100.4 kPa\"\nspan = \"100.2 %\"\nzero = \"14 kPa\"\n\
         says = {{ throat_diameter = \"4.6 mm \u{b1} 0.03 mm\", ambient = \"100.8 kPa u 0.5 kPa\", \
         span_error = \"0.5 %\" }}\n"
    );
    text.replacen(column, &pressure, 1) + &chamber
}

// The rehearsal's pressure is thrust over coefficient and throat; its truth is integrated from its own
// trace. Nothing of the reduction is in it. Four standard uncertainties hold but 6e-5 of all results.
#[test]
fn the_chamber_of_a_rehearsal_comes_back_within_its_uncertainty() {
    for (seed, reads) in [(1, "gauge"), (2, "absolute"), (3, "gauge")] {
        let place = tempfile::tempdir().unwrap();
        let at = |name: &str| place.path().join(name);
        for file in ["finch-24.toml", "pattern.csv"] {
            std::fs::copy(folder("twin-captive").join(file), at(file)).unwrap();
        }
        let text = with_chamber(reads).replace("../../motor-curves/", "");
        std::fs::write(at("REHEARSAL.toml"), text).unwrap();
        let mut rehearsal = read_rehearsal(&at("REHEARSAL.toml")).unwrap_or_else(|p| panic!("{p}"));
        rehearsal.seed = seed;
        for file in rehearse(&rehearsal).unwrap() {
            std::fs::write(at(&file.path), &file.bytes).unwrap();
        }
        let truth: serde_json::Value =
            serde_json::from_slice(&std::fs::read(at("truth.json")).unwrap()).unwrap();
        let firing = read_firing(&at("firing.toml")).unwrap_or_else(|p| panic!("{p}"));
        let reduced = reduce(&firing).unwrap_or_else(|p| panic!("{p}"));
        let chamber = serde_json::to_value(reduced.result.chamber.unwrap()).unwrap();
        assert_eq!(chamber["window_by"], "pressure");
        for key in [
            "throat_area_mm2",
            "peak_kpa",
            "mean_kpa",
            "integral_kpa_s",
            "characteristic_velocity_m_s",
            "thrust_coefficient",
        ] {
            let truth = truth["chamber"][key].as_f64().unwrap();
            let (value, u) = (
                chamber[key]["value"].as_f64().unwrap(),
                chamber[key]["u"].as_f64().unwrap(),
            );
            assert!(
                (value - truth).abs() < 4.0 * u,
                "{seed} {key}: {value} u {u}, {truth}"
            );
            // The left motor's share of the impulse of two is only known to some per cent.
            assert!(u < 0.10 * value, "{key} says nothing");
        }
    }
}
