//! Bars that lie: a name above each, its value at the end.

use maud::{Markup, html};

use crate::render::words::clean;

use super::palette::Colour;

/// One bar.
#[derive(Debug, Clone)]
pub(crate) struct Bar {
    /// What it is.
    pub name: String,
    /// Its length, 0 to 1.
    pub share: f64,
    /// What stands at its end.
    pub value: String,
    /// Its colour.
    pub colour: Colour,
}

/// The picture, from top to bottom.
#[must_use]
pub(crate) fn markup(bars: &[Bar]) -> Markup {
    html! {
        ul.bars {
            @for bar in bars {
                @let wide = format!("width:{:.1}%;background:var(--{})", 100.0 * bar.share.clamp(0.0, 1.0), bar.colour.name());
                li { span { (clean(&bar.name)) } i { b style=(wide) {} } span.num { (bar.value) } }
            }
        }
    }
}
