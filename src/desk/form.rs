//! The text of a firing file as a form: what can be filled in, line by line, and how a value gets into its line.
//!
//! The text is the truth and the form a view of it. A key that stands on a line of its own, or behind a `#` as `look --start`
//! leaves it, is a field; setting it changes that line alone, its comment stays. Each line is read as TOML by itself, so what
//! goes over several lines is left to the text. What a field means, its units and its range come from the declaration that the
//! file is read by.

use toml::de::{DeTable, DeValue};

use crate::config;
use crate::config::keys::{Key, Kind, Need, TO_COMPLETE};

/// A key of the text that can be filled in.
#[derive(Debug, Clone)]
pub(super) struct Field {
    /// Where it belongs, such as `cell.base.points`.
    pub at: String,
    /// Its line, from 1.
    pub line: usize,
    /// What is declared of it.
    pub key: &'static Key,
    /// What is said, without quotes; nothing where that is to be completed, or stands behind a `#`.
    pub value: String,
    /// What stands there behind a `#`, which a name suggests: it says nothing until it is chosen.
    pub offered: String,
    /// How far it is.
    pub state: State,
    /// The comment behind it.
    pub remark: String,
    /// What stands before the value.
    lead: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum State {
    /// It has to be completed.
    Open,
    /// It says something.
    Given,
    /// It stands behind a `#`.
    Optional,
}

impl Field {
    /// The table it stands in.
    pub(super) fn table(&self) -> &str {
        self.at.rsplit_once('.').map_or("", |(table, _)| table)
    }
}

/// Every field of a text, in its order; the first of several lines that offer one key is the field.
pub(super) fn fields(text: &str) -> Vec<Field> {
    let mut out: Vec<Field> = Vec::new();
    let mut table = "";
    for (nth, line) in text.lines().enumerate() {
        if let Some((name, _)) = heading(line) {
            table = name;
        } else if let Some(field) = field(table, nth + 1, line)
            && !out.iter().any(|one| one.at == field.at)
        {
            out.push(field);
        }
    }
    out
}

/// The field of a line `key = value  # remark`, perhaps behind a `#`.
fn field(table: &str, line: usize, text: &str) -> Option<Field> {
    let written = Written::of(text)?;
    let value = match &written.is {
        DeValue::String(text) => text.to_string(),
        _ => written.value.to_owned(),
    };
    let (state, value, offered) = match (text.starts_with('#'), value == TO_COMPLETE) {
        (true, true) => (State::Optional, String::new(), String::new()),
        (true, false) => (State::Optional, String::new(), value),
        (false, true) => (State::Open, String::new(), String::new()),
        (false, false) => (State::Given, value, String::new()),
    };
    let at = format!("{table}.{}", written.name);
    Some(Field {
        at: at.trim_start_matches('.').to_owned(),
        line,
        key: declared(table, written.name)?,
        value,
        offered,
        state,
        remark: written.remark.trim_start_matches(['#', ' ']).to_owned(),
        lead: written.lead.to_owned(),
    })
}

/// Keys that a file may do without, but that `look --start` leaves open: emptied, they are open again.
const LEFT_OPEN: [&str; 4] = ["points", "mount", "align", "time"];

/// The text with one key set, `at` such as `cell.base.points`; an empty value leaves it open, or puts an optional one behind a `#`.
///
/// # Errors
/// Why it cannot be set.
pub fn set_key(text: &str, at: &str, value: &str) -> Result<String, String> {
    let (table, name) = at.rsplit_once('.').unwrap_or(("", at));
    let key = declared(table, name).ok_or_else(|| format!("`{at}` is no key of a firing file"))?;
    let value = value.trim();
    if value.chars().any(char::is_control) {
        return Err(format!("`{at}` goes on one line"));
    }
    let needed = !matches!(key.need, Need::Optional) || LEFT_OPEN.contains(&name);
    let hidden = value.is_empty() && !needed;
    let written = match value {
        "" => format!("\"{TO_COMPLETE}\""),
        value => as_written(key, value)?,
    };
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    match fields(text).into_iter().find(|one| one.at == at) {
        Some(Field {
            line, lead, remark, ..
        }) => {
            let mark = if hidden { "# " } else { "" };
            let remark = if remark.is_empty() {
                remark
            } else {
                format!("  # {remark}")
            };
            lines[line - 1] = format!("{mark}{lead}{written}{remark}");
            let mut above = lines[..line].iter_mut().rev();
            let above = above.find(|line| heading(line).is_some());
            if let Some(above) = above.filter(|_| !hidden) {
                *above = bare(above).to_owned();
            }
        }
        None if value.is_empty() => {}
        None => insert(&mut lines, table, format!("{name} = {written}")),
    }
    Ok(lines.join("\n") + "\n")
}

/// The text with a copy of a table such as `motor.one` behind it, under a name of its own; `None` where there is no such table.
#[must_use]
pub fn table_copied(text: &str, table: &str) -> Option<String> {
    let (group, _) = table.split_once('.')?;
    let lines: Vec<&str> = text.lines().collect();
    let headed = |nth: &usize| heading(lines[*nth]).map(|one| one.0);
    let named = |name: &str| (0..lines.len()).find(|nth| headed(nth) == Some(name));
    let from = named(table)? + 1;
    let next = (from..lines.len()).find(|nth| headed(nth).is_some());
    let mut to = next.unwrap_or(lines.len());
    // Comments right above the next table are that table's.
    while to > from && lines[to - 1].starts_with('#') && Written::of(lines[to - 1]).is_none() {
        to -= 1;
    }
    let words = ["two", "three", "four", "five", "six", "seven", "eight"];
    let mut names = words.iter().map(|word| format!("{group}.{word}"));
    let new = format!("[{}]", names.find(|name| named(name).is_none())?);
    let gap: &[&str] = if lines[to - 1].trim().is_empty() {
        &[]
    } else {
        &[""]
    };
    let out = [&lines[..to], gap, &[new.as_str()], &lines[from..]].concat();
    Some(out.join("\n") + "\n")
}

/// What stands behind a `#`, or the line itself.
fn bare(line: &str) -> &str {
    line.trim_start_matches('#').trim_start()
}

/// A line `key = value  # remark`, as TOML reads it.
struct Written<'a> {
    name: &'a str,
    /// Up to the value.
    lead: &'a str,
    value: &'a str,
    is: DeValue<'a>,
    remark: &'a str,
}

