//! The table as text, for spreadsheets and for everything else that reads CSV.
use std::io::{self, Write};

use serde::Serialize;
use serde_json::Value;

use super::frames::FrameLine;
use super::render::Rows;
use super::result::Report;
use super::shape::{self, single_values};
use super::tidy::as_written;

/// The names of the columns: as in the JSON Schema, with dots between the levels.
///
/// # Errors
/// None that is known: it is written in memory.
pub fn head(rows: Rows) -> io::Result<Vec<u8>> {
    let fields = match rows {
        Rows::Clips => shape::of_clips_in_brief(),
        Rows::Frames => shape::of_frames(),
    };
    let names = single_values(&fields)
        .into_iter()
        .map(|path| path.join("."));
    let mut out = vec![];
    let mut table = table(&mut out);
    table.write_record(names).map_err(of_the_output)?;
    table.flush()?;
    drop(table);
    Ok(out)
}

/// The rows of a result.
///
/// # Errors
/// Where the output cannot be written, or the frames of the result cannot be read back.
pub fn write(out: &mut impl Write, rows: Rows, report: &Report) -> io::Result<()> {
    match rows {
        Rows::Clips => clip(out, report),
        Rows::Frames => frames(out, report),
    }
}

fn clip(out: &mut impl Write, report: &Report) -> io::Result<()> {
    let values = as_written(report)?;
    let fields = shape::of_clips_in_brief();
    let cells = single_values(&fields).into_iter().map(|path| {
        let value = path.iter().fold(&values, |value, name| &value[*name]);
        match value {
            Value::Null => String::new(),
            Value::String(text) => text.clone(),
            other => other.to_string(),
        }
    });
    let mut table = table(out);
    table.write_record(cells).map_err(of_the_output)?;
    table.flush()
}

fn frames(out: &mut impl Write, report: &Report) -> io::Result<()> {
    /// A frame with the clip that it belongs to.
    #[derive(Serialize)]
    struct Row<'a> {
        path: &'a str,
        line: FrameLine,
    }
    let mut table = table(out);
    report.frames.each(|line| {
        table
            .serialize(Row {
                path: &report.clip.path,
                line,
            })
            .map_err(of_the_output)
    })?;
    table.flush()
}

fn table<W: Write>(out: W) -> csv::Writer<W> {
    csv::WriterBuilder::new()
        .has_headers(false)
        .from_writer(out)
}

/// The error of the output itself: the table writer's own conversion hides what kind it is.
fn of_the_output(error: csv::Error) -> io::Error {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    }
}
