//! Parts that sections share: headings, pictures, tables, findings.

use base64::Engine;
use base64::prelude::BASE64_STANDARD as BASE64;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use sha2::{Digest, Sha256};

use crate::finding::{Finding, Outcome};
use crate::quantity::Measured;
use crate::render::number;
use crate::render::plot::{Bars, Chart, Size};
use crate::render::verdict::numbers_of;
use crate::render::words::clean;

/// The look of every page: colours by name, light and dark.
const STYLE: &str = include_str!("style.css");

/// Readout and zoom; the page is whole without it.
const SCRIPT: &str = include_str!("page.js");

/// What marks a picture that the script has work with.
const LIVE: &str = " data-curves=\"";

/// What a page may do: its own look and its own script, told by its hash. Nothing is fetched, and
/// no script that a file smuggles in would run.
fn policy() -> String {
    let hash = BASE64.encode(Sha256::digest(SCRIPT));
    format!(
        "default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{hash}'; \
         base-uri 'none'; form-action 'none'"
    )
}

/// A page that stands alone: its head, its look, its content, its script.
pub(super) fn sheet(title: &str, main: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy());
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main { (main) }
                @if main.0.contains(LIVE) { script { (PreEscaped(SCRIPT)) } }
            }
        }
    }
    .into_string()
}

/// Text with true minus signs before numbers; hyphens within words and options stay.
pub(super) fn signed(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 4);
    let mut rest = text.chars().peekable();
    let mut before = ' ';
    while let Some(ch) = rest.next() {
        let number = rest.peek().is_some_and(char::is_ascii_digit) && !before.is_alphanumeric();
        // Exponents carry a minus behind a letter.
        let exponent = before == 'e' && rest.peek().is_some_and(char::is_ascii_digit);
        out.push(if ch == '-' && (number || exponent) {
            '−'
        } else {
            ch
        });
        before = ch;
    }
    out
}

/// A result in the page's notation; the interval may move to the next line but is not torn.
pub(super) fn quantity(result: Option<&Measured>) -> Markup {
    let text = signed(&number::quantity(result));
    html! {
        @match text.split_once(" (") {
            Some((value, interval)) => {
                span.num.keep { (value) } " " span.num.keep { "(" (interval) }
            }
            None => span.num { (text) }
        }
    }
}

/// A section: its heading and how to read it at the side, its content beside that.
pub(super) fn section(id: &str, heading: &str, how_to_read: &str, content: &Markup) -> Markup {
    html! {
        section id=(id) {
            header {
                h2 { (clean(heading)) }
                p.read { (how_to_read) }
            }
            div { (content) }
        }
    }
}

/// A picture in both sizes; only one of them is shown. Pictures over time carry their curves for
/// the script.
fn figure(caption: &str, curves: Option<&str>, draw: impl Fn(Size) -> String) -> Markup {
    html! {
        figure {
            figcaption { (clean(caption)) }
            div.picture data-curves=[curves] {
                div.wide { (PreEscaped(draw(Size::WIDE))) }
                div.narrow { (PreEscaped(draw(Size::NARROW))) }
            }
        }
    }
}

/// A picture with axes, or nothing.
pub(super) fn chart(caption: &str, chart: Option<&Chart>) -> Markup {
    html! {
        @if let Some(chart) = chart {
            (figure(caption, chart.live().as_deref(), |size| chart.svg(size)))
        }
    }
}

/// A picture of bars, or nothing.
pub(super) fn bars(caption: &str, bars: Option<&Bars>) -> Markup {
    html! {
        @if let Some(bars) = bars { (figure(caption, None, |size| bars.svg(size))) }
    }
}

/// A table of labels and contents.
pub(super) fn rows(rows: &[(String, Markup)]) -> Markup {
    html! {
        @if !rows.is_empty() {
            div.scroll {
                table.rows {
                    tbody {
                        @for (label, content) in rows {
                            tr { th scope="row" { (clean(label)) } td { (content) } }
                        }
                    }
                }
            }
        }
    }
}

/// Rows of results for a table.
pub(super) fn quantities(of: &[(&str, Option<&Measured>)]) -> Vec<(String, Markup)> {
    of.iter()
        .map(|(label, result)| ((*label).to_owned(), quantity(*result)))
        .collect()
}

/// The word of an outcome in its colour.
pub(super) fn outcome(outcome: Outcome) -> Markup {
    html! { span class={ "word " (outcome.word()) } { (outcome.word()) } }
}

/// Findings, each with its numbers, rule and source.
pub(super) fn findings(of: &[Finding]) -> Markup {
    html! { @for finding in of { (one_finding(finding)) } }
}

fn one_finding(finding: &Finding) -> Markup {
    html! {
        div class={ "finding " (finding.outcome.word()) } {
            p {
                (outcome(finding.outcome)) " " (clean(&finding.claim))
                @if let Some(p) = finding.probability {
                    " " span.faint.num { "(probability " (number::probability(p)) ")" }
                }
            }
            @if let Some(numbers) = numbers_of(finding) { p.num.small { (signed(&numbers)) } }
            p.faint.small {
                "Rule: " (clean(&finding.rule)) ". Source: " (clean(&finding.source)) "."
            }
            @if let Some(advice) = &finding.advice { p.small { "Note: " (clean(advice)) "." } }
        }
    }
}

/// A sentence that says something is missing.
pub(super) fn missing(text: &str) -> Markup {
    html! { p { (text) } }
}

#[cfg(test)]
mod tests {
    use super::signed;

    #[test]
    fn minus_signs_are_true_and_options_stay_as_typed() {
        assert_eq!(signed("-1.5 (-2.0 to -1.0)"), "−1.5 (−2.0 to −1.0)");
        assert_eq!(signed("--seed 1 --run 506"), "--seed 1 --run 506");
        assert_eq!(signed("3.0e-5 N"), "3.0e−5 N");
        assert_eq!(signed("dead-zone"), "dead-zone");
    }
}
