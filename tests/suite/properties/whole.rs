//! The whole reduction on a small firing in which one file, or two, went wrong.

use burnwright::{OutputFile, Report, Screen, read_firing, reduce};
use proptest::prelude::*;
use proptest::sample::select;

use super::odd::{Mistake, mistakes, with};
use super::small::{Files, firing, laid_out, put};
use super::{cases, finite, in_time, shown, told};

const FILES: [&str; 4] = [
    "stand.csv",
    "firing.toml",
    "cell-base-points.csv",
    "finch-24.toml",
];

/// Reduces, and looks at all that would be written.
pub fn reduced(files: &Files, changed: &[(&str, Vec<u8>)]) {
    let folder = laid_out(files);
    for (name, bytes) in changed {
        put(folder.path(), name, bytes);
    }
    let path = folder.path().join("firing.toml");
    match in_time(|| reduce(&read_firing(&path)?)) {
        Ok(reduction) => {
            finite(&reduction.result);
            finite(&reduction.plant);
            for OutputFile { path: name, bytes } in reduction.files() {
                let text = String::from_utf8(bytes).unwrap();
                let page = name.ends_with(".html");
                assert!(page || !text.contains("NaN"), "{name} holds NaN");
                assert!(
                    page || !text.contains("inf\n") && !text.contains("inf,"),
                    "{name} holds inf"
                );
            }
            shown(&reduction.text(Screen::default()));
        }
        Err(problems) => told(&problems),
    }
}

fn some() -> impl Strategy<Value = Vec<(&'static str, Vec<Mistake>)>> {
    prop::collection::vec((select(&FILES[..]), mistakes()), 1..3)
}

fn changed<'a>(steered: bool, some: &[(&'a str, Vec<Mistake>)]) -> Vec<(&'a str, Vec<u8>)> {
    let files = firing(steered);
    some.iter()
        .map(|(name, mistakes)| (*name, with(mistakes, &files[*name])))
        .collect()
}

proptest! {
    #![proptest_config(cases(1.0))]

    #[test]
    fn firings_with_mistakes(some in some()) {
        reduced(firing(false), &changed(false, &some));
    }

    #[test]
    fn logs_with_odd_numbers(mistakes in mistakes()) {
        let log = with(&mistakes, &firing(false)["stand.csv"]);
        reduced(firing(false), &[("stand.csv", log)]);
    }
}

proptest! {
    #![proptest_config(cases(0.125))]

    #[test]
    fn steered_firings_with_mistakes(some in some()) {
        reduced(firing(true), &changed(true, &some));
    }
}

#[test]
fn the_small_firings_are_whole() {
    for steered in [false, true] {
        let folder = laid_out(firing(steered));
        let reduction = reduce(&read_firing(&folder.path().join("firing.toml")).unwrap()).unwrap();
        let impulse = reduction.result.impulse.unwrap().total_ns.unwrap();
        // The motor's design holds 29.8 N s.
        assert!((impulse.value / 29.8 - 1.0).abs() < 0.05, "{impulse:?}");
        assert_eq!(reduction.plant.is_some(), steered);
    }
}
