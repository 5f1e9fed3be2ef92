//! `gains.h`: the gains as constants for `controller.h`, in C99 and C++.
//!
//! The structure is filled with the very numbers the controller works with, shares and fades
//! included, so that firmware computes no exponential.

use std::fmt::Write;

use crate::control::pid::{Controller, Derivative, Pid};
use crate::control::{AxisGains, GainsFile, Schedule};
use crate::render::words::shortened;

use super::c_text::{comment, float, identifiers};
use super::{COMMENT_LENGTH, NUMBERS_PER_LINE};

/// The text of `gains.h`.
#[must_use]
pub(crate) fn gains_header(gains: &GainsFile) -> String {
    let version = env!("CARGO_PKG_VERSION");
    let title = comment(&shortened(&gains.firing, COMMENT_LENGTH));
    let plant = comment(&shortened(&gains.plant, COMMENT_LENGTH));
    // What would end a string of C does not stand in one.
    let quoted = title.replace('"', "'");
    let digest = gains.plant_sha256.as_deref().unwrap_or("not known");
    let first = gains.axes.values().next();
    let period = first.and_then(|axis| float(axis.controller.period_s));
    let period = period.unwrap_or_else(|| "0.0f".to_owned());
    let caution = comment(&shortened(&gains.caution, 2 * COMMENT_LENGTH));
    let mut out = format!(
        "/* Gains, written by burnwright {version}. C99 and C++; needs controller.h beside it.\n\
         \x20* Firing: {title}\n\
         \x20* Plant: {plant}\n\
         \x20* Digest of the plant (SHA-256): {digest}\n\
         \x20* Period of the loop: {period} s\n\
         \x20*\n\
         \x20* CAUTION: gains from a model are not a clearance to fly.\n\
         \x20* {caution}\n\
         \x20*/\n\
         #ifndef BURNWRIGHT_GAINS_H\n\
         #define BURNWRIGHT_GAINS_H\n\n\
         #include \"controller.h\"\n\n\
         #define BURNWRIGHT_GAINS_SCHEMA {}\n\
         #define BURNWRIGHT_GAINS_FIRING \"{quoted}\"\n\
         #define BURNWRIGHT_GAINS_PLANT_SHA256 \"{digest}\"\n\
         #define BURNWRIGHT_GAINS_PERIOD_S {period}\n",
        gains.schema
    );
    let names: Vec<&str> = gains.axes.keys().map(String::as_str).collect();
    for (identifier, (name, axis)) in identifiers(&names).iter().zip(&gains.axes) {
        out += &one(identifier, name, axis);
    }
    out += "\n#endif /* BURNWRIGHT_GAINS_H */\n";
    out
}

fn one(identifier: &str, name: &str, axis: &AxisGains) -> String {
    let of = &axis.controller;
    let mut out = format!(
        "\n/* Axis {}, for the {}, thrust {:.1} N to {:.1} N. Command positive as in plant.h. */\n",
        comment(&shortened(name, COMMENT_LENGTH)),
        axis.body.word(),
        axis.thrust_n[0],
        axis.thrust_n[1]
    );
    let lower = identifier.to_lowercase();
    let mut gains = format!(
        "static const struct burnwright_gains BURNWRIGHT_MAY_BE_UNUSED burnwright_{lower} = {{\n"
    );
    for (field, value, note) in fields(of) {
        // Writing to a string cannot fail.
        let _ = writeln!(gains, "    BURNWRIGHT_FIELD({field}) {value}, /* {note} */");
    }
    gains += "};\n";
    out += &gains;
    match &axis.schedule {
        Some(schedule) => out += &table(identifier, schedule),
        None => {
            out += &format!("/* {identifier}: gains do not follow thrust; the factor is 1. */\n");
        }
    }
    out
}

fn fields(of: &Controller) -> Vec<(&'static str, String, &'static str)> {
    let number = |value: f64| float(value).unwrap_or_else(|| "0.0f".to_owned());
    let inside = Pid::<f32>::new(of, 0.0).constants();
    vec![
        ("period_s", number(of.period_s), "s"),
        ("kp", number(of.kp), "deg per deg"),
        ("ki_per_s", number(of.ki_per_s), "1/s"),
        ("kd_s", number(of.kd_s), "s"),
        (
            "by_rate",
            i32::from(of.derivative == Derivative::Rate).to_string(),
            "1: measured rate, 0: difference",
        ),
        ("stays", number(inside.stays), "of the filtered derivative"),
        ("comes", number(inside.comes), "to it"),
        ("weight", number(of.set_point_weight), "of the set point"),
        (
            "limit_deg",
            number(of.limit_deg.min(1e30)),
            "deg, either side",
        ),
        (
            "largest_step_deg",
            inside
                .largest_step
                .map_or_else(|| "(-1.0f)".to_owned(), number),
            "deg in one period; negative for none",
        ),
        (
            "per_tracking",
            number(inside.per_tracking),
            "period over tracking time",
        ),
        ("fade", number(inside.fade), "of the start, for each period"),
    ]
}

fn table(identifier: &str, of: &Schedule) -> String {
    let lower = identifier.to_lowercase();
    let array = |name: &str, values: &[f64]| {
        let texts: Vec<String> = values.iter().filter_map(|value| float(*value)).collect();
        let lines: Vec<String> = texts
            .chunks(NUMBERS_PER_LINE)
            .map(|line| format!("    {}", line.join(", ")))
            .collect();
        format!(
            "static const float BURNWRIGHT_MAY_BE_UNUSED burnwright_{lower}_{name}[BURNWRIGHT_{identifier}_POINTS] = {{\n{}\n}};\n",
            lines.join(",\n")
        )
    };
    format!(
        "/* Factor over seconds since ignition: burnwright_schedule(burnwright_{lower}_schedule_s,\n\
         \x20* burnwright_{lower}_factor, BURNWRIGHT_{identifier}_POINTS, now). 1 at {:.2} N. */\n\
         #define BURNWRIGHT_{identifier}_POINTS {}\n{}{}",
        of.reference_n,
        of.time_s.len(),
        array("schedule_s", &of.time_s),
        array("factor", &of.factor)
    )
}

#[cfg(test)]
mod tests;
