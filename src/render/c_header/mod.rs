//! `plant.h`: the plant as C constants for a flight computer.
//!
//! A value that is not known is left out and named in a comment: code that needs it does not
//! compile, so no firmware can fly a number that nobody measured. Every name carries its unit;
//! constants are single precision. The header includes nothing and allocates nothing.

mod c_text;
pub(crate) mod gains;
pub(crate) mod pattern;

use std::fmt::Write;

use crate::plant::parameter::{ACTUATOR, Parameter, RIG};
use crate::plant::{AxisPlant, DeadBandKind, Flight, PlantFile, SampledThrust};
use crate::quantity::Measured;
use crate::render::decimate::corners;
use crate::render::words::shortened;
use crate::series::Series;

use c_text::{comment, float, identifiers};

/// Most points of the thrust table: 1.6 kB of flash.
const THRUST_POINTS: usize = 200;

/// Longest comment made from a text of the user, in characters.
const COMMENT_LENGTH: usize = 200;

/// The text of `plant.h`.
#[must_use]
pub fn plant_header(plant: &PlantFile) -> String {
    let mut out = String::new();
    out += &head(plant);
    let names: Vec<&str> = plant.axes.keys().map(String::as_str).collect();
    for (identifier, (name, axis)) in identifiers(&names).iter().zip(&plant.axes) {
        out += &axis_constants(identifier, name, axis);
    }
    if let Some(thrust) = &plant.thrust {
        out += &thrust_table(thrust);
    }
    out += "\n#endif /* BURNWRIGHT_PLANT_H */\n";
    out
}

fn head(plant: &PlantFile) -> String {
    let title = comment(&shortened(&plant.firing, COMMENT_LENGTH));
    let caution = comment(&shortened(&plant.caution, 2 * COMMENT_LENGTH));
    format!(
        "/* Plant model, written by burnwright {}. C99 and C++, no dependencies.\n\
         \x20* Firing: {title}\n\
         \x20*\n\
         \x20* CAUTION: this is a model from one rig and not a clearance to fly.\n\
         \x20* {caution}\n\
         \x20*\n\
         \x20* With command u in degrees, nozzle angle d in radians, thrust T in newtons and\n\
         \x20* tilt a in radians:\n\
         \x20*   v       = u held between updates, DELAY_S late\n\
         \x20*   w       = v through the dead band of total width DEAD_BAND_WIDTH_DEG\n\
         \x20*   d_dem   = GAIN * (pi / 180) * (w + BIAS_DEG), limited to TRAVEL_DEG\n\
         \x20*   LAG_S * d' + d = d_dem, with |d'| at most SLEW_DEG_S; of second order, where\n\
         \x20*             DAMPING_RATIO is given: (LAG_S / (2 DAMPING_RATIO))^2 * d'' on the left\n\
         \x20*   a''     = RIG_EFFECTIVENESS * T * sin(d) + RIG_THRUST_BIAS * T\n\
         \x20*             - RIG_DAMPING * a' + RIG_STIFFNESS * a - RIG_COULOMB * sign(a')\n\
         \x20* A name that ends in _U is the standard uncertainty of the name before it.\n\
         \x20* A constant that is not known is left out, so that code that needs it does not\n\
         \x20* compile.\n\
         \x20*/\n\
         #ifndef BURNWRIGHT_PLANT_H\n\
         #define BURNWRIGHT_PLANT_H\n\n\
         #define PLANT_SCHEMA {}\n\n\
         /* Kinds of dead band. */\n\
         enum plant_dead_band {{\n\
         \x20   PLANT_DEAD_BAND_NONE = 0,\n\
         \x20   PLANT_DEAD_BAND_DEAD_ZONE = 1,\n\
         \x20   PLANT_DEAD_BAND_PLAY = 2\n\
         }};\n",
        env!("CARGO_PKG_VERSION"),
        plant.schema
    )
}

/// Constants of one axis under a common beginning.
struct Constants<'a> {
    axis: &'a str,
    text: String,
}

