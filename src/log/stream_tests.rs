//! Long logs read as they go by, against the same logs read whole.

use super::*;
use crate::config::{Firing, read_firing};

/// Rows of a log.
const ROWS: usize = 300_000;

/// A firing of one log with this key of time.
fn firing(time: &str, text: &str) -> (tempfile::TempDir, Firing) {
    let folder = tempfile::tempdir().unwrap();
    assert!(text.len() > SHORT, "no long log");
    std::fs::write(folder.path().join("stand.csv"), text).unwrap();
    let path = folder.path().join("firing.toml");
    let toml = format!(
        "title = \"Fast\"\n[log.stand]\nfile = \"stand.csv\"\ntime = {{ {time} }}\n[cell.base]\n\
         signal = {{ log = \"stand\", column = \"base\" }}\nscale = \"1 N\"\nzero = 0\n\
         [motor.one]\nfire = {{ log = \"stand\", column = \"fire\" }}\n[stand]\nmount = \"level\"\n"
    );
    std::fs::write(&path, toml).unwrap();
    let firing = read_firing(&path).unwrap_or_else(|problems| panic!("{problems}"));
    (folder, firing)
}

const COUNTER: &str = "column = \"t_us\", unit = \"us\", counter_bits = 32";

/// Microseconds of a row on a counter that runs full.
fn counter_us(row: usize) -> String {
    ((4_294_000_000_u64 + 10 * row as u64) % (1 << 32)).to_string()
}

/// A cell that ramps up and down, a spike on it, a fire line.
fn row(at: usize, time: &str) -> String {
    let ramp = (at as f64 / ROWS as f64 * 6.0).sin().max(0.0);
    let noise = (at * 7919 % 13) as f64;
    let base = if at == 70_001 {
        9e6
    } else {
        2e4 * ramp + noise
    };
    let fire = u8::from(at >= ROWS / 3);
    format!("{time},{base:.0},{fire},0.0000000000000000\n")
}

fn plain() -> String {
    let rows = (0..ROWS).map(|at| row(at, &counter_us(at)));
    "t_us,base,fire,idle\n".to_owned() + &rows.collect::<String>()
}

/// The same with much of what befalls logs: other lines, readings and times that are missing, rows written twice, late, with a
/// wild time, a hole, and a last line that is cut off.
fn befallen(time: impl Fn(usize) -> String) -> String {
    let mut text = "# by hand\nt_us,base,fire,idle\n".to_owned();
    for at in 0..ROWS {
        match at {
            50_000 => text += "started again\n\n# and a comment\n",
            60_000 => text += &format!("{},nan,0,\n", time(at)),
            90_000 => text += &row(at - 1, &time(at - 1)),
            110_000 => text += &row(at, &time(at + 2)),
            120_000 => text += &row(at, &time(at + 40_000)),
            130_000 => text += &row(at, ""),
            140_000..140_050 => continue,
            180_000 => text += "t_us,base,fire,idle\n",
            _ => text += &row(at, &time(at)),
        }
    }
    text + "12345,2"
}

fn read(firing: &Firing) -> [Record; 2] {
    let averaging = Averaging::new(firing, "stand");
    let wanted = read::wanted_columns(firing, "stand");
    let log = &firing.logs["stand"];
    let one_pass = read_means(log, &wanted, &[], &averaging).unwrap();
    let mut whole = read::read_record(log, &wanted, &[]).unwrap();
    averaging.judge_and_average(&mut whole);
    [one_pass, whole]
}

#[test]
fn one_pass_gives_what_the_whole_gives_averaged() {
    let (_folder, firing) = firing(COUNTER, &plain());
    let [one, whole] = read(&firing);
    assert_eq!(one.rows, [300_000]);
    assert_eq!((one.time_s.len(), one.line.len()), (30_000, 30_000));
    assert_eq!((&one.line, &one.sha256), (&whole.line, &whole.sha256));
    for (a, b) in [
        (&one.time_s, &whole.time_s),
        (&one.columns["base"], &whole.columns["base"]),
    ] {
        for (a, b) in a.iter().zip(b) {
            assert!((a - b).abs() < 1e-9 * b.abs().max(1.0), "{a} {b}");
        }
    }
    assert_eq!(one.changes, whole.changes);
    assert_eq!(one.changes["fire"][0].len(), 4);
    let outlier = |record: &Record| {
        record
            .outliers
            .iter()
            .map(|one| one.reading)
            .collect::<Vec<f64>>()
    };
    assert_eq!(outlier(&one), vec![9e6]);
    assert_eq!(outlier(&whole), vec![9e6]);
    assert_eq!(one.notes[..3], whole.notes[..3]);
    assert_eq!(one.tally.missing_rows, whole.tally.missing_rows);
    assert!((one.tally.rate_hz.unwrap() - 1e5).abs() < 1e-3);
    // By hand: the first block holds rows 0 to 9, whose middle is 45 us.
    assert!((one.time_s[0] - 45e-6).abs() < 1e-9);
}

