//! The JSON Schema of the event stream, made from its types.
use schemars::generate::SchemaSettings;

use super::event::Event;

/// The schema of one line as indented JSON, ending with a line break.
pub fn schema() -> String {
    let schema = SchemaSettings::draft2020_12()
        .for_serialize()
        .into_generator()
        .into_root_schema_for::<Event>();
    format!("{:#}\n", schema.to_value())
}
