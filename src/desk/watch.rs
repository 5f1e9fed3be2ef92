//! The page that watches the stand: one state, large enough to be read at arm's length in the sun.

use maud::html;

use super::page::framed;
use crate::render::words::clean;

/// The page around what comes by events; `title` of the firing, `log` that is watched.
#[must_use]
pub fn watch_page(title: &str, log: &str) -> String {
    let main = html! {
        header.top {
            h1 { (clean(title)) }
            p.faint.small { "Reads " span.num { (clean(log)) } " as it grows. This page only reads: it gives no command to the stand, and nothing on it is a permission." }
        }
        p #phase.phase aria-live="polite" { "–" }
        dl.large {
            div { dt { "thrust" } dd { b #thrust { "–" } " N" } }
            div { dt { "peak" } dd { b #peak { "–" } " N" } }
            div #tilts {}
            div { dt { "time" } dd { b #time { "–" } " s" } }
        }
        canvas #curve role="img" aria-label="thrust over the last seconds" {}
        p #link.small.faint {}
        div #verdict aria-live="assertive" {}
        div #report {}
        details.more #rest { summary { "The stand at rest" } ul.plain #ready {} }
        dialog #danger closedby="none" aria-labelledby="danger-says" {
            p #danger-says {}
            p #danger-caution {}
            button #seen type="button" { "I have read this" }
        }
    };
    framed("Watch", "/watch.js", &main)
}
