//! For tests: is every number a person sees a number of the results?

use serde_json::Value;

use crate::reduce::Reduction;

use super::json::{plant_json, result_json};

/// Numbers of fixed sentences: the coverage of every interval.
const SAID: [f64; 1] = [95.0];

/// The text of a page without pictures, style, script and tags.
pub(crate) fn visible(html: &str) -> String {
    let without = |text: &str, from: &str, to: &str| {
        let mut parts = text.split(from);
        let mut out = parts.next().unwrap_or("").to_owned();
        for part in parts {
            out += part.split_once(to).map_or("", |(_, rest)| rest);
        }
        out
    };
    let text = without(html, "<style>", "</style>");
    let text = without(&text, "<script>", "</script>");
    let text = without(&text, "<svg ", "</svg>");
    let mut out = String::new();
    for part in text.split('<').skip(1) {
        let (_, text) = part.split_once('>').unwrap_or(("", part));
        out.push(' ');
        out += text;
    }
    let words: Vec<&str> = out.split_whitespace().collect();
    words.join(" ")
}

/// A word that is a number.
struct Number {
    word: String,
    value: f64,
    /// Half a unit of its last digit.
    half: f64,
    /// Whether a per cent sign follows.
    percent: bool,
}

fn numbers(text: &str) -> Vec<Number> {
    let text = text.replace('−', "-").replace(" %", "%");
    text.split(|c: char| !(c.is_alphanumeric() || matches!(c, '.' | '-' | '_' | '/' | '%')))
        .map(|word| word.trim_matches(['.', '/']))
        .filter_map(|word| {
            let digits = word.trim_end_matches('%');
            let value: f64 = digits
                .parse()
                .ok()
                .filter(|value: &f64| value.is_finite())?;
            let (mantissa, power) = digits.split_once('e').unwrap_or((digits, "0"));
            let decimals = mantissa.split_once('.').map_or(0, |(_, part)| part.len());
            let last = power.parse::<i32>().ok()? - i32::try_from(decimals).ok()?;
            Some(Number {
                word: word.to_owned(),
                value: value.abs(),
                half: 0.5 * 10_f64.powi(last),
                percent: word.ends_with('%'),
            })
        })
        .collect()
}

/// Numbers in a row that nobody reads one by one: they would make almost any number a known one.
fn is_curve(values: &[Value]) -> bool {
    values.len() > LONGEST_LIST
        && values
            .iter()
            .all(|value| value.is_number() || value.is_null())
}

/// Most numbers in a row that are read one by one.
const LONGEST_LIST: usize = 12;

fn collect(value: &Value, out: &mut Vec<f64>) {
    match value {
        Value::Number(number) => out.extend(number.as_f64().map(f64::abs)),
        Value::String(text) => out.extend(numbers(text).into_iter().map(|number| number.value)),
        Value::Array(values) if is_curve(values) => {}
        Value::Array(values) => values.iter().for_each(|value| collect(value, out)),
        Value::Object(map) => map.values().for_each(|value| collect(value, out)),
        Value::Null | Value::Bool(_) => {}
    }
}

/// Numbers of a text that are in neither results file, rounded or as per cent.
pub(crate) fn strangers(text: &str, reduction: &Reduction) -> Vec<String> {
    let mut known = SAID.to_vec();
    collect(
        &serde_json::from_str(&result_json(&reduction.result)).unwrap(),
        &mut known,
    );
    if let Some(plant) = &reduction.plant {
        let plant: Value = serde_json::from_str(&plant_json(plant)).unwrap();
        collect(&plant["axes"], &mut known);
    }
    unknown(text, &known)
}

/// Numbers of a text that are not in some data, rounded or as per cent.
pub(crate) fn strangers_to(text: &str, data: &str) -> Vec<String> {
    let mut known = SAID.to_vec();
    collect(&serde_json::from_str(data).unwrap(), &mut known);
    unknown(text, &known)
}

fn unknown(text: &str, known: &[f64]) -> Vec<String> {
    let is_known = |number: &Number| {
        let near = |known: f64| (known - number.value).abs() <= number.half * 1.000_001 + 1e-12;
        known
            .iter()
            .any(|known| near(*known) || (number.percent && near(known * 100.0)))
    };
    numbers(text)
        .into_iter()
        .filter(|number| !is_known(number))
        .map(|number| number.word)
        .collect()
}

#[test]
fn the_audit_finds_a_stranger() {
    let reduction = super::fabricated::full();
    assert_eq!(
        strangers(
            "impulse 59.09 N s, 61 % of it, 61.73 more, 95 %",
            &reduction
        ),
        ["61.73"]
    );
    assert_eq!(
        visible("<p>a <b>1</b></p><svg x><text>9</text></svg>"),
        "a 1"
    );
}
