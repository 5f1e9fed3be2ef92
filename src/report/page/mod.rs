//! `report.html`: one page that opens from disk, in the order the numbers were made.
//!
//! No outside resource and no script. Every text from a file is escaped by the template library and
//! cleaned of control characters first. Every number in the text is a field of `result.json` or
//! `plant.json`, rounded by [`super::number`]; pictures are drawn from the traces.

mod burn;
mod calibration;
mod class;
mod closing;
mod impulse;
mod inputs;
mod motors;
mod opening;
mod parts;
mod plant;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::reduction::{FiringResult, Reduction};

use super::words::clean;

/// The page's look: colours by name, light and dark.
pub(super) const STYLE: &str = include_str!("style.css");

/// The text of `report.html`.
#[must_use]
pub fn page(reduction: &Reduction) -> String {
    let result = &reduction.result;
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (clean(&result.title)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    (opening::opening(result))
                    (sections(reduction))
                    (footer(result))
                }
            }
        }
    }
    .into_string()
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
    use crate::report::fabricated;

    /// Writes the pages where a person can look at them, when a folder is named.
    #[test]
    fn pages_can_be_looked_at() {
        let Ok(folder) = std::env::var("BURNWRIGHT_LOOK") else {
            return;
        };
        for (name, reduction) in [
            ("full", fabricated::full()),
            ("dry", fabricated::dry_run()),
            ("misfire", fabricated::nothing_lit()),
            ("hostile", fabricated::hostile()),
        ] {
            std::fs::write(format!("{folder}/{name}.html"), page(&reduction)).unwrap();
        }
    }
}
