//! The report in a real browser: what it does under pointer and keys, without scripts, and with names
//! that try to break out of it. What every page must bear is in `pages.rs`.

use std::sync::OnceLock;

use serde_json::json;

use crate::chromium::{Page, Scripts};
use crate::runner::{Folder, as_read};

/// The demo firings, reduced once.
pub fn demo(name: &str) -> &'static Folder {
    static TWIN: OnceLock<Folder> = OnceLock::new();
    static DEAD: OnceLock<Folder> = OnceLock::new();
    let cell = if name == "twin-captive" { &TWIN } else { &DEAD };
    cell.get_or_init(|| {
        let folder = Folder::copy_of(&format!("demo-data/{name}"));
        let run = folder.run(&[
            "reduce",
            &format!("demo-data/{name}/firing.toml"),
            "--out",
            "out",
        ]);
        assert_eq!(run.code, 0, "{}", run.stderr);
        folder
    })
}

const REPORT: &str = "out/report.html";

#[test]
fn the_readout_tells_the_same_moment_on_every_picture() {
    let folder = demo("twin-captive");
    let Some(page) = Page::open(folder, REPORT, 1280, 900) else {
        return;
    };
    let pictures = page.number("document.querySelectorAll('.strip[data-x]').length") as usize;
    assert!(pictures >= 8, "{pictures}");
    assert_eq!(page.times(), vec![String::new(); pictures]);
    page.mouse("mouseMoved", page.place(0, 0.4), 0);
    let times = page.times();
    assert!(!times[0].is_empty());
    assert!(times.iter().all(|at| *at == times[0]), "{times:?}");
    // What is read out is what thrust.csv holds, the ringing corrected.
    let zero = page.number("+document.querySelector('.strip[data-x]').dataset.zero");
    let time = times[0].parse::<f64>().unwrap() - zero;
    let table = folder.read("out/thrust.csv");
    let head: Vec<&str> = table.lines().next().unwrap().split(',').collect();
    let column = head.iter().position(|name| *name == "thrust_n").unwrap();
    let rows: Vec<(f64, f64)> = table
        .lines()
        .skip(1)
        .filter_map(|line| {
            let fields: Vec<&str> = line.split(',').collect();
            Some((fields[0].parse().ok()?, fields[column].parse().ok()?))
        })
        .collect();
    let pair = rows.windows(2).find(|pair| pair[1].0 > time).unwrap();
    let share = (time - pair[0].0) / (pair[1].0 - pair[0].0);
    let expected = pair[0].1 + share * (pair[1].1 - pair[0].1);
    let number = |text: String| {
        let number = text.split(' ').next().unwrap().replace('−', "-");
        number.parse::<f64>().unwrap()
    };
    // The readout shows hundredths of this picture's newtons; its curves are whole steps of time and force.
    let thrust = number(page.text(
        "[...document.querySelector('.readout').querySelectorAll('output')].at(-1).textContent",
    ));
    assert!(
        (thrust - expected).abs() < 0.08,
        "{thrust}, thrust.csv {expected}"
    );
    let told = page.text("document.querySelector('.readout .time').textContent");
    assert!(told.ends_with(" s"), "{told}");
    assert!((number(told) - time).abs() < 0.006, "{time}");
    // Another place, another moment; off the pictures, none.
    page.mouse("mouseMoved", page.place(0, 0.7), 0);
    assert!(page.times()[1].parse::<f64>().unwrap() > time + zero);
    page.mouse("mouseMoved", (3.0, 3.0), 0);
    assert_eq!(page.times(), vec![String::new(); pictures]);
    page.nothing_is_amiss();
}

#[test]
fn dragging_enlarges_all_pictures_and_a_double_click_brings_all_back() {
    let folder = demo("twin-captive");
    for (width, height) in [(1280, 900), (390, 800)] {
        let Some(page) = Page::open(folder, REPORT, width, height) else {
            return;
        };
        let whole = page.stretches();
        assert!(
            whole.iter().any(|one| *one != whole[0]),
            "the pictures differ at first"
        );
        page.drag(0, 0.25, 0.5);
        let close = page.stretches();
        let span = whole[0].1 - whole[0].0;
        // A pixel of the narrow picture is 0.4 % of its frame.
        let expected = (whole[0].0 + 0.25 * span, whole[0].0 + 0.5 * span);
        for (nth, stretch) in close.iter().enumerate() {
            assert!(
                (stretch.0 - expected.0).abs() < 0.01 * span,
                "{nth}: {stretch:?} {expected:?}"
            );
            assert!(
                (stretch.1 - expected.1).abs() < 0.01 * span,
                "{nth}: {stretch:?} {expected:?}"
            );
        }
        // The frames of the pictures moved, and stand again as they were printed.
        let moved = "[...document.querySelectorAll('.strip[data-x] svg')]
            .filter((svg) => svg.getAttribute('viewBox') !== '0 0 30000 8000').length";
        assert_eq!(page.number(moved), close.len() as f64);
        let place = page.place(0, 0.5);
        page.mouse("mousePressed", place, 1);
        page.mouse("mouseReleased", place, 1);
        page.mouse("mousePressed", place, 2);
        page.mouse("mouseReleased", place, 2);
        assert_eq!(page.stretches(), whole);
        assert_eq!(page.number(moved), 0.0);
        // The same by the button, for fingers.
        page.drag(0, 0.25, 0.5);
        assert_ne!(page.stretches(), whole);
        page.value("document.querySelector('.whole').click()");
        assert_eq!(page.stretches(), whole);
        page.nothing_is_amiss();
    }
}

