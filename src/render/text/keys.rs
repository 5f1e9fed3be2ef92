//! The reference of all keys of a file, made from the tables that it is read by: what it means, its kind, units, range, default.

use crate::config::keys::{Key, Kind, Measure, Need, SIGNAL};
use crate::quantity::range::Range;
use crate::{config, flight, plan};

use super::layout::{Ink, hanging, headed, table};
use super::{NARROWEST, Screen};

/// A kind of file that a maker writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum UserFile {
    /// What was fired, on what rig, with which recorders.
    Firing,
    /// A certified motor.
    Motor,
    /// What a simulation flies.
    Vehicle,
    /// A firing to be made up.
    Rehearsal,
}

impl UserFile {
    /// All there are.
    pub const ALL: [Self; 4] = [Self::Firing, Self::Motor, Self::Vehicle, Self::Rehearsal];

    /// What it is called on the command line.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Firing => "firing-file",
            Self::Motor => "motor-file",
            Self::Vehicle => "vehicle-file",
            Self::Rehearsal => "rehearsal-file",
        }
    }

    const fn keys(self) -> &'static [Key] {
        match self {
            Self::Firing => config::KEYS,
            Self::Motor => config::certified::KEYS,
            Self::Vehicle => flight::vehicle_file::KEYS,
            Self::Rehearsal => plan::rehearsal::KEYS,
        }
    }

    const fn about(self) -> &'static str {
        match self {
            Self::Firing => {
                "A firing file says what was fired, on what rig, and which column of which log is what."
            }
            Self::Motor => "A certified-motor file holds what the certification says of a motor.",
            Self::Vehicle => {
                "A vehicle file says what `simulate` flies: rocket, release, wind, sensors, motors."
            }
            Self::Rehearsal => {
                "A rehearsal file says how a made-up firing really is, and what its logs show of it."
            }
        }
    }
}

/// How values are written, in every such file.
const NOTATION: &str = "It is TOML. A quantity is text with its unit, \"310 mm\"; with limits, \"310 mm ± 1 mm\" (+- will \
do); or with a standard uncertainty, \"310 mm u 0.4 mm\". A path starts from the folder of the file. NAME stands for any \
name; a key marked * must be there.";

/// Every key of a file, table by table.
#[must_use]
pub fn key_reference(of: UserFile, screen: Screen) -> String {
    let width = screen.width.max(NARROWEST);
    let mut walk = Walk {
        width,
        ink: Ink {
            colour: screen.colour,
        },
        told: Vec::new(),
        out: hanging("", of.about(), width) + &hanging("", NOTATION, width),
    };
    walk.table("", "", of.keys());
    if walk.out.contains(COLUMN) {
        walk.table(
            "",
            "A column of a log is a table of its own, { log = \"..\", column = \"..\" }",
            SIGNAL,
        );
    }
    walk.out
}

/// What a key for a column of a log is.
const COLUMN: &str = "a column of a log";

/// A table of keys and where it stands.
struct Walk {
    width: usize,
    ink: Ink,
    /// Tables that were told already: several keys share one.
    told: Vec<*const Key>,
    out: String,
}

impl Walk {
    fn table(&mut self, path: &str, meaning: &str, keys: &'static [Key]) {
        if self.told.contains(&keys.as_ptr()) {
            return;
        }
        self.told.push(keys.as_ptr());
        let rows: Vec<(String, String)> = keys
            .iter()
            .filter(|key| !is_table(key.kind))
            .map(|key| (label(key), says(key)))
            .collect();
        let heading = match (path, meaning) {
            ("", meaning) => meaning.to_owned(),
            (path, meaning) => format!("[{path}]  {meaning}"),
        };
        self.out.push('\n');
        if !heading.is_empty() {
            self.out += &headed(&heading, self.width, self.ink);
        }
        self.out += &table(&rows, self.width);
        for key in keys {
            let below = |name: &str| match path {
                "" => name.to_owned(),
                path => format!("{path}.{name}"),
            };
            match key.kind {
                Kind::Table(keys) => self.table(&below(key.name), key.meaning, keys),
                Kind::Tables(keys) => {
                    self.table(&below(&format!("{}.NAME", key.name)), key.meaning, keys);
                }
                Kind::QuantityOrTable(_, keys) => {
                    self.table(
                        &below(key.name),
                        "in place of the quantity, what it follows from",
                        keys,
                    );
                }
                Kind::ChoiceOrTable(_, keys) => {
                    self.table(&below(key.name), "in place of the word", keys);
                }
                _ => {}
            }
        }
    }
}

