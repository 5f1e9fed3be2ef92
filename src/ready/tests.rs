//! Fifteen faults of a stand, each named; and clean stands, none of which fails.

use std::fmt::Write;
use std::path::{Path, PathBuf};

use super::*;
use crate::config::read_firing;
use crate::quantity::Quantity;

/// What is wrong with a stand.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Fault {
    None,
    DeadCell,
    OtherColumn,
    NoisyCell,
    DriftingZero,
    TooSmallCell,
    UpsideDownPoints,
    SlowRecorder,
    Gaps,
    Hum,
    WanderingGyro,
    BrokenSyncWire,
    ReversedNozzle,
    CrossedNozzles,
    LooseStand,
    StalledFile,
}

/// Random numbers near normal, twelve uniform ones added up, by a generator of its own.
struct Noise(u64);

impl Noise {
    fn normal(&mut self) -> f64 {
        let mut uniform = || {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 11) as f64 / (1_u64 << 53) as f64
        };
        (0..12).map(|_| uniform()).sum::<f64>() - 6.0
    }
}

/// The demo's curve: counts at a force.
fn counts(force_n: f64) -> f64 {
    81_230.0 + 340.0 + 4120.0 * force_n - 0.35 * force_n * force_n
}

const LASTS_S: f64 = 14.0;

/// What is done to the stand.
#[derive(Clone, Copy)]
enum On {
    Nothing,
    Weight(f64),
    Taps,
}

/// Counts of a stand that is tapped each third second, damped by 0.03 of the critical.
fn taps(at_s: f64, natural_hz: f64) -> f64 {
    let w = std::f64::consts::TAU * natural_hz;
    let since_s = (at_s - 1.0).rem_euclid(3.0);
    if at_s < 1.0 {
        return 0.0;
    }
    20_000.0 * (-0.03 * w * since_s).exp() * (w * since_s).sin()
}

/// The stand's log: a cell of 60 counts of noise, encoders of 0.022 deg, the fire line pulsed once.
fn stand_log(fault: Fault, noise: &mut Noise, on: On) -> String {
    let mut out = "t_us,base_raw,tilt_pitch,tilt_yaw,fire\n".to_owned();
    let rate_hz = if fault == Fault::SlowRecorder {
        800.0
    } else {
        1000.0
    };
    let mut slow = 0.0;
    for row in 0..(LASTS_S * rate_hz) as u64 {
        let at_s = row as f64 / rate_hz;
        if fault == Fault::Gaps && row % 500 > 470 {
            continue;
        }
        slow += -slow / (2.0 * rate_hz) + 25.0 * noise.normal() / rate_hz.sqrt();
        let weighs = match on {
            On::Weight(newtons) if (4.0..9.0).contains(&at_s) => newtons,
            _ => 0.0,
        };
        let sign = if fault == Fault::UpsideDownPoints {
            -1.0
        } else {
            1.0
        };
        let mut raw = counts(sign * weighs)
            + slow
            + noise.normal()
                * if fault == Fault::NoisyCell {
                    20_000.0
                } else {
                    60.0
                };
        if let On::Taps = on {
            raw += taps(
                at_s,
                if fault == Fault::LooseStand {
                    60.0
                } else {
                    85.0
                },
            );
        }
        raw += match fault {
            Fault::DriftingZero => 700.0 * at_s * at_s / LASTS_S,
            Fault::Hum => 400.0 * (std::f64::consts::TAU * 50.0 * at_s).sin(),
            _ => 0.0,
        };
        let tilt = |wave: f64| ((wave + 0.002 * (3.0 * at_s).sin()) / 0.021_97).round() * 0.021_97;
        let shown = match fault {
            Fault::DeadCell => 81_570.0,
            Fault::OtherColumn => tilt(0.1) * 1000.0,
            _ => raw.round(),
        };
        let fire = u8::from((6.0..6.5).contains(&at_s));
        let fire = if fault == Fault::BrokenSyncWire {
            0
        } else {
            fire
        };
        let _ = writeln!(
            out,
            "{:.0},{shown:.0},{:.5},{:.5},{fire}",
            at_s * 1e6,
            tilt(0.2),
            tilt(-0.1)
        );
    }
    out
}

/// The flight computer's log; with `moves` the nozzle is wiggled and the rig tilted by hand.
fn computer_log(fault: Fault, noise: &mut Noise, moves: bool) -> String {
    let mut out =
        "ms,cmd_pitch_deg,cmd_yaw_deg,pot_pitch_deg,pot_yaw_deg,gyro_pitch,gyro_yaw,fire\n"
            .to_owned();
    let (mut walk, turn) = (0.0, std::f64::consts::TAU);
    for row in 0..(LASTS_S * 200.0) as u64 {
        let at_s = row as f64 / 200.0;
        let wiggle = |hz: f64| 3.0 * f64::from(u8::from(moves)) * (turn * hz * at_s).sin().signum();
        let commands = [wiggle(0.5), wiggle(0.35)];
        let sign = if fault == Fault::ReversedNozzle {
            -1.0
        } else {
            1.0
        };
        if fault == Fault::WanderingGyro {
            walk += 0.12 * noise.normal();
        }
        let pot = |axis: usize, noise: &mut Noise| {
            let angle = sign * 0.93 * commands[axis] + 0.03 * noise.normal();
            (angle / 0.02).round() * 0.02
        };
        let gyro = |bias: f64, noise: &mut Noise| bias + 0.25 * noise.normal();
        let crossed = usize::from(fault == Fault::CrossedNozzles);
        let (pots, gyros) = (
            [pot(crossed, noise), pot(1 - crossed, noise)],
            [gyro(0.62 + walk, noise), gyro(-0.35, noise)],
        );
        let fire = u8::from((6.1..6.6).contains(&at_s));
        let _ = writeln!(
            out,
            "{:.2},{:.2},{:.2},{:.2},{:.2},{:.3},{:.3},{fire}",
            at_s * 1e3,
            commands[0],
            commands[1],
            pots[0],
            pots[1],
            gyros[0],
            gyros[1]
        );
    }
    out
}

