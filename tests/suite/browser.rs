//! The page in a real browser: what it does under pointer and keys, on paper, on a telephone, in
//! the dark, without scripts, and with names that try to break out of it.
//!
//! Needs Chromium. Without one the tests say so and pass, unless `CI` or `BURNWRIGHT_BROWSER` is
//! set, as the gate does.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::sync::{Arc, Mutex, OnceLock};
use std::time::Duration;

use burnwright::quantity::Measured;
use burnwright::report::number;
use headless_chrome::browser::default_executable;
use headless_chrome::protocol::cdp::types::{Event, Method};
use headless_chrome::{Browser, LaunchOptions, Tab};
use serde_json::{Value, json};

use crate::runner::Folder;

/// A command of the browser's debugging protocol with the parameters it is sent.
macro_rules! commands {
    ($($name:ident = $method:literal;)*) => {$(
        #[derive(Debug, serde::Serialize)]
        #[serde(transparent)]
        struct $name(Value);

        impl Method for $name {
            const NAME: &'static str = $method;
            type ReturnObject = Value;
        }
    )*};
}

commands! {
    EnableLog = "Log.enable";
    EnableNetwork = "Network.enable";
    EnableRuntime = "Runtime.enable";
    Evaluate = "Runtime.evaluate";
    Key = "Input.dispatchKeyEvent";
    Media = "Emulation.setEmulatedMedia";
    Metrics = "Emulation.setDeviceMetricsOverride";
    Mouse = "Input.dispatchMouseEvent";
    Scripts = "Emulation.setScriptExecutionDisabled";
    ToPdf = "Page.printToPDF";
}

/// What a page asked for and complained about.
#[derive(Default)]
struct Heard {
    requests: Vec<String>,
    complaints: Vec<String>,
}

struct Page {
    tab: Arc<Tab>,
    heard: Arc<Mutex<Heard>>,
    _browser: Browser,
}

/// A browser, or `None` where there is none and none is demanded.
fn browser() -> Option<Browser> {
    let path = match default_executable() {
        Ok(path) => path,
        Err(why) => {
            let demanded =
                ["CI", "BURNWRIGHT_BROWSER"].map(|name| std::env::var_os(name).is_some());
            assert!(!demanded.contains(&true), "no Chromium: {why}");
            eprintln!("skipped: {why}; install Chromium to test the page in it");
            return None;
        }
    };
    let options = LaunchOptions::default_builder()
        .path(Some(path))
        // Containers run as root, where Chromium refuses its sandbox; the pages are our own.
        .sandbox(false)
        .args(vec![OsStr::new("--hide-scrollbars")])
        .idle_browser_timeout(Duration::from_secs(300))
        .build()
        .unwrap();
    Some(Browser::new(options).unwrap())
}

impl Page {
    fn blank(width: u32, height: u32) -> Option<Self> {
        let browser = browser()?;
        let tab = browser.new_tab().unwrap();
        tab.set_default_timeout(Duration::from_secs(60));
        let heard = Arc::new(Mutex::new(Heard::default()));
        let notes = Arc::clone(&heard);
        tab.add_event_listener(Arc::new(move |event: &Event| {
            let mut heard = notes.lock().unwrap();
            match event {
                Event::NetworkRequestWillBeSent(sent) => {
                    heard.requests.push(sent.params.request.url.clone());
                }
                Event::LogEntryAdded(added) => {
                    heard.complaints.push(added.params.entry.text.clone());
                }
                Event::RuntimeConsoleAPICalled(called) => {
                    heard.complaints.push(format!("{:?}", called.params.args));
                }
                Event::RuntimeExceptionThrown(thrown) => {
                    heard
                        .complaints
                        .push(format!("{:?}", thrown.params.exception_details));
                }
                Event::PageJavascriptDialogOpening(opening) => {
                    heard.complaints.push(opening.params.message.clone());
                }
                _ => {}
            }
        }))
        .unwrap();
        for enabled in [
            tab.call_method(EnableLog(json!({}))),
            tab.call_method(EnableNetwork(json!({}))),
            tab.call_method(EnableRuntime(json!({}))),
        ] {
            enabled.unwrap();
        }
        let page = Self {
            tab,
            heard,
            _browser: browser,
        };
        page.size(width, height);
        Some(page)
    }

