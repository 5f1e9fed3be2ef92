//! The watched stand: demo firings replayed at true speed into a file and through a pseudo-terminal, kills, latency.

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use crate::chromium::Page;
use crate::runner::Folder;
use crate::served::Served;

/// Unoptimised builds, as a plain `cargo test` makes, reduce many times slower: what is told late there is still told.
const OPTIMISED: bool = !cfg!(debug_assertions);
const WITHIN: Duration = Duration::from_secs(if OPTIMISED { 1 } else { 240 });
const SEEN_WITHIN: Duration = Duration::from_millis(if OPTIMISED { 100 } else { 1000 });

const FIRING: &str = "demo-data/twin-captive/firing.toml";

/// A demo firing whose stand has yet to record: its log, whole, and where it will grow.
fn to_come(name: &str) -> (Folder, String, PathBuf) {
    let folder = Folder::copy_of(&format!("demo-data/{name}"));
    let path = folder.path(&format!("demo-data/{name}/stand.csv"));
    let log = std::fs::read_to_string(&path).unwrap();
    std::fs::remove_file(&path).unwrap();
    (folder, log, path)
}

/// Writes a log at the speed it was recorded at, a row a millisecond, between a rest and an end that come at once; gives when the
/// row of the burnout was written.
fn replay(log: &str, mut to: impl Write) -> Instant {
    let lines: Vec<&str> = log.split_inclusive('\n').collect();
    let (from_row, to_row) = (1500, 5300);
    to.write_all(lines[..from_row].concat().as_bytes()).unwrap();
    let start = Instant::now();
    let (mut written, mut at) = (from_row, None);
    while written < to_row {
        let due = (from_row + start.elapsed().as_millis() as usize + 1).min(to_row);
        let now = lines[written..due].concat();
        to.write_all(now.as_bytes()).unwrap();
        written = due;
        if written > BURNOUT_ROW {
            at.get_or_insert_with(Instant::now);
        }
        std::thread::sleep(Duration::from_millis(3));
    }
    to.write_all(lines[to_row..].concat().as_bytes()).unwrap();
    at.unwrap()
}

/// truth.json: burnout at 4.638 s and 4.636 s; the first row is line 1.
const BURNOUT_ROW: usize = 4638;

/// What both demos have to be told as, and how long after burnout that came.
fn told_in_time(served: &Served, name: &str, burnout: Instant) {
    let words = match name {
        "twin-captive" => "Both motors lit.",
        _ => "Only 1 of 2 motors lit",
    };
    let (at, line) = served.line(words, WITHIN + Duration::from_secs(60));
    let after = at.saturating_duration_since(burnout);
    eprintln!("{name}: verdict {after:?} after burnout");
    assert!(after <= WITHIN, "{after:?}: {line}");
    let danger = line.contains("may be loaded still. Interlock out");
    assert_eq!(danger, name != "twin-captive", "{line}");
}

/// Both demos at the same time.
fn both(of: impl Fn(&str) + Sync) {
    std::thread::scope(|scope| {
        for name in ["twin-captive", "twin-one-dead"] {
            let of = &of;
            scope.spawn(move || of(name));
        }
    });
}

#[test]
fn the_verdict_comes_at_burnout_and_danger_fills_the_page_until_it_is_read() {
    both(|name| {
        let (folder, log, path) = to_come(name);
        let firing = format!("demo-data/{name}/firing.toml");
        let served = Served::start(&folder, &["watch", &firing]);
        let dead = name == "twin-one-dead";
        let page = if dead { Page::blank(390, 800) } else { None };
        if let Some(page) = &page {
            page.tab.navigate_to(&served.address).unwrap();
        }
        let burnout = replay(&log, File::create(path).unwrap());
        served.line("burning", WITHIN);
        told_in_time(&served, name, burnout);
        if let Some(page) = page {
            let shown = "document.getElementById('danger').open";
            page.wait(shown);
            page.press("Escape");
            let says = page.text("document.getElementById('danger').innerText");
            let caution =
                says.contains("may be loaded still") && says.contains("wait at least 60 s");
            assert!(caution, "{says}");
            let covers = "(({ width, height }) => width >= innerWidth && height >= innerHeight)(document.getElementById('danger').getBoundingClientRect())";
            assert!(page.value(shown) == true && page.value(covers) == true);
            page.value("document.getElementById('seen').click()");
            assert_eq!(page.value(shown), false);
            assert!(page.text("document.getElementById('phase').textContent") == "burnout");
            page.asked_only(&[&format!("http://127.0.0.1:{}/", served.port), "data:,"]);
        }
        served.line("the full reduction is in", Duration::from_secs(600));
        let run = folder.run(&["reduce", &firing, "--out", "terminal"]);
        assert_eq!(run.code, 0, "{}", run.stderr);
        let written = folder.read(&format!("demo-data/{name}/reduced/result.json"));
        assert_eq!(written, folder.read("terminal/result.json"));
    });
}

