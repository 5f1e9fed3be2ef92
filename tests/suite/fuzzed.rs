//! The seeds of the fuzz targets, and every input that once broke something, go through what the fuzzer
//! does with them (`fuzz/src/lib.rs`).

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a test may stop on the first surprise"
)]

#[path = "../../fuzz/src/lib.rs"]
pub mod targets;

/// Gives a target every file of its folders.
fn all_of(target: &str, run: fn(&[u8])) {
    let fuzz = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz");
    let seeds = std::fs::read_dir(fuzz.join("seeds").join(target)).unwrap();
    let found = std::fs::read_dir(fuzz.join("found").join(target)).into_iter();
    let mut count = 0;
    for file in seeds.chain(found.flatten()) {
        run(&std::fs::read(file.unwrap().path()).unwrap());
        count += 1;
    }
    assert!(count > 2, "{target} has {count} inputs");
}

#[test]
fn logs() {
    all_of("log", targets::log);
}

#[test]
fn points_files() {
    all_of("points", targets::points);
}

#[test]
fn firing_files() {
    all_of("firing_file", targets::firing_file);
}

#[test]
fn plant_files() {
    all_of("plant_file", targets::plant_file);
}
