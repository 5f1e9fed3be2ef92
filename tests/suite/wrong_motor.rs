//! The wrong motor in the tube is recognised, and the right one is not doubted.
//!
//! The truth is the rehearsal's own: it burns one design, and the firing file claims another. Heights
//! and lengths are drawn from the motor-to-motor spread that the reduction assumes (5 % and 3 %).

use burnwright::internal::{Recognition, read_certified, read_rehearsal, rehearse};
use burnwright::{Outcome, read_firing, reduce};

use crate::runner::{Folder, repository};
use crate::studies::study;

/// Of 100 seeds, 100 strangers were named and no right motor was doubted; fewer keep the test short.
const SEEDS: [u64; 2] = [3, 30];

/// Numbers about zero, of unit variance: twelve uniform ones added up, from a linear congruence.
struct Dice(u64);

impl Dice {
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

/// A rehearsal that burns one design under the label of another, reduced with all curves at hand.
fn seen(plan: &str, burns: &[&str], claims: &str, seed: u64) -> Recognition {
    let curves = repository().join("motor-curves");
    let mut rehearsal = read_rehearsal(&repository().join(plan)).unwrap();
    rehearsal.seed = seed;
    let mut dice = Dice(seed);
    dice.normal();
    for (motor, design) in rehearsal.motors.values_mut().zip(burns) {
        let path = curves.join(format!("{design}.toml"));
        motor.certified = read_certified(&path).unwrap();
        motor.certified_path = path;
        motor.impulse_scale = 1.0 + 0.05 * dice.normal();
        motor.time_scale = 1.0 + 0.03 * dice.normal();
    }
    let folder = Folder::new();
    for file in rehearse(&rehearsal).unwrap() {
        std::fs::write(folder.path(&file.path), file.bytes).unwrap();
    }
    let path = folder.path("firing.toml");
    let mut text = std::fs::read_to_string(&path).unwrap();
    for design in burns {
        text = text.replace(&format!("{design}.toml"), &format!("{claims}.toml"));
    }
    std::fs::copy(
        curves.join(format!("{claims}.toml")),
        folder.path(&format!("{claims}.toml")),
    )
    .unwrap();
    text += &format!("\n[reduce]\ncurves = \"{}\"\n", curves.display());
    std::fs::write(&path, text).unwrap();
    let reduced = reduce(&read_firing(&path).unwrap()).unwrap();
    reduced.result.class.unwrap().recognised.unwrap()
}

const ONE: &str = "studies/coverage/kinds/slow.toml";

#[test]
fn a_wrong_motor_is_recognised_and_a_right_one_never_doubted() {
    let designs = [
        ("finch-24", "Finch 24"),
        ("siskin-24", "Siskin 24"),
        ("wren-18", "Wren 18"),
    ];
    let (mut named, mut caught, mut doubted, mut unsure) = (0, 0, 0, 0);
    let (seeds, _) = study(SEEDS[0], SEEDS[1]);
    for seed in 0..seeds {
        let (burns, name) = designs[(seed % 3) as usize];
        let (claims, _) = designs[((seed + 1) % 3) as usize];
        let found = seen(ONE, &[burns], claims, seed);
        named += usize::from(found.explanations[0].design.as_deref() == Some(name));
        caught += usize::from(found.finding().outcome == Outcome::Fails);
        match seen(ONE, &[burns], burns, seed).finding().outcome {
            Outcome::Fails => doubted += 1,
            Outcome::Undecided => unsure += 1,
            Outcome::Holds => {}
        }
    }
    println!(
        "of {seeds}: named {named}, caught {caught}; right ones doubted {doubted}, undecided {unsure}"
    );
    assert_eq!((doubted, caught), (0, seeds as usize));
    assert!(
        named + 1 >= seeds as usize && unsure <= 1,
        "named {named}, unsure {unsure}"
    );
}

// A Siskin beside a Finch under two Finch labels: one of the two is a stranger. Own cells, so that
// both are known to have lit.
#[test]
fn one_stranger_among_two_is_named() {
    let plan = "studies/coverage/kinds/own-cells.toml";
    let mut right = 0;
    let (seeds, _) = study(3, 10);
    for seed in 0..seeds {
        let found = seen(plan, &["finch-24", "siskin-24"], "finch-24", seed);
        let best = &found.explanations[0];
        right += u64::from(best.design.as_deref() == Some("Siskin 24") && !best.every_one);
        let honest = seen(plan, &["finch-24", "finch-24"], "finch-24", seed);
        assert_ne!(honest.finding().outcome, Outcome::Fails, "seed {seed}");
    }
    assert!(right + 1 >= seeds, "{right} of {seeds}");
}