#[test]
fn what_is_added_to_the_log_is_on_the_page_at_once() {
    let (folder, log, path) = to_come("twin-captive");
    let served = Served::start(&folder, &["watch", FIRING]);
    let events = served.events();
    let mut file = File::create(path).unwrap();
    let lines: Vec<&str> = log.split_inclusive('\n').collect();
    file.write_all(lines[..=100].concat().as_bytes()).unwrap();
    let mut worst = Duration::ZERO;
    for look in 1..=40 {
        std::thread::sleep(Duration::from_millis(37));
        // Row n is written at n ms.
        let last = 100 + 10 * look;
        let start = Instant::now();
        let rows = lines[last - 9..=last].concat();
        file.write_all(rows.as_bytes()).unwrap();
        let expected = (last - 1) as f64 * 1e-3;
        loop {
            let (at, state) = events.recv_timeout(Duration::from_secs(20)).unwrap();
            if state["time_s"].as_f64().unwrap() > expected - 0.005 {
                worst = worst.max(at - start);
                break;
            }
        }
    }
    eprintln!("worst of 40 looks: {worst:?}");
    assert!(worst < SEEN_WITHIN, "{worst:?}");
}

/// A pseudo-terminal: what is written to the first end comes out of the device that is named.
#[cfg(unix)]
fn pseudo_terminal() -> (File, String, File) {
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
    let first = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&first).unwrap();
    unlockpt(&first).unwrap();
    let name = ptsname(&first, Vec::new()).unwrap().into_string().unwrap();
    // Held open, as a driver holds what nobody reads; raw from the first byte.
    let mut how = OpenOptions::new();
    let device = how.read(true).write(true).open(&name).unwrap();
    let mut how = tcgetattr(&device).unwrap();
    how.make_raw();
    tcsetattr(&device, OptionalActions::Now, &how).unwrap();
    (File::from(first), name, device)
}

#[cfg(unix)]
#[test]
fn the_verdict_comes_from_a_serial_port_too() {
    both(|name| {
        let (folder, log, path) = to_come(name);
        let (first, port, _device) = pseudo_terminal();
        let firing = format!("demo-data/{name}/firing.toml");
        let served = Served::start(&folder, &["watch", &firing, "--port", &port]);
        let burnout = replay(&log, first);
        told_in_time(&served, name, burnout);
        kept(&path, log.as_bytes());
    });
}

/// Every byte is in the file, in order, within a while.
fn kept(path: &Path, sent: &[u8]) {
    let until = Instant::now() + Duration::from_secs(30);
    let length = || std::fs::metadata(path).map_or(0, |about| about.len());
    while length() < sent.len() as u64 && Instant::now() < until {
        std::thread::sleep(Duration::from_millis(20));
    }
    let kept = std::fs::read(path).unwrap();
    let same = kept.iter().zip(sent).take_while(|(a, b)| a == b).count();
    assert!(
        kept == sent,
        "{} of {} bytes, the same up to {same}",
        kept.len(),
        sent.len()
    );
}

/// Kills of the watcher, on four ports at the same time: 200 in the long run of the gate.
#[cfg(unix)]
#[test]
fn killing_the_watcher_loses_no_byte_of_the_port() {
    let kills = if std::env::var_os("BURNWRIGHT_LONG").is_some() {
        50
    } else {
        3
    };
    std::thread::scope(|scope| {
        for port in 0..4 {
            scope.spawn(move || kill_watchers(kills, 11 * port));
        }
    });
}

#[cfg(unix)]
fn kill_watchers(kills: u64, phase: u64) {
    let (folder, log, path) = to_come("twin-captive");
    let (mut first, port, _device) = pseudo_terminal();
    let (stop, stopped) = std::sync::mpsc::channel::<()>();
    let writer = std::thread::spawn(move || {
        let mut sent = Vec::new();
        for line in log.split_inclusive('\n').cycle() {
            first.write_all(line.as_bytes()).unwrap();
            sent.extend_from_slice(line.as_bytes());
            if stopped.try_recv().is_ok() {
                return (sent, first);
            }
            std::thread::sleep(Duration::from_micros(300));
        }
        panic!("a log without lines")
    });
    let watch = || Served::start(&folder, &["watch", FIRING, "--port", &port]);
    for kill in 0..kills {
        let served = watch();
        std::thread::sleep(Duration::from_millis(20 + (kill * 37 + phase) % 90));
        drop(served);
    }
    let _last = watch();
    stop.send(()).unwrap();
    let (sent, _first) = writer.join().unwrap();
    eprintln!("{kills} kills, {} bytes", sent.len());
    kept(&path, &sent);
}
