//! The text of a firing file as a form: what can be filled in, line by line, and how a value gets into its line.
//!
//! The text is the truth and the form a view of it. A key that stands on a line of its own, or behind a `#` as `look --start`
//! leaves it, is a field; setting it changes that line alone, its comment stays. What goes over several lines is left to
//! the text. What a field means, its units and its range come from the declaration that the file is read by.

use crate::config;
use crate::config::keys::{Key, Kind, Need, TO_COMPLETE};
use crate::render::text::keys;

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
    /// What it means, its kind, range and default.
    pub(super) fn says(&self) -> String {
        keys::says(self.key)
    }

    /// The table it stands in.
    pub(super) fn table(&self) -> &str {
        self.at.rsplit_once('.').map_or("", |(table, _)| table)
    }
}

/// Every field of a text, in its order.
pub(super) fn fields(text: &str) -> Vec<Field> {
    let mut out = Vec::new();
    let mut table = String::new();
    for (nth, line) in text.lines().enumerate() {
        if let Some((name, _)) = heading(line) {
            table = name.to_owned();
            continue;
        }
        let Some(found) = Written::of(line) else {
            continue;
        };
        let Some(key) = declared(&table, found.name) else {
            continue;
        };
        let open = found.value.trim_matches('"') == TO_COMPLETE;
        let at = if table.is_empty() {
            found.name.to_owned()
        } else {
            format!("{table}.{}", found.name)
        };
        // The first of several lines that offer one key is the field.
        if out.iter().any(|one: &Field| one.at == at) {
            continue;
        }
        let text = if open {
            String::new()
        } else {
            unquoted(found.value)
        };
        let stands = !found.hidden;
        out.push(Field {
            at,
            line: nth + 1,
            key,
            value: if stands { text.clone() } else { String::new() },
            offered: if stands { String::new() } else { text },
            state: match (found.hidden, open) {
                (true, _) => State::Optional,
                (false, true) => State::Open,
                (false, false) => State::Given,
            },
            remark: found.remark.trim_start_matches(['#', ' ']).to_owned(),
        });
    }
    out
}

/// Keys that a file may do without, but that `look --start` leaves open: emptied, they are open again.
const LEFT_OPEN: [&str; 4] = ["points", "mount", "align", "time"];

/// The text with one key set; an empty value leaves it open, or puts an optional one behind a `#`.
///
/// # Errors
/// Why it cannot be set.
pub(super) fn set(text: &str, at: &str, value: &str) -> Result<String, String> {
    let (table, name) = at.rsplit_once('.').unwrap_or(("", at));
    let key = declared(table, name).ok_or_else(|| format!("`{at}` is no key of a firing file"))?;
    let value = value.trim();
    if value.chars().any(char::is_control) {
        return Err(format!("`{at}` goes on one line"));
    }
    let needed = !matches!(key.need, Need::Optional) || LEFT_OPEN.contains(&name);
    let (written, hidden) = match value {
        "" => (format!("\"{TO_COMPLETE}\""), !needed),
        value => (as_written(key, value)?, false),
    };
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    match fields(text).into_iter().find(|one| one.at == at) {
        Some(field) => {
            let line = &lines[field.line - 1];
            let found = Written::of(line).ok_or("the line has changed")?;
            lines[field.line - 1] = found.with(&written, hidden);
            if !hidden {
                show_heading(&mut lines, field.line - 1);
            }
        }
        None if value.is_empty() => {}
        None => insert(&mut lines, table, format!("{name} = {written}")),
    }
    Ok(lines.join("\n") + "\n")
}

/// The text with a copy of a table such as `motor.one` behind it, under a name of its own.
pub(super) fn copied(text: &str, table: &str) -> Option<String> {
    let (group, _) = table.split_once('.')?;
    let lines: Vec<&str> = text.lines().collect();
    let named = |name: &str| {
        lines
            .iter()
            .any(|line| heading(line).is_some_and(|one| one.0 == name))
    };
    let from = lines
        .iter()
        .position(|line| heading(line).is_some_and(|one| one.0 == table))?;
    let more = lines[from + 1..]
        .iter()
        .position(|line| heading(line).is_some());
    let mut to = more.map_or(lines.len(), |more| from + 1 + more);
    // Comments right above the next table are that table's.
    while to > from + 1 && (lines[to - 1].starts_with('#') && Written::of(lines[to - 1]).is_none())
    {
        to -= 1;
    }
    let words = ["two", "three", "four", "five", "six", "seven", "eight"];
    let name = words
        .iter()
        .map(|word| format!("{group}.{word}"))
        .find(|name| !named(name))?;
    let mut out: Vec<String> = lines[..to].iter().map(|line| (*line).to_owned()).collect();
    if out.last().is_some_and(|line| !line.trim().is_empty()) {
        out.push(String::new());
    }
    out.push(format!("[{name}]"));
    out.extend(lines[from + 1..to].iter().map(|line| (*line).to_owned()));
    out.extend(lines[to..].iter().map(|line| (*line).to_owned()));
    Some(out.join("\n") + "\n")
}

