//! The search against fits that start from the truth: a set of motors that burnt must be explained as well
//! by the search as by a start that knows how they burnt.

use std::f64::consts::TAU;
use std::path::Path;

use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};

use super::firing_evidence::EXPLAINED;
use super::hypothesis::weigh;
use super::part::{Burning, Part, Pattern};
use super::pieces::ThrustPieces;
use super::shape::{self, Shared};
use crate::config::certified::read_certified;
use crate::series::Series;

const CLUSTER: [&str; 4] = ["finch-24", "finch-24", "siskin-24", "plover-29"];

fn cluster() -> Vec<Pattern> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("motor-curves");
    let each = CLUSTER.iter().map(|name| {
        let certified = read_certified(&folder.join(format!("{name}.toml"))).unwrap();
        Pattern::new(&certified.thrust_curve.unwrap()).unwrap()
    });
    each.collect()
}

/// How a motor burns that hangs fire, is weak or goes out, each with some probability.
fn drawn(random: &mut ChaCha8Rng) -> Burning {
    let mut uniform = |from: f64, to: f64| from + (to - from) * random.random::<f64>();
    let part = Part {
        onset_s: 2.0 + uniform(0.0, 0.04),
        height: uniform(0.93, 1.07),
        stretch: uniform(0.97, 1.03),
        out_s: None,
    };
    let mut one = Burning { part, weak: false };
    match uniform(0.0, 10.0) {
        x if x < 3.0 => one.part.onset_s += uniform(0.3, 1.5),
        x if x < 6.0 => one.part.out_s = Some(uniform(0.3, 1.0)),
        x if x < 7.0 => one.part.height *= 0.85,
        _ => {}
    }
    one
}

/// The thrust of motors, each with a slow wave on its course.
fn record(curves: &[Pattern], burning: &[Burning], random: &mut ChaCha8Rng) -> Series {
    let waves: Vec<(f64, f64, f64)> = curves
        .iter()
        .map(|_| {
            let size = 0.03 * ((0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0);
            let period_s = 0.4 + 1.2 * random.random::<f64>();
            (size, period_s, TAU * random.random::<f64>())
        })
        .collect();
    let time: Vec<f64> = (0..2500).map(|at| 1.0 + f64::from(at) * 0.0025).collect();
    let thrust = |t: &f64| {
        let each = curves.iter().zip(burning).zip(&waves);
        each.map(|((curve, one), (size, period_s, phase))| {
            let wave = 1.0 + size * (TAU * (t - one.part.onset_s) / period_s + phase).sin();
            one.part.thrust_n(curve, *t) * wave
        })
        .sum::<f64>()
    };
    Series::new(&time, &time.iter().map(thrust).collect::<Vec<f64>>())
}

/// Clusters on which a search by one motor at a time ended beside the truth.
const HARD: [u64; 3] = [8, 22, 122];

#[test]
fn no_start_from_the_truth_explains_a_cluster_better_than_the_search() {
    let curves = cluster();
    for seed in HARD {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let burning: Vec<Burning> = curves.iter().map(|_| drawn(&mut random)).collect();
        let record = record(&curves, &burning, &mut random);
        let begins = burning.iter().map(|one| one.part.onset_s);
        let ends = burning.iter().zip(&curves).map(|(one, curve)| {
            let whole = one.part.stretch * curve.duration_s();
            one.part.onset_s + one.part.out_s.unwrap_or(whole)
        });
        let window_s = (
            begins.fold(f64::INFINITY, f64::min),
            ends.fold(0.0, f64::max),
        );
        let pieces = ThrustPieces::cut(&record, window_s, 0.05, 0.05).unwrap();
        let each: Vec<&Pattern> = curves.iter().collect();
        let known = pieces.fit(&each, &burning).unwrap();
        let shared = Shared {
            pieces: &pieces,
            motors: curves.iter().cloned().enumerate().collect(),
            other: Vec::new(),
            earlier: None,
        };
        let explained = shape::explain(&shared).unwrap();
        let found = explained.searched(&[true; 4]).unwrap();
        let piece = shape::evidence("cell", 4, &CLUSTER, &shared, &explained);
        let all_lit = weigh(4, std::slice::from_ref(&piece)).all_lit();
        assert!(all_lit > 0.01, "{seed}: {all_lit}, {}", piece.says);
        // Where the search ended early, what it leaves is too much for a verdict.
        assert!(
            known.log_evidence < found + 1.0 || explained.misfit() > EXPLAINED,
            "{seed}: {}",
            piece.says
        );
    }
}
