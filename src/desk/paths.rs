//! Which files a text would have opened.

use toml::de::{DeTable, DeValue};

use crate::config;
use crate::config::keys::{Key, Kind, SIGNAL};

/// Every path that the text of a firing file or of a certified motor names; nothing of what is no TOML, which opens nothing.
#[must_use]
pub fn named_paths(text: &str) -> Vec<String> {
    let mut out = Vec::new();
    if let Ok(root) = DeTable::parse(text) {
        for keys in [config::KEYS, config::certified::KEYS] {
            walk(root.get_ref(), keys, &mut out);
        }
    }
    out
}

fn walk(table: &DeTable<'_>, keys: &[Key], out: &mut Vec<String>) {
    for (name, value) in table {
        let Some(key) = keys.iter().find(|key| key.name == name.get_ref().as_ref()) else {
            continue;
        };
        match (value.get_ref(), key.kind) {
            (DeValue::String(path), Kind::Path) => out.push(path.to_string()),
            (
                DeValue::Table(inner),
                Kind::Table(keys) | Kind::QuantityOrTable(_, keys) | Kind::ChoiceOrTable(_, keys),
            ) => walk(inner, keys, out),
            (DeValue::Table(inner), Kind::Signal(_)) => walk(inner, SIGNAL, out),
            (DeValue::Table(inner), Kind::Tables(keys)) => {
                for (_, one) in inner {
                    if let DeValue::Table(one) = one.get_ref() {
                        walk(one, keys, out);
                    }
                }
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_path_of_the_declared_keys_is_named() {
        let text = "[log.a]\nfile = \"../a.csv\"\n[cell.b]\npoints = \"/etc/p\"\nsignal = { log = \"a\", column = \"c\" }\n\
                    [motor.m]\ncertified = 'm.toml'\n[axis.p]\nsweep = \"s\"\ntilt = { log = \"a\", column = \"c\", points = \"t\" }\n\
                    [reduce]\ncurves = \"k\"\n";
        let mut found = named_paths(text);
        found.sort();
        assert_eq!(found, ["../a.csv", "/etc/p", "k", "m.toml", "s", "t"]);
        assert_eq!(named_paths("thrust_file = \"../x\""), ["../x"]);
    }
}