impl<'a> Written<'a> {
    fn of(line: &'a str) -> Option<Self> {
        let line = bare(line);
        let (name, value) = DeTable::parse(line).ok()?.into_inner().into_iter().next()?;
        let (at, of) = (name.span(), value.span());
        // Neither a heading nor a name of several parts.
        line[at.end..].trim_start().starts_with('=').then(|| Self {
            name: &line[at],
            lead: &line[..of.start],
            value: &line[of.clone()],
            remark: line[of.end..].trim(),
            is: value.into_inner(),
        })
    }
}

/// The table that a line begins, and whether it stands behind a `#`.
fn heading(line: &str) -> Option<(&str, bool)> {
    let (name, _) = bare(line).strip_prefix('[')?.split_once(']')?;
    DeTable::parse(bare(line)).ok()?;
    Some((name, line.starts_with('#')))
}

/// Puts a line first into its table, which is begun at the end where there is none.
fn insert(lines: &mut Vec<String>, table: &str, line: String) {
    let is_it = |line: &String| heading(line) == Some((table, false));
    let place = lines.iter().position(is_it);
    match (table, place) {
        ("", _) => lines.insert(0, line),
        (_, Some(place)) => lines.insert(place + 1, line),
        (table, None) => lines.extend([String::new(), format!("[{table}]"), line]),
    }
}

/// The declaration of a key of a table by its name.
fn declared(table: &str, name: &str) -> Option<&'static Key> {
    let mut keys = config::KEYS;
    let mut parts = table.split('.').filter(|part| !part.is_empty());
    while let Some(part) = parts.next() {
        keys = match keys.iter().find(|key| key.name == part)?.kind {
            Kind::Tables(inner) => parts.next().map(|_| inner)?,
            Kind::Table(inner)
            | Kind::QuantityOrTable(_, inner)
            | Kind::ChoiceOrTable(_, inner) => inner,
            _ => return None,
        };
    }
    let key = keys.iter().find(|key| key.name == name)?;
    (!matches!(key.kind, Kind::Table(_) | Kind::Tables(_))).then_some(key)
}

