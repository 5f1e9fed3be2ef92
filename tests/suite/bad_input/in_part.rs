//! Answers of which only a part is held: several alike, or with numbers that move when the demo is made anew.

use crate::runner::Folder;

const FIRING: &str = "demo-data/twin-captive/firing.toml";
const STAND: &str = "demo-data/twin-captive/stand.csv";

fn demo() -> Folder {
    Folder::copy_of("demo-data/twin-captive")
}

#[test]
fn a_pressure_of_several_motors_must_say_whose_it_is() {
    let chamber = |more: &str| {
        let table = format!(
            "[chamber]\npressure = {{ log = \"stand\", column = \"base_raw\", unit = \"kPa\" }}\n{more}\n[vehicle]"
        );
        demo().edit(FIRING, "[vehicle]", &table)
    };
    for (more, wanted) in [
        (
            "",
            "error: this file has several motors: whose chamber is it?",
        ),
        ("motor = \"lft\"\n", "did you mean \"left\"?"),
        (
            "motor = \"left\"\nspan = \"1 %\"\n",
            "unknown key `span` in `chamber`",
        ),
        (
            "motor = \"left\"\nambient = \"-3 kPa\"\n",
            "`chamber.ambient` must lie between 0 kPa and 210 kPa: it is the absolute pressure of the air",
        ),
        (
            "motor = \"left\"\nthroat_diameter = \"6 kPa\"\n",
            "`chamber.throat_diameter` is a length",
        ),
    ] {
        let run = chamber(more).run(&["reduce", FIRING]);
        assert_eq!(run.code, 1, "{more}");
        assert!(
            run.stderr.contains(wanted),
            "{wanted} is not in\n{}",
            run.stderr
        );
        assert!(run.stderr.contains("firing.toml:"), "{}", run.stderr);
    }
}

#[test]
fn a_cell_that_reads_the_wrong_way_is_not_taken_for_silence() {
    let folder = demo();
    let turned = changed_readings(&folder, |raw| (160_000 - raw).to_string());
    let run = folder.file(STAND, &turned).run(&["reduce", FIRING]);
    let (first, rest) = run.stderr.split_once('\n').unwrap();
    // The numbers are those of the demo, which may be made anew.
    assert!(first.starts_with("error: the load falls by "), "{first}");
    assert!(
        first.ends_with(" s, where thrust would make it rise"),
        "{first}"
    );
    assert_eq!(
        rest,
        r#"  at demo-data/twin-captive/firing.toml:25:39
     |
  25 | signal   = { log = "stand", column = "base_raw" }
     |                                       ^^^^^^^^
  hint: a load is positive when it presses the cell the way thrust does: turn the sign of the loads, or of `scale`
  hint: if somebody lifted the rig then, give window = [..] without that
  hint: the load is that of stand.csv
"#
    );
    assert_eq!((run.code, run.stdout.as_str()), (1, ""));
}

/// The stand's log with each reading of the cell changed.
fn changed_readings(folder: &Folder, change: impl Fn(i64) -> String) -> String {
    let text = folder.read(STAND);
    let mut lines = text.lines();
    let mut out = format!("{}\n", lines.next().unwrap());
    for line in lines {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        cells[1] = change(cells[1].parse().unwrap());
        out += &cells.join(",");
        out.push('\n');
    }
    out
}
