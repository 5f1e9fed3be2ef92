//! One burn as many recorders would have written it: the reduction must find the same impulse in
//! each file, and say in numbers what it found the matter with the rows.
//!
//! The burn is half a sine of 20 N over 2 s, so its impulse is 2 T P/pi = 25.4648 N s in closed form;
//! 200 readings a second miss 1e-5 of it, and flicker of 10 mN adds some 2 mN s.

use serde_json::Value;

use crate::runner::Folder;

const IMPULSE_NS: f64 = 80.0 / std::f64::consts::PI;
const STEP_S: f64 = 0.005;
const ROWS: usize = 1600;
/// The burn begins here, s.
const BEGINS_S: f64 = 3.0;

fn thrust_n(row: usize, begins_s: f64) -> f64 {
    let t = row as f64 * STEP_S - begins_s;
    let burn = if (0.0..=2.0).contains(&t) {
        20.0 * (std::f64::consts::FRAC_PI_2 * t).sin()
    } else {
        0.0
    };
    burn + 0.01 * ((row * 7919 % 13) as f64 / 6.0 - 1.0)
}

/// Time and force of every row, as text.
fn rows(time: impl Fn(usize) -> String) -> Vec<[String; 2]> {
    let row = |at: usize| [time(at), format!("{:.4}", thrust_n(at, BEGINS_S))];
    (0..ROWS).map(row).collect()
}

fn ms() -> Vec<[String; 2]> {
    rows(|row| format!("{}", row * 5))
}

fn log(header: &str, rows: &[[String; 2]], separator: &str) -> String {
    let mut out = header.to_owned();
    for row in rows {
        out += &row.join(separator);
        out.push('\n');
    }
    out
}

fn firing(table: &str, column: &str) -> String {
    format!(
        "[log.stand]\nfile = \"stand.csv\"\n{table}\n\n[cell.base]\nsignal = {{ log = \"stand\", \
         column = \"{column}\" }}\nscale = \"1 N\"\n\n[stand]\nmount = \"level\"\n\n[motor.one]\n"
    )
}

const MS: &str = "time = { column = \"ms\", unit = \"ms\" }";

fn reduced(table: &str, column: &str, log: &[u8]) -> Value {
    let folder = Folder::new().file("firing.toml", &firing(table, column));
    std::fs::write(folder.path("stand.csv"), log).unwrap();
    let run = folder.run(&["reduce", "firing.toml", "--json"]);
    assert_eq!(run.code, 0, "{table}\n{}", run.stderr);
    serde_json::from_str(&run.stdout).unwrap()
}

fn total_ns(result: &Value) -> f64 {
    result["impulse"]["total_ns"]["value"].as_f64().unwrap()
}

/// Holds the impulse against the closed form, and gives the numbers of the rows.
fn found(table: &str, column: &str, log: &str) -> Value {
    let result = reduced(table, column, log.as_bytes());
    let total = total_ns(&result);
    assert!((total - IMPULSE_NS).abs() < 0.02, "{table}: {total}");
    result["inputs"][0].clone()
}

fn warned(result: &Value, code: &str) -> Option<String> {
    let mut warnings = result["warnings"].as_array().unwrap().iter();
    let found = warnings.find(|one| one["code"] == code)?;
    Some(found["text"].as_str().unwrap().to_owned())
}

#[test]
fn any_separator_decimal_mark_and_line_end_gives_the_same_impulse() {
    for separator in [",", ";", "\t", "|", "   ", ", "] {
        found(
            MS,
            "n",
            &log(&format!("ms{separator}n\n"), &ms(), separator),
        );
    }
    // A colon in a header otherwise says that the line states something and names nothing.
    for told in ["~", ":"] {
        let table = format!("{MS}\ndelimiter = \"{told}\"");
        found(&table, "n", &log(&format!("ms{told}n\n"), &ms(), told));
    }
    let comma = log("ms;n\n", &ms(), ";").replace('.', ",");
    found(MS, "n", &comma);
    found(MS, "n", &format!("\u{feff}{}", comma.replace('\n', "\r\n")));
    let quoted: Vec<[String; 2]> = ms()
        .iter()
        .map(|row| row.clone().map(|cell| format!("\"{cell}\"")))
        .collect();
    found(MS, "n", &log("\"ms\",\"n\"\n", &quoted, ","));
}

#[test]
fn junk_comments_and_blank_lines_are_passed_over() {
    let junk = "rst:0x1 (POWERON),boot:0x13\nHX711 gain=128\n# cold, still\n\nms,n\n";
    let input = found(MS, "n", &log(junk, &ms(), ","));
    assert_eq!(
        (input["rows_read"].as_u64(), input["rows_used"].as_u64()),
        (Some(1600), Some(1600))
    );
    let mut lines = log("ms,n\n", &ms(), ",");
    lines = lines.replacen("\n100,", "\n# the wind rose\n\nfire!\n100,", 1);
    let input = found(MS, "n", &lines);
    assert_eq!(input["unreadable"], 1);
    assert_eq!(input["missing_rows"], 0);
}

