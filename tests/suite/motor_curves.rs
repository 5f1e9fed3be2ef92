//! The invented motors keep what their labels say.

#![allow(clippy::unwrap_used, reason = "a test may stop on the first surprise")]

use std::path::Path;

use approx::assert_abs_diff_eq;
use burnwright::internal::{Certified, area, read_certified};

fn curves() -> Vec<Certified> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("motor-curves");
    let mut paths: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    paths.sort();
    paths
        .iter()
        .map(|path| read_certified(path).unwrap())
        .collect()
}

// Labels are printed to a tenth, so half a tenth is what rounding allows.
#[test]
fn area_peak_and_duration_of_each_curve_are_those_stated() {
    let curves = curves();
    assert!(curves.len() >= 4);
    for motor in curves {
        let curve = motor.thrust_curve.unwrap();
        let stated_ns = motor.total_impulse.unwrap().si();
        assert_abs_diff_eq!(area(&curve), stated_ns, epsilon = 0.05);
        let peak_n = curve.value().iter().copied().fold(0.0, f64::max);
        assert_eq!(peak_n, motor.peak_thrust.unwrap().si());
        assert_eq!(curve.value().last(), Some(&0.0));
        let burn_s = motor.burn_time.unwrap().si();
        assert_eq!(curve.span_s(), Some((0.0, burn_s)));
        let average_n = motor.average_thrust.unwrap().si();
        assert_abs_diff_eq!(stated_ns / burn_s, average_n, epsilon = 0.05);
    }
}

// Total impulse doubles from letter to letter: C up to 10 N s, D to 20, E to 40, F to 80, G to 160
// (NFPA 1125). The number is the average thrust in newtons.
#[test]
fn each_designation_fits_its_impulse_and_thrust() {
    for motor in curves() {
        let designation = motor.designation.unwrap();
        let step = designation.bytes().next().unwrap() - b'A';
        let most_ns = 2.5 * f64::from(1_u32 << step);
        let total_ns = motor.total_impulse.unwrap().si();
        assert!(
            0.5 * most_ns < total_ns && total_ns <= most_ns,
            "{designation}"
        );
        let number: f64 = designation[1..].split('-').next().unwrap().parse().unwrap();
        assert_eq!(number, motor.average_thrust.unwrap().si().round());
    }
}
