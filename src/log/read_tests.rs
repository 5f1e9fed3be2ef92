//! Tests of reading whole logs, beside the code they belong to because together they are long.

use std::path::PathBuf;

use proptest::prelude::*;

use super::*;
use crate::config::TimeColumn;
use crate::diagnostic::{Code, Place};
use crate::quantity::{Frequency, Given, unit};

/// A log table such as `[log.stand]` with `file = "stand.csv"` on line 2 of the firing file.
fn log(time: Option<TimeColumn>) -> LogFile {
    LogFile {
        name: "stand".into(),
        place: place("[log.stand]", 1, 1, 11),
        file: Located {
            value: PathBuf::from("somewhere/stand.csv"),
            place: place("file = \"stand.csv\"", 2, 8, 11),
        },
        time,
        held: None,
        align: None,
        delimiter: None,
        decimal: None,
        comment: None,
        skip_lines: None,
        header: None,
        missing: vec![],
    }
}

fn place(text: &str, line: usize, column: usize, width: usize) -> Place {
    Place {
        file: "firing.toml".into(),
        line,
        column,
        width,
        text: text.into(),
    }
}

fn column(name: &str) -> Located<String> {
    let text = format!("column = \"{name}\"");
    Located {
        value: name.into(),
        place: place(&text, 7, 10, name.len() + 2),
    }
}

fn number(name: &str, unit: &str, counter_bits: Option<u32>) -> Option<TimeColumn> {
    Some(TimeColumn::Number {
        column: column(name),
        unit: unit::parse(unit).unwrap(),
        counter_bits,
    })
}

fn read_with(log: &LogFile, wanted: &[&str], text: &str) -> Result<Record, Error> {
    let wanted: Vec<Located<String>> = wanted.iter().map(|name| column(name)).collect();
    let wanted: Vec<&Located<String>> = wanted.iter().collect();
    record_of_bytes(log, &wanted, text.as_bytes())
}

fn read(time: Option<TimeColumn>, wanted: &[&str], text: &str) -> Record {
    read_with(&log(time), wanted, text).unwrap_or_else(|problems| panic!("{problems}"))
}

fn codes(record: &Record) -> Vec<Code> {
    record.warnings.iter().map(|warning| warning.code).collect()
}

#[test]
fn a_plain_log_becomes_columns_times_and_lines() {
    let text = "\u{feff}t_us,base_raw\r\n\r\n1000,5\r\n2000,6\r\n3000,--\r\n";
    let record = read(number("t_us", "us", None), &["base_raw"], text);
    assert_eq!(record.file, "stand.csv");
    assert_eq!(record.time_s, [0.0, 1e-3, 2e-3]);
    assert_eq!(record.line, [3, 4, 5]);
    assert_eq!(record.columns["base_raw"][..2], [5.0, 6.0]);
    assert!(record.columns["base_raw"][2].is_nan());
    assert_eq!(
        record.notes,
        [
            "separator \",\", header on line 1, 3 rows",
            "time from column \"t_us\" in us",
            "median rate 1000 Hz (step 1 ms), jitter none, no gaps",
            "column \"base_raw\": 1 missing reading",
            "1 blank line",
        ]
    );
    assert!(record.warnings.is_empty());
    // FIPS 180-4: the digest of "abc", from its published examples.
    assert!(sha256(b"abc").starts_with("ba7816bf8f01cfea"));
}

#[test]
fn a_missing_column_is_a_mistake_in_the_firing_file() {
    let text = "t_ms,base_raw,fire\n0,1,0\n1,2,0\n";
    let problems = read_with(
        &log(number("t_ms", "ms", None)),
        &["base_rav", "tilt"],
        text,
    );
    assert_eq!(
        problems.unwrap_err().render(),
        "error: there is no column \"base_rav\" in stand.csv\n  at firing.toml:7:10\n    |\n  \
         7 | column = \"base_rav\"\n    |          ^^^^^^^^^^ did you mean \"base_raw\"?\n  \
         hint: the columns of that file: t_ms, base_raw, fire\n\n\
         error: there is no column \"tilt\" in stand.csv\n  at firing.toml:7:10\n    |\n  \
         7 | column = \"tilt\"\n    |          ^^^^^^\n  \
         hint: the columns of that file: t_ms, base_raw, fire\n"
    );
}

