//! A view as one page that opens from disk.
//!
//! No outside resource, and one script of our own (`page.js`) that the page is whole without. Every
//! text from a file is escaped by the template library and cleaned of control characters first.
//! Pictures are drawn from the traces.

mod front;
mod parts;
mod pictures;
mod rig;
pub(crate) mod sheet;

use maud::{Markup, html};

use crate::compare::Comparison;
use crate::control::GainsFile;
use crate::finding::Outcome;
use crate::flight::SimulationFile;
use crate::plan::Design;
use crate::quantity::Units;
use crate::reduce::Reduction;
use crate::view::findings::Judged;
use crate::view::text::Text;
use crate::view::{Content, Page, Picture, Row, Section, Table};

use super::number::NOTATION;
use super::words::plain;
use parts::{lines, text};
use pictures::Draw;

/// The text of `report.html`.
#[must_use]
pub(crate) fn firing(reduction: &Reduction, units: Units) -> String {
    let page = crate::view::firing::page(&reduction.result);
    write(page, units, &|picture| {
        pictures::of_firing(reduction, picture)
    })
}

/// The text of `gains.html`.
#[must_use]
pub(crate) fn gains(of: &GainsFile, units: Units) -> String {
    let page = crate::view::gains::page(of);
    write(page, units, &|picture| pictures::of_gains(of, picture))
}

/// The text of `simulation.html`.
#[must_use]
pub(crate) fn simulation(of: &SimulationFile, units: Units) -> String {
    let page = crate::view::simulation::page(of);
    write(page, units, &|picture| pictures::of_simulation(of, picture))
}

/// The text of `pattern.html`.
#[must_use]
pub(crate) fn pattern(of: &Design, units: Units) -> String {
    let page = crate::view::pattern::page(of);
    write(page, units, &|picture| pictures::of_pattern(of, picture))
}

/// The text of `compare.html`.
#[must_use]
pub(crate) fn comparison(of: &Comparison, units: Units) -> String {
    let page = crate::view::comparison::page(of);
    write(page, units, &|picture| pictures::of_comparison(of, picture))
}

fn write(page: Page, units: Units, draw: Draw<'_>) -> String {
    let page = &page.shown_in(units);
    let draw: Draw<'_> = &|picture| draw(picture).map(|drawing| drawing.shown_in(units));
    let sections: Vec<&Section> = page.sections.iter().chain(&page.closing).collect();
    // What stands on the first screen is not drawn again.
    let shown = |picture: &Picture| {
        let mut first = page.glance.iter();
        first.any(|one| matches!(one, Content::Picture(other, _) if other == picture))
    };
    let elsewhere = |picture: &Picture| if shown(picture) { None } else { draw(picture) };
    let drawn: Vec<(&Section, Markup)> = sections
        .into_iter()
        .filter_map(|one| Some((one, section(one, &elsewhere)?)))
        .collect();
    let main = html! {
        nav aria-label="contents" {
            a href="#answer" { "Answer" }
            @for (one, _) in drawn.iter().filter(|one| tells(one.0)) {
                a href={ "#" (one.id) } { (text(&one.title)) }
            }
        }
        main {
            (front::front(page, draw))
            @for (_, one) in &drawn { (one) }
            footer {
                @if page.intervals { (NOTATION) " " }
                "Written by burnwright " (env!("CARGO_PKG_VERSION"))
                ". The same numbers, unrounded, are in " (page.files) "."
            }
        }
    };
    sheet::sheet(&plain(&page.title), &main)
}

/// Whether there is more in a section than a note that there is nothing.
fn tells(of: &Section) -> bool {
    !(of.contents.iter()).all(|one| matches!(one, Content::Note(_)))
}

/// A section that folds: how to read it, its pieces, and what stands under a heading of its own folded; `None` where
/// nothing of it is drawn.
fn section(of: &Section, draw: Draw<'_>) -> Option<Markup> {
    let mut open = vec![];
    let mut folds: Vec<(&Text, Vec<Markup>)> = vec![];
    let mut inside = false;
    for one in &of.contents {
        match one {
            Content::Fold(words) => folds.push((words, vec![])),
            Content::Heading(_) | Content::Findings(_) => {}
            _ => {
                let piece = content(&of.id, one, draw);
                let into = match folds.last_mut() {
                    Some((_, pieces)) if inside => pieces,
                    _ => &mut open,
                };
                into.extend((!piece.0.is_empty()).then_some(piece));
                continue;
            }
        }
        inside = matches!(one, Content::Fold(_));
        if !inside {
            open.push(content(&of.id, one, draw));
        }
    }
    folds.retain(|(_, pieces)| !pieces.is_empty());
    (!(open.is_empty() && folds.is_empty())).then(|| {
        html! {
            details.section id=(of.id) open[!of.folded] {
                summary { h2 { (text(&of.title)) } }
                @if tells(of) && !of.how_to_read.is_empty() { p.read { (of.how_to_read) } }
                div.pieces {
                    @for one in open { (one) }
                    @for (heading, pieces) in folds {
                        details.more {
                            summary { (text(heading)) }
                            @for one in pieces { (one) }
                        }
                    }
                }
            }
        }
    })
}