#[test]
fn everything_can_be_done_from_the_keyboard() {
    let Some(page) = Page::open(demo("twin-captive"), REPORT, 1280, 900) else {
        return;
    };
    let whole = page.stretches();
    let at_picture = "document.activeElement.matches('.strip[data-x]')";
    for _ in 0..60 {
        if page.value(at_picture) == true {
            break;
        }
        page.press("Tab");
    }
    assert_eq!(page.value(at_picture), true, "Tab never came to a picture");
    assert_eq!(page.text("document.activeElement.role"), "slider");
    assert!(
        page.text("document.activeElement.ariaLabel")
            .starts_with("Thrust over time. Arrow keys")
    );
    page.press("ArrowRight");
    let first: f64 = page.times()[0].parse().unwrap();
    page.press("ArrowRight");
    let second: f64 = page.times()[0].parse().unwrap();
    assert!(second > first, "{first} {second}");
    assert!(
        page.text("document.activeElement.ariaValueText")
            .contains("thrust ")
    );
    page.press("ArrowLeft");
    assert!((page.times()[0].parse::<f64>().unwrap() - first).abs() < 1e-9);
    page.press("+");
    let close = page.stretches();
    assert!(
        close
            .iter()
            .all(|one| (one.1 - one.0 - (close[0].1 - close[0].0)).abs() < 1e-3)
    );
    assert!(close[0].1 - close[0].0 < 0.51 * (whole[0].1 - whole[0].0));
    page.press("-");
    let mark = page.times()[0].clone();
    page.press(" ");
    let playing =
        "[...document.querySelectorAll('.play button')].map((one) => one.textContent).join()";
    assert!(page.text(playing).starts_with("stop,"));
    page.press(" ");
    assert!(page.text(playing).starts_with("play,"));
    assert!(page.times()[0].parse::<f64>().unwrap() >= mark.parse::<f64>().unwrap());
    page.press("Escape");
    assert_eq!(page.stretches(), whole);
    assert!(page.times().iter().all(String::is_empty));
    page.nothing_is_amiss();
}

#[test]
fn the_first_screen_says_what_result_json_says() {
    for (name, said) in [
        ("twin-captive", "Both motors lit."),
        ("twin-one-dead", "Only 1 of 2 motors lit; not lit: right."),
    ] {
        let folder = demo(name);
        let Some(page) = Page::open(folder, REPORT, 1280, 900) else {
            return;
        };
        let result = folder.json("out/result.json");
        let flat = |text: String| text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(
            page.text("document.querySelector('h1').innerText"),
            result["title"]
        );
        assert_eq!(page.text("document.title"), result["title"]);
        let verdict = flat(page.text("document.querySelector('.verdict').innerText"));
        assert!(
            verdict.to_lowercase().contains(&said.to_lowercase()),
            "{verdict}"
        );
        let class = result["class"]["letter"].as_str().unwrap();
        let total = as_read(&result["impulse"]["total_ns"]);
        let delivered = format!("Total impulse {total}, class {class}.");
        assert!(verdict.ends_with(&delivered), "{verdict}");
        // Beside the picture stand the numbers that the terminal tells in one glance.
        let beside = flat(page.text("document.querySelector('.beside').innerText"));
        for (axis, of) in result["plant"].as_object().unwrap() {
            assert!(beside.contains(axis), "{beside}");
            for (name, scale) in [("gain", 1.0), ("lag_s", 1e3), ("delay_s", 1e3)] {
                let number = |key: &str| of["actuator"][name][key].as_f64();
                let (Some(value), Some(low), Some(high)) =
                    (number("value"), number("low"), number("high"))
                else {
                    continue;
                };
                // Written to what its interval deserves.
                let alike = (0.1 * scale * (high - low)).max(0.0051);
                let mut told = beside
                    .split(' ')
                    .filter_map(|word| word.parse::<f64>().ok());
                assert!(
                    told.any(|told| (told - scale * value).abs() < alike),
                    "{axis}, {name} {value}: {beside}"
                );
            }
        }
        for outcome in ["fails", "undecided"] {
            let open = result
                .to_string()
                .contains(&format!("\"outcome\":\"{outcome}\""));
            let told = page.value(&format!(
                "!!document.querySelector('.attention .{outcome}')"
            ));
            assert_eq!(told, open, "{outcome}");
        }
        let danger = page.number("document.querySelectorAll('.danger').length");
        assert_eq!(danger, f64::from(u8::from(name == "twin-one-dead")));
        // All of it is seen without scrolling.
        let end = page.number("document.querySelector('.attention').getBoundingClientRect().top");
        assert!(end < 900.0, "{name}: {end}");
        page.nothing_is_amiss();
    }
}

