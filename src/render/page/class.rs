//! Class and label.

use maud::{Markup, html};

use crate::motors::class::MotorClass;
use crate::reduce::FiringResult;
use crate::render::class_words;
use crate::render::number::{NOT_AVAILABLE, significant};
use crate::render::plot::budget::places_in_class;
use crate::render::words::clean;

use super::parts::{bars, findings, missing, section, signed};

pub(super) fn class(result: &FiringResult) -> Markup {
    let content = match &result.class {
        Some(class) => html! {
            p { "All motors together: " strong.num { (word(class.letter.as_deref())) } "." }
            (bars("Where each motor lies in its class", places_in_class(class).as_ref()))
            @if class.letters.len() > 1 { p { "By its uncertainty: " (class_words::letters(&class.letters)) "." } }
            @if !class.per_motor.is_empty() { (table(&class.per_motor)) }
            @if let Some(compared) = &class.comparison {
                h3 { "Against the certified curves" }
                ul { @for line in class_words::compared(compared) { li { (line) } } }
            }
            @if let Some(recognised) = &class.recognised {
                h3 { "Which motors explain the record" }
                ul { @for one in &recognised.explanations { li { (class_words::explained(one)) } } }
                p { "Weighed: " (recognised.designs.iter().map(|name| clean(name)).collect::<Vec<_>>().join(", ")) "." }
            }
            (findings(&class.findings))
        },
        None => missing("No impulse was measured: the class is not available."),
    };
    section(
        "class",
        "Class and label",
        "A class holds every impulse from its floor to its top, which is twice the floor. A motor \
         close to an end can change class within its uncertainty.",
        &content,
    )
}

fn word(text: Option<&str>) -> String {
    text.map_or_else(|| NOT_AVAILABLE.to_owned(), clean)
}

fn table(motors: &[MotorClass]) -> Markup {
    html! {
        div.scroll {
            table.columns {
                thead { tr { th { "motor" } th { "class" } th { "label" } th { "measured" } th { "place in its class" } } }
                tbody {
                    @for motor in motors {
                        tr {
                            td { (clean(&motor.motor)) }
                            td { (word(motor.letter.as_deref())) }
                            td { (word(motor.designation.as_deref())) }
                            td { (word(motor.measured_designation.as_deref())) }
                            td {
                                (motor.percent_of_class.map_or_else(
                                    || NOT_AVAILABLE.to_owned(),
                                    |percent| format!("{} %", signed(&significant(percent, 2))),
                                ))
                            }
                        }
                    }
                }
            }
        }
    }
}