fn content(section: &str, of: &Content, draw: Draw<'_>) -> Markup {
    match of {
        Content::Heading(words) | Content::Fold(words) => html! { h3 { (text(words)) } },
        Content::Rows(all) => rows(all),
        Content::Table(of) => table(of),
        Content::Picture(picture, caption) => {
            html! { @if let Some(drawing) = draw(picture) { (drawing.figure(&plain(caption))) } }
        }
        Content::Note(words) => html! { p { (text(words)) } },
        Content::List(lines) => html! { ul.plain { @for line in lines { li { (text(line)) } } } },
        Content::Findings(all) => findings(section, all),
        Content::Warnings(all) => html! {
            ul.plain { @for one in all { li { (parts::warning(one)) } } }
        },
    }
}

/// What does not hold, and folded what does.
fn findings(section: &str, all: &[Judged]) -> Markup {
    let open = crate::view::findings::open(all);
    let held: Vec<&Judged> = all
        .iter()
        .filter(|one| one.outcome == Outcome::Holds)
        .collect();
    html! {
        div.findings id=(findings_id(section)) {
            @for one in open { (parts::finding(one)) }
            @if !held.is_empty() {
                details.more {
                    summary {
                        (held.len()) @if held.len() == 1 { " finding holds" } @else { " findings hold" }
                    }
                    @for one in held { (parts::finding(one)) }
                }
            }
        }
    }
}

/// Where the findings of a section stand.
fn findings_id(section: &str) -> String {
    format!("{section}-findings")
}

/// A table of labels and values.
fn rows(of: &[Row]) -> Markup {
    html! {
        div.scroll {
            table.rows {
                tbody {
                    @for row in of {
                        tr {
                            th scope="row" { (text(&row.label)) }
                            td {
                                (lines(&row.lines))
                                @for note in &row.notes { div.faint.small { (text(note)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn table(of: &Table) -> Markup {
    html! {
        div.scroll {
            table.columns.many[of.heads.len() > 5] {
                thead { tr { @for head in &of.heads { th { (text(head)) } } } }
                tbody {
                    @for row in &of.rows {
                        tr {
                            @for (cell, head) in row.iter().zip(&of.heads) {
                                td class=(parts::kind(cell)) data-head=(plain(head)) { (lines(cell)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::fabricated;

    fn all() -> [(&'static str, Reduction); 4] {
        [
            ("full", fabricated::full()),
            ("dry", fabricated::dry_run()),
            ("misfire", fabricated::nothing_lit()),
            ("hostile", fabricated::hostile()),
        ]
    }

    /// The text of a page without pictures, style, script and tags.
    fn visible(html: &str) -> String {
        let without = |text: &str, from: &str, to: &str| {
            let mut parts = text.split(from);
            let mut out = parts.next().unwrap_or("").to_owned();
            for part in parts {
                out += part.split_once(to).map_or("", |(_, rest)| rest);
            }
            out
        };
        let text = without(html, "<style>", "</style>");
        let text = without(&text, "<script>", "</script>");
        let text = without(&text, "<svg ", "</svg>");
        let mut out = String::new();
        for part in text.split('<').skip(1) {
            let (_, text) = part.split_once('>').unwrap_or(("", part));
            out.push(' ');
            out += text;
        }
        let words: Vec<&str> = out.split_whitespace().collect();
        words.join(" ")
    }

    #[test]
    fn nothing_is_fetched_and_only_our_script_runs() {
        for (name, reduction) in all() {
            let text = firing(&reduction, Units::Si);
            let text = text
                .replace("http://www.w3.org/2000/svg", "")
                .replace("http-equiv", "");
            let script = include_str!("page.js");
            let live = usize::from(text.contains(" data-x="));
            assert_eq!(text.matches(script).count(), live, "{name}");
            let text = text.replace(&format!("<script>{script}</script>"), "");
            for word in [
                "<script", "http", "src=", "url(", "@import", "\u{1b}", "\u{202e}",
            ] {
                assert!(!text.contains(word), "{name}: {word}");
            }
        }
        assert!(firing(&fabricated::hostile(), Units::Si).contains("&lt;script&gt;alert"));
    }

    #[test]
    fn what_is_missing_is_said() {
        let misfire = firing(&fabricated::nothing_lit(), Units::Si);
        for words in [
            "No motor lit.",
            "No burn was found in the load",
            "impulse is not available",
            "the class is not available",
            "check the column and the calibration of the cell",
        ] {
            assert!(misfire.contains(words), "{words}");
        }
        let dry = firing(&fabricated::dry_run(), Units::Si);
        assert!(dry.contains("Dry run: no thrust") && !dry.contains("otal impulse"));
        let text = visible(&firing(&fabricated::full(), Units::Si));
        let reason = "dry friction not identifiable from this record \
                      undecided : the dry friction of the rig is identifiable from this record";
        assert!(text.contains(reason), "{text}");
    }

    #[test]
    fn numbers_read_as_in_the_terminal() {
        let text = visible(&firing(&fabricated::full(), Units::Si));
        for words in [
            "total impulse 59.09 N s (58.65 to 59.53)",
            "lag 28.4 ms (25.9 to 30.9)",
            "counts for newtons, constant first 8123.4 , 1012.77 , −0.0147",
            "left E E14-4 E14 48 %",
            "every motor lit yes (probability 0.9998 )",
        ] {
            assert!(text.contains(words), "{words}\n{text}");
        }
    }

    #[test]
    fn links_lead_somewhere() {
        for (name, reduction) in all() {
            let text = firing(&reduction, Units::Si);
            for link in text.split("href=\"#").skip(1) {
                let target = link.split('"').next().unwrap();
                let places = text.matches(&format!("id=\"{target}\"")).count();
                assert_eq!(places, 1, "{name}: {target}");
            }
        }
    }
}
