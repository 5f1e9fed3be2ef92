//! What every page must bear, in a real browser: light and dark, a telephone, paper, no complaint.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use serde_json::json;

use crate::chromium::{Page, TOO_FAINT};
use crate::runner::Folder;
use crate::studies::study;

/// Every page that some command writes, and the first line that the command printed.
const PAGES: [&str; 6] = [
    "out/report.html",
    "dead/report.html",
    "out/gains.html",
    "out/simulation.html",
    "compared/compare.html",
    "planned/pattern.html",
];

const TWIN: &str = "demo-data/twin-captive/firing.toml";
const DEAD: &str = "demo-data/twin-one-dead/firing.toml";

/// All pages of the demo firings, made once, with the first line of each command.
fn made() -> &'static (Folder, Vec<String>) {
    static MADE: OnceLock<(Folder, Vec<String>)> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = Folder::copy_of("demo-data/twin-captive").and("demo-data/twin-one-dead");
        // Planned before there are logs: with what the demo's logs teach of it the rig hardly keeps its limit by itself.
        std::fs::create_dir(folder.path("bare")).unwrap();
        for name in ["firing.toml", "cell-base-points.csv", "finch-24.toml"] {
            let from = folder.path(&format!("demo-data/twin-captive/{name}"));
            std::fs::copy(from, folder.path(&format!("bare/{name}"))).unwrap();
        }
        let (pages, _) = study(2, PAGES.len() as u64);
        let commands: [&[&str]; 6] = [
            &["reduce", TWIN, "--out", "out"],
            &["reduce", DEAD, "--out", "dead"],
            &["tune", "out/plant.json"],
            &[
                "simulate",
                "out/plant.json",
                "--firing",
                TWIN,
                "--runs",
                "300",
            ],
            &["compare", TWIN, DEAD, "--out", "compared"],
            &[
                "plan",
                "bare/firing.toml",
                "--pattern",
                "--moves",
                "30",
                "--out",
                "planned",
            ],
        ];
        let first = commands
            .iter()
            .take(pages as usize)
            .map(|args| {
                let run = folder.run(args);
                assert_eq!(run.code, 0, "{args:?}\n{}", run.stderr);
                run.stdout.lines().next().unwrap().to_owned()
            })
            .collect();
        (folder, first)
    })
}

/// Does something with every page, each in a window of its own; a newcomer's run takes those of firings.
fn on_every_page(width: u32, look: impl Fn(&str, &Page)) {
    for file in PAGES.iter().take(made().1.len()) {
        let Some(page) = Page::open(&made().0, file, width, 900) else {
            return;
        };
        look(file, &page);
        page.nothing_is_amiss();
    }
}

#[test]
fn the_top_of_every_page_says_what_the_terminal_said_first() {
    let printed = &made().1;
    on_every_page(1280, |file, page| {
        let nth = PAGES.iter().position(|one| *one == file).unwrap();
        let verdict = page.text("document.querySelector('.verdict').innerText");
        assert!(
            // A long verdict goes on in the terminal's second line; the page sets the impulse apart.
            verdict.trim().starts_with(&printed[nth]) || printed[nth].starts_with(verdict.trim()),
            "{file}: {verdict} | {}",
            printed[nth]
        );
        let end = page.number("document.querySelector('.attention').getBoundingClientRect().top");
        assert!(end < 900.0, "{file}: what needs attention is at {end} px");
    });
}

/// Screens of 900 px that the page of a firing, and any other, may have at first, and bytes.
const MOST_SCREENS: [f64; 2] = [4.0, 5.0];
const MOST_BYTES: u64 = 600_000;

#[test]
fn the_page_of_a_firing_is_read_in_four_screens_and_every_page_is_small() {
    on_every_page(1280, |file, page| {
        let high = page.number("document.documentElement.scrollHeight");
        let other = usize::from(!file.ends_with("report.html"));
        assert!(high <= MOST_SCREENS[other] * 900.0, "{file}: {high} px");
        let bytes = std::fs::metadata(made().0.path(file)).unwrap().len();
        assert!(bytes < MOST_BYTES, "{file}: {bytes} bytes");
    });
}

#[test]
fn every_text_stands_out_in_light_and_dark() {
    on_every_page(1280, |file, page| {
        let mut papers = BTreeSet::new();
        for (medium, scheme) in [("screen", "light"), ("screen", "dark"), ("print", "dark")] {
            page.media(medium, scheme);
            // The readout, the enlarged picture and its button as well.
            page.drag(0, 0.2, 0.6);
            page.mouse("mouseMoved", page.place(0, 0.5), 0);
            let found = page.value(TOO_FAINT);
            assert!(found["looked"].as_f64().unwrap() > 60.0, "{file}: {found}");
            assert_eq!(found["out"], json!([]), "{file}, {medium}, {scheme}");
            papers.insert(page.text("getComputedStyle(document.body).backgroundColor"));
        }
        assert_eq!(papers.len(), 3, "{file}: light, dark and paper: {papers:?}");
    });
}

