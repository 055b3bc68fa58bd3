//! Results clip by clip: pieces that stand by themselves, so that they can be put together later.
use std::io::{self, Write};

use super::advice;
use super::brief;
use super::csv_table;
use super::look::Look;
use super::render::{Format, Renderer};
use super::result::Report;
use crate::guide::{self, Caution};
use crate::machine::Profile;

/// How the results of many clips are put together from a piece for each.
#[derive(Clone, Debug)]
pub struct Pieces {
    format: Format,
    look: Look,
    /// Before the first.
    pub head: Vec<u8>,
    /// Between two.
    pub between: &'static [u8],
    /// After the last.
    pub tail: &'static [u8],
    /// Instead of all that where there is no piece at all.
    pub none: Vec<u8>,
}

impl Pieces {
    /// Those of a format; none for one whose results are of one piece. A text has one line for each
    /// clip.
    pub fn of(format: Format, look: Look) -> Option<Pieces> {
        let (head, between, tail, none): (Vec<u8>, &[u8], &[u8], Vec<u8>) = match format {
            Format::Text => {
                let head = brief::head(&look).into_bytes();
                (head, b"", b"", vec![])
            }
            Format::Json => (b"[\n".into(), b",\n", b"]\n", b"[]\n".into()),
            Format::Ndjson => (vec![], b"", b"", vec![]),
            Format::Csv(rows) => {
                let head = csv_table::head(rows).ok()?;
                (head.clone(), b"", b"", head)
            }
            Format::Parquet(_) => return None,
        };
        Some(Pieces {
            format,
            look,
            head,
            between,
            tail,
            none,
        })
    }

    /// The cautions that go with these machines, each once, as a text ends.
    pub fn cautions<'a>(machines: impl Iterator<Item = &'a Profile>, look: &Look) -> String {
        let mut all: Vec<Caution> = vec![];
        for caution in machines.flat_map(guide::cautions) {
            if !all.contains(&caution) {
                all.push(caution);
            }
        }
        advice::cautions(&all, look)
    }

    /// Writes the piece of one clip.
    ///
    /// # Errors
    /// Where the output cannot be written.
    pub fn write(&self, out: &mut impl Write, report: &Report) -> io::Result<()> {
        match self.format {
            Format::Text => out.write_all(brief::line(report, &self.look).as_bytes()),
            Format::Json | Format::Ndjson | Format::Csv(_) | Format::Parquet(_) => {
                Renderer::new(out, self.format, false, self.look).piece(report)
            }
        }
    }
}
