//! Input that nobody would write: bytes, tables of values, texts with mistakes.

use proptest::prelude::*;
use proptest::sample::{Index, select};

/// Numbers that break what was not written with them in mind, and words that stand where numbers should.
pub const NUMBERS: [&str; 34] = [
    "NaN",
    "nan",
    "inf",
    "-inf",
    "Infinity",
    "5e-324",
    "-5e-324",
    "1e-310",
    "2.2250738585072014e-308",
    "1e308",
    "-1e308",
    "1.7976931348623157e308",
    "1e999",
    "-0.0",
    "0",
    "-1",
    "1e-30",
    "1e30",
    "-1e30",
    "1e29",
    "1e15",
    "1e9",
    "18446744073709551616",
    "-9223372036854775809",
    "99999999999999999999999999",
    "1_000",
    "0x10",
    "1,5",
    "",
    "??",
    "true",
    "\"\"",
    "[]",
    "{}",
];

/// One mistake in a text.
#[derive(Debug, Clone)]
pub enum Mistake {
    Deleted(Index),
    Doubled(Index),
    Swapped(Index, Index),
    Number(Index, &'static str),
    /// The same number put in the place of several in a row.
    Numbers(Index, usize, &'static str),
    Byte(Index, u8),
    Inserted(Index, Vec<u8>),
    Cut(Index),
    Nested(Index, usize),
}

fn mistake() -> impl Strategy<Value = Mistake> {
    let number = || select(&NUMBERS[..]);
    prop_oneof![
        2 => any::<Index>().prop_map(Mistake::Deleted),
        2 => any::<Index>().prop_map(Mistake::Doubled),
        1 => any::<(Index, Index)>().prop_map(|(a, b)| Mistake::Swapped(a, b)),
        8 => (any::<Index>(), number()).prop_map(|(at, to)| Mistake::Number(at, to)),
        2 => (any::<Index>(), 2..400_usize, number()).prop_map(|(at, most, to)| Mistake::Numbers(at, most, to)),
        1 => (any::<Index>(), any::<u8>()).prop_map(|(at, to)| Mistake::Byte(at, to)),
        1 => (any::<Index>(), prop::collection::vec(any::<u8>(), 1..8)).prop_map(|(at, what)| Mistake::Inserted(at, what)),
        1 => any::<Index>().prop_map(Mistake::Cut),
        1 => (any::<Index>(), 1..300_usize).prop_map(|(at, deep)| Mistake::Nested(at, deep)),
    ]
}

/// Some mistakes.
pub fn mistakes() -> impl Strategy<Value = Vec<Mistake>> {
    prop::collection::vec(mistake(), 1..5)
}

/// A text with mistakes made in it.
pub fn with(mistakes: &[Mistake], text: &str) -> Vec<u8> {
    mistakes
        .iter()
        .fold(text.as_bytes().to_vec(), |bytes, one| one.made_in(bytes))
}

impl Mistake {
    fn made_in(&self, bytes: Vec<u8>) -> Vec<u8> {
        if bytes.is_empty() {
            return bytes;
        }
        let mut lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
        let count = lines.len();
        match self {
            Self::Deleted(at) => {
                lines.remove(at.index(count));
            }
            Self::Doubled(at) => {
                let at = at.index(count);
                lines.insert(at, lines[at]);
            }
            Self::Swapped(a, b) => lines.swap(a.index(count), b.index(count)),
            Self::Number(at, to) => return numbers(&bytes, at, 1, to),
            Self::Numbers(at, most, to) => return numbers(&bytes, at, *most, to),
            Self::Byte(at, to) => {
                let mut out = bytes.clone();
                out[at.index(bytes.len())] = *to;
                return out;
            }
            Self::Inserted(at, what) => {
                let (head, tail) = bytes.split_at(at.index(bytes.len()));
                return [head, what, tail].concat();
            }
            Self::Cut(at) => return bytes[..at.index(bytes.len())].to_vec(),
            Self::Nested(at, deep) => {
                let to = format!("{}1{}", "[".repeat(*deep), "]".repeat(*deep));
                return numbers(&bytes, at, 1, &to);
            }
        }
        lines.concat()
    }
}

/// Puts something in the place of numbers, each a run of digits with sign, point and exponent.
fn numbers(bytes: &[u8], at: &Index, most: usize, to: &str) -> Vec<u8> {
    let part = |byte: u8| byte.is_ascii_digit() || b".-+eE".contains(&byte);
    let mut spans = Vec::new();
    let mut from = 0;
    while from < bytes.len() {
        let until = from + bytes[from..].iter().take_while(|byte| part(**byte)).count();
        let word = from > 0 && bytes[from - 1].is_ascii_alphabetic();
        if until > from && bytes[from..until].iter().any(u8::is_ascii_digit) && !word {
            spans.push(from..until);
        }
        from = until.max(from + 1);
    }
    if spans.is_empty() {
        return bytes.to_vec();
    }
    let first = at.index(spans.len());
    let mut out = Vec::new();
    let mut copied = 0;
    for span in spans.into_iter().skip(first).take(most) {
        out.extend_from_slice(&bytes[copied..span.start]);
        out.extend_from_slice(to.as_bytes());
        copied = span.end;
    }
    out.extend_from_slice(&bytes[copied..]);
    out
}

/// Bytes of any kind, some of them with the marks of packed or wide text in front.
pub fn bytes() -> impl Strategy<Value = Vec<u8>> {
    let marks: [&[u8]; 7] = [
        b"",
        b"\x1f\x8b\x08\0",
        b"\x28\xb5\x2f\xfd",
        b"\xff\xfe",
        b"\xfe\xff",
        b"\xef\xbb\xbf",
        b"PK\x03\x04",
    ];
    (
        select(marks.to_vec()),
        prop::collection::vec(any::<u8>(), 0..1500),
    )
        .prop_map(|(mark, rest)| [mark, &rest].concat())
}

/// Lines that could come from a recorder that has gone mad.
pub fn logs() -> impl Strategy<Value = Vec<u8>> {
    let cell = prop_oneof![
        6 => (-1000..100_000_i32).prop_map(|number| number.to_string()),
        2 => any::<f64>().prop_map(|number| number.to_string()),
        2 => select(&NUMBERS[..]).prop_map(str::to_owned),
        1 => select(vec!["t_ms", "raw", "fire", "12:30:01", "ERR", "#", "\"", "-999", "\0"]).prop_map(str::to_owned),
    ];
    let row = prop::collection::vec(cell, 0..7);
    let separator = select(vec![",", ";", "\t", " ", "|", ", "]);
    let end = select(vec!["\n", "\r\n", "\r"]);
    (prop::collection::vec(row, 0..60), separator, end).prop_map(|(rows, separator, end)| {
        let rows: Vec<String> = rows.iter().map(|row| row.join(separator)).collect();
        rows.join(end).into_bytes()
    })
}

/// A file of any values under likely names.
pub fn values(names: &'static [&'static str]) -> impl Strategy<Value = serde_json::Value> {
    let leaf = prop_oneof![
        any::<bool>().prop_map(serde_json::Value::from),
        any::<i64>().prop_map(serde_json::Value::from),
        any::<f64>().prop_map(serde_json::Value::from),
        select(&NUMBERS[..]).prop_map(|text| match text.parse::<f64>() {
            Ok(number) if number.is_finite() => number.into(),
            _ => text.into(),
        }),
        (
            select(&NUMBERS[..]),
            select(vec![
                "", " N", " s", " deg", " mm", " kg m2", " %", " Hz", " ± 1 mm"
            ])
        )
            .prop_map(|(number, unit)| format!("{number}{unit}").into()),
        select(names).prop_map(serde_json::Value::from),
        ".{0,12}".prop_map(serde_json::Value::from),
    ];
    let inner = leaf.prop_recursive(6, 60, 8, move |inner| {
        let key = prop_oneof![6 => select(names).prop_map(str::to_owned), 1 => ".{0,6}"];
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..5).prop_map(serde_json::Value::from),
            prop::collection::hash_map(key, inner, 0..8)
                .prop_map(|table| table.into_iter().collect::<serde_json::Map<_, _>>().into()),
        ]
    });
    prop::collection::hash_map(select(names).prop_map(str::to_owned), inner, 0..8)
        .prop_map(|table| table.into_iter().collect::<serde_json::Map<_, _>>().into())
}

/// The same as TOML; what TOML cannot say is left out.
pub fn toml(names: &'static [&'static str]) -> impl Strategy<Value = Vec<u8>> {
    values(names).prop_map(|value| {
        let table = toml::Value::try_from(without_null(value));
        let text = table.ok().and_then(|table| toml::to_string(&table).ok());
        text.unwrap_or_default().into_bytes()
    })
}

fn without_null(value: serde_json::Value) -> serde_json::Value {
    use serde_json::Value;
    match value {
        Value::Null => Value::from(0),
        Value::Array(list) => list.into_iter().map(without_null).collect(),
        Value::Object(table) => {
            let mut out = serde_json::Map::new();
            for (key, value) in table {
                out.insert(key, without_null(value));
            }
            out.into()
        }
        other => other,
    }
}