#[test]
fn no_letters_lie_on_others() {
    for width in [1280, 390] {
        on_every_page(width, |file, page| {
            page.value(
                "document.querySelectorAll('details').forEach((one) => { one.open = true; })",
            );
            let found = page.value(
                "[...document.querySelectorAll('.strip')].flatMap((strip) => {
                    const all = [...strip.querySelectorAll('span')].filter((one) => one.getClientRects().length)
                        .map((one) => [one.textContent, one.getBoundingClientRect()]);
                    return all.flatMap(([text, a], nth) => all.slice(nth + 1)
                        .filter(([, b]) => a.left < b.right - 1 && b.left < a.right - 1
                            && a.top < b.bottom - 2 && b.top < a.bottom - 2)
                        .map(([other]) => `${text} | ${other}`));
                })",
            );
            assert_eq!(found, json!([]), "{file} at {width} px");
        });
    }
}

#[test]
fn a_telephone_never_scrolls_sideways() {
    on_every_page(390, |file, page| {
        page.mouse("mouseMoved", page.place(0, 0.5), 0);
        let wide = page.number("document.documentElement.scrollWidth");
        assert!(wide <= 390.0, "{file}: {wide}");
        // Nor does any table within its box.
        let cut = page.value(
            "[...document.querySelectorAll('.scroll')]
                .filter((box) => box.scrollWidth > box.clientWidth)
                .map((box) => `${box.scrollWidth - box.clientWidth} px: ${box.innerText.slice(0, 60)}`)",
        );
        assert_eq!(cut, json!([]), "{file}");
    });
}

/// A text as it can be found on paper: without spaces, and with letters that are printed as one
/// taken apart.
fn bare(text: &str) -> String {
    let mut out = String::new();
    for ch in text.chars().filter(|ch| !ch.is_whitespace()) {
        match ch {
            '\u{fb00}' => out.push_str("ff"),
            '\u{fb01}' => out.push_str("fi"),
            '\u{fb02}' => out.push_str("fl"),
            '\u{fb03}' => out.push_str("ffi"),
            '\u{fb04}' => out.push_str("ffl"),
            other => out.push(other),
        }
    }
    out
}

/// How many of some texts stand on a page one after the other, from a place on.
fn in_order(page: &str, mut from: usize, texts: &[String]) -> usize {
    let mut found = 0;
    for text in texts {
        let Some(at) = page[from..].find(text.as_str()) else {
            return found;
        };
        from += at + text.len();
        found += 1;
    }
    found
}

/// Every picture is printed, its caption, key and axis on one sheet; nothing is too small to be read.
#[test]
fn paper_gets_every_picture_whole() {
    on_every_page(1280, |file, page| {
        let figures = page.value(
            "[...document.querySelectorAll('figure')].map((figure) =>
                [...figure.querySelectorAll('figcaption, .key, .across')].map((one) => one.textContent))",
        );
        let figures: Vec<Vec<String>> = serde_json::from_value(figures).unwrap();
        assert!(!figures.is_empty(), "{file}");
        page.media("print", "light");
        let least = page.number(
            "Math.min(...[...document.querySelectorAll('main *')]
                .filter((one) => [...one.childNodes].some((part) => part.nodeType === 3 && part.data.trim()))
                .map((one) => parseFloat(getComputedStyle(one).fontSize)))",
        );
        assert!(
            least * 0.75 >= 7.0,
            "{file}: letters of {} pt",
            least * 0.75
        );
        for (paper, width_in, height_in) in [("A4", 8.27, 11.69), ("Letter", 8.5, 11.0)] {
            let printed = page.printed(width_in, height_in);
            let numbers: Vec<u32> = printed.get_pages().into_keys().collect();
            let sheets: Vec<String> = numbers
                .iter()
                .map(|number| bare(&printed.extract_text(&[*number]).unwrap()))
                .collect();
            assert!(
                sheets.len() <= 8,
                "{file}, {paper}: {} sheets",
                sheets.len()
            );
            let short = sheets.iter().position(|sheet| sheet.len() <= 100);
            assert!(
                short.is_none(),
                "{file}, {paper}: sheet {short:?} of {sheets:?}"
            );
            let mut seen: BTreeMap<String, usize> = BTreeMap::new();
            for figure in &figures {
                let texts: Vec<String> = figure.iter().map(|text| bare(text)).collect();
                assert!(!texts.concat().is_empty(), "{file}: {figure:?}");
                // Of pictures that read alike each has its own place.
                let nth = seen.entry(texts.concat()).or_default();
                *nth += 1;
                let places = sheets.iter().flat_map(|sheet| {
                    let found = sheet.match_indices(texts[0].as_str());
                    found.map(move |(at, _)| (sheet, at))
                });
                let whole = places
                    .filter(|(sheet, at)| in_order(sheet, *at, &texts) == texts.len())
                    .count();
                assert!(whole >= *nth, "{file}, {paper}: {figure:?} is not whole");
            }
        }
    });
}
