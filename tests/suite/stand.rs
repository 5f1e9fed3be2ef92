//! The stand's ringing and the low pass, from the files to the results, on firings whose truth is
//! known.

use serde_json::Value;

use crate::runner::Folder;

const PLAN: &str = "demo-data/twin-captive/REHEARSAL.toml";
const FIRING: &str = "demo-data/twin-captive/firing.toml";

/// The demo's rehearsal with a tap test in place of what its maker states; the plan changed further.
fn tapped(change: impl Fn(Folder) -> Folder) -> Folder {
    let says = "says              = { natural_frequency = \"85 Hz u 1 Hz\" }";
    let tap = "stated = false\n\n[tap]\nrate = \"2 kHz\"\nlasts = \"4 s\"\nsize = \"25 N\"\n\
               taps = [\"0.5 s\", \"1.4 s\", \"2.3 s\"]\n";
    let folder = change(Folder::copy_of("demo-data/twin-captive").edit(PLAN, says, tap));
    let run = folder.run(&["rehearse", PLAN, "--out", "demo-data/trial", "--quiet"]);
    assert_eq!((run.code, run.stderr.as_str()), (0, ""));
    folder
}

fn reduced(folder: &Folder, firing: &str) -> Value {
    let run = folder.run(&["reduce", firing, "--json"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    serde_json::from_str(&run.stdout).unwrap()
}

#[track_caller]
fn covers(quantity: &Value, truth: &Value) {
    let end = |key: &str| quantity[key].as_f64().unwrap();
    let truth = truth.as_f64().unwrap();
    assert!(
        (end("low")..=end("high")).contains(&truth),
        "{quantity} misses {truth}"
    );
}

// Truth: the rehearsal's own physics, which shares no code with the fit. The tap log has no align.
#[test]
fn taps_give_the_mode_and_the_ringing_comes_off() {
    let folder = tapped(|folder| folder);
    assert!(folder.read("demo-data/trial/firing.toml").contains("tap "));
    let result = reduced(&folder, "demo-data/trial/firing.toml");
    let truth = folder.json("demo-data/trial/truth.json");
    let stand = &result["stand"];
    assert_eq!(
        (stand["from"].as_str(), stand["decays"].as_u64()),
        (Some("tap"), Some(3))
    );
    covers(
        &stand["natural_frequency_hz"],
        &truth["stand"]["natural_frequency_hz"],
    );
    covers(&stand["damping_ratio"], &truth["stand"]["damping_ratio"]);
    let u = &stand["natural_frequency_hz"]["u"];
    assert!(u.as_f64().unwrap() < 0.1, "{u}");
    covers(&result["thrust"]["peak_n"], &truth["thrust"]["peak_n"]);
    for path in ["ignition_s", "burn_time_s", "action_time_s"] {
        covers(&result["burn"][path], &truth["burn"][path]);
    }
    assert!(stand["peak_changed_n"].as_f64().unwrap() < -0.2);
    assert!(stand["bandwidth_hz"].as_f64().unwrap() > 80.0);
    let csv = folder.read("demo-data/trial/reduced/thrust.csv");
    let header = csv.lines().next().unwrap();
    assert!(header.ends_with(",read_n"), "{header}");
    let page = folder.read("demo-data/trial/reduced/report.html");
    assert!(page.contains("ringing corrected"));
}

#[test]
fn what_is_stated_comes_first_and_is_held_against_the_taps() {
    let folder = tapped(|folder| folder).edit(
        "demo-data/trial/firing.toml",
        "[stand]\n",
        "[stand]\nnatural_frequency = \"70 Hz u 1 Hz\"\ndamping_ratio = 0.03\n",
    );
    let result = reduced(&folder, "demo-data/trial/firing.toml");
    assert_eq!(result["stand"]["from"], "stated");
    assert_eq!(result["stand"]["natural_frequency_hz"]["value"], 70.0);
    let findings = result["findings"].as_array().unwrap();
    let outcome = |claim: &str| {
        let found = findings.iter().find(|one| one["claim"] == claim);
        found.map(|one| one["outcome"].as_str().unwrap())
    };
    let frequency = outcome("the stated natural frequency agrees with the taps");
    assert_eq!(frequency, Some("fails"));
    assert_eq!(
        outcome("the stated damping ratio agrees with the taps"),
        Some("holds")
    );
}

#[test]
fn a_tap_log_that_comes_first_or_rings_nowhere_is_told() {
    let folder = tapped(|folder| folder.edit(PLAN, "size = \"25 N\"", "size = \"0.001 N\""));
    let result = reduced(&folder, "demo-data/trial/firing.toml");
    let warnings = result["warnings"].as_array().unwrap();
    assert!(warnings.iter().any(|one| one["code"] == "no-tap"));
    // Either the record rings by itself, or it is said that nothing is known.
    let unknown = warnings.iter().any(|one| one["code"] == "stand-unknown");
    assert_eq!(result["stand"].is_null(), unknown);
    let text = folder.read("demo-data/trial/firing.toml");
    let (before, rest) = text.split_once("[log.stand]").unwrap();
    let at = rest.find("[log.tap]").unwrap();
    let end = at + rest[at..].find("\n\n").unwrap();
    let table = &rest[at..end];
    let moved = format!(
        "{before}{table}\n\n[log.stand]{}{}",
        &rest[..at],
        &rest[end..]
    );
    let folder = folder.file("demo-data/trial/firing.toml", &moved);
    let run = folder.run(&["reduce", "demo-data/trial/firing.toml"]);
    assert_eq!(run.code, 1);
    assert!(
        run.stderr
            .contains("let the log of the load cells come first"),
        "{}",
        run.stderr
    );
}

#[test]
fn the_low_pass_moves_the_peak_and_nothing_else() {
    let plain = Folder::copy_of("demo-data/twin-captive");
    let asked = "[reduce]\nlow_pass = \"60 Hz\"\n\n[vehicle]";
    let folder = Folder::copy_of("demo-data/twin-captive").edit(FIRING, "[vehicle]", asked);
    let (plain, filtered) = (reduced(&plain, FIRING), reduced(&folder, FIRING));
    for key in ["impulse", "burn", "motors", "stand", "plant"] {
        assert_eq!(plain[key], filtered[key], "{key}");
    }
    assert_eq!(
        plain["thrust"]["average_n"],
        filtered["thrust"]["average_n"]
    );
    assert!(plain["thrust"]["low_pass"].is_null());
    let low = &filtered["thrust"]["low_pass"];
    let number = |key: &str| low[key].as_f64().unwrap();
    assert_eq!(low["resampled"], true);
    // A filter of gain 1 at frequency zero keeps the area: what it moves over the ends is noise.
    assert!(number("impulse_difference_ns").abs() < 0.01, "{low}");
    let lowered = number("unfiltered_peak_n") - number("peak_lower_by_n");
    assert!(number("peak_lower_by_n") > 0.0);
    let value = filtered["thrust"]["peak_n"]["value"].as_f64().unwrap();
    assert!((value - lowered).abs() < 1e-9);
    let truth = folder.json("demo-data/twin-captive/truth.json");
    covers(&filtered["thrust"]["peak_n"], &truth["thrust"]["peak_n"]);
    let page = folder.read("demo-data/twin-captive/reduced/report.html");
    assert!(page.contains("impulse of the low-passed trace differs by"));
}

#[test]
fn a_low_pass_too_near_the_nyquist_frequency_is_refused_where_it_stands() {
    let asked = "[reduce]\nlow_pass = \"450 Hz\"\n\n[vehicle]";
    let folder = Folder::copy_of("demo-data/twin-captive").edit(FIRING, "[vehicle]", asked);
    let run = folder.run(&["reduce", FIRING]);
    assert_eq!(run.code, 1);
    assert!(
        run.stderr.starts_with("error: `low_pass` lies above 400"),
        "{}",
        run.stderr
    );
    assert!(
        run.stderr.contains("low_pass = \"450 Hz\""),
        "{}",
        run.stderr
    );
}
