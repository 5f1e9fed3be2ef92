//! A test pattern as data: what is shown of it, and the firing file that names it.

use indexmap::IndexMap;
use serde::Serialize;

use super::expected::Premise;
use super::families::Family;
use crate::quantity::Unit;
use crate::reduce::Tool;

/// Schema number of `pattern.json`.
pub(super) const SCHEMA: u32 = 1;

/// A test pattern.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Design {
    /// Schema number.
    #[cfg_attr(test, schemars(extend("const" = 1)))]
    pub schema: u32,
    /// The program that made it.
    pub tool: Tool,
    /// Title of the firing.
    pub title: String,
    /// One row of the flight computer, s.
    pub row_s: f64,
    /// What it rests on.
    pub premises: Vec<Premise>,
    /// Each axis.
    pub axes: IndexMap<String, DesignedAxis>,
    /// The firing file, naming the pattern.
    #[serde(skip)]
    pub firing_file: String,
}

/// The pattern of one axis.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct DesignedAxis {
    /// When each command begins, s after the fire command, and the command, deg.
    pub commands: Vec<(f64, f64)>,
    /// The best of each family, the best first: the first is the one taken.
    pub candidates: Vec<Candidate>,
    /// Share of sampled flights that stay within the tilt limit.
    pub within_tilt_limit: f64,
    /// The tilt limit, deg.
    pub tilt_limit_deg: f64,
    /// Command, nozzle and tilt through the burn.
    pub picture: Course,
}

/// A pattern that was weighed.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Candidate {
    /// What it descends from.
    pub family: Family,
    /// When each command begins, s after the fire command, and the command, deg.
    pub commands: Vec<(f64, f64)>,
    /// Largest command, deg.
    pub amplitude_deg: f64,
    /// Mean log determinant of the covariance; less is better.
    pub log_determinant: f64,
    /// Half width of each number, the geometric mean over the draws.
    pub half_widths: Vec<PatternWidth>,
}

/// How wide an interval will be.
#[derive(Debug, Clone, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct PatternWidth {
    /// Of what.
    pub name: String,
    /// Its unit.
    pub unit: Unit,
    /// Half of the 95 % interval's width.
    pub half_width: f64,
}

/// What happens under a pattern: the expected plant, and where nine in ten sampled tilts lie.
#[derive(Debug, Clone, Default, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Course {
    /// Time after the fire command, s.
    pub time_s: Vec<f64>,
    /// Command, deg.
    pub command_deg: Vec<f64>,
    /// Nozzle angle, deg.
    pub nozzle_deg: Vec<f64>,
    /// Tilt: 5 % percentile, median, 95 % percentile, deg.
    pub tilt_deg: [Vec<f64>; 3],
}

/// A firing file whose plan names the pattern.
pub(super) fn naming_the_pattern(text: &str) -> String {
    let line = "pattern = \"pattern.csv\"           # as designed; in the folder of this file";
    let head = "# Copy this and pattern.csv to the folder of the firing file it was made from: its paths start there.\n";
    let mut out = if text.starts_with(head) {
        String::new()
    } else {
        head.to_owned()
    };
    let (mut inside, mut named) = (false, false);
    for old in text.lines() {
        let heading = old.trim_start().starts_with('[');
        inside = if heading {
            old.split('#')
                .next()
                .is_some_and(|words| words.trim() == "[plan]")
        } else {
            inside
        };
        if inside && old.trim_start().starts_with("pattern") {
            continue;
        }
        out += old;
        out.push('\n');
        if inside && heading {
            out += line;
            out.push('\n');
            named = true;
        }
    }
    if !named {
        out += &format!(
            "\n[plan]                                  # what is expected, for plan and ready\n{line}\n"
        );
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_firing_file_names_the_pattern_once() {
        let plain = naming_the_pattern("title = \"x\"\n");
        assert!(plain.contains("[plan]") && plain.contains("pattern = \"pattern.csv\""));
        assert_eq!(naming_the_pattern(&plain), plain);
    }
}
