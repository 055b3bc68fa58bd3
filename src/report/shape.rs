//! The shape of the data as tables need it, read from the JSON Schema: a table has no names of its own.
use serde_json::Value;

use super::schema::of_one;

/// What a field holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Text, and words of a fixed set.
    Text,
    /// A number that need not be whole.
    Number,
    /// A whole number.
    Whole,
    /// Yes or no.
    Truth,
    /// Fields below this one, in the order of the JSON.
    Record(Vec<Field>),
    /// Any number of one thing.
    List(Box<Shape>),
}

/// A named part of the data. Any of them may be null.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field {
    /// Its name in the JSON.
    pub name: String,
    /// What it holds.
    pub shape: Shape,
}

/// The field of a result that has a line for each moment.
const FRAMES: &str = "frames";

/// A row for each clip: all of a result but its frames.
pub fn of_clips() -> Vec<Field> {
    let mut fields = report();
    fields.retain(|field| field.name != FRAMES);
    fields
}

/// A row for each frame: the path of its clip, then the fields of a frame.
pub fn of_frames() -> Vec<Field> {
    let fields = report();
    let mut columns = below(&fields, "clip");
    columns.retain(|field| field.name == "path");
    columns.extend(below(&fields, FRAMES));
    columns
}

/// A row for each clip, as far as it is single values: no lists, and of the machine's profile, which was
/// not heard, only the name.
pub fn of_clips_in_brief() -> Vec<Field> {
    let mut fields = of_clips();
    for field in &mut fields {
        if let ("machine", Shape::Record(inner)) = (field.name.as_str(), &mut field.shape) {
            inner.retain(|field| field.name == "name");
        }
    }
    fields
}

/// Where the single values are, from the outermost name to the innermost; no lists.
pub fn single_values(fields: &[Field]) -> Vec<Vec<&str>> {
    let mut found = vec![];
    for Field { name, shape } in fields {
        match shape {
            Shape::List(_) => {}
            Shape::Record(inner) => found.extend(single_values(inner).into_iter().map(|rest| {
                let mut path = vec![name.as_str()];
                path.extend(rest);
                path
            })),
            Shape::Text | Shape::Number | Shape::Whole | Shape::Truth => {
                found.push(vec![name.as_str()]);
            }
        }
    }
    found
}

fn report() -> Vec<Field> {
    let schema = of_one();
    match shape(&schema, &schema["$defs"]) {
        Shape::Record(fields) => fields,
        _ => vec![],
    }
}

/// The fields of the record, or of the list of records, that is called `name`.
fn below(fields: &[Field], name: &str) -> Vec<Field> {
    let found = fields.iter().find(|field| field.name == name);
    match found.map(|field| &field.shape) {
        Some(Shape::Record(inner)) => inner.clone(),
        Some(Shape::List(element)) => match element.as_ref() {
            Shape::Record(inner) => inner.clone(),
            _ => vec![],
        },
        _ => vec![],
    }
}

fn shape(schema: &Value, definitions: &Value) -> Shape {
    if let Some(name) = schema["$ref"].as_str() {
        let name = name.rsplit('/').next().unwrap_or(name);
        return shape(&definitions[name], definitions);
    }
    if let Some(choices) = schema["anyOf"].as_array() {
        let mut something = choices.iter().filter(|choice| choice["type"] != "null");
        return match (something.next(), something.next()) {
            (Some(only), None) => shape(only, definitions),
            // Several kinds of value in one place fit no column but text.
            _ => Shape::Text,
        };
    }
    let kind = match &schema["type"] {
        Value::Array(kinds) => kinds.iter().find(|kind| *kind != "null"),
        kind => Some(kind),
    };
    match kind.and_then(Value::as_str) {
        Some("number") => Shape::Number,
        Some("integer") => Shape::Whole,
        Some("boolean") => Shape::Truth,
        Some("object") => Shape::Record(fields(schema, definitions)),
        Some("array") => {
            let element = schema.get("items").or_else(|| schema["prefixItems"].get(0));
            let element = element.map_or(Shape::Text, |element| shape(element, definitions));
            Shape::List(Box::new(element))
        }
        _ => Shape::Text,
    }
}

/// In the order in which they are written, which only `required` keeps.
fn fields(schema: &Value, definitions: &Value) -> Vec<Field> {
    let Some(properties) = schema["properties"].as_object() else {
        return vec![];
    };
    let mut names: Vec<&str> = schema["required"]
        .as_array()
        .map(|names| names.iter().filter_map(Value::as_str).collect())
        .unwrap_or_default();
    for name in properties.keys() {
        if !names.contains(&name.as_str()) {
            names.push(name);
        }
    }
    names
        .into_iter()
        .map(|name| Field {
            name: name.to_owned(),
            shape: shape(&schema["properties"][name], definitions),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn every_kind_of_schema_has_its_shape() {
        let definitions = json!({"Rpm": {"type": "number"}, "Kind": {"oneOf": [{"const": "a", "type": "string"}]}});
        let cases = [
            (json!({"$ref": "#/$defs/Rpm"}), Shape::Number),
            (json!({"type": ["integer", "null"]}), Shape::Whole),
            (
                json!({"anyOf": [{"$ref": "#/$defs/Rpm"}, {"type": "null"}]}),
                Shape::Number,
            ),
            (json!({"$ref": "#/$defs/Kind"}), Shape::Text),
            (
                json!({"anyOf": [{"type": "number"}, {"type": "string"}]}),
                Shape::Text,
            ),
            (
                json!({"type": "array", "prefixItems": [{"$ref": "#/$defs/Rpm"}, {"$ref": "#/$defs/Rpm"}]}),
                Shape::List(Box::new(Shape::Number)),
            ),
            (
                json!({"type": "object", "properties": {"a": {"type": "boolean"}, "b": {"type": "string"}}, "required": ["b"]}),
                Shape::Record(vec![
                    Field {
                        name: "b".into(),
                        shape: Shape::Text,
                    },
                    Field {
                        name: "a".into(),
                        shape: Shape::Truth,
                    },
                ]),
            ),
        ];
        for (schema, expected) in cases {
            assert_eq!(shape(&schema, &definitions), expected, "{schema}");
        }
    }

    #[test]
    fn single_values_are_named_from_the_outside_in() {
        let field = |name: &str, shape| Field {
            name: name.into(),
            shape,
        };
        let fields = [
            field("a", Shape::Number),
            field(
                "b",
                Shape::Record(vec![
                    field("c", Shape::Text),
                    field("d", Shape::List(Box::new(Shape::Text))),
                ]),
            ),
        ];
        assert_eq!(single_values(&fields), [vec!["a"], vec!["b", "c"]]);
    }
}