/// The demo's firing file on another stand.
fn readiness(fault: Fault, seed: u64) -> Readiness {
    let folder = tempfile::tempdir().unwrap();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive");
    for name in ["cell-base-points.csv", "finch-24.toml"] {
        std::fs::copy(demo.join(name), folder.path().join(name)).unwrap();
    }
    let mut text = std::fs::read_to_string(demo.join("firing.toml")).unwrap();
    text += "\n[plan.log.stand]\nrate = \"1 kHz\"\n";
    if fault == Fault::TooSmallCell {
        text = text.replace("\"98 N\"", "\"49 N\"");
    }
    let mut noise = Noise(seed);
    let write = |name: &str, text: String| -> PathBuf {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path
    };
    let rest = vec![
        write("rest-stand.csv", stand_log(fault, &mut noise, On::Nothing)),
        write("rest-computer.csv", computer_log(fault, &mut noise, false)),
    ];
    let weight = write(
        "weight.csv",
        stand_log(fault, &mut noise, On::Weight(0.5 * 9.81)),
    );
    let wiggle = write("wiggle.csv", computer_log(fault, &mut noise, true));
    let firing = read_firing(&write("firing.toml", text)).unwrap();
    let tap = Some(write("tap.csv", stand_log(fault, &mut noise, On::Taps)));
    let growing = folder.path().join("growing.csv");
    std::fs::write(&growing, "0").unwrap();
    let options = ReadyOptions {
        tap,
        growing: (fault == Fault::StalledFile)
            .then_some(growing)
            .into_iter()
            .collect(),
        rest,
        weight: Some((weight, Given::plain(Mass::from_si(0.5)))),
        wiggle: vec![wiggle],
    };
    ready(&firing, &options).unwrap()
}

fn failing(of: &Readiness) -> Vec<String> {
    let all = of
        .findings
        .iter()
        .flat_map(|(name, all)| all.iter().map(move |one| (name, one)));
    all.filter(|(_, one)| one.outcome == Outcome::Fails)
        .map(|(name, one)| format!("{name}: {}", one.claim))
        .collect()
}

#[test]
fn each_fault_is_named_and_little_else() {
    for (fault, claim) in [
        (
            Fault::DeadCell,
            "cell base: the cell reads, and not one number only",
        ),
        (
            Fault::OtherColumn,
            "cell base: the load at rest is one that this stand can have",
        ),
        (
            Fault::NoisyCell,
            "cell base: noise and drift of the zero leave the impulse as sure as wanted",
        ),
        (
            Fault::DriftingZero,
            "cell base: the zero stays where it is for as long as a burn",
        ),
        (Fault::TooSmallCell, "cell base: the burn fits the cell"),
        (
            Fault::UpsideDownPoints,
            "cell base: a known weight is read as its weight, with the sign of thrust",
        ),
        (
            Fault::SlowRecorder,
            "log stand: the recorder keeps its stated rate",
        ),
        (Fault::Gaps, "log stand: the recorder leaves no gaps"),
        (Fault::Hum, "cell base: mains hum is below the noise"),
        (
            Fault::WanderingGyro,
            "axis pitch: the gyro is quiet over a second",
        ),
        (
            Fault::BrokenSyncWire,
            "log computer: the edge that ties the clocks shows in both logs",
        ),
        (
            Fault::ReversedNozzle,
            "axis pitch: a positive command gives a positive nozzle angle",
        ),
        (
            Fault::CrossedNozzles,
            "axis pitch: no other axis's nozzle follows this command in place of its own",
        ),
        (
            Fault::LooseStand,
            "stand: the stand rings at its stated natural frequency",
        ),
        (
            Fault::StalledFile,
            "files: the log grows while it is recorded",
        ),
    ] {
        let found = failing(&readiness(fault, 1));
        assert!(found.iter().any(|one| one == claim), "{fault:?}: {found:?}");
    }
}

#[test]
fn a_clean_stand_never_fails() {
    let long = std::env::var_os("BURNWRIGHT_LONG").is_some();
    for seed in 1..=if long { 200 } else { 4 } {
        assert_eq!(
            failing(&readiness(Fault::None, seed)),
            [""; 0],
            "seed {seed}"
        );
    }
}

#[test]
fn a_file_that_is_being_written_grows() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log.csv");
    std::fs::write(&path, "0").unwrap();
    let growing = path.clone();
    std::thread::spawn(move || {
        for rows in 0..30 {
            std::thread::sleep(std::time::Duration::from_millis(100));
            let _ = std::fs::write(&growing, "0".repeat(10 * rows));
        }
    });
    let firing = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive/firing.toml");
    let found = stand::files(&read_firing(&firing).unwrap(), &[path]);
    assert!(found.iter().all(|one| one.outcome == Outcome::Holds));
}
