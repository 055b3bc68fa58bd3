//! Rows taken apart into columns: the values of each, and the levels that say where they belong.
//!
//! A definition level counts how many of the fields and lists on the way to a value are there; a
//! repetition level says at which of the lists a new element begins (0: a new row). This is how
//! Parquet keeps nested data: Melnik et al., "Dremel: interactive analysis of web-scale datasets",
//! VLDB 2010, section 4.1, and the page "Nested Encoding" of the Apache Parquet documentation.
use std::collections::HashMap;
use std::io::Write;
use std::mem;

use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::writer::SerializedRowGroupWriter;
use serde_json::Value;

use super::shape::{Field, Shape};

/// Bytes that a value and its levels hold in memory, about.
const PER_VALUE: usize = 16;

/// The columns of a table, with the rows that were not yet written.
pub struct Columns {
    fields: Vec<(String, Node)>,
    rows: usize,
}

/// A field, which may be null.
enum Node {
    Leaf(Column),
    Record(Vec<(String, Node)>),
    List(Box<Node>),
}

/// The values of one column that are not null, and the levels of all.
struct Column {
    values: Values,
    definition: Vec<i16>,
    repetition: Vec<i16>,
}

enum Values {
    Text(Texts),
    Number(Vec<f64>),
    Whole(Vec<i64>),
    Truth(Vec<bool>),
}

/// Texts of a column; equal ones share their bytes.
#[derive(Default)]
struct Texts {
    all: Vec<ByteArray>,
    known: HashMap<Box<str>, ByteArray>,
    /// Bytes of those that are known.
    bytes: usize,
}

/// Where in the nesting a value stands.
#[derive(Clone, Copy)]
struct Place {
    definition: i16,
    repetition: i16,
    /// Lists around it.
    lists: i16,
}

impl Columns {
    /// Columns without a row.
    pub fn new(fields: &[Field]) -> Columns {
        Columns {
            fields: nodes(fields),
            rows: 0,
        }
    }

    /// Takes a row, an object. What is missing in it, or is not what its field holds, is null.
    pub fn push(&mut self, row: &Value) {
        self.rows += 1;
        let outermost = Place {
            definition: 0,
            repetition: 0,
            lists: 0,
        };
        for (name, node) in &mut self.fields {
            node.take(row.get(&*name), outermost);
        }
    }

    /// Rows that were not yet written.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Bytes that they hold, about.
    pub fn bytes(&self) -> usize {
        self.fields.iter().map(|(_, node)| node.bytes()).sum()
    }

    /// Writes all rows as one row group and forgets them.
    ///
    /// # Errors
    /// Those of the writer.
    pub fn write<W: Write + Send>(
        &mut self,
        mut group: SerializedRowGroupWriter<'_, W>,
    ) -> Result<(), ParquetError> {
        for (_, node) in &mut self.fields {
            node.write(&mut group)?;
        }
        group.close()?;
        self.rows = 0;
        Ok(())
    }
}

fn nodes(fields: &[Field]) -> Vec<(String, Node)> {
    fields
        .iter()
        .map(|field| (field.name.clone(), Node::new(&field.shape)))
        .collect()
}

impl Node {
    fn new(shape: &Shape) -> Node {
        let values = match shape {
            Shape::Text => Values::Text(Texts::default()),
            Shape::Number => Values::Number(vec![]),
            Shape::Whole => Values::Whole(vec![]),
            Shape::Truth => Values::Truth(vec![]),
            Shape::Record(fields) => return Node::Record(nodes(fields)),
            Shape::List(element) => return Node::List(Box::new(Node::new(element))),
        };
        Node::Leaf(Column {
            values,
            definition: vec![],
            repetition: vec![],
        })
    }

