//! How the results of `read` are laid out: flags that go together, and flags that do not.
use super::args::Read;
use super::trouble::Trouble;
use crate::report::Format;

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