#[test]
fn without_scripts_every_picture_is_there() {
    let folder = demo("twin-captive");
    let Some(page) = Page::blank(1280, 900) else {
        return;
    };
    page.tab
        .call_method(Scripts(json!({ "value": true })))
        .unwrap();
    page.go(folder, REPORT);
    assert_eq!(
        page.number("document.querySelectorAll('.hint, button').length"),
        0.0
    );
    assert_eq!(
        page.number("document.querySelectorAll('[tabindex]').length"),
        0.0
    );
    let figures = page.number("document.querySelectorAll('figure').length");
    let seen = page.number(
        "document.querySelectorAll('details').forEach((one) => { one.open = true; });
         [...document.querySelectorAll('figure')].filter((one) =>
            one.querySelector('svg, .bars').getBoundingClientRect().height > 40).length",
    );
    assert!(figures > 10.0);
    assert_eq!(seen, figures);
    page.nothing_is_amiss();
}

/// Names that try to end a script, an attribute, a line, and to turn the writing around.
const HOSTILE: &str =
    r#"</script><script>document.title='broken'</script>"'><img src=x onerror=alert(1)>"#;

#[test]
fn hostile_names_are_text_everywhere() {
    let long = format!("{HOSTILE}\u{202e}\u{200f}{}", "long".repeat(60));
    let quoted = serde_json::to_string(&long).unwrap();
    let folder = Folder::copy_of("demo-data/twin-captive")
        .edit(
            "demo-data/twin-captive/firing.toml",
            "\"Twin captive firing 2\"",
            &quoted,
        )
        .edit(
            "demo-data/twin-captive/firing.toml",
            "\"left\", \"right\"",
            &format!("{quoted}, \"right\""),
        )
        .edit(
            "demo-data/twin-captive/firing.toml",
            "[motor.left]",
            &format!("[motor.{quoted}]"),
        )
        .edit(
            "demo-data/twin-captive/firing.toml",
            "[axis.pitch]",
            &format!("[axis.{quoted}]"),
        )
        .edit(
            "demo-data/twin-captive/firing.toml",
            "\"tilt_yaw\"",
            &quoted,
        )
        .edit(
            "demo-data/twin-captive/stand.csv",
            "tilt_yaw",
            &format!("\"{}\"", long.replace('"', "\"\"")),
        );
    let run = folder.run(&[
        "reduce",
        "demo-data/twin-captive/firing.toml",
        "--out",
        "out",
    ]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    let widest = run.widest();
    assert!(!run.stdout.contains('\u{202e}') && !run.stdout.contains('\u{200f}'));
    assert!(widest <= 80, "{widest} columns in the terminal");
    // The table of thrust is still a table.
    let table = folder.read("out/thrust.csv");
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let columns = reader.headers().unwrap().len();
    assert!(reader.records().all(|row| row.unwrap().len() == columns));
    let Some(page) = Page::open(&folder, REPORT, 390, 800) else {
        return;
    };
    let cleaned = long.replace(['\u{202e}', '\u{200f}'], " ");
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(
        flat(&page.text("document.querySelector('h1').innerText")),
        flat(&cleaned)
    );
    assert_eq!(flat(&page.text("document.title")), flat(&cleaned));
    assert_eq!(
        page.number("document.querySelectorAll('img, script').length"),
        1.0
    );
    assert!(page.number("document.documentElement.scrollWidth") <= 390.0);
    let pictures = page.stretches().len();
    assert!(pictures >= 8, "{pictures}");
    page.mouse("mouseMoved", page.place(0, 0.5), 0);
    assert!(page.times().iter().all(|at| !at.is_empty()));
    // The stretch in which the motors light: their names stand above it, cut off by the style alone.
    page.drag(0, 0.02, 0.3);
    let names = page.text(
        "[...document.querySelectorAll('.moments span')].map((text) => text.textContent).join(' ')",
    );
    assert!(names.contains("</script>"), "{names}");
    assert!(page.number("document.documentElement.scrollWidth") <= 390.0);
    page.nothing_is_amiss();
}
