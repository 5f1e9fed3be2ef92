//! Clocks tied by edge, offset and shape, against ties known by hand.

use std::path::PathBuf;

use super::*;
use crate::config::read_firing;
use crate::diagnostic::Code;
use crate::log::read_record;
use crate::log::wanted_columns;

/// Writes a firing file and its logs, and reads all of it back. The first log's second column steers, for
/// a firing is about something.
fn firing(toml: &str, logs: &[(&str, String)]) -> (Firing, IndexMap<String, Record>) {
    let folder = tempfile::tempdir().unwrap();
    let path: PathBuf = folder.path().join("firing.toml");
    let header = logs[0].1.lines().next().unwrap();
    let column = header.split(',').nth(1).unwrap();
    let axis = format!(
        "[axis.pitch]\ncommand = {{ log = \"stand\", column = \"{column}\", unit = \"deg\" }}\n"
    );
    std::fs::write(&path, format!("{toml}{axis}")).unwrap();
    for (file, text) in logs {
        std::fs::write(folder.path().join(file), text).unwrap();
    }
    let mut firing = read_firing(&path).unwrap_or_else(|problems| panic!("{problems}"));
    for log in firing.logs.values_mut() {
        for place in log.align.iter_mut().flat_map(places) {
            place.file = "firing.toml".into();
        }
    }
    let read = |log: &LogFile| {
        let wanted = wanted_columns(&firing, &log.name);
        (
            log.name.clone(),
            read_record(log, &wanted, &[]).unwrap_or_else(|problems| panic!("{problems}")),
        )
    };
    let records = firing.logs.values().map(read).collect();
    (firing, records)
}

fn places(align: &mut Align) -> Vec<&mut crate::diagnostic::Place> {
    let columns = match &mut align.by {
        AlignBy::Edge { here, there } | AlignBy::Shape { here, there } => {
            vec![&mut here.place, &mut there.place]
        }
        AlignBy::Offset { .. } => vec![],
    };
    columns.into_iter().chain([&mut align.place]).collect()
}

fn tie(toml: &str, logs: &[(&str, String)]) -> Result<Clocks, Error> {
    let (firing, records) = firing(toml, logs);
    align_clocks(&firing, &records, &IndexMap::new())
}

/// A log that rises from 0 to 1 at a row.
fn step_log(step_ms: usize, rises_at: usize, rows: usize) -> String {
    let row = |at: usize| format!("{},{}\n", at * step_ms, u8::from(at >= rises_at));
    "t_ms,fire\n".to_owned() + &(0..rows).map(row).collect::<String>()
}

const TWO_BY_EDGE: &str = r#"
[log.stand]
file = "stand.csv"
[log.computer]
file = "computer.csv"
align = { to = "stand", by = "edge", here = "fire", there = "fire" }
"#;

// Rise between rows 299 and 300 of the stand (2 ms) and 49 and 50 of the computer (10 ms):
// offset 599 - 495 = 104 ms, u = sqrt(2^2 + 10^2) / sqrt 12 = 2.944 ms.
#[test]
fn an_edge_in_both_logs_ties_their_clocks() {
    let logs = [
        ("stand.csv", step_log(2, 300, 1000)),
        ("computer.csv", step_log(10, 50, 200)),
    ];
    let clocks = tie(TWO_BY_EDGE, &logs).unwrap();
    approx::assert_relative_eq!(clocks.to_first("computer", 1.0), 1.104, epsilon = 1e-9);
    assert_eq!(clocks.to_first("stand", 1.0), 1.0);
    let u_s = (104.0_f64 / 12.0).sqrt() * 1e-3;
    approx::assert_relative_eq!(clocks.tie_u_s("computer", 0.495), u_s, epsilon = 1e-12);
    // Ten seconds on, 30 ppm of drift that nobody saw add 0.3 ms.
    approx::assert_relative_eq!(
        clocks.tie_u_s("computer", 10.495),
        u_s.hypot(0.3e-3),
        epsilon = 1e-12
    );
    assert_eq!(clocks.tie_u_s("stand", 0.0), 0.0);
    let report = &clocks.reports["computer"];
    assert_eq!((report.to.as_str(), report.by.as_str()), ("stand", "edge"));
    assert_eq!(report.drift_ppm, None);
    assert!(clocks.to_first("camera", 1.0).is_nan() && clocks.tie_u_s("camera", 0.0).is_nan());
}

#[test]
fn a_channel_that_never_rises_is_shown_where_it_is_named() {
    let logs = [
        ("stand.csv", step_log(2, 300, 1000)),
        ("computer.csv", step_log(10, 999, 200)),
    ];
    assert_eq!(
        tie(TWO_BY_EDGE, &logs).unwrap_err().render(),
        "error: column \"fire\" of computer.csv never rises: it is 0 throughout\n  \
     at firing.toml:6:46\n    |\n  \
     6 | align = { to = \"stand\", by = \"edge\", here = \"fire\", there = \"fire\" }\n    \
     |                                              ^^^^\n  \
     hint: name a column that goes from low to high once, such as the igniter line\n  \
     hint: or give by = \"offset\", or by = \"shape\" with two columns that move alike\n"
    );
}

