//! How the results of `read` are laid out: formats, rows, and flags that go together or do not.
use clap::ValueEnum;
use clap::builder::PossibleValue;

use super::args::Read;
use super::trouble::Trouble;
use crate::report::{Format, Rows};

impl ValueEnum for Format {
    fn value_variants<'a>() -> &'a [Self] {
        &[
            Format::Text,
            Format::Json,
            Format::Ndjson,
            Format::Csv(Rows::Frames),
            Format::Parquet(Rows::Clips),
        ]
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        Some(match self {
            Format::Text => PossibleValue::new("text").help(
                "for people: a sentence, a chart, spans, advice; in a folder a line for each clip",
            ),
            Format::Json => PossibleValue::new("json").help("everything; a list for several clips"),
            Format::Ndjson => PossibleValue::new("ndjson").help("everything, a line for each clip"),
            Format::Csv(_) => PossibleValue::new("csv")
                .help("a table for spreadsheets, with a row for each frame or each clip (--rows)"),
            Format::Parquet(_) => PossibleValue::new("parquet").help(
                "a table by columns for DuckDB, pandas and the like, with a row for each clip or each frame; needs -o",
            ),
        })
    }
}

impl ValueEnum for Rows {
    fn value_variants<'a>() -> &'a [Self] {
        &[Rows::Clips, Rows::Frames]
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        Some(match self {
            Rows::Clips => PossibleValue::new("clips").help("a clip: what was heard in it"),
            Rows::Frames => {
                PossibleValue::new("frames").help("a moment of a clip, 62.5 each second")
            }
        })
    }
}

impl Read {
    /// The arguments with `--rows` in the format.
    ///
    /// # Errors
    /// Where the format has no rows, or fits no terminal and no pipe.
    pub fn settled(mut self) -> Result<Read, Trouble> {
        self.format = match (self.format, self.rows) {
            (Format::Csv(_), Some(rows)) => Format::Csv(rows),
            (Format::Parquet(_), Some(rows)) => Format::Parquet(rows),
            (format, None) => format,
            (Format::Text | Format::Json | Format::Ndjson, Some(_)) => {
                return Err(Trouble::usage(
                    "--rows is for tables: --format csv or --format parquet",
                    "json and ndjson hold each clip with its frames; leave --rows out",
                ));
            }
        };
        // The end of the file says where everything is, so nobody can read it as it comes.
        let printed = self.output.as_ref().is_none_or(|it| it.as_os_str() == "-");
        if matches!(self.format, Format::Parquet(_)) && printed {
            return Err(Trouble::usage(
                "--format parquet is for a file, not for a terminal or a pipe",
                "name the file: `-o clips.parquet`",
            ));
        }
        Ok(self)
    }
}
