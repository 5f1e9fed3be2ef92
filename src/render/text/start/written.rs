//! Text of a firing file as TOML wants it: names, quotes, comments, signals.

use crate::look::ColumnLook;

/// A column with the name of its log's table.
pub(super) type Named<'a> = (&'a ColumnLook, &'a str);

/// Each line as a comment, and a blank line after them.
pub(super) fn optional(text: &str) -> String {
    let lines = text
        .lines()
        .map(|line| format!("{}\n", format!("# {line}").trim_end()));
    lines.collect::<String>() + "\n"
}

/// Text in quotes, as TOML wants it.
pub(super) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A name that needs no quotes as a key.
pub(super) fn bare(text: &str) -> String {
    let plain = |ch: char| ch.is_ascii_alphanumeric() || ch == '_' || ch == '-';
    let name: String = text
        .chars()
        .map(|ch| if plain(ch) { ch } else { '_' })
        .collect();
    let name = name.trim_matches('_');
    if name.is_empty() { "a" } else { name }.to_owned()
}

/// A name that none of the others has.
pub(super) fn unlike(others: &[String], name: &str) -> String {
    let mut out = name.to_owned();
    let mut nth = 2;
    while others.contains(&out) {
        out = format!("{name}-{nth}");
        nth += 1;
    }
    out
}

pub(super) fn signal(column: &ColumnLook, log: &str, unit: Option<&str>) -> String {
    let unit = unit.map_or(String::new(), |unit| format!(", unit = \"{unit}\""));
    format!(
        "{{ log = {}, column = {}{unit} }}",
        quoted(log),
        quoted(&column.name)
    )
}