    fn open(folder: &Folder, file: &str, width: u32, height: u32) -> Option<Self> {
        let page = Self::blank(width, height)?;
        page.go(folder, file);
        Some(page)
    }

    fn go(&self, folder: &Folder, file: &str) {
        let url = format!("file://{}", folder.path(file).display());
        self.tab.navigate_to(&url).unwrap();
        self.tab.wait_until_navigated().unwrap();
    }

    fn size(&self, width: u32, height: u32) {
        let metrics = json!({
            "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500,
        });
        self.tab.call_method(Metrics(metrics)).unwrap();
    }

    fn media(&self, medium: &str, scheme: &str) {
        let features = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
        let media = json!({ "media": medium, "features": features });
        self.tab.call_method(Media(media)).unwrap();
    }

    /// What an expression is worth in the page.
    fn value(&self, expression: &str) -> Value {
        let asked = json!({
            "expression": expression, "returnByValue": true, "awaitPromise": true,
        });
        let answer = self.tab.call_method(Evaluate(asked)).unwrap();
        assert!(
            answer["exceptionDetails"].is_null(),
            "{expression}: {answer}"
        );
        answer["result"]["value"].clone()
    }

    fn number(&self, expression: &str) -> f64 {
        let value = self.value(expression);
        value
            .as_f64()
            .unwrap_or_else(|| panic!("{expression}: {value}"))
    }

    fn text(&self, expression: &str) -> String {
        let value = self.value(expression);
        value
            .as_str()
            .unwrap_or_else(|| panic!("{expression}: {value}"))
            .to_owned()
    }

    /// Brings a picture into the middle of the window and gives a place in its frame, px.
    fn place(&self, picture: usize, along: f64) -> (f64, f64) {
        let place = self.value(&format!(
            "(() => {{
                const box = document.querySelectorAll('[data-curves]')[{picture}];
                box.scrollIntoView({{ block: 'center', behavior: 'instant' }});
                const svg = [...box.querySelectorAll('svg')].find((svg) => svg.getClientRects().length);
                const [left, top, right, bottom] = svg.dataset.frame.split(' ').map(Number);
                const at = svg.getBoundingClientRect();
                const unit = at.width / svg.viewBox.baseVal.width;
                return [at.left + (left + {along} * (right - left)) * unit,
                        at.top + (top + bottom) / 2 * unit];
            }})()"
        ));
        (place[0].as_f64().unwrap(), place[1].as_f64().unwrap())
    }

    fn mouse(&self, kind: &str, (x, y): (f64, f64), clicks: u32) {
        let held = kind == "mousePressed" || kind == "mouseReleased" || clicks > 0;
        let button = if held { "left" } else { "none" };
        let event = json!({
            "type": kind, "x": x, "y": y, "button": button, "buttons": u32::from(held),
            "clickCount": clicks,
        });
        self.tab.call_method(Mouse(event)).unwrap();
    }

    /// Drags over a stretch of a picture.
    fn drag(&self, picture: usize, from: f64, to: f64) {
        let start = self.place(picture, from);
        let end = self.place(picture, to);
        self.mouse("mouseMoved", start, 0);
        self.mouse("mousePressed", start, 1);
        for share in [0.3, 0.7, 1.0] {
            let x = start.0 + share * (end.0 - start.0);
            self.mouse("mouseMoved", (x, start.1), 1);
        }
        self.mouse("mouseReleased", end, 1);
    }

    fn press(&self, key: &str) {
        let text = if key.chars().count() == 1 { key } else { "" };
        // Tab moves the focus only when its code is told as well.
        let code = if key == "Tab" { 9 } else { 0 };
        for kind in ["keyDown", "keyUp"] {
            let event = json!({
                "type": kind, "key": key, "text": text, "windowsVirtualKeyCode": code,
            });
            self.tab.call_method(Key(event)).unwrap();
        }
    }

    /// The stretch each picture shows, on the clock they share.
    fn stretches(&self) -> Vec<(f64, f64)> {
        let all = self.value(
            "[...document.querySelectorAll('[data-curves]')].map((box) => {
                const zero = JSON.parse(box.dataset.curves).zero;
                return [+box.ariaValueMin + zero, +box.ariaValueMax + zero];
            })",
        );
        let pairs = all.as_array().unwrap().iter();
        pairs
            .map(|pair| (pair[0].as_f64().unwrap(), pair[1].as_f64().unwrap()))
            .collect()
    }

    /// The times all readouts stand at.
    fn times(&self) -> Vec<String> {
        let all = self
            .value("[...document.querySelectorAll('.readout')].map((p) => p.dataset.time ?? '')");
        all.as_array()
            .unwrap()
            .iter()
            .map(|at| at.as_str().unwrap().to_owned())
            .collect()
    }

    fn nothing_is_amiss(&self) {
        let heard = self.heard.lock().unwrap();
        assert_eq!(heard.complaints, [""; 0]);
        assert!(!heard.requests.is_empty(), "requests were not heard at all");
        for url in &heard.requests {
            assert!(url.starts_with("file://") || url == "about:blank", "{url}");
        }
        let pages: BTreeSet<&String> = heard.requests.iter().collect();
        assert!(pages.iter().all(|url| url.ends_with(".html")), "{pages:?}");
    }
}