/// What was read in one pass and whole is the same, but for roundings of times.
fn the_same(one: &Record, whole: &Record) {
    assert_eq!(one.notes, whole.notes);
    let told = |record: &Record| -> Vec<String> {
        let warnings = record.warnings.iter();
        warnings
            .map(crate::diagnostic::Diagnostic::render)
            .collect()
    };
    assert_eq!(told(one), told(whole));
    assert_eq!((&one.segments, &one.rows), (&whole.segments, &whole.rows));
    assert_eq!((&one.line, &one.events), (&whole.line, &whole.events));
    assert_eq!((&one.changes, &one.sha256), (&whole.changes, &whole.sha256));
    let tally = |record: &Record| {
        let mut out = record.tally.clone();
        let gap = out
            .longest_gap
            .as_mut()
            .map(|gap| std::mem::take(&mut gap.length_s));
        let rate = (out.rate_hz.take(), out.step_sd_s.take(), gap);
        (out, rate)
    };
    let ((one_tally, one_rate), (whole_tally, whole_rate)) = (tally(one), tally(whole));
    assert_eq!(one_tally, whole_tally);
    let near = |a: f64, b: f64| assert!((a - b).abs() <= 1e-9 * b.abs().max(1.0), "{a} {b}");
    near(one_rate.0.unwrap(), whole_rate.0.unwrap());
    near(one_rate.1.unwrap(), whole_rate.1.unwrap());
    assert_eq!(one_rate.2.is_some(), whole_rate.2.is_some());
    near(one_rate.2.unwrap_or(0.0), whole_rate.2.unwrap_or(0.0));
    assert_eq!(one.outliers.len(), whole.outliers.len());
    let times = [(&one.time_s, &whole.time_s)];
    let columns = one.columns.values().zip(whole.columns.values());
    for (a, b) in times.into_iter().chain(columns) {
        assert_eq!(a.len(), b.len());
        a.iter().zip(b).for_each(|(a, b)| near(*a, *b));
    }
}

#[test]
fn whatever_befalls_a_log_one_pass_says_what_the_whole_says() {
    let restarting = |at: usize| match at {
        0..180_000 => counter_us(at),
        _ => (10 * (at - 180_000)).to_string(),
    };
    let of_day = |at: usize| {
        let us = 86_398_000_000_u64 + 10 * at as u64;
        let (s, us) = (us / 1_000_000 % 86_400, us % 1_000_000);
        format!("{:02}:{:02}:{:02}.{us:06}", s / 3600, s / 60 % 60, s % 60)
    };
    let clock = "column = \"t_us\", format = \"%H:%M:%S%.f\"";
    for (time, text, segments) in [
        (COUNTER, befallen(counter_us), 1),
        (COUNTER, befallen(restarting), 2),
        (clock, befallen(of_day), 1),
        ("rate = \"100 kHz\"", befallen(counter_us), 1),
    ] {
        let (_folder, firing) = firing(time, &text);
        let [one, whole] = read(&firing);
        assert_eq!(one.segments.len(), segments, "{time}");
        assert!(one.time_s.len() < ROWS / 9, "{time}");
        the_same(&one, &whole);
    }
}

#[test]
fn a_counter_that_runs_full_unannounced_is_guessed() {
    let time = COUNTER.replace(", counter_bits = 32", "");
    let (_folder, silent) = firing(&time, &plain());
    let [one, whole] = read(&silent);
    assert_eq!(one.time_s.len(), ROWS / 10);
    assert!(
        one.notes
            .iter()
            .any(|note| note.contains("ran full 1 time"))
    );
    the_same(&one, &whole);
    // Half of a microsecond soon behind the drop: no counter shows that, and the drop is a clock that starts anew.
    let (_folder, soon) = firing(&time, &plain().replace("\n104,", "\n104.5,"));
    let [one, whole] = read(&soon);
    assert_eq!(one.segments.len(), 2);
    the_same(&one, &whole);
    // The same long after it was taken for a counter.
    let (_folder, late) = firing(&time, &plain().replace("\n1000004,", "\n1000004.5,"));
    let [one, whole] = read(&late);
    assert_eq!((one.time_s.len(), one.segments.len()), (ROWS, 2));
    assert_eq!(whole.segments.len(), 2);
}

// Two rows to a stamp: only all of them tell how they are spread.
#[test]
fn stamps_that_rows_share_are_left_to_the_whole() {
    let (_folder, firing) = firing(COUNTER, &befallen(|at| counter_us(at / 2 * 2)));
    let [one, whole] = read(&firing);
    assert!(one.time_s.len() > ROWS / 2 && whole.time_s.len() <= ROWS / 9);
}