impl Constants<'_> {
    fn measured(&mut self, name: &str, value: Option<&Measured>) {
        let number = value.and_then(|measured| float(measured.value));
        self.define(name, number.as_deref());
        let u = value
            .filter(|_| number.is_some())
            .and_then(|measured| float(measured.u));
        if let Some(u) = u {
            self.define(&format!("{name}_U"), Some(&u));
        }
    }

    fn define(&mut self, name: &str, value: Option<&str>) {
        let axis = self.axis;
        // Writing to a string cannot fail.
        let _ = match value {
            Some(value) => writeln!(self.text, "#define PLANT_{axis}_{name} {value}"),
            None => writeln!(
                self.text,
                "/* PLANT_{axis}_{name} is not known and left out. */"
            ),
        };
    }

    fn note(&mut self, text: &str) {
        let text = comment(&shortened(text, COMMENT_LENGTH));
        let _ = writeln!(self.text, "/* {text} */");
    }
}

fn axis_constants(identifier: &str, name: &str, axis: &AxisPlant) -> String {
    let mut out = Constants {
        axis: identifier,
        text: String::from("\n"),
    };
    out.note(&format!("Axis {name}"));
    for assumed in &axis.fit.assumed {
        out.note(&format!("Assumed, not measured: {assumed}"));
    }
    actuator(&mut out, axis);
    match &axis.rig {
        Some(_) => rig(&mut out, axis),
        None => out.note("Tilt in the rig is not known (no thrust, or no tilt seen)."),
    }
    match &axis.flight {
        Some(values) => flight(&mut out, values),
        None => out.note("The free rocket is not known."),
    }
    out.text
}

fn actuator(out: &mut Constants<'_>, axis: &AxisPlant) {
    for parameter in ACTUATOR {
        if parameter == Parameter::DeadBandWidth {
            out.define("DEAD_BAND_KIND", dead_band_kind(axis));
        }
        out.measured(&constant(parameter), axis.value(parameter));
    }
    out.measured("LAG_PLUS_DELAY_S", axis.actuator.lag_plus_delay_s.as_ref());
    let travel = axis.actuator.travel_deg.and_then(float);
    out.define("TRAVEL_DEG", travel.as_deref());
}

/// Name of a parameter's constant.
fn constant(parameter: Parameter) -> String {
    parameter.key().replace('.', "_").to_uppercase()
}

fn dead_band_kind(axis: &AxisPlant) -> Option<&'static str> {
    axis.actuator.dead_band.kind.map(|kind| match kind {
        DeadBandKind::None => "PLANT_DEAD_BAND_NONE",
        DeadBandKind::DeadZone => "PLANT_DEAD_BAND_DEAD_ZONE",
        DeadBandKind::Play => "PLANT_DEAD_BAND_PLAY",
    })
}

fn rig(out: &mut Constants<'_>, axis: &AxisPlant) {
    for parameter in RIG {
        out.measured(
            &format!("RIG_{}", constant(parameter)),
            axis.value(parameter),
        );
    }
}

fn flight(out: &mut Constants<'_>, of: &Flight) {
    out.measured(
        "FLIGHT_EFFECTIVENESS_PER_KG_M",
        of.effectiveness_per_kg_m.as_ref(),
    );
    out.measured(
        "FLIGHT_EFFECTIVENESS_SPENT_PER_KG_M",
        of.effectiveness_spent_per_kg_m.as_ref(),
    );
    out.measured("FLIGHT_INERTIA_KG_M2", of.inertia_kg_m2.as_ref());
    out.measured("FLIGHT_ARM_M", of.arm_m.as_ref());
}

fn thrust_table(thrust: &SampledThrust) -> String {
    let points = corners(
        &Series::new(&thrust.time_s, &thrust.thrust_n),
        THRUST_POINTS,
    );
    let rows: Vec<(String, String)> = points
        .iter()
        .filter_map(|(time_s, thrust_n)| Some((float(*time_s)?, float(*thrust_n)?)))
        .collect();
    if rows.is_empty() {
        return String::new();
    }
    let times: Vec<&str> = rows.iter().map(|(time, _)| time.as_str()).collect();
    let forces: Vec<&str> = rows.iter().map(|(_, force)| force.as_str()).collect();
    format!(
        "\n/* Thrust of the firing, straight lines between the points; seconds since ignition. */\n\
         #define PLANT_THRUST_POINTS {}\n\
         #if defined(__GNUC__)\n\
         #define PLANT_MAY_BE_UNUSED __attribute__((unused))\n\
         #else\n\
         #define PLANT_MAY_BE_UNUSED\n\
         #endif\n\
         {}{}",
        rows.len(),
        array("plant_thrust_time_s", &times),
        array("plant_thrust_n", &forces)
    )
}