/// The demo firings, reduced once.
fn demo(name: &str) -> &'static Folder {
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
    let pictures = page.number("document.querySelectorAll('[data-curves]').length") as usize;
    assert!(pictures >= 8, "{pictures}");
    assert_eq!(page.times(), vec![String::new(); pictures]);
    page.mouse("mouseMoved", page.place(0, 0.4), 0);
    let times = page.times();
    assert!(!times[0].is_empty());
    assert!(times.iter().all(|at| *at == times[0]), "{times:?}");
    // What is read out is what thrust.csv holds.
    let zero =
        page.number("JSON.parse(document.querySelector('[data-curves]').dataset.curves).zero");
    let time = times[0].parse::<f64>().unwrap() - zero;
    let rows: Vec<(f64, f64)> = folder
        .read("out/thrust.csv")
        .lines()
        .skip(1)
        .map(|line| {
            let mut fields = line
                .split(',')
                .map(|field| field.parse::<f64>().unwrap_or(f64::NAN));
            (fields.next().unwrap(), fields.next().unwrap())
        })
        .collect();
    let pair = rows.windows(2).find(|pair| pair[1].0 > time).unwrap();
    let share = (time - pair[0].0) / (pair[1].0 - pair[0].0);
    let expected = pair[0].1 + share * (pair[1].1 - pair[0].1);
    let readout = page.text("document.querySelector('.readout').textContent");
    let words: Vec<&str> = readout.split_whitespace().collect();
    let after = |word: &str| {
        let at = words.iter().position(|other| *other == word).unwrap();
        words[at + 1].replace('−', "-").parse::<f64>().unwrap()
    };
    assert_eq!(words[1], "s", "{readout}");
    // The readout shows hundredths of this picture's newtons.
    assert!(
        (after("measured") - expected).abs() < 0.06,
        "{readout}, thrust.csv {expected}"
    );
    let told = words[0].replace('−', "-").parse::<f64>().unwrap();
    assert!((told - time).abs() < 0.006, "{readout} {time}");
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
        let drawn = "document.querySelectorAll('[data-curves] svg g.closer polyline').length";
        assert!(page.number(drawn) >= close.len() as f64);
        let place = page.place(0, 0.5);
        page.mouse("mousePressed", place, 1);
        page.mouse("mouseReleased", place, 1);
        page.mouse("mousePressed", place, 2);
        page.mouse("mouseReleased", place, 2);
        assert_eq!(page.stretches(), whole);
        assert_eq!(
            page.number("document.querySelectorAll('g.closer').length"),
            0.0
        );
        // The same by the button, for fingers.
        page.drag(0, 0.25, 0.5);
        assert_ne!(page.stretches(), whole);
        page.value("document.querySelector('figure button').click()");
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
    let at_picture = "document.activeElement.matches('[data-curves]')";
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
            .contains("measured")
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
        let plates =
            flat(page.text(
                "[...document.querySelectorAll('.plates')].map((p) => p.innerText).join(' ')",
            ));
        let verdict = page.text("document.querySelector('.verdict').innerText");
        assert!(
            verdict.to_lowercase().contains(&said.to_lowercase()),
            "{verdict}"
        );
        let all_lit = result["ignition"]["all_lit"].as_str().unwrap();
        assert!(
            plates.contains(&format!("Every motor lit {all_lit}")),
            "{plates}"
        );
        let class = result["class"]["letter"].as_str().unwrap();
        assert!(
            plates.contains(&format!("Class, all motors together {class} ")),
            "{plates}"
        );
        let plant = result["plant"].as_object().unwrap();
        let numbers = plant.values().flat_map(|axis| {
            ["gain", "lag_s", "delay_s"].map(|name| axis["actuator"][name].clone())
        });
        for one in numbers.chain([result["impulse"]["total_ns"].clone()]) {
            if one.is_null() {
                continue;
            }
            let measured: Measured = serde_json::from_value(one).unwrap();
            let words = number::measured(&measured).replace('-', "−");
            assert!(plates.contains(&words), "{words} is not in {plates}");
        }
        // All of it is seen without scrolling.
        let end = page.number("document.querySelector('.attention').getBoundingClientRect().top");
        assert!(end < 900.0, "{name}: {end}");
        page.nothing_is_amiss();
    }
}

