//! One result, many formats.
use std::io::{self, Write};

use serde::Serialize;

use super::advice;
use super::frames::FrameLine;
use super::look::Look;
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
    /// A table of the frames.
    Csv,
}

impl Format {
    /// Whether it shows each frame.
    pub fn shows_frames(self) -> bool {
        match self {
            Format::Text => false,
            Format::Json | Format::Ndjson | Format::Csv => true,
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
            Format::Csv => {
                if self.written == 0 {
                    self.out.write_all(&csv_head())?;
                }
                self.piece(report)?;
            }
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
            Format::Csv => self.csv(report),
        }
    }

    /// Ends the output.
    ///
    /// # Errors
    /// As for [`Renderer::write`].
    pub fn finish(mut self) -> io::Result<()> {
        match (self.format, self.several, self.written) {
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

    fn csv(&mut self, report: &Report) -> io::Result<()> {
        /// A frame with the clip that it belongs to.
        #[derive(Serialize)]
        struct Row<'a> {
            clip: &'a str,
            line: FrameLine,
        }
        let mut rows = csv::WriterBuilder::new()
            .has_headers(false)
            .from_writer(&mut self.out);
        report.frames.each(|line| {
            rows.serialize(Row {
                clip: &report.clip.path,
                line,
            })
            .map_err(of_the_output)
        })?;
        rows.flush()
    }
}

/// The first line of the CSV table.
pub(super) fn csv_head() -> Vec<u8> {
    (CSV_COLUMNS.join(",") + "\n").into_bytes()
}

/// The head of the CSV table: the clip, then the fields of a frame.
const CSV_COLUMNS: [&str; 15] = [
    "clip",
    "t_s",
    "rpm",
    "rpm_low",
    "rpm_high",
    "confidence",
    "firing",
    "skip_ratio",
    "level_dbfs",
    "unreadable",
    "rpm_other",
    "pattern",
    "sub_order_db",
    "variation",
    "clipped",
];

/// The error of the output itself: the table writer's own conversion hides what kind it is.
fn of_the_output(error: csv::Error) -> io::Error {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    }
}
