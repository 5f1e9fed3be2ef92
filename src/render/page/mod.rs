//! `report.html`: one page that opens from disk, in the order the numbers were made.
//!
//! No outside resource, and one script of our own (`page.js`) that the page is whole without. Every text from a file is escaped by the template library and
//! cleaned of control characters first. Every number in the text is a field of `result.json` or
//! `plant.json`, rounded by [`super::number`]; pictures are drawn from the traces.

mod burn;
mod calibration;
mod chamber;
mod class;
mod closing;
pub mod comparison;
mod front;
mod impulse;
mod inputs;
mod motors;
mod opening;
mod parts;
mod plant;
pub mod simulation;
pub mod tuning;

use maud::{Markup, html};

use crate::reduce::{FiringResult, Reduction};

use super::words::clean;

/// The text of `report.html`.
#[must_use]
pub fn page(reduction: &Reduction) -> String {
    let result = &reduction.result;
    let main = html! {
        (opening::opening(result))
        (sections(reduction))
        (footer(result))
    };
    parts::sheet(&clean(&result.title), &main)
}

/// A dry run has neither cells nor motors: only what the gimbal shows.
fn is_dry_run(result: &FiringResult) -> bool {
    result.motors.is_none() && result.burn.is_none()
}

fn sections(reduction: &Reduction) -> Markup {
    let result = &reduction.result;
    html! {
        (inputs::inputs(result))
        @if !is_dry_run(result) {
            (calibration::calibration(reduction))
            (burn::burn(reduction))
            (impulse::impulse(reduction))
            (chamber::chamber(reduction))
            (motors::motors(reduction))
            (class::class(result))
        }
        (plant::plant(reduction))
        (closing::findings(result))
        (closing::warnings(result))
        (closing::cautions(result))
    }
}

fn footer(result: &FiringResult) -> Markup {
    html! {
        footer {
            "Written by " (clean(&result.tool.name)) " " (clean(&result.tool.version))
            ". The same numbers, unrounded, are in result.json and plant.json."
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::{audit, fabricated};

    fn all() -> [(&'static str, Reduction); 4] {
        [
            ("full", fabricated::full()),
            ("dry", fabricated::dry_run()),
            ("misfire", fabricated::nothing_lit()),
            ("hostile", fabricated::hostile()),
        ]
    }

    #[test]
    fn every_number_in_the_text_is_in_the_results() {
        for (name, reduction) in all() {
            let strangers = audit::strangers(&audit::visible(&page(&reduction)), &reduction);
            assert_eq!(strangers, [""; 0], "{name}");
        }
    }

    #[test]
    fn nothing_is_fetched_and_only_our_script_runs() {
        for (name, reduction) in all() {
            let text = page(&reduction);
            let text = text
                .replace("http://www.w3.org/2000/svg", "")
                .replace("http-equiv", "");
            let script = include_str!("page.js");
            let live = usize::from(text.contains(" data-curves="));
            assert_eq!(text.matches(script).count(), live, "{name}");
            let text = text.replace(&format!("<script>{script}</script>"), "");
            for word in [
                "<script", "http", "src=", "url(", "@import", "\u{1b}", "\u{202e}",
            ] {
                assert!(!text.contains(word), "{name}: {word}");
            }
        }
        assert!(page(&fabricated::hostile()).contains("&lt;script&gt;alert"));
    }

    #[test]
    fn what_is_missing_is_said() {
        let misfire = page(&fabricated::nothing_lit());
        for words in [
            "No motor lit.",
            "No burn was found in the load",
            "impulse is not available",
            "The class is not available".to_lowercase().as_str(),
            "check the column and the calibration of the cell",
        ] {
            assert!(misfire.contains(words), "{words}");
        }
        let dry = page(&fabricated::dry_run());
        assert!(dry.contains("Dry run: no thrust") && !dry.contains("Total impulse"));
        let text = audit::visible(&page(&fabricated::full()));
        let reason = "not available undecided: The record shows the dry friction";
        assert!(text.contains(reason), "{text}");
    }

    #[test]
    fn links_lead_somewhere() {
        let text = page(&fabricated::full());
        for link in text.split("href=\"#").skip(1) {
            let target = link.split('"').next().unwrap();
            assert!(text.contains(&format!("id=\"{target}\"")), "{target}");
        }
    }

    /// Writes the pages where a person can look at them, when a folder is named.
    #[test]
    fn pages_can_be_looked_at() {
        let Ok(folder) = std::env::var("BURNWRIGHT_LOOK") else {
            return;
        };
        for (name, reduction) in all() {
            std::fs::write(format!("{folder}/{name}.html"), page(&reduction)).unwrap();
            let text = crate::render::text::summary_with_trace(&reduction, 80, false);
            std::fs::write(format!("{folder}/{name}.txt"), text).unwrap();
        }
    }
}
