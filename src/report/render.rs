//! One result, many formats.
use std::io::{self, Write};

use serde::Serialize;

use super::advice;
use super::csv_table;
use super::look::Look;
use super::parquet_table::ParquetTable;
use super::result::Report;
use super::text;
use super::tidy::Tidy;
use crate::guide::Caution;

/// How a result is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Format {
    /// For people: a sentence, a chart, spans, advice.
    #[default]
    Text,
    /// One JSON object, or a list of them for several clips.
    Json,
    /// JSON, each clip on a line of its own.
    Ndjson,
    /// A table as text.
    Csv(Rows),
    /// A table as a file by columns.
    Parquet(Rows),
}

/// What stands in a row of a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rows {
    /// A clip: what was heard in it and what follows.
    Clips,
    /// A frame of a clip: what was heard around one moment.
    Frames,
}

impl Format {
    /// Whether it shows each frame.
    pub fn shows_frames(self) -> bool {
        match self {
            Format::Text | Format::Csv(Rows::Clips) | Format::Parquet(Rows::Clips) => false,
            Format::Json
            | Format::Ndjson
            | Format::Csv(Rows::Frames)
            | Format::Parquet(Rows::Frames) => true,
        }
    }
}

/// Writes results one after the other.
pub struct Renderer<W: Write> {
    out: W,
    format: Format,
    /// A list, even if it turns out to hold one result or none.
    several: bool,
    look: Look,
    written: usize,
    /// Cautions of the results so far, each once: they stand at the end of a text.
    cautions: Vec<Caution>,
    /// The rows of a Parquet file that wait for their group.
    table: Option<ParquetTable>,
}

impl<W: Write> Renderer<W> {
    /// A renderer for one result, or for `several`.
    pub fn new(out: W, format: Format, several: bool, look: Look) -> Self {
        Renderer {
            out,
            format,
            several,
            look,
            written: 0,
            cautions: Vec::new(),
            table: None,
        }
    }

    /// Writes the next result.
    ///
    /// # Errors
    /// Where the output cannot be written, [`io::ErrorKind::BrokenPipe`] among them.
    pub fn write(&mut self, report: &Report) -> io::Result<()> {
        match self.format {
            Format::Text => {
                if self.written > 0 {
                    writeln!(self.out)?;
                }
                self.piece(report)?;
                for caution in &report.advice.cautions {
                    if !self.cautions.contains(caution) {
                        self.cautions.push(caution.clone());
                    }
                }
            }
            Format::Json => {
                if self.several {
                    self.out
                        .write_all(if self.written == 0 { b"[\n" } else { b",\n" })?;
                }
                self.piece(report)?;
            }
            Format::Ndjson => self.piece(report)?,
            Format::Csv(rows) => {
                if self.written == 0 {
                    self.out.write_all(&csv_table::head(rows)?)?;
                }
                self.piece(report)?;
            }
            Format::Parquet(_) => self.piece(report)?,
        }
        self.written += 1;
        self.out.flush()
    }

    /// Writes a result without what stands before, between and after results.
    pub(super) fn piece(&mut self, report: &Report) -> io::Result<()> {
        match self.format {
            Format::Text => {
                let text = text::render(report, self.several, &self.look);
                self.out.write_all(text.as_bytes())
            }
            Format::Json => self.json(report, Tidy::lines()),
            Format::Ndjson => {
                self.json(report, Tidy::one_line())?;
                self.out.write_all(b"\n")
            }
            Format::Csv(rows) => csv_table::write(&mut self.out, rows, report),
            Format::Parquet(rows) => {
                let mut table = self.parquet(rows)?;
                table.write(report, &mut self.out)?;
                self.table = Some(table);
                Ok(())
            }
        }
    }

    /// Ends the output.
    ///
    /// # Errors
    /// As for [`Renderer::write`].
    pub fn finish(mut self) -> io::Result<()> {
        match (self.format, self.several, self.written) {
            (Format::Parquet(rows), _, _) => {
                self.parquet(rows)?.finish(&mut self.out)?;
            }
            (Format::Csv(rows), _, 0) => self.out.write_all(&csv_table::head(rows)?)?,
            (Format::Json, true, 0) => self.out.write_all(b"[]\n")?,
            (Format::Json, true, _) => self.out.write_all(b"]\n")?,
            (Format::Text, _, _) => {
                let cautions = advice::cautions(&self.cautions, &self.look);
                self.out.write_all(cautions.as_bytes())?;
            }
            _ => {}
        }
        self.out.flush()
    }

    fn json(&mut self, report: &Report, tidy: Tidy) -> io::Result<()> {
        let mut serializer = serde_json::Serializer::with_formatter(&mut self.out, tidy);
        report.serialize(&mut serializer).map_err(io::Error::from)
    }

    /// The table so far, begun where it was not.
    fn parquet(&mut self, rows: Rows) -> io::Result<ParquetTable> {
        self.table
            .take()
            .map_or_else(|| ParquetTable::new(rows), Ok)
    }
}
