//! Which motors lit: verdicts held against the truth of firings drawn by a program that knows nothing of the evidence.
//!
//! ```sh
//! cargo run --release --features internals --example verdicts -- 3000 5000         # the tables, seeds from 3000 on
//! cargo run --release --features internals --example verdicts -- 3000 5000 1 600   # on one core, those begun in 600 s
//! cargo run --release --features internals --example verdicts -- intervals 200 1000        # do intervals hold, trouble by trouble, seeds from 1000 on
//! cargo run --release --features internals --example verdicts -- intervals 200 1000 sway   # one of them
//! cargo run --release --features internals --example verdicts -- write 3017 FOLDER # one firing's files, to look at
//! ```

#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a study prints its table"
)]

mod case;
mod firings;
mod intervals;
mod table;

use std::ops::Range;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use case::Case;
use firings::Trouble;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let number = |at: usize, otherwise| {
        words
            .get(at)
            .map_or(Some(otherwise), |word| word.parse().ok())
    };
    if let [write, seed, folder, rest @ ..] = words.as_slice()
        && write == "write"
    {
        let written = seed.parse().map_err(|_| format!("`{seed}` is no seed"));
        return finish(written.and_then(|seed| {
            let trouble = rest.first().and_then(|word| named(word));
            let firing =
                trouble.map_or_else(|| firings::draw(seed), |one| firings::with(seed, one));
            case::write(&firing, Path::new(folder)).map_err(|e| e.to_string())
        }));
    }
    let cores = std::thread::available_parallelism().map_or(1, |count| count.get() as u64);
    if let [intervals, rest @ ..] = words.as_slice()
        && intervals == "intervals"
    {
        return finish(hold(rest, cores));
    }
    match [
        number(0, 3000),
        number(1, 5000),
        number(2, cores),
        number(3, u64::MAX),
    ] {
        [Some(first), Some(count), Some(threads), Some(seconds)] => {
            let seeds = first..first + count;
            print!("{}", table::table(&cases(seeds, threads, seconds)));
            ExitCode::SUCCESS
        }
        _ => finish(Err(
            "verdicts [FIRST_SEED [COUNT [THREADS [SECONDS]]]], or verdicts write SEED FOLDER"
                .to_owned(),
        )),
    }
}

fn named(word: &str) -> Option<Trouble> {
    Trouble::ALL.into_iter().find(|one| one.name() == word)
}

/// The tables of `intervals COUNT FIRST_SEED [TROUBLE]`.
fn hold(words: &[String], threads: u64) -> Result<(), String> {
    let number = |at: usize| words.get(at).and_then(|word| word.parse::<u64>().ok());
    let (Some(count), Some(first)) = (number(0), number(1)) else {
        return Err("verdicts intervals COUNT FIRST_SEED [TROUBLE]".to_owned());
    };
    let troubles = match words.get(2) {
        None => Trouble::ALL.to_vec(),
        Some(word) => vec![named(word).ok_or_else(|| format!("`{word}` is no trouble"))?],
    };
    for trouble in troubles {
        let all = gathered(first..first + count, threads, u64::MAX, |seed| {
            intervals::of(seed, trouble)
        });
        let held: Vec<_> = all.into_iter().flatten().collect();
        print!("{}", intervals::table(trouble, count, &held));
    }
    Ok(())
}

fn finish(done: Result<(), String>) -> ExitCode {
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::from(2)
        }
    }
}

/// The firings of some seeds, reduced on so many threads, in the order of their seeds; none is begun after so many
/// seconds.
fn cases(seeds: Range<u64>, threads: u64, seconds: u64) -> Vec<Case> {
    let mut all = gathered(seeds, threads, seconds, Case::of);
    all.sort_by_key(|case: &Case| case.seed);
    all
}

/// What comes of each seed, on so many threads; none is begun after so many seconds.
fn gathered<T: Send>(
    seeds: Range<u64>,
    threads: u64,
    seconds: u64,
    one: impl Fn(u64) -> T + Sync,
) -> Vec<T> {
    let (next, all) = (AtomicU64::new(seeds.start), Mutex::new(Vec::new()));
    let begun = Instant::now();
    let work = || {
        while begun.elapsed().as_secs() < seconds {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if !seeds.contains(&seed) {
                return;
            }
            let case = one(seed);
            if let Ok(mut all) = all.lock() {
                all.push(case);
            }
        }
    };
    std::thread::scope(|scope| (0..threads).for_each(|_| drop(scope.spawn(work))));
    all.into_inner().unwrap_or_default()
}