/// A value as the file has it.
fn as_written(key: &Key, value: &str) -> Result<String, String> {
    let plain = matches!(
        key.kind,
        Kind::Boolean | Kind::Count | Kind::Number | Kind::Plain
    );
    let plain = plain && (value.parse::<f64>().is_ok() || matches!(value, "true" | "false"));
    let written = if plain || value.starts_with(['{', '[']) {
        value.to_owned()
    } else {
        toml::Value::String(value.to_owned()).to_string()
    };
    let line = format!("value = {written}");
    if Written::of(&line).is_some_and(|found| found.value == written) {
        Ok(written)
    } else {
        Err(format!(
            "{value} cannot be read: brackets and quotes have to be closed"
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "title = \"a\"  # which\n\n# [site]             # where\n# latitude = \"??\"    # such as \"52.1 deg\"\n\n\
                        [cell.base]\nsignal = { log = \"s\", column = \"a\" }\npoints = \"??\"\n# masses = \"??\"   # tolerance\n\n\
                        # One table for each motor.\n[motor.one]\n# certified = \"??\"  # data\n\n[reduce]\n";

    #[test]
    fn fields_are_what_look_leaves_open_and_what_is_given() {
        let seen = fields(TEXT).into_iter().map(|one| (one.at, one.state));
        let expected = [
            ("title", State::Given),
            ("site.latitude", State::Optional),
            ("cell.base.signal", State::Given),
            ("cell.base.points", State::Open),
            ("cell.base.masses", State::Optional),
            ("motor.one.certified", State::Optional),
        ];
        let expected = expected.map(|(at, state)| (at.to_owned(), state));
        assert_eq!(seen.collect::<Vec<_>>(), expected);
        // What a name suggests is not said.
        let date = &fields("# date = 2026-03-14\n")[0];
        assert!(date.value.is_empty() && date.offered == "2026-03-14");
    }

    #[test]
    fn setting_a_key_changes_its_line_alone_and_shows_its_table() {
        let set_points = set_key(TEXT, "cell.base.points", "p \"1\".csv").unwrap();
        let expected = TEXT.replace("points = \"??\"", "points = 'p \"1\".csv'");
        assert_eq!(set_points, expected);
        let with_site = set_key(TEXT, "site.latitude", "52 deg").unwrap();
        let expected = "[site]             # where\nlatitude = \"52 deg\"  # such as";
        assert!(with_site.contains(expected), "{with_site}");
        // Back again: optional, so behind a #.
        let back = set_key(&with_site, "site.latitude", "").unwrap();
        assert!(back.contains("\n# latitude = \"??\"  # such as"), "{back}");
        assert_eq!(set_key(&set_points, "cell.base.points", "").unwrap(), TEXT);
        let window = set_key(TEXT, "reduce.window", "[\"1 s\", \"2 s\"]").unwrap();
        let expected = "[reduce]\nwindow = [\"1 s\", \"2 s\"]\n";
        assert!(window.ends_with(expected), "{window}");
    }

    #[test]
    fn a_value_cannot_break_out_of_its_line() {
        for bad in ["{ log = \"a\"", "a\nb = 1", "[\"1 s\"] # \nx"] {
            assert!(set_key(TEXT, "reduce.window", bad).is_err(), "{bad}");
        }
        assert!(set_key(TEXT, "cell.base.nothing", "1").is_err());
        let quoted = set_key(TEXT, "title", "a\" # [x]").unwrap();
        assert_eq!(fields(&quoted)[0].value, "a\" # [x]");
    }

    #[test]
    fn a_second_motor_is_a_copy_of_the_first() {
        let two = table_copied(TEXT, "motor.one").unwrap();
        let expected = "[motor.two]\n# certified = \"??\"  # data\n\n[reduce]";
        assert!(two.contains(expected), "{two}");
        let three = table_copied(&two, "motor.one").unwrap();
        assert!(three.contains("[motor.three]"), "{three}");
        assert!(table_copied(TEXT, "motor.ten").is_none());
    }
}