#[test]
fn a_column_that_was_not_read_is_an_error_and_no_panic() {
    let logs = [
        ("stand.csv", step_log(2, 300, 1000)),
        ("computer.csv", step_log(10, 50, 200)),
    ];
    let (firing, mut records) = firing(TWO_BY_EDGE, &logs);
    records["stand"].columns.clear();
    records.shift_remove("computer");
    let problems = align_clocks(&firing, &records, &IndexMap::new()).unwrap_err();
    let codes: Vec<Code> = problems
        .problems()
        .iter()
        .map(|problem| problem.code)
        .collect();
    assert_eq!(codes, [Code::NoColumn, Code::NoColumn]);
}

// Chain: camera -> computer (offset 2 s u 3 ms, drift 100 ppm u 10 ppm) -> stand (10 s u 4 ms).
// At 100 s of the camera: 2 + 100.01 + 10 = 112.01 s; u there sqrt(3^2 + 4^2 + 1^2) ms.
#[test]
fn stated_offsets_compose_along_a_chain_and_shared_ties_cancel() {
    let toml = r#"
[log.stand]
file = "stand.csv"
[log.computer]
file = "computer.csv"
align = { to = "stand", by = "offset", offset = "10 s u 4 ms" }
[log.camera]
file = "camera.csv"
align = { to = "computer", by = "offset", offset = "2 s u 3 ms", drift = "100 ppm u 10 ppm" }
"#;
    let log = step_log(10, 5, 20);
    let logs = ["stand.csv", "computer.csv", "camera.csv"].map(|file| (file, log.clone()));
    let clocks = tie(toml, &logs).unwrap();
    approx::assert_relative_eq!(clocks.to_first("camera", 100.0), 112.01, epsilon = 1e-9);
    approx::assert_relative_eq!(clocks.rate("camera"), 1.0001, epsilon = 1e-12);
    approx::assert_relative_eq!(clocks.tie_u_s("camera", 0.0), 5e-3, epsilon = 1e-12);
    approx::assert_relative_eq!(
        clocks.tie_u_s("camera", 100.0),
        26e-6_f64.sqrt(),
        epsilon = 1e-9
    );
    approx::assert_relative_eq!(
        clocks.relative_u_s("camera", "computer", 12.0),
        3e-3,
        epsilon = 1e-12
    );
    approx::assert_relative_eq!(
        clocks.relative_u_s("stand", "camera", 12.0),
        5e-3,
        epsilon = 1e-12
    );
    assert_eq!(clocks.relative_u_s("camera", "camera", 0.5), 0.0);
    assert!(clocks.warnings.is_empty());
}

#[test]
fn an_offset_without_uncertainty_gets_that_of_the_steps_and_a_warning() {
    let toml = TWO_BY_EDGE.replace(
        r#"by = "edge", here = "fire", there = "fire""#,
        r#"by = "offset", offset = "104 ms", drift = "30 ppm""#,
    );
    let logs = [
        ("stand.csv", step_log(2, 300, 1000)),
        ("computer.csv", step_log(10, 50, 200)),
    ];
    let clocks = tie(&toml, &logs).unwrap();
    approx::assert_relative_eq!(
        clocks.tie_u_s("computer", 0.0),
        (104.0_f64 / 12.0).sqrt() * 1e-3,
        epsilon = 1e-9
    );
    let codes: Vec<Code> = clocks.warnings.iter().map(|warning| warning.code).collect();
    assert_eq!(codes, [Code::NoUncertainty, Code::NoUncertainty]);
}

#[test]
fn columns_that_move_alike_tie_their_clocks_and_others_are_refused() {
    let toml = TWO_BY_EDGE
        .replace("edge", "shape")
        .replace("\"fire\"", "\"tilt\"");
    // Struck after 2 s, a swing dies out; the computer began to record 0.5 s after the stand.
    let swing = |t: f64| match t - 2.0 {
        t if t > 0.0 => (-t / 3.0).exp() * (4.0 * t).sin(),
        _ => 0.0,
    };
    let log = |from_s: f64, step_ms: usize| {
        let row = |at: usize| {
            let t = from_s + (at * step_ms) as f64 * 1e-3;
            format!("{},{:.6}\n", at * step_ms, swing(t))
        };
        "t_ms,tilt\n".to_owned() + &(0..12_000 / step_ms).map(row).collect::<String>()
    };
    let logs = [("stand.csv", log(0.0, 5)), ("computer.csv", log(0.5, 8))];
    let clocks = tie(&toml, &logs).unwrap();
    approx::assert_relative_eq!(clocks.to_first("computer", 0.0), 0.5, epsilon = 1e-4);
    assert_eq!(clocks.reports["computer"].by, "shape");
    let flat =
        "t_ms,tilt\n".to_owned() + &(0..900).map(|at| format!("{at},3\n")).collect::<String>();
    let problems = tie(&toml, &[("stand.csv", log(0.0, 5)), ("computer.csv", flat)]).unwrap_err();
    assert_eq!(
        problems.problems()[0].message,
        "column \"tilt\" of computer.csv and column \"tilt\" of stand.csv: one of them hardly moves"
    );
}