/// The contrast of every text with what lies behind it, below 4.5 (WCAG 2.1, 1.4.3).
const TOO_FAINT: &str = "(() => {
    const parse = (text) => {
        const parts = text.match(/[\\d.]+/g)?.map(Number) ?? [0, 0, 0, 0];
        return parts.length < 4 ? [...parts.slice(0, 3), 1] : parts;
    };
    const light = (c) => c.slice(0, 3)
        .map((v) => v / 255)
        .map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
        .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
    const behind = (element) => {
        for (let at = element; at; at = at.parentElement) {
            const colour = parse(getComputedStyle(at).backgroundColor);
            if (colour[3] === 1) return colour;
        }
        throw new Error('nothing lies behind');
    };
    let looked = 0;
    const out = [];
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
        const element = walker.currentNode.parentElement;
        if (!walker.currentNode.data.trim() || !element.getClientRects().length) continue;
        const style = getComputedStyle(element);
        const colour = parse(element.namespaceURI.endsWith('svg') ? style.fill : style.color);
        const [a, b] = [light(colour), light(behind(element))];
        const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
        looked += 1;
        if (ratio < 4.5) out.push(`${ratio.toFixed(2)} ${walker.currentNode.data.trim()}`);
    }
    return { looked, out };
})()";

#[test]
fn every_text_stands_out_in_light_and_dark() {
    for name in ["twin-captive", "twin-one-dead"] {
        let Some(page) = Page::open(demo(name), REPORT, 1280, 900) else {
            return;
        };
        let mut papers = BTreeSet::new();
        for (medium, scheme) in [("screen", "light"), ("screen", "dark"), ("print", "dark")] {
            page.media(medium, scheme);
            // The readout, the enlarged picture and its button as well.
            page.drag(0, 0.2, 0.6);
            page.mouse("mouseMoved", page.place(0, 0.5), 0);
            let found = page.value(TOO_FAINT);
            assert!(found["looked"].as_f64().unwrap() > 300.0, "{found}");
            assert_eq!(found["out"], json!([]), "{name}, {medium}, {scheme}");
            papers.insert(page.text("getComputedStyle(document.body).backgroundColor"));
        }
        assert_eq!(papers.len(), 3, "light, dark and paper: {papers:?}");
    }
}

