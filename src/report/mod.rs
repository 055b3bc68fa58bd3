//! Renderings of a result: text with a chart, JSON, NDJSON, CSV, Parquet, and the schema of the data.
//!
//! In: [`Frame`](crate::reading::Frame)s in order into a [`Gatherer`]. Out: one [`Report`] for each
//! clip, which every format reads, so that formats cannot disagree; a [`Renderer`] writes it as a
//! [`Format`]. Speeds are in revolutions per minute, times in seconds from the start of the sound,
//! levels in decibels against full scale.
//!
//! The names in a table are those of the JSON Schema, read from it when the table is begun. Rows of a
//! Parquet file wait in memory until they are a row group of some 16 MB.
//!
//! Of many clips a [`Summarizer`] keeps a [`Brief`] of each and makes the [`Summary`], machine by
//! machine; [`Pieces`] are their results clip by clip, to be put together later.
//!
//! A [`Sheet`] is the page that goes with a machine; [`history`] and [`machines`] show the job book.
//!
//! A picture takes the sound as well as the frames: a [`Spectrogram`] gathers them into a [`Course`] of
//! bounded length, and a [`Drawing`] of it is an SVG or a PNG.
//!
//! An [`Expectation`] says what a clip should read; a [`Comparison`] takes the frames and says what
//! differs.
//!
//! Memory does not grow with the length of a clip: frames go through a temporary file where they
//! are shown at all ([`KeptFrames`]), and the chart pools them in a fixed number of buckets
//! ([`Trace`]). Numbers that are not finite never reach a format: they become null, and so does
//! the level of digital silence.
mod advice;
mod brief;
mod card;
mod column;
mod columns;
mod comparison;
mod course;
mod csv_table;
mod expectation;
mod frames;
mod gather;
mod heat;
mod history;
mod lanes;
mod layout;
mod lettering;
mod look;
mod machine_words;
mod page;
mod palette;
mod panels;
mod parquet_table;
mod pen;
mod picture;
mod pieces;
mod pixels;
mod plot;
mod render;
mod result;
mod room;
mod scales;
mod schema;
mod shape;
mod sheet;
mod spectrogram;
mod summary;
mod table;
mod text;
mod tidy;
mod trace;
pub mod words;

pub use brief::{Brief, Finding};
pub use card::{card_html, card_text};
pub use column::Column;
pub use comparison::{Comparison, Difference};
pub use course::Course;
pub use expectation::{Expectation, ExpectationError, Stretch};
pub use frames::{FrameKeeper, FrameLine, KeptFrames};
pub use gather::Gatherer;
pub use history::{air_notice, history, machines};
pub use look::{Glyphs, Look, Tone};
pub use palette::Theme;
pub use picture::{Drawing, PictureError};
pub use pieces::Pieces;
pub use render::{Format, Renderer, Rows};
pub use result::{ClipFacts, Layout, Notice, Report};
pub use schema::{schema, summary_schema};
pub use sheet::{Picture, Sheet};
pub use spectrogram::Spectrogram;
pub use summary::{MachineSummary, Spread, Summarizer, Summary, SummaryLayout};
pub use trace::{Bucket, KINDS, Trace};