/// Numbers on one line of an array.
const NUMBERS_PER_LINE: usize = 6;

fn array(name: &str, values: &[&str]) -> String {
    let lines: Vec<String> = values
        .chunks(NUMBERS_PER_LINE)
        .map(|line| format!("    {}", line.join(", ")))
        .collect();
    format!(
        "static const float PLANT_MAY_BE_UNUSED {name}[PLANT_THRUST_POINTS] = {{\n{}\n}};\n",
        lines.join(",\n")
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::fabricated;

    /// Runs the C compiler on a text; `None` when there is no compiler.
    fn compiles(text: &str, user: &str) -> Option<bool> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("plant.h"), text).unwrap();
        std::fs::write(folder.path().join("user.c"), user).unwrap();
        let compiler = |arguments: &[&str]| {
            std::process::Command::new("cc")
                .args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic"])
                .args(arguments)
                .current_dir(folder.path())
                .output()
                .ok()
        };
        let alone = compiler(&["-x", "c", "-c", "plant.h", "-o", "alone.o"])?;
        let used = compiler(&["-c", "user.c", "-o", "user.o"])?;
        for output in [&alone, &used] {
            println!("{}", String::from_utf8_lossy(&output.stderr));
        }
        let mut plus = std::process::Command::new("c++");
        plus.args([
            "-std=c++11",
            "-Wall",
            "-Wextra",
            "-Werror",
            "-pedantic",
            "-fsyntax-only",
        ]);
        let plus = plus
            .args(["-x", "c++", "user.c"])
            .current_dir(folder.path())
            .output();
        let plus = plus.map_or(true, |output| output.status.success());
        Some(alone.status.success() && used.status.success() && plus)
    }

    const USES_NOTHING: &str = "#include \"plant.h\"\n#include \"plant.h\"\nint unused(void);\n\
                                int unused(void) { return 0; }\n";

    #[test]
    fn the_header_compiles_alone_and_where_nothing_of_it_is_used() {
        for plant in [
            fabricated::full().plant.unwrap(),
            fabricated::dry_run().plant.unwrap(),
        ] {
            let text = plant_header(&plant);
            assert_ne!(compiles(&text, USES_NOTHING), Some(false));
        }
    }

    #[test]
    fn hostile_names_and_titles_stay_inside_their_comments() {
        let mut plant = fabricated::full().plant.unwrap();
        let axis = plant.axes["pitch"].clone();
        for name in ["pitch ", "pitch-", "", "*/ #error x /*", "9ä\\\n"] {
            plant.axes.insert(name.to_owned(), axis.clone());
        }
        plant.axes.insert("x".repeat(300), axis);
        let title = "*/ int x = ; /* ??/\n\\\n\u{202e}ünder \u{1f525} \u{7}";
        plant.firing = title.to_owned();
        let text = plant_header(&plant);
        assert_ne!(compiles(&text, USES_NOTHING), Some(false));
        let gains: Vec<&str> = text
            .lines()
            .filter_map(|line| line.strip_prefix("#define PLANT_"))
            .filter_map(|line| line.split_once("_GAIN ").map(|(axis, _)| axis))
            .collect();
        let mut distinct = gains.clone();
        distinct.sort_unstable();
        distinct.dedup();
        assert_eq!((gains.len(), distinct.len()), (7 + 1, 7 + 1));
    }

    #[test]
    fn code_that_needs_an_unknown_value_does_not_compile() {
        let mut plant = fabricated::full().plant.unwrap();
        let uses = "#include \"plant.h\"\nfloat lag(void);\n\
                    float lag(void) { return PLANT_PITCH_LAG_S + plant_thrust_n[0]; }\n";
        assert_ne!(compiles(&plant_header(&plant), uses), Some(false));
        plant.axes["pitch"].actuator.lag_s = None;
        assert_ne!(compiles(&plant_header(&plant), uses), Some(true));
    }

    #[test]
    fn the_thrust_table_has_at_most_200_points_and_keeps_the_peak() {
        let plant = fabricated::full().plant.unwrap();
        let text = plant_header(&plant);
        assert!(text.contains("#define PLANT_THRUST_POINTS 200\n"), "{text}");
        let peak = plant.thrust.unwrap().thrust_n;
        let peak = peak.into_iter().fold(0.0, f64::max);
        assert!(text.contains(&float(peak).unwrap()), "peak {peak}");
    }
}