#[test]
fn a_log_without_header_or_time_column_is_read_as_told() {
    found(
        "time = { column = \"1\", unit = \"ms\" }",
        "2",
        &log("", &ms(), ","),
    );
    let forces: String = ms().iter().map(|row| format!("{}\n", row[1])).collect();
    found("time = { rate = \"200 Hz\" }", "1", &forces);
}

#[test]
fn clock_text_and_every_unit_of_time_tell_the_same_times() {
    let clock = rows(|row| {
        format!("23:59:{:06.3}", 56.0 + row as f64 * STEP_S).replace("23:59:6", "00:00:0")
    });
    let table = "time = { column = \"clock\", format = \"%H:%M:%S%.f\" }";
    let input = found(table, "n", &log("clock,n\n", &clock, ","));
    assert_eq!(input["duplicated"], 0);
    for (unit, size) in [("us", 1e-6), ("ms", 1e-3), ("s", 1.0)] {
        let times = rows(|row| format!("{}", (row as f64 * STEP_S / size * 1e6).round() / 1e6));
        let input = found(
            &format!("time = {{ column = \"t\", unit = \"{unit}\" }}"),
            "n",
            &log("t,n\n", &times, ","),
        );
        let rate_hz = input["rate_hz"].as_f64().unwrap();
        assert!((rate_hz - 200.0).abs() < 1e-6, "{rate_hz}");
        assert!(input["step_sd_s"].as_f64().unwrap() < 1e-9);
        assert!(input["longest_gap"].is_null());
    }
}

#[test]
fn counters_of_sixteen_and_thirty_two_bits_wrap() {
    let wrapping = |full: u64, start: u64, step: u64| {
        log(
            "t,n\n",
            &rows(|row| format!("{}", (start + row as u64 * step) % full)),
            ",",
        )
    };
    for told in ["", ", counter_bits = 32"] {
        let table = format!("time = {{ column = \"t\", unit = \"us\"{told} }}");
        found(&table, "n", &wrapping(1 << 32, (1 << 32) - 4_000_000, 5000));
    }
    for told in ["", ", counter_bits = 16"] {
        let table = format!("time = {{ column = \"t\", unit = \"ms\"{told} }}");
        found(&table, "n", &wrapping(1 << 16, 61_000, 5));
    }
}

#[test]
fn every_row_that_is_not_used_is_counted() {
    let mut rows = ms();
    // Words for no reading in three rows of the burn.
    for (row, word) in [(700, "NaN"), (720, "--"), (740, "")] {
        rows[row][1] = word.to_owned();
    }
    // One reading that no load gives.
    rows[900][1] = "8388607".to_owned();
    // One time that cannot be.
    rows[300][0] = "99999999".to_owned();
    // Two rows said twice, two rows told late.
    rows.insert(501, rows[500].clone());
    rows.insert(101, rows[100].clone());
    let late = rows.remove(400);
    rows.insert(403, late);
    let late = rows.remove(1200);
    rows.insert(1202, late);
    // Four rows lost, three of them together.
    rows.remove(50);
    rows.drain(1300..1303);
    let mut text = log("ms,n\n", &rows, ",");
    // The plug was pulled.
    text += "79";
    let result = reduced(MS, "n", text.as_bytes());
    let input = &result["inputs"][0];
    let count = |key: &str| input[key].as_u64().unwrap();
    assert_eq!(count("rows_read"), 1600 + 2 - 4);
    assert_eq!(count("duplicated"), 2);
    assert_eq!(count("out_of_order"), 2);
    assert_eq!(count("missing_readings"), 3);
    // A wild time and a wild reading.
    assert_eq!(count("wild"), 2);
    assert_eq!(count("unreadable"), 1, "the line cut off");
    assert_eq!(count("rows_used"), 1598 - 2 - 2 - 1);
    assert_eq!(count("rows_used"), count("rows"));
    // Four lost, and what was dropped for its time leaves its place too: a wild one and two late ones.
    assert_eq!(count("missing_rows"), 4 + 1 + 2);
    for code in [
        "repeated-time",
        "out-of-order",
        "wild-time",
        "wild-reading",
        "cut-off-line",
    ] {
        assert!(warned(&result, code).is_some(), "{code}");
    }
    assert!((total_ns(&result) - IMPULSE_NS).abs() < 0.02);
}

/// Two firings in one log: 20 N for 2 s at 3 s, and 10 N for 2 s at 30 s.
fn two_firings() -> String {
    let mut out = "ms,n\n".to_owned();
    for row in 0..8000 {
        let force_n = thrust_n(row, BEGINS_S) + 0.5 * thrust_n(row, 30.0);
        out += &format!("{},{force_n:.4}\n", row * 5);
    }
    out
}