    fn take(&mut self, value: Option<&Value>, at: Place) {
        let Some(value) = value.filter(|value| !value.is_null()) else {
            return self.absent(at);
        };
        let here = Place {
            definition: at.definition + 1,
            ..at
        };
        match self {
            Node::Leaf(column) => {
                let fits = column.values.push(value);
                column.level(if fits { here } else { at });
            }
            Node::Record(fields) => {
                for (name, node) in fields {
                    node.take(value.get(&*name), here);
                }
            }
            Node::List(element) => {
                let items = value.as_array().map_or(&[][..], Vec::as_slice);
                let inside = Place {
                    definition: here.definition + 1,
                    lists: here.lists + 1,
                    ..here
                };
                let Some((first, rest)) = items.split_first() else {
                    return element.absent(here);
                };
                element.take(Some(first), inside);
                for item in rest {
                    let next = Place {
                        repetition: inside.lists,
                        ..inside
                    };
                    element.take(Some(item), next);
                }
            }
        }
    }

    /// Nothing from here on down.
    fn absent(&mut self, at: Place) {
        match self {
            Node::Leaf(column) => column.level(at),
            Node::Record(fields) => fields.iter_mut().for_each(|(_, node)| node.absent(at)),
            Node::List(element) => element.absent(at),
        }
    }

    fn bytes(&self) -> usize {
        match self {
            Node::Leaf(column) => column.definition.len() * PER_VALUE + column.values.text_bytes(),
            Node::Record(fields) => fields.iter().map(|(_, node)| node.bytes()).sum(),
            Node::List(element) => element.bytes(),
        }
    }

    fn write<W: Write + Send>(
        &mut self,
        group: &mut SerializedRowGroupWriter<'_, W>,
    ) -> Result<(), ParquetError> {
        match self {
            Node::Leaf(column) => column.write(group),
            Node::Record(fields) => fields
                .iter_mut()
                .try_for_each(|(_, node)| node.write(group)),
            Node::List(element) => element.write(group),
        }
    }
}

impl Column {
    fn level(&mut self, at: Place) {
        self.definition.push(at.definition);
        self.repetition.push(at.repetition);
    }

    fn write<W: Write + Send>(
        &mut self,
        group: &mut SerializedRowGroupWriter<'_, W>,
    ) -> Result<(), ParquetError> {
        let Some(mut out) = group.next_column()? else {
            return Err(ParquetError::General("a column too many".into()));
        };
        let definition = Some(&*self.definition);
        let repetition = Some(&*self.repetition);
        match &mut self.values {
            Values::Text(texts) => {
                out.typed::<ByteArrayType>()
                    .write_batch(&texts.all, definition, repetition)?;
                *texts = Texts::default();
            }
            Values::Number(numbers) => {
                out.typed::<DoubleType>()
                    .write_batch(numbers, definition, repetition)?;
                numbers.clear();
            }
            Values::Whole(numbers) => {
                out.typed::<Int64Type>()
                    .write_batch(numbers, definition, repetition)?;
                numbers.clear();
            }
            Values::Truth(truths) => {
                out.typed::<BoolType>()
                    .write_batch(truths, definition, repetition)?;
                truths.clear();
            }
        }
        self.definition.clear();
        self.repetition.clear();
        out.close()
    }
}

impl Values {
    /// Takes a value; false where it is not what this column holds.
    fn push(&mut self, value: &Value) -> bool {
        match self {
            Values::Text(texts) => {
                match value.as_str() {
                    Some(text) => texts.push(text),
                    None => texts.push(&value.to_string()),
                }
                true
            }
            Values::Number(numbers) => value.as_f64().map(|it| numbers.push(it)).is_some(),
            Values::Whole(numbers) => value.as_i64().map(|it| numbers.push(it)).is_some(),
            Values::Truth(truths) => value.as_bool().map(|it| truths.push(it)).is_some(),
        }
    }

    /// Bytes beyond those of each value.
    fn text_bytes(&self) -> usize {
        match self {
            Values::Text(texts) => texts.bytes + texts.all.len() * mem::size_of::<ByteArray>(),
            Values::Number(_) | Values::Whole(_) | Values::Truth(_) => 0,
        }
    }
}

impl Texts {
    /// What a text costs besides its bytes, which stand in the map and behind its key.
    const ENTRY: usize = 128;

