//! The sheet that every page is written on: its look, its script, and what it may do.

use base64::Engine;
use base64::prelude::BASE64_STANDARD as BASE64;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use sha2::{Digest, Sha256};

/// The look of every page: colours by name, light and dark.
pub(crate) const STYLE: &str = include_str!("style.css");

/// Read-out, zoom and replay; the page is whole without it.
const SCRIPT: &str = include_str!("page.js");

/// What marks a picture that the script has work with.
const LIVE: &str = " data-x=\"";

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
                (main)
                @if main.0.contains(LIVE) { script { (PreEscaped(SCRIPT)) } }
            }
        }
    }
    .into_string()
}