#[test]
fn of_several_firings_in_one_log_all_are_listed_and_a_window_chooses() {
    // Half a sine rises as a push does: beside another like it none is surely the burn.
    let folder = Folder::new().file("firing.toml", &firing(MS, "n"));
    std::fs::write(folder.path("stand.csv"), two_firings()).unwrap();
    let run = folder.run(&["reduce", "firing.toml", "--json"]);
    assert_eq!(run.code, 1);
    for part in [
        "it is not sure what was a burn",
        "3.04 s to 4.96 s",
        "30.04 s to 31.96 s",
        "window",
    ] {
        assert!(run.stderr.contains(part), "{part}: {}", run.stderr);
    }
    let table = format!("{MS}\n[reduce]\nwindow = [\"25 s\", \"35 s\"]");
    let chosen = reduced(&table, "n", two_firings().as_bytes());
    assert!((total_ns(&chosen) - 0.5 * IMPULSE_NS).abs() < 0.03);
    assert!(warned(&chosen, "several-burns").is_none());
    let ignition_s = chosen["burn"]["ignition_s"]["value"].as_f64().unwrap();
    assert!((ignition_s - 30.0318).abs() < 0.003, "{ignition_s}");
}

// Pressure rises with the second firing, the fire line half a second before the first.
#[test]
fn pressure_or_the_fire_line_chooses_where_the_load_leaves_it_open() {
    let mut log = "ms,n,kpa,fire\n".to_owned();
    for row in 0..8000 {
        let second_n = thrust_n(row, 30.0);
        let force_n = thrust_n(row, BEGINS_S) + 0.5 * second_n;
        let fire = u8::from(row >= 500);
        log += &format!("{},{force_n:.4},{:.3},{fire}\n", row * 5, 50.0 * second_n);
    }
    let chamber = "[chamber]\npressure = { log = \"stand\", column = \"kpa\", unit = \"kPa\" }";
    let fire = "fire = { log = \"stand\", column = \"fire\" }\n";
    for (table, motor, by, impulse_ns) in [
        (chamber, "", "pressure", 0.5 * IMPULSE_NS),
        ("", fire, "fire command", IMPULSE_NS),
    ] {
        let toml = firing(&format!("{MS}\n{table}"), "n") + motor;
        let folder = Folder::new().file("firing.toml", &toml);
        std::fs::write(folder.path("stand.csv"), &log).unwrap();
        let run = folder.run(&["reduce", "firing.toml", "--json"]);
        assert_eq!(run.code, 0, "{by}\n{}", run.stderr);
        let result: Value = serde_json::from_str(&run.stdout).unwrap();
        assert!((total_ns(&result) - impulse_ns).abs() < 0.03, "{by}");
        let chosen = result["record"]["chosen"].as_str().unwrap();
        assert!(chosen.contains(by), "{chosen}");
    }
}

/// Line and column of a byte, counted by hand: line ends before it, letters since the last one.
fn by_hand(text: &str, byte: usize) -> (usize, usize) {
    let before = &text[..byte];
    let line = before.matches('\n').count();
    let start = before.rfind('\n').map_or(0, |at| at + 1);
    let letters = before[start..]
        .trim_start_matches('\u{feff}')
        .chars()
        .count();
    (line + 1, letters + 1)
}

#[test]
fn an_error_is_shown_where_it_stands_whatever_stands_before_it() {
    let plain = log("ms,n,what\n", &ms(), ",")
        .replace('\n', ",x\n")
        .replacen(",what,x", ",what", 1);
    let wrong = plain
        .replacen("\n100,0.", "\n100,O.", 1)
        .replacen("\n100,-0.", "\n100,-O.", 1);
    let noted = |text: &str| {
        text.replacen(
            "\n50,",
            "\n\n# a comment, with \u{b5} and \u{20ac}\n\n50,",
            1,
        )
    };
    let wide = |text: &str| {
        let moved: Vec<String> = text
            .lines()
            .map(
                |line| match line.split(',').collect::<Vec<_>>().as_slice() {
                    [ms, n, what] => format!("{},{ms},{n}", what.replace('x', "µ€𝛼")),
                    _ => line.to_owned(),
                },
            )
            .collect();
        moved.join("\n") + "\n"
    };
    let crlf = |text: &str| text.replace('\n', "\r\n");
    for text in [
        wrong.clone(),
        crlf(&wrong),
        noted(&wrong),
        crlf(&noted(&wrong)),
        wide(&wrong),
        crlf(&wide(&noted(&wrong))),
        format!("\u{feff}{}", crlf(&wide(&noted(&wrong)))),
    ] {
        let at = text.find("O.").unwrap();
        let at = if text[..at].ends_with('-') {
            at - 1
        } else {
            at
        };
        let (line, column) = by_hand(&text, at);
        let folder = Folder::new()
            .file("firing.toml", &firing(MS, "n"))
            .file("stand.csv", &text);
        let run = folder.run(&["reduce", "firing.toml"]);
        assert_eq!(run.code, 1);
        let place = format!("stand.csv:{line}:{column}\n");
        assert!(
            run.stderr.contains(&place),
            "{place} is not in\n{}",
            run.stderr
        );
    }
}
