//! A page in a real browser: what it asks for, what it complains of, pointer, keys, paper.
//!
//! Needs Chromium. Without one the tests say so and pass, unless `CI` or `BURNWRIGHT_BROWSER` is
//! set, as the gate does.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use base64::Engine;
use base64::prelude::BASE64_STANDARD as BASE64;
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
        pub struct $name(pub Value);

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

pub struct Page {
    pub tab: Arc<Tab>,
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
    pub fn blank(width: u32, height: u32) -> Option<Self> {
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

    pub fn open(folder: &Folder, file: &str, width: u32, height: u32) -> Option<Self> {
        let page = Self::blank(width, height)?;
        page.go(folder, file);
        Some(page)
    }

    pub fn go(&self, folder: &Folder, file: &str) {
        let url = format!("file://{}", folder.path(file).display());
        self.tab.navigate_to(&url).unwrap();
        self.tab.wait_until_navigated().unwrap();
    }

    pub fn size(&self, width: u32, height: u32) {
        let metrics = json!({
            "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500,
        });
        self.tab.call_method(Metrics(metrics)).unwrap();
    }

    pub fn media(&self, medium: &str, scheme: &str) {
        let features = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
        let media = json!({ "media": medium, "features": features });
        self.tab.call_method(Media(media)).unwrap();
    }

    /// What an expression is worth in the page.
    pub fn value(&self, expression: &str) -> Value {
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

    /// Until an expression holds in the page.
    pub fn wait(&self, expression: &str) {
        let until = Instant::now() + Duration::from_secs(300);
        while self.value(&format!("Boolean({expression})")) != json!(true) {
            let shown = || self.text("document.body.innerText");
            assert!(Instant::now() < until, "{expression}\n{}", shown());
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    pub fn number(&self, expression: &str) -> f64 {
        let value = self.value(expression);
        value
            .as_f64()
            .unwrap_or_else(|| panic!("{expression}: {value}"))
    }

    pub fn text(&self, expression: &str) -> String {
        let value = self.value(expression);
        value
            .as_str()
            .unwrap_or_else(|| panic!("{expression}: {value}"))
            .to_owned()
    }

    /// Brings a picture into the middle of the window and gives a place in its frame, px.
    pub fn place(&self, picture: usize, along: f64) -> (f64, f64) {
        let place = self.value(&format!(
            "(() => {{
                const frame = document.querySelectorAll('.strip[data-x] .frame')[{picture}];
                frame.scrollIntoView({{ block: 'center', behavior: 'instant' }});
                const at = frame.getBoundingClientRect();
                return [at.left + {along} * at.width, at.top + at.height / 2];
            }})()"
        ));
        (place[0].as_f64().unwrap(), place[1].as_f64().unwrap())
    }

    pub fn mouse(&self, kind: &str, (x, y): (f64, f64), clicks: u32) {
        let held = kind == "mousePressed" || kind == "mouseReleased" || clicks > 0;
        let button = if held { "left" } else { "none" };
        let event = json!({
            "type": kind, "x": x, "y": y, "button": button, "buttons": u32::from(held),
            "clickCount": clicks,
        });
        self.tab.call_method(Mouse(event)).unwrap();
    }

    /// Drags over a stretch of a picture.
    pub fn drag(&self, picture: usize, from: f64, to: f64) {
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

    pub fn press(&self, key: &str) {
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
    pub fn stretches(&self) -> Vec<(f64, f64)> {
        let all = self.value(
            "[...document.querySelectorAll('.strip[data-x]')].map((box) => {
                const zero = +box.dataset.zero;
                return [+box.ariaValueMin + zero, +box.ariaValueMax + zero];
            })",
        );
        let pairs = all.as_array().unwrap().iter();
        pairs
            .map(|pair| (pair[0].as_f64().unwrap(), pair[1].as_f64().unwrap()))
            .collect()
    }

    /// The times all readouts stand at.
    pub fn times(&self) -> Vec<String> {
        let all = self
            .value("[...document.querySelectorAll('.readout')].map((p) => p.dataset.time ?? '')");
        all.as_array()
            .unwrap()
            .iter()
            .map(|at| at.as_str().unwrap().to_owned())
            .collect()
    }

    /// Nothing but this was asked for, and nothing was complained of.
    pub fn asked_only(&self, places: &[&str]) {
        let heard = self.heard.lock().unwrap();
        assert_eq!(heard.complaints, [""; 0]);
        for url in &heard.requests {
            assert!(places.iter().any(|place| url.starts_with(place)), "{url}");
        }
    }

    pub fn nothing_is_amiss(&self) {
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

/// The contrast of every text with what lies behind it, below 4.5 (WCAG 2.1, 1.4.3).
pub const TOO_FAINT: &str = "(() => {
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

impl Page {
    /// What a printer would get, on paper of so many inches.
    pub fn printed(&self, width_in: f64, height_in: f64) -> lopdf::Document {
        let asked = json!({
            "paperWidth": width_in, "paperHeight": height_in, "printBackground": true,
            "preferCSSPageSize": false,
        });
        let answer = self.tab.call_method(ToPdf(asked)).unwrap();
        let bytes = BASE64.decode(answer["data"].as_str().unwrap()).unwrap();
        lopdf::Document::load_mem(&bytes).unwrap()
    }
}
