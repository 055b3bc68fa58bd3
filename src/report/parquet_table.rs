//! The table as a Parquet file, written a row group at a time.
use std::io::{self, Write};
use std::mem;
use std::sync::Arc;

use parquet::basic::{Compression, ConvertedType, LogicalType, Repetition, Type as Physical};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{Type, TypePtr};
use serde_json::Value;

use super::columns::Columns;
use super::frames::FrameLine;
use super::render::Rows;
use super::result::{Layout, Report};
use super::shape::{self, Field, Shape};
use super::tidy::as_written;

/// Bytes of rows that wait for their row group. About 60,000 frames, or some hundreds of clips.
const ROW_GROUP: usize = 16 * 1024 * 1024;

/// Writes results one after the other into a Parquet file. Memory grows neither with their number nor
/// with their length. Each row group is made in memory first, so that an error of the output stays
/// what it is.
pub struct ParquetTable {
    file: SerializedFileWriter<Vec<u8>>,
    rows: Rows,
    columns: Columns,
}

impl ParquetTable {
    /// A table with a row for each of `rows`.
    ///
    /// # Errors
    /// Where the schema of the data fits no Parquet file.
    pub fn new(rows: Rows) -> io::Result<Self> {
        let fields = match rows {
            Rows::Clips => shape::of_clips(),
            Rows::Frames => shape::of_frames(),
        };
        let layout = serde_json::to_value(Layout::Reading1)?;
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_key_value_metadata(Some(vec![KeyValue::new(
                "schema".to_owned(),
                layout.as_str().map(str::to_owned),
            )]))
            .build();
        let schema = parquet_schema(&fields)?;
        Ok(ParquetTable {
            file: SerializedFileWriter::new(vec![], schema, Arc::new(properties))?,
            rows,
            columns: Columns::new(&fields),
        })
    }

    /// Takes the next result; writes row groups that are full.
    ///
    /// # Errors
    /// Where the output cannot be written, or the frames of the result cannot be read back.
    pub fn write(&mut self, report: &Report, out: &mut impl Write) -> io::Result<()> {
        match self.rows {
            Rows::Clips => self.push(&as_written(report)?, out),
            Rows::Frames => report.frames.each(|line| {
                let row = frame_row(&report.clip.path, &line)?;
                self.push(&row, out)
            }),
        }
    }

    /// Writes the rows that wait, and the end of the file.
    ///
    /// # Errors
    /// Where the output cannot be written.
    pub fn finish(mut self, out: &mut impl Write) -> io::Result<()> {
        self.flush(out)?;
        out.write_all(&self.file.into_inner()?)
    }

    fn push(&mut self, row: &Value, out: &mut impl Write) -> io::Result<()> {
        self.columns.push(row);
        if self.columns.bytes() >= ROW_GROUP {
            self.flush(out)?;
        }
        Ok(())
    }

    fn flush(&mut self, out: &mut impl Write) -> io::Result<()> {
        if self.columns.rows() > 0 {
            let group = self.file.next_row_group()?;
            self.columns.write(group)?;
            self.file.flush()?;
            out.write_all(&mem::take(self.file.inner_mut()))?;
        }
        Ok(())
    }
}

fn frame_row(path: &str, line: &FrameLine) -> io::Result<Value> {
    let mut row = serde_json::to_value(line)?;
    row["path"] = path.into();
    Ok(row)
}

/// The Parquet schema of a table with these fields.
///
/// # Errors
/// Where a field has a name that Parquet refuses.
fn parquet_schema(fields: &[Field]) -> Result<TypePtr, ParquetError> {
    let fields = fields.iter().map(|it| parquet_type(&it.name, &it.shape));
    let schema = Type::group_type_builder("engine_note")
        .with_fields(fields.collect::<Result<_, _>>()?)
        .build()?;
    Ok(Arc::new(schema))
}

fn parquet_type(name: &str, shape: &Shape) -> Result<TypePtr, ParquetError> {
    let single = |physical, logical| {
        Type::primitive_type_builder(name, physical)
            .with_repetition(Repetition::OPTIONAL)
            .with_logical_type(logical)
            .build()
    };
    let built = match shape {
        Shape::Text => single(Physical::BYTE_ARRAY, Some(LogicalType::String)),
        Shape::Number => single(Physical::DOUBLE, None),
        Shape::Whole => single(Physical::INT64, None),
        Shape::Truth => single(Physical::BOOLEAN, None),
        Shape::Record(fields) => {
            let fields = fields.iter().map(|it| parquet_type(&it.name, &it.shape));
            Type::group_type_builder(name)
                .with_repetition(Repetition::OPTIONAL)
                .with_fields(fields.collect::<Result<_, _>>()?)
                .build()
        }
        Shape::List(element) => {
            let repeated = Type::group_type_builder("list")
                .with_repetition(Repetition::REPEATED)
                .with_fields(vec![parquet_type("element", element)?])
                .build()?;
            Type::group_type_builder(name)
                .with_repetition(Repetition::OPTIONAL)
                .with_converted_type(ConvertedType::LIST)
                .with_logical_type(Some(LogicalType::List))
                .with_fields(vec![Arc::new(repeated)])
                .build()
        }
    };
    built.map(Arc::new)
}