/// A line `key = value  # remark`, perhaps behind a `#`.
struct Written<'a> {
    hidden: bool,
    /// With the blanks behind it.
    lead: &'a str,
    name: &'a str,
    value: &'a str,
    remark: &'a str,
}

impl<'a> Written<'a> {
    fn of(line: &'a str) -> Option<Self> {
        let hidden = line.starts_with('#');
        let rest = line.trim_start_matches('#').trim_start();
        let (lead, after) = rest.split_once('=')?;
        let name = lead.trim_end();
        let bare = |ch: char| ch.is_ascii_alphanumeric() || ch == '_' || ch == '-';
        if name.is_empty() || !name.chars().all(bare) {
            return None;
        }
        let after = after.trim_start();
        let end = value_end(after)?;
        let (value, remark) = after.split_at(end);
        let remark = remark.trim_start();
        let sound = !value.is_empty() && (remark.is_empty() || remark.starts_with('#'));
        sound.then_some(Self {
            hidden,
            lead,
            name,
            value,
            remark,
        })
    }

    fn with(&self, value: &str, hidden: bool) -> String {
        let mark = if hidden { "# " } else { "" };
        let remark = if self.remark.is_empty() {
            String::new()
        } else {
            format!("  {}", self.remark)
        };
        format!("{mark}{}= {value}{remark}", self.lead)
    }
}

/// Where a value ends that begins a text; `None` where it goes on over the line.
fn value_end(text: &str) -> Option<usize> {
    let (mut depth, mut quote) = (0_usize, None);
    let mut escaped = false;
    for (at, ch) in text.char_indices() {
        match (quote, ch) {
            (Some('"'), '\\') if !escaped => escaped = true,
            (Some(open), _) if ch == open && !escaped => quote = None,
            (Some(_), _) => escaped = false,
            (None, '"' | '\'') => quote = Some(ch),
            (None, '[' | '{') => depth += 1,
            (None, ']' | '}') => depth = depth.checked_sub(1)?,
            (None, '#') if depth == 0 => return Some(text[..at].trim_end().len()),
            _ => {}
        }
    }
    (depth == 0 && quote.is_none()).then(|| text.trim_end().len())
}

/// The table that a line begins, and whether it stands behind a `#`.
fn heading(line: &str) -> Option<(&str, bool)> {
    let rest = line
        .trim_start_matches('#')
        .trim_start()
        .strip_prefix('[')?;
    let (name, after) = rest.split_once(']')?;
    let after = after.trim_start();
    let plain = |ch: char| ch.is_ascii_alphanumeric() || matches!(ch, '_' | '-' | '.');
    let sound =
        !name.is_empty() && name.chars().all(plain) && (after.is_empty() || after.starts_with('#'));
    sound.then(|| (name, line.starts_with('#')))
}

/// Takes the `#` away before the heading of the table that a line is in.
fn show_heading(lines: &mut [String], at: usize) {
    let above = (0..at).rev().find(|nth| heading(&lines[*nth]).is_some());
    if let Some(nth) = above.filter(|nth| lines[*nth].starts_with('#')) {
        lines[nth] = lines[nth].trim_start_matches('#').trim_start().to_owned();
    }
}

/// Puts a line first into its table, which is begun at the end where there is none.
fn insert(lines: &mut Vec<String>, table: &str, line: String) {
    let place = lines
        .iter()
        .position(|one| heading(one) == Some((table, false)));
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
        let key = keys.iter().find(|key| key.name == part)?;
        keys = match key.kind {
            Kind::Table(inner) => inner,
            Kind::Tables(inner) => {
                parts.next()?;
                inner
            }
            Kind::QuantityOrTable(_, inner) | Kind::ChoiceOrTable(_, inner) => inner,
            _ => return None,
        };
    }
    let key = keys.iter().find(|key| key.name == name)?;
    (!matches!(key.kind, Kind::Table(_) | Kind::Tables(_))).then_some(key)
}