#[test]
fn a_word_among_the_numbers_is_shown_where_it_stands() {
    let text = "t_ms,base_raw\r\n\r\n# cold\r\n0,1\r\n1, sat \r\n2,3\r\n";
    let log = log(number("t_ms", "ms", None));
    assert_eq!(
        read_with(&log, &["base_raw"], text).unwrap_err().render(),
        "error: `sat` in column \"base_raw\" is not a number\n  at stand.csv:5:4\n    |\n  \
         5 | 1, sat \n    |    ^^^ expected a number\n  \
         hint: if it stands for a missing reading, list it: missing = [\"sat\"]\n"
    );
    let told = LogFile {
        missing: vec!["sat".into()],
        ..log
    };
    assert_eq!(
        read_with(&told, &["base_raw"], text).unwrap().time_s.len(),
        3
    );
}

#[test]
fn many_words_are_counted_and_a_wrong_decimal_mark_gets_its_own_hint() {
    let text = "t_ms;x\n0;1,5\n1;1,5\n2;1,5\n3;1,5\n4;1,5\n5;1,5\n6;1,5\n";
    let told = LogFile {
        decimal: Some('.'),
        ..log(number("t_ms", "ms", None))
    };
    let problems = read_with(&told, &["x"], text).unwrap_err();
    assert_eq!(problems.problems().len(), 6);
    assert_eq!(problems.problems()[5].message, "2 cells more like these");
    assert!(problems.problems()[0].hints[0].contains("decimal = "));
    assert_eq!(
        read(number("t_ms", "ms", None), &["x"], text).columns["x"][0],
        1.5
    );
}

#[test]
fn a_log_that_is_empty_or_holds_no_rows_says_so() {
    assert_eq!(
        read_with(&log(None), &[], "\r\n \r\n")
            .unwrap_err()
            .render(),
        "error: the file is empty\n  in stand.csv\n  \
         hint: the recorder may not have closed it: copy it from the card again\n"
    );
    let problems = read_with(&log(None), &[], "hello\nworld\n").unwrap_err();
    assert_eq!(
        problems.problems()[0].message,
        "no row of readings in 2 lines"
    );
}

#[test]
fn a_missing_file_is_a_mistake_where_it_is_named() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("stand.CSV"), "").unwrap();
    let mut log = log(None);
    log.file.value = folder.path().join("stand.csv");
    let text = read_record(&log, &[], &[]).unwrap_err().render();
    assert_eq!(
        text.replace(&folder.path().display().to_string(), "DIR"),
        "error: there is no such file: DIR/stand.csv\n  at firing.toml:2:8\n    |\n  \
         2 | file = \"stand.csv\"\n    |        ^^^^^^^^^^^\n  \
         hint: a file named `stand.CSV` lies in that folder\n"
    );
}

#[test]
fn a_counter_that_wraps_and_a_clock_that_restarts_are_told_apart() {
    let text = "ms,x\n65516,1\n65526,2\n0,3\n10,4\n20,5\n";
    let wrapped = read(number("ms", "ms", Some(16)), &["x"], text);
    approx::assert_relative_eq!(wrapped.time_s[4], 0.040, epsilon = 1e-12);
    assert!(wrapped.warnings.is_empty());
    assert!(
        wrapped
            .notes
            .iter()
            .any(|n| n == "the counter ran full 1 time, first before line 4")
    );
    assert_eq!(
        codes(&read(number("ms", "ms", None), &["x"], text)),
        [Code::GuessedCounter]
    );
    let restart = read(
        number("ms", "ms", None),
        &["x"],
        "ms,x\n500,1\n510,2\nboot\n5,3\n15,4\n",
    );
    assert_eq!(restart.segments, [0..2, 2..4]);
    assert_eq!(restart.time_s[2], 0.0);
    assert_eq!(
        (restart.events[0].line, restart.events[0].rows_before),
        (4, 2)
    );
    assert_eq!(restart.warnings[0].place.as_ref().unwrap().line, 5);
    assert_eq!(restart.series("x", 1).unwrap().value(), [3.0, 4.0]);
}

