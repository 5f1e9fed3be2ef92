//! `gains.h`: the gains as C99 constants for `controller.h`.
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
    let plant = comment(&shortened(&gains.plant, COMMENT_LENGTH));
    let caution = comment(&shortened(&gains.caution, 2 * COMMENT_LENGTH));
    let mut out = format!(
        "/* Gains, written by burnwright. C99; needs controller.h beside it.\n\
         \x20* Plant: {plant}\n\
         \x20*\n\
         \x20* CAUTION: gains from a model are not a clearance to fly.\n\
         \x20* {caution}\n\
         \x20*/\n\
         #ifndef BURNWRIGHT_GAINS_H\n\
         #define BURNWRIGHT_GAINS_H\n\n\
         #include \"controller.h\"\n\n\
         #define GAINS_SCHEMA {}\n",
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
    let mut gains =
        format!("static const struct pid_gains PID_MAY_BE_UNUSED {identifier}_PID = {{\n");
    for (value, note) in fields(of) {
        // Writing to a string cannot fail.
        let _ = writeln!(gains, "    {value}, /* {note} */");
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

fn fields(of: &Controller) -> Vec<(String, &'static str)> {
    let number = |value: f64| float(value).unwrap_or_else(|| "0.0f".to_owned());
    let inside = Pid::<f32>::new(of, 0.0).constants();
    vec![
        (number(of.period_s), "period, s"),
        (number(of.kp), "deg per deg"),
        (number(of.ki_per_s), "1/s"),
        (number(of.kd_s), "s"),
        (
            i32::from(of.derivative == Derivative::Rate).to_string(),
            "1: measured rate, 0: difference",
        ),
        (number(inside.stays), "stays"),
        (number(inside.comes), "comes"),
        (number(of.set_point_weight), "set-point weight"),
        (number(of.limit_deg.min(1e30)), "limit, deg"),
        (
            inside
                .largest_step
                .map_or_else(|| "(-1.0f)".to_owned(), number),
            "largest step, deg; negative for none",
        ),
        (number(inside.per_tracking), "period over tracking time"),
        (number(inside.fade), "fade of the start"),
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
            "static const float PID_MAY_BE_UNUSED {lower}_{name}[{identifier}_POINTS] = {{\n{}\n}};\n",
            lines.join(",\n")
        )
    };
    format!(
        "/* Factor over seconds since ignition: pid_schedule({lower}_schedule_s, {lower}_factor,\n\
         \x20* {identifier}_POINTS, now). 1 at {:.2} N. */\n\
         #define {identifier}_POINTS {}\n{}{}",
        of.reference_n,
        of.time_s.len(),
        array("schedule_s", &of.time_s),
        array("factor", &of.factor)
    )
}

#[cfg(test)]
mod tests;
