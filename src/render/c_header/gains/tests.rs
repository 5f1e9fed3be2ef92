//! The headers compile, and the C controller does what the Rust controller does, tick by tick.

use std::process::Command;

use super::*;
use crate::control::pid::Derivative;
use crate::control::{Scheduling, Specification, tune};
use crate::render::{CONTROLLER_HEADER, csv};
use crate::view::fabricated;

/// Gains for the fabricated plant, or one of them changed.
fn gains(derivative: Derivative, slew_deg_s: Option<f64>, scheduling: Scheduling) -> GainsFile {
    let plant = fabricated::full().plant.unwrap();
    let specification = Specification {
        derivative,
        slew_deg_s,
        scheduling,
        draws: 20,
        ..Specification::default()
    };
    tune(&plant, "plant.json", &specification).unwrap()
}

/// A program that reads lines of in force, start, set point, tilt, rate, factor, and prints commands.
fn program(axis: &str) -> String {
    let axis = axis.to_lowercase();
    format!(
        "#include <stdio.h>\n#include \"gains.h\"\n\
         int main(void)\n{{\n    struct burnwright_state state;\n    float f, r, y, w, s;\n    int tick;\n\
         \x20   burnwright_start(&state, 0.0f);\n\
         \x20   while (scanf(\"%d %f %f %f %f %f\", &tick, &f, &r, &y, &w, &s) == 6) {{\n\
         \x20       if (tick == 0) {{\n            burnwright_start(&state, f);\n        }}\n\
         \x20       printf(\"%.9e\\n\", (double)burnwright_tick(&state, &burnwright_{axis}, r, y, w, s));\n    }}\n\
         \x20   return 0;\n}}\n"
    )
}

/// Commands of the compiled controller for a set of check vectors; `None` without a compiler.
fn commanded(gains: &GainsFile, axis: &str, input: &str) -> Option<Vec<f32>> {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    put("controller.h", CONTROLLER_HEADER);
    put("gains.h", &gains_header(gains));
    put("check.c", &program(&axis.to_uppercase()));
    put("input.txt", input);
    for (compiler, standard) in [("c++", "-std=c++11"), ("c++", "-std=c++20")] {
        let strict = ["-Wall", "-Wextra", "-Werror", "-pedantic", "-fsyntax-only"];
        let mut compiled = Command::new(compiler);
        compiled
            .arg(standard)
            .args(strict)
            .args(["-x", "c++", "check.c"]);
        if let Ok(compiled) = compiled.current_dir(folder.path()).output() {
            let said = String::from_utf8_lossy(&compiled.stderr);
            assert!(compiled.status.success(), "{standard}: {said}");
        }
    }
    let compiled = Command::new("cc")
        .args([
            "-std=c99",
            "-Wall",
            "-Wextra",
            "-Werror",
            "-pedantic",
            "-O1",
        ])
        .args(["check.c", "-o", "check"])
        .current_dir(folder.path())
        .output()
        .ok()?;
    let said = String::from_utf8_lossy(&compiled.stderr).into_owned();
    assert!(compiled.status.success(), "{said}");
    let run = Command::new(folder.path().join("check"))
        .stdin(std::fs::File::open(folder.path().join("input.txt")).unwrap())
        .output()
        .unwrap();
    let text = String::from_utf8(run.stdout).unwrap();
    Some(text.lines().map(|line| line.parse().unwrap()).collect())
}

#[test]
fn the_compiled_controller_gives_the_check_vectors_tick_by_tick() {
    for (derivative, slew, scheduling) in [
        (Derivative::Rate, None, Scheduling::Never),
        (Derivative::Difference, Some(60.0), Scheduling::Never),
        (Derivative::Rate, Some(200.0), Scheduling::Always),
    ] {
        let gains = gains(derivative, slew, scheduling);
        let text = csv::check_vectors(&gains);
        for name in gains.axes.keys() {
            let rows: Vec<Vec<&str>> = text
                .lines()
                .skip(1)
                .map(|line| line.split(',').collect())
                .filter(|row: &Vec<&str>| row[0] == name)
                .collect();
            assert_eq!(rows.len(), crate::control::vectors::TICKS);
            let input: String = rows
                .iter()
                .map(|row| format!("{}\n", row[1..7].join(" ")))
                .collect();
            let Some(found) = commanded(&gains, name, &input) else {
                return;
            };
            let wanted: Vec<f32> = rows.iter().map(|row| row[7].parse().unwrap()).collect();
            assert_eq!(found.len(), wanted.len());
            for (tick, (found, wanted)) in found.iter().zip(&wanted).enumerate() {
                // Gains pass through nine printed digits and both work in single precision in the same
                // order; a compiler that joins a product and a sum may differ in the last bits.
                let off = (found - wanted).abs();
                assert!(
                    off <= 2e-5 * wanted.abs().max(1.0),
                    "{name} {tick}: {found} {wanted}"
                );
            }
            // The set visits the limit on both sides, and the start is the command in force.
            let limit = gains.axes[name].controller.limit_deg as f32;
            assert!(wanted.iter().any(|one| *one >= 0.999 * limit), "{name}");
            assert!(wanted.iter().any(|one| *one <= -0.999 * limit), "{name}");
            assert!((wanted[0] - 0.5).abs() < 1e-5);
        }
    }
}

#[test]
fn hostile_names_stay_inside_their_comments() {
    let mut gains = gains(Derivative::Rate, None, Scheduling::Always);
    let axis = gains.axes["pitch"].clone();
    gains.axes.insert("*/ #error x /*".to_owned(), axis);
    gains.plant = "*/ int x = ; /*".to_owned();
    gains.firing = "\" */ \\".to_owned();
    let input = "0 0 0 1 0 1\n";
    if let Some(found) = commanded(&gains, "pitch", input) {
        assert_eq!(found, [0.0]);
    }
}