#[test]
fn dropped_rows_gaps_and_a_cut_off_line_are_warned_of_with_their_line() {
    let text = "ms,x\n0,1\n1,2\n1,2\n3,4\n2,3\n4,5\n5,6\n50,7\n51,8\n5";
    let record = read(number("ms", "ms", None), &["x"], text);
    let seen: Vec<(Code, usize)> = record
        .warnings
        .iter()
        .map(|warning| (warning.code, warning.place.as_ref().unwrap().line))
        .collect();
    let gap = (Code::ClockGap, 9);
    assert_eq!(
        seen,
        [
            gap,
            (Code::RepeatedTime, 4),
            (Code::OutOfOrder, 6),
            (Code::CutOffLine, 11)
        ]
    );
    assert_eq!(record.line, [2, 3, 5, 7, 8, 9, 10]);
    assert_eq!(
        record.warnings[0].message,
        "1 gap in time, the longest 45 ms where 1 ms is usual"
    );
    assert!(
        record
            .notes
            .iter()
            .any(|note| note.contains("1 row out of order in time dropped"))
    );
}

#[test]
fn readings_at_a_steady_rate_keep_their_place_when_one_is_missing() {
    let rate = Some(TimeColumn::Rate(Given::plain(Frequency::hertz(80.0))));
    let record = read(rate, &["1"], "5\nnan\n7\nboot\n8\n");
    assert_eq!(record.time_s, [0.0, 0.0125, 0.025, 0.0375]);
    assert_eq!(
        record.series("1", 0).unwrap().time_s(),
        [0.0, 0.025, 0.0375]
    );
    assert_eq!(codes(&record), [Code::BrokenRows]);
}

#[test]
fn clock_text_goes_on_over_midnight() {
    let clock = Some(TimeColumn::Clock {
        column: column("time"),
        format: column("%H:%M:%S%.f"),
    });
    let text = "time,x\n23:59:59.75,1\n00:00:00.00,2\n00:00:00.25,3\n";
    let record = read(clock.clone(), &["x"], text);
    assert_eq!(record.time_s, [0.0, 0.25, 0.5]);
    assert_eq!(record.segments.len(), 1);
    // The same without being told, and with a text that is no time of day.
    assert_eq!(read(None, &["x"], text).time_s, record.time_s);
    let wrong = read_with(&log(clock), &["x"], "time,x\n23:59:59,1\n24:61:00,2\n").unwrap_err();
    assert_eq!(wrong.problems()[0].code, Code::NotATime);
    assert_eq!(wrong.problems()[0].place.as_ref().unwrap().line, 3);
}

#[test]
fn the_time_column_and_its_unit_are_found_when_nothing_is_said() {
    let named = read(None, &["x"], "x,Tempo_ms\n1,0\n2,10\n3,20\n");
    assert_eq!(named.time_s, [0.0, 0.01, 0.02]);
    assert!(named.warnings.is_empty());
    let assumed = read(None, &["2"], "116,1\n127,2\n138,3\n");
    assert_eq!(assumed.time_s[2], 0.022);
    assert_eq!(
        assumed.warnings[0].message,
        "the unit of time column \"1\" was assumed: steps of 11 ms"
    );
    let none = read_with(&log(None), &["x"], "x,y\n3,1\n2,5\n3,1\n2,0\n").unwrap_err();
    assert_eq!(none.problems()[0].code, Code::NoTime);
}

#[test]
fn a_stray_quote_in_junk_spoils_no_other_line() {
    let text = "boot \"v1\nms,x\n0,1\n\"fire\n1,\"2\"\n2,3\n";
    let record = read(number("ms", "ms", None), &["x"], text);
    assert_eq!(record.columns["x"], [1.0, 2.0, 3.0]);
    let lines: Vec<usize> = record.events.iter().map(|event| event.line).collect();
    assert_eq!(lines, [1, 4]);
}

