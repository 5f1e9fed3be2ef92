//! The files in `schemas/` are what the result types say, doc comments included.
//!
//! JSON Schema, draft 2020-12. `BURNWRIGHT_UPDATE=1` writes the files anew; each definition is one line.

use std::path::PathBuf;

use schemars::generate::SchemaSettings;
use schemars::transform::RecursiveTransform;
use schemars::{JsonSchema, Schema};
use serde_json::Value;

use crate::control::GainsFile;
use crate::flight::SimulationFile;
use crate::look::Look;
use crate::plan::{Design, Prediction};
use crate::plant::PlantFile;
use crate::ready::Readiness;
use crate::reduce::FiringResult;

fn file_of(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("schemas/{name}.schema.json"))
}

/// The schema of a type as it is written, not as it is read.
fn schema_of<T: JsonSchema>(name: &str) -> Value {
    let mut settings = SchemaSettings::draft2020_12().for_serialize();
    // `result.json` may get more keys; in the others an unknown key is a misspelt one.
    if name != "result" {
        settings = settings.with_transform(RecursiveTransform(closed));
    }
    let mut schema = settings.into_generator().into_root_schema_for::<T>();
    schema.insert("title".to_owned(), format!("{name}.json").into());
    schema.to_value()
}

fn closed(schema: &mut Schema) {
    if schema.get("properties").is_some() && schema.get("additionalProperties").is_none() {
        schema.insert("additionalProperties".to_owned(), false.into());
    }
}

fn text_of(schema: &Value) -> String {
    fn lines(pairs: &serde_json::Map<String, Value>, indent: &str) -> String {
        let pairs: Vec<String> = pairs
            .iter()
            .map(|(key, value)| match value {
                Value::Object(inner) if key == "$defs" => {
                    format!(
                        "{indent}\"{key}\": {{\n{}\n{indent}}}",
                        lines(inner, "    ")
                    )
                }
                _ => format!("{indent}\"{key}\": {value}"),
            })
            .collect();
        pairs.join(",\n")
    }
    format!("{{\n{}\n}}\n", lines(schema.as_object().unwrap(), "  "))
}

#[test]
fn the_schemas_are_those_of_the_types() {
    let schemas = [
        ("result", schema_of::<FiringResult>("result")),
        ("plant", schema_of::<PlantFile>("plant")),
        ("look", schema_of::<Look>("look")),
        ("gains", schema_of::<GainsFile>("gains")),
        ("simulation", schema_of::<SimulationFile>("simulation")),
        ("plan", schema_of::<Prediction>("plan")),
        ("pattern", schema_of::<Design>("pattern")),
        ("ready", schema_of::<Readiness>("ready")),
    ];
    for (name, schema) in schemas {
        jsonschema::meta::validate(&schema).unwrap();
        let text = text_of(&schema);
        if std::env::var_os("BURNWRIGHT_UPDATE").is_some() {
            std::fs::write(file_of(name), text).unwrap();
        } else {
            let kept = std::fs::read_to_string(file_of(name)).unwrap();
            assert!(kept == text, "{name}: BURNWRIGHT_UPDATE=1 writes it anew");
        }
    }
}
