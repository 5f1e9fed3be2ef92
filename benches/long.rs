//! How long the whole job takes on long logs: a recorder at 20 kHz, six columns, left running for 5, 50 and
//! 500 s, and a computer at 200 Hz beside it.
#![allow(clippy::unwrap_used, reason = "a bench may stop on the first surprise")]
//!
//! `cargo bench --bench long`. The firings stay in `target/long-logs` for the script that does the same job
//! (benches/script/whole_job.py); docs/performance.md has the table.

use std::path::{Path, PathBuf};

use burnwright::internal::{
    Rehearsal, deciding_columns, read_record, read_rehearsal, rehearse, wanted_columns,
};
use burnwright::{Report, read_firing, reduce};

/// Rows of the long log.
const ROWS: [u64; 3] = [100_000, 1_000_000, 10_000_000];

const RATE_HZ: f64 = 20_000.0;

fn main() {
    for rows in ROWS {
        make(rows);
    }
    divan::main();
}

fn folder(rows: u64) -> PathBuf {
    let target = Path::new(env!("CARGO_MANIFEST_DIR")).join("target");
    target.join("long-logs").join(rows.to_string())
}

/// The demo's rehearsal, its stand read fast and for long; made once.
fn make(rows: u64) {
    let folder = folder(rows);
    if folder.join("firing.toml").exists() {
        return;
    }
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive/REHEARSAL.toml");
    let mut plan: Rehearsal = read_rehearsal(&plan).unwrap();
    plan.lasts_s = rows as f64 / RATE_HZ;
    plan.fire_s = 0.3 * plan.lasts_s;
    let stand = plan.recorders.get_mut("stand").unwrap();
    (stand.rate_hz, stand.jitter_s, stand.dropped) = (RATE_HZ, 2e-6, 0.0);
    let again = stand.columns["base_raw"].clone();
    stand.columns.insert("base_again".to_owned(), again);
    std::fs::create_dir_all(&folder).unwrap();
    for file in rehearse(&plan).unwrap() {
        std::fs::write(folder.join(&file.path), &file.bytes).unwrap();
    }
}

/// From the firing file to the bytes of every output, without writing them.
#[divan::bench(args = ROWS, sample_count = 5, sample_size = 1)]
fn whole_job(rows: u64) -> usize {
    let firing = read_firing(&folder(rows).join("firing.toml")).unwrap();
    let reduced = reduce(&firing).unwrap();
    reduced.files().iter().map(|file| file.bytes.len()).sum()
}

/// Reading the long log, only what lies around the burn where that will do.
#[divan::bench(args = ROWS, sample_count = 5, sample_size = 1)]
fn reading(rows: u64) -> usize {
    read(rows, true)
}

/// Reading all of the long log.
#[divan::bench(args = ROWS, sample_count = 3, sample_size = 1)]
fn reading_all(rows: u64) -> usize {
    read(rows, false)
}

fn read(rows: u64, part: bool) -> usize {
    let firing = read_firing(&folder(rows).join("firing.toml")).unwrap();
    let deciding = if part {
        deciding_columns(&firing, "stand")
    } else {
        vec![]
    };
    let wanted = wanted_columns(&firing, "stand");
    let read = read_record(&firing.logs["stand"], &wanted, &deciding).unwrap();
    read.time_s.len()
}