/// A log that nobody here wrote; each has its source and licence beside it.
fn real(file: &str, time: Option<TimeColumn>, wanted: &[&str]) -> Record {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/real-firings/");
    let mut log = log(time);
    log.file.value = PathBuf::from(folder).join(file);
    let wanted: Vec<Located<String>> = wanted.iter().map(|name| column(name)).collect();
    let wanted: Vec<&Located<String>> = wanted.iter().collect();
    read_record(&log, &wanted, &[]).unwrap_or_else(|problems| panic!("{problems}"))
}

#[test]
fn a_real_log_with_boot_text_and_restarts_is_read() {
    let time = number("1", "ms", None);
    let record = real("sugar-reboot-log/test4_31-10-24.txt", time, &["2"]);
    assert_eq!(record.notes[0], "separator \",\", no header, 12141 rows");
    // Two of the 12 141 rows repeat the time before them.
    assert_eq!((record.time_s.len(), record.segments.len()), (12_139, 3));
    let starts: Vec<usize> = record
        .segments
        .iter()
        .map(|rows| record.line[rows.start])
        .collect();
    assert_eq!(starts, [16, 249, 9554]);
    assert_eq!(
        codes(&record),
        [Code::ClockRestart, Code::ClockGap, Code::RepeatedTime]
    );
    let pressed = |event: &&Event| event.text.starts_with("button is pressed");
    let pressed: Vec<usize> = record
        .events
        .iter()
        .filter(pressed)
        .map(|e| e.line)
        .collect();
    assert_eq!(pressed, [1014, 7909, 10_988]);
}

#[test]
fn real_logs_of_other_recorders_are_read() {
    let cells = "two-cells-updown/LoadCellCalibrationData.txt";
    let cells = real(cells, None, &["11"]);
    assert_eq!((cells.time_s.len(), cells.column_names.len()), (1324, 16));
    assert_eq!(cells.column_names[10], "11");
    let servo = "tvc-rail-servo/prbs_2026-05-13_first5s_subset.csv";
    let servo = real(servo, None, &["servo_us", "count_delta"]);
    assert_eq!((servo.time_s.len(), servo.segments.len()), (247, 1));
    assert!(servo.notes[1].contains("in ms, by its name"));
    for (file, wanted, unit) in [
        ("14_drone_seq_20260529_195254.csv", "angulo_deg", "ms"),
        ("dados_14_drone.csv", "angulo_deg", "ms"),
        ("sinal2_degraus_malha_fechada.csv", "Saida_y", "s"),
        ("sinal3_swept_sine_malha_fechada.csv", "Saida_y", "s"),
    ] {
        let arm = real(&format!("thrust-arm/{file}"), None, &[wanted]);
        let step = arm.series(wanted, 0).unwrap().step_s().unwrap();
        approx::assert_relative_eq!(step, 0.01, epsilon = 1e-9);
        assert!(
            arm.notes[1].contains(&format!("in {unit}, by its name")),
            "{:?}",
            arm.notes
        );
    }
}

proptest! {
    #[test]
    fn no_bytes_bring_the_reader_down(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = record_of_bytes(&log(None), &[], &bytes);
    }

    #[test]
    fn no_text_like_a_log_brings_the_reader_down(
        text in "([0-9,;\\.\\-:\" \t#a-n\r\n]{0,12}[\n,;]){0,30}",
        bits in prop::option::of(0_u32..70),
    ) {
        let _ = record_of_bytes(&log(None), &[], text.as_bytes());
        let told = log(number("1", "ms", bits));
        if let Ok(record) = record_of_bytes(&told, &[&column("2")], text.as_bytes()) {
            let rows = record.time_s.len();
            prop_assert_eq!(record.line.len(), rows);
            prop_assert_eq!(record.columns["2"].len(), rows);
            prop_assert_eq!(record.segments.iter().map(ExactSizeIterator::len).sum::<usize>(), rows);
            for segment in &record.segments {
                let times = &record.time_s[segment.clone()];
                prop_assert!(times.windows(2).all(|pair| pair[1] > pair[0]));
            }
        }
    }
}
