//! The JSON Schema of the output, made from its types.
use schemars::{JsonSchema, generate::SchemaSettings};
use serde_json::Value;

use super::result::Report;
use super::summary::Summary;

/// What `--format json` writes: one clip as an object, several as a list.
#[derive(JsonSchema)]
#[serde(untagged)]
#[expect(dead_code, reason = "only its schema is used")]
enum Output {
    /// One clip; also each line of `--format ndjson`.
    One(Box<Report>),
    /// Several clips, in the order in which they were given.
    Several(Vec<Report>),
}

/// The schema as indented JSON, ending with a line break.
pub fn schema() -> String {
    format!("{:#}\n", made_from::<Output>())
}

/// The schema of one clip.
pub fn of_one() -> Value {
    made_from::<Report>()
}

fn made_from<T: JsonSchema>() -> Value {
    SchemaSettings::draft2020_12()
        .for_serialize()
        .into_generator()
        .into_root_schema_for::<T>()
        .to_value()
}

/// The schema of a [`Summary`] as indented JSON, ending with a line break.
pub fn summary_schema() -> String {
    format!("{:#}\n", made_from::<Summary>())
}
