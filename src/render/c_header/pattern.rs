//! `pattern.h`: a test pattern that a flight computer plays, as C99.

use std::fmt::Write;

use super::c_text::{comment, float, identifiers};
use crate::log::source::sha256;
use crate::plan::pattern::Design;
use crate::render::csv::pattern_csv;
use crate::render::words::shortened;

/// The text of `pattern.h`.
#[must_use]
pub(crate) fn pattern_header(design: &Design) -> String {
    let title = comment(&shortened(&design.title, 200));
    let hash = sha256(pattern_csv(design).as_bytes());
    let mut out = format!(
        "/* Test pattern, written by burnwright. C99, no dependencies.\n\
         \x20* Firing: {title}\n\
         \x20* Each step is in force until the next. Add it to what the controller commands; before the first and\n\
         \x20* after the last step it is zero. A pattern for a captive firing, and for no flight.\n\
         \x20*/\n\
         #ifndef BURNWRIGHT_PATTERN_H\n\
         #define BURNWRIGHT_PATTERN_H\n\n\
         /* SHA-256 of the pattern.csv beside it. */\n\
         #define PATTERN_SHA256 \"{hash}\"\n\n\
         struct pattern_step {{\n    float after_fire_s;\n    float command_deg;\n}};\n"
    );
    let names: Vec<&str> = design.axes.keys().map(String::as_str).collect();
    for (identifier, axis) in identifiers(&names).iter().zip(design.axes.values()) {
        let steps = axis.commands.iter().filter_map(|(at_s, value)| {
            Some(format!("    {{{}, {}}}", float(*at_s)?, float(*value)?))
        });
        let steps: Vec<String> = steps.collect();
        // Writing to a string cannot fail.
        let _ = write!(
            out,
            "\n#define PATTERN_{identifier}_STEPS {}\n\
             static const struct pattern_step PATTERN_{identifier}[PATTERN_{identifier}_STEPS] = {{\n{}\n}};\n",
            steps.len(),
            steps.join(",\n")
        );
    }
    out + "\n/* The command in force so long after the fire command. */\n\
         static inline float pattern_command_deg(const struct pattern_step *steps, int count, float after_fire_s)\n\
         {\n\
         \x20   float command_deg = 0.0f;\n\
         \x20   for (int i = 0; i < count && steps[i].after_fire_s <= after_fire_s; ++i) {\n\
         \x20       command_deg = steps[i].command_deg;\n\
         \x20   }\n\
         \x20   return command_deg;\n\
         }\n\n#endif /* BURNWRIGHT_PATTERN_H */\n"
}
