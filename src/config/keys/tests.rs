//! Messages of a table made for the test, and what every declaration must keep.

use std::path::Path;

use super::*;
use crate::diagnostic::{Diagnostic, Source};
use crate::quantity::{Length, given, unit};

#[derive(Clone, Copy)]
struct Answer(bool);

impl Choice for Answer {
    const WORDS: &'static [(&'static str, Self)] =
        &[("play", Answer(true)), ("none", Answer(false))];
}

const KEYS: &[Key] = &[table("axis", AXIS, "an axis")];

#[rustfmt::skip] // one key a line
const AXIS: &[Key] = &[
    quantity::<Length>("arm", "rig pivot to swivel point").above_zero().needed(),
    choice::<Answer>("kind", "what kind"),
    signal_of::<Length>("height", "a height"),
    number("gain", "a gain").between(0.0, 10.0, "").because("more would burst it"),
];

fn mistakes(text: &str) -> Vec<String> {
    let source = Source::new("f.toml", text);
    let out = read(&source, Path::new(""), KEYS, |root| {
        let axis = root.table("axis")?;
        axis.choice::<Answer>("kind").map(|answer| answer.0);
        axis.quantity::<Length>("arm")
    });
    out.map_or_else(
        |problems| problems.problems().iter().map(Diagnostic::render).collect(),
        |_| vec![],
    )
}

#[test]
fn a_correct_file_has_no_mistakes() {
    assert!(mistakes("[axis]\narm = \"310 mm\"\nkind = \"play\"\n").is_empty());
}

#[test]
fn all_mistakes_are_told_at_once_in_the_order_of_the_file() {
    let found = mistakes("[axis]\narm = 310\nkind = \"plai\"\nsped = 1\n");
    assert_eq!(found.len(), 3);
    assert_eq!(
        found[0],
        "error: `axis.arm` needs a length with its unit\n  at f.toml:2:7\n    |\n  2 | arm = 310\n    |       ^^^ a number without a unit\n  hint: write it in quotes with one of m, mm, cm, in, ft\n"
    );
    assert!(found[1].contains("did you mean \"play\"?"));
    assert!(found[2].contains("unknown key `sped` in `axis`"));
}

#[test]
fn a_wrong_unit_is_marked_alone() {
    let found = mistakes("[axis]\narm = \"310 mm ± 1 kg\"\n");
    assert!(found[0].contains("f.toml:2:19"), "{}", found[0]);
}

#[test]
fn a_key_that_is_missing_or_out_of_range_says_what_must_be() {
    let found = mistakes("[axis]\ngain = 11\n");
    assert!(found[0].contains("`axis.arm` is missing"), "{}", found[0]);
    let hint = "hint: add arm = \"1 m\", rig pivot to swivel point\n";
    assert!(found[0].ends_with(hint), "{}", found[0]);
    let wanted = "error: `axis.gain` must lie between 0 and 10: more would burst it\n";
    assert!(found[1].starts_with(wanted), "{}", found[1]);
    let found = mistakes("[axis]\narm = \"-1 m\"\n");
    assert!(found[0].starts_with("error: `axis.arm` must be above zero\n"));
}

#[test]
fn a_signal_names_the_units_that_would_do() {
    let signal = |unit: &str| {
        format!(
            "[axis]\narm = \"1 m\"\nheight = {{ log = \"a\", column = \"b\", unit = \"{unit}\" }}\n"
        )
    };
    assert!(mistakes(&signal("mm")).is_empty());
    let found = mistakes(&signal("N"));
    assert!(found[0].starts_with("error: `axis.height` cannot be in `N`\n"));
    assert!(found[0].contains("hint: use one of m, mm, cm, in, ft, or a points file"));
}

#[test]
fn a_key_read_as_what_it_is_not_spoils_every_file() {
    let source = Source::new("f.toml", "");
    for build in [
        |root: &Table<'_>| root.number("axis").is_some().then_some(()),
        |root: &Table<'_>| root.text("axes").is_some().then_some(()),
    ] {
        let problems = read(&source, Path::new(""), KEYS, build).unwrap_err();
        assert_eq!(
            problems.problems()[0].code,
            crate::diagnostic::Code::Undeclared
        );
    }
}

/// Holds a declaration, and those under it, to what makes it one: no key twice, a meaning of each, units
/// and defaults that can be read and lie in their ranges.
pub(crate) fn hold(keys: &'static [Key]) {
    for (at, key) in keys.iter().enumerate() {
        let name = key.name;
        assert!(
            keys[..at].iter().all(|other| other.name != name),
            "{name} twice"
        );
        assert!(
            !key.meaning.is_empty() && !key.meaning.ends_with('.'),
            "{name}"
        );
        let unit = unit::parse(key.unit).ok();
        assert_eq!(unit.is_some(), !key.unit.is_empty(), "unit of {name}");
        if let (Some(unit), Some(of)) = (&unit, measure(key)) {
            assert_eq!(unit.dimension, of.dimension, "unit of {name}");
        }
        if let Some(default) = key.default {
            let size = unit.map_or(1.0, |unit| unit.factor);
            hold_default(key, default, size);
        }
        match key.kind {
            Kind::Table(keys)
            | Kind::Tables(keys)
            | Kind::QuantityOrTable(_, keys)
            | Kind::ChoiceOrTable(_, keys) => hold(keys),
            _ => {}
        }
    }
}

fn measure(key: &Key) -> Option<Measure> {
    match key.kind {
        Kind::Quantity(of)
        | Kind::QuantityOrWord(of, _)
        | Kind::QuantityOrTable(of, _)
        | Kind::Quantities(of)
        | Kind::Interval(of) => Some(of),
        _ => None,
    }
}

fn hold_default(key: &Key, default: &str, unit_size: f64) {
    let name = key.name;
    match key.kind {
        Kind::Quantity(of) => {
            let value = given::parse_as(default, of.dimension).unwrap().0;
            assert!(key.range.holds(value, unit_size), "{name}");
        }
        Kind::QuantityOrWord(_, word) => assert_eq!(default, word, "{name}"),
        Kind::Count | Kind::Number | Kind::Plain => {
            assert!(key.range.holds(default.parse().unwrap(), 1.0), "{name}");
        }
        Kind::Choice(words) | Kind::ChoiceOrTable(words, _) => {
            assert!(words().contains(&default), "{name}");
        }
        Kind::Boolean => assert!(["true", "false"].contains(&default), "{name}"),
        Kind::Unit(Some(of)) => {
            assert_eq!(
                unit::parse(default).unwrap().dimension,
                of.dimension,
                "{name}"
            );
        }
        Kind::Text => {}
        _ => panic!("{name} can have no default"),
    }
}