#[test]
fn a_telephone_never_scrolls_sideways() {
    for name in ["twin-captive", "twin-one-dead"] {
        let Some(page) = Page::open(demo(name), REPORT, 390, 800) else {
            return;
        };
        page.mouse("mouseMoved", page.place(1, 0.5), 0);
        let wide = page.number("document.documentElement.scrollWidth");
        assert!(wide <= 390.0, "{name}: {wide}");
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
        page.number("document.querySelectorAll('.readout, .hint, button').length"),
        0.0
    );
    assert_eq!(
        page.number("document.querySelectorAll('[tabindex]').length"),
        0.0
    );
    let figures = page.number("document.querySelectorAll('figure').length");
    let seen = page.number(
        "[...document.querySelectorAll('figure svg')]
            .filter((svg) => svg.getBoundingClientRect().height > 60 && svg.querySelector('text')).length",
    );
    assert!(figures > 10.0);
    assert_eq!(seen, figures);
    page.nothing_is_amiss();
}

#[test]
fn paper_gets_every_picture_whole() {
    let Some(page) = Page::open(demo("twin-captive"), REPORT, 1280, 900) else {
        return;
    };
    let figures = page.number("document.querySelectorAll('figure').length");
    for (paper, width_in, height_in) in [("A4", 8.27, 11.69), ("Letter", 8.5, 11.0)] {
        let asked = json!({
            "paperWidth": width_in, "paperHeight": height_in, "printBackground": true,
            "marginTop": 0.4, "marginBottom": 0.4, "marginLeft": 0.4, "marginRight": 0.4,
        });
        let answer = page.tab.call_method(ToPdf(asked)).unwrap();
        let text = answer["data"].as_str().unwrap();
        // Base64 holds three bytes in four letters.
        let bytes = text.len() / 4 * 3;
        assert!(text.starts_with("JVBERi0"), "{paper}: not a PDF");
        assert!(
            (100_000..4_000_000).contains(&bytes),
            "{paper}: {bytes} bytes"
        );
        // What the page looks like at the width of the paper.
        page.media("print", "light");
        page.size(((width_in - 0.8) * 96.0) as u32, 900);
        let tall = (height_in - 0.8) * 96.0;
        let whole = page.number(&format!(
            "[...document.querySelectorAll('figure')].filter((figure) => {{
                const box = figure.getBoundingClientRect();
                return getComputedStyle(figure).breakInside === 'avoid'
                    && box.height > 80 && box.height < {tall} / 2
                    && [...figure.querySelectorAll('svg')].some((svg) => svg.getClientRects().length
                        && svg.getBoundingClientRect().right <= document.documentElement.clientWidth + 1);
            }}).length"
        ));
        assert_eq!(whole, figures, "{paper}");
        page.media("", "light");
        page.size(1280, 900);
    }
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
    let widest = run
        .stdout
        .lines()
        .map(|line| line.chars().count())
        .max()
        .unwrap();
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
    // The stretch in which the motors light: their names stand above it.
    page.drag(0, 0.02, 0.3);
    let names = page.text(
        "[...document.querySelectorAll('.closer text')].map((text) => text.textContent).join(' ')",
    );
    assert!(names.contains("</script>"), "{names}");
    assert!(page.number("document.documentElement.scrollWidth") <= 390.0);
    page.nothing_is_amiss();
}