const fn is_table(kind: Kind) -> bool {
    matches!(kind, Kind::Table(_) | Kind::Tables(_))
}

fn label(key: &Key) -> String {
    let mark = if matches!(key.need, Need::Always) {
        " *"
    } else {
        ""
    };
    format!("{}{mark}", key.name)
}

/// Meaning, kind, range, default.
pub(crate) fn says(key: &Key) -> String {
    let mut details = vec![kind(key.kind)];
    if key.range != Range::Any {
        let because = if key.why.is_empty() { "" } else { ": " };
        details.push(format!("{}{because}{}", key.range.rule(key.unit), key.why));
    }
    if let Need::Unless(others) = key.need {
        details.push(format!("must be there unless {} is", others.join(" or ")));
    }
    details.extend(key.default.map(|default| format!("{default} when absent")));
    format!("{} ({})", key.meaning, details.join("; "))
}

fn kind(of: Kind) -> String {
    let quantity = |of: Measure| format!("{} in {}", of.name, of.units.join(", "));
    match of {
        Kind::Text => "text".to_owned(),
        Kind::Path => "a path".to_owned(),
        Kind::Character => "one character".to_owned(),
        Kind::Date => "a date".to_owned(),
        Kind::Boolean => "true or false".to_owned(),
        Kind::Count => "a whole number".to_owned(),
        Kind::Number => "a number".to_owned(),
        Kind::Plain => "a number, perhaps with an uncertainty".to_owned(),
        Kind::Quantity(of) => quantity(of),
        Kind::QuantityOrWord(of, word) => format!("{}, or {word}", quantity(of)),
        Kind::QuantityOrTable(of, _) => format!("{}, or a table", quantity(of)),
        Kind::Quantities(of) => format!("a list, {}", quantity(of)),
        Kind::Interval(of) => format!("two, the smaller first, {}", quantity(of)),
        Kind::Texts => "a list of texts".to_owned(),
        Kind::Pairs => "a list of pairs of numbers".to_owned(),
        Kind::Choice(words) => format!("one of {}", words().join(", ")),
        Kind::ChoiceOrTable(words, _) => format!("one of {}, or a table", words().join(", ")),
        Kind::Unit(None) => "the name of a unit".to_owned(),
        Kind::Unit(Some(of)) => format!("a unit, such as {}", of.units.join(", ")),
        Kind::Signal(None) => COLUMN.to_owned(),
        Kind::Signal(Some(of)) => format!("{COLUMN}, {}", quantity(of)),
        Kind::TablesBy(by, _) => {
            format!("tables, whose keys follow from `{by}` (docs/rehearsal.md)")
        }
        Kind::Table(_) | Kind::Tables(_) => "a table".to_owned(),
        Kind::Says => "by the names of the keys of this table".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_is_told_with_unit_range_and_meaning() {
        let text = key_reference(UserFile::Firing, Screen::default());
        let flat: Vec<&str> = text.split_whitespace().collect();
        let flat = flat.join(" ");
        for words in [
            "[log.NAME] one recorder's file; the first one's clock is that of the results",
            "latitude geographic latitude (angle in deg, rad, mrad; must lie between -90 deg and 90 deg)",
            "signal * its raw readings (a column of a log)",
            "burn_rule share of peak thrust that begins and ends the burn (one of 5 %, 10 %; 5 % when absent)",
            "[axis.NAME.inertia.bifilar]",
            "delay how late the converter's readings are; anything up to one period when absent (time in s, ms, us, min; must lie between 0 s and 1 s: no \
             converter averages longer)",
        ] {
            assert!(flat.contains(words), "{words}\n{text}");
        }
        for of in UserFile::ALL {
            let text = key_reference(of, Screen::default());
            assert!(
                text.lines().all(|line| line.chars().count() <= 80),
                "{text}"
            );
        }
    }
}
