//! How long the demo firing takes: the whole job, and its two largest parts.
#![allow(clippy::unwrap_used, reason = "a bench may stop on the first surprise")]
//!
//! `cargo bench` runs it; nothing in the tests depends on time.

use std::path::{Path, PathBuf};

use burnwright::{firing, reduction, report};

fn main() {
    divan::main();
}

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive/firing.toml")
}

/// From the firing file to the bytes of every output, without writing them.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn whole_job() -> usize {
    let firing = firing::read_firing(&demo()).unwrap();
    let reduced = reduction::reduce(&firing).unwrap();
    report::files(&reduced)
        .iter()
        .map(|(_, bytes)| bytes.len())
        .sum()
}

/// The stages alone.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn reduction_alone(bencher: divan::Bencher) {
    let firing = firing::read_firing(&demo()).unwrap();
    bencher.bench(|| reduction::reduce(&firing).unwrap());
}

/// The writers alone.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn report_alone(bencher: divan::Bencher) {
    let firing = firing::read_firing(&demo()).unwrap();
    let reduced = reduction::reduce(&firing).unwrap();
    bencher.bench(|| report::files(&reduced));
}