/// A value as the file has it.
fn as_written(key: &Key, value: &str) -> Result<String, String> {
    let text = || toml::Value::String(value.to_owned()).to_string();
    let written = match key.kind {
        Kind::Boolean | Kind::Count | Kind::Number | Kind::Plain
            if value.parse::<f64>().is_ok() || matches!(value, "true" | "false") =>
        {
            value.to_owned()
        }
        _ if value.starts_with(['{', '[']) => value.to_owned(),
        _ => text(),
    };
    let line = format!("value = {written}");
    match (toml::de::DeTable::parse(&line), value_end(&written)) {
        (Ok(table), Some(_)) if table.get_ref().len() == 1 => Ok(written),
        _ => Err(format!(
            "{value} cannot be read: brackets and quotes have to be closed"
        )),
    }
}

/// A value as it is typed.
fn unquoted(value: &str) -> String {
    let line = format!("value = {value}");
    let parsed = line.parse::<toml::Table>().ok();
    let text = parsed
        .as_ref()
        .and_then(|table| table.get("value")?.as_str());
    text.map_or_else(|| value.to_owned(), str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "title = \"a\"  # which\n\n# [site]             # where\n# latitude = \"??\"    # such as \"52.1 deg\"\n\n\
                        [cell.base]\nsignal = { log = \"s\", column = \"a\" }\npoints = \"??\"\n# masses = \"??\"   # tolerance\n\n\
                        # One table for each motor.\n[motor.one]\n# certified = \"??\"  # data\n\n[reduce]\n";

    #[test]
    fn fields_are_what_look_leaves_open_and_what_is_given() {
        let seen: Vec<(String, State)> = fields(TEXT)
            .into_iter()
            .map(|one| (one.at, one.state))
            .collect();
        let expected = [
            ("title", State::Given),
            ("site.latitude", State::Optional),
            ("cell.base.signal", State::Given),
            ("cell.base.points", State::Open),
            ("cell.base.masses", State::Optional),
            ("motor.one.certified", State::Optional),
        ];
        assert_eq!(seen, expected.map(|(at, state)| (at.to_owned(), state)));
        // What a name suggests is not said.
        let offered = &fields("# date = 2026-03-14\n")[0];
        assert_eq!(
            (offered.value.as_str(), offered.offered.as_str()),
            ("", "2026-03-14")
        );
    }

    #[test]
    fn setting_a_key_changes_its_line_alone_and_shows_its_table() {
        let set_points = set(TEXT, "cell.base.points", "p \"1\".csv").unwrap();
        assert_eq!(
            set_points,
            TEXT.replace("points = \"??\"", "points = 'p \"1\".csv'")
        );
        let with_site = set(TEXT, "site.latitude", "52 deg").unwrap();
        let expected =
            "[site]             # where\nlatitude = \"52 deg\"  # such as \"52.1 deg\"\n";
        assert!(with_site.contains(expected), "{with_site}");
        // Back again: optional, so behind a #.
        let back = set(&with_site, "site.latitude", "").unwrap();
        assert!(back.contains("\n# latitude = \"??\"  # such as"), "{back}");
        assert_eq!(set(&set_points, "cell.base.points", "").unwrap(), TEXT);
        let window = set(TEXT, "reduce.window", "[\"1 s\", \"2 s\"]").unwrap();
        assert!(
            window.ends_with("[reduce]\nwindow = [\"1 s\", \"2 s\"]\n"),
            "{window}"
        );
    }

    #[test]
    fn a_value_cannot_break_out_of_its_line() {
        for bad in ["{ log = \"a\"", "a\nb = 1", "[\"1 s\"] # \nx"] {
            assert!(set(TEXT, "reduce.window", bad).is_err(), "{bad}");
        }
        assert!(set(TEXT, "cell.base.nothing", "1").is_err());
        let quoted = set(TEXT, "title", "a\" # [x]").unwrap();
        assert_eq!(fields(&quoted)[0].value, "a\" # [x]");
    }

    #[test]
    fn a_second_motor_is_a_copy_of_the_first() {
        let two = copied(TEXT, "motor.one").unwrap();
        assert!(
            two.contains("[motor.two]\n# certified = \"??\"  # data\n\n[reduce]"),
            "{two}"
        );
        assert!(copied(&two, "motor.one").unwrap().contains("[motor.three]"));
        assert!(copied(TEXT, "motor.ten").is_none());
    }
}