    fn push(&mut self, text: &str) {
        let shared = match self.known.get(text) {
            Some(shared) => shared.clone(),
            None => {
                let new = ByteArray::from(text.as_bytes().to_vec());
                self.bytes += 2 * text.len() + Self::ENTRY;
                self.known.insert(text.into(), new.clone());
                new
            }
        };
        self.all.push(shared);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn record(fields: Vec<(&str, Shape)>) -> Shape {
        let fields = fields.into_iter().map(|(name, shape)| Field {
            name: name.into(),
            shape,
        });
        Shape::Record(fields.collect())
    }

    fn list(element: Shape) -> Shape {
        Shape::List(Box::new(element))
    }

    /// Columns by name: repetition levels, and which values are there.
    fn levels(
        nodes: &[(String, Node)],
        path: &str,
        found: &mut Vec<(String, Vec<i16>, Vec<bool>)>,
    ) {
        for (name, node) in nodes {
            let path = format!("{path}{name}");
            let mut node = node;
            while let Node::List(element) = node {
                node = element.as_ref();
            }
            match node {
                Node::Record(inner) => levels(inner, &format!("{path}."), found),
                Node::Leaf(column) => {
                    let highest = column.definition.iter().max().copied();
                    let there = column.definition.iter().map(|it| Some(*it) == highest);
                    found.push((path, column.repetition.clone(), there.collect()));
                }
                Node::List(_) => unreachable!("lists are gone into"),
            }
        }
    }

    /// The two records and the columns of Melnik et al., VLDB 2010, figures 2 and 3.
    #[test]
    fn published_records_come_apart_as_published() {
        let language = record(vec![("Code", Shape::Text), ("Country", Shape::Text)]);
        let name = record(vec![("Language", list(language)), ("Url", Shape::Text)]);
        let links = record(vec![
            ("Backward", list(Shape::Whole)),
            ("Forward", list(Shape::Whole)),
        ]);
        let Shape::Record(fields) = record(vec![
            ("DocId", Shape::Whole),
            ("Links", links),
            ("Name", list(name)),
        ]) else {
            unreachable!("a record")
        };
        let mut columns = Columns::new(&fields);
        columns.push(&json!({
            "DocId": 10,
            "Links": {"Forward": [20, 40, 60]},
            "Name": [
                {"Language": [{"Code": "en-us", "Country": "us"}, {"Code": "en"}], "Url": "http://A"},
                {"Url": "http://B"},
                {"Language": [{"Code": "en-gb", "Country": "gb"}]},
            ],
        }));
        columns.push(&json!({
            "DocId": 20,
            "Links": {"Backward": [10, 30], "Forward": [80]},
            "Name": [{"Url": "http://C"}],
        }));
        let mut found = vec![];
        levels(&columns.fields, "", &mut found);
        let (yes, no) = (true, false);
        let published = [
            ("DocId", vec![0, 0], vec![yes, yes]),
            ("Links.Backward", vec![0, 0, 1], vec![no, yes, yes]),
            ("Links.Forward", vec![0, 1, 1, 0], vec![yes; 4]),
            (
                "Name.Language.Code",
                vec![0, 2, 1, 1, 0],
                vec![yes, yes, no, yes, no],
            ),
            (
                "Name.Language.Country",
                vec![0, 2, 1, 1, 0],
                vec![yes, no, no, yes, no],
            ),
            ("Name.Url", vec![0, 1, 1, 0], vec![yes, yes, no, yes]),
        ];
        let published = published.map(|(name, levels, there)| (name.to_owned(), levels, there));
        assert_eq!(found, published);
    }

    #[test]
    fn what_does_not_fit_is_null_and_never_shifts_its_neighbours() {
        let Shape::Record(fields) = record(vec![
            ("n", Shape::Number),
            ("w", Shape::Whole),
            ("t", Shape::Truth),
            ("l", list(Shape::Number)),
        ]) else {
            unreachable!("a record")
        };
        let mut columns = Columns::new(&fields);
        columns.push(&json!({"n": "x", "w": 1.5, "t": 0, "l": 3}));
        columns.push(&json!({"n": 1, "w": 2, "t": true, "l": [null, 4]}));
        columns.push(&json!([]));
        let mut found = vec![];
        levels(&columns.fields, "", &mut found);
        let there: Vec<_> = found.into_iter().map(|(_, _, there)| there).collect();
        let single = vec![false, true, false];
        let expected = [
            single.clone(),
            single.clone(),
            single,
            vec![false, false, true, false],
        ];
        assert_eq!(there, expected);
    }
}
