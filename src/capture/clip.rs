//! A recorded or streaming sound as blocks of samples.
use std::fs::File;
use std::io::{self, Read, Seek};
use std::path::{Path, PathBuf};

use super::coded::Coded;
use super::fault::Foreign;
use super::input::Input;
use super::kind;
use super::raw::{RawFormat, Samples};
use super::soundness::Soundness;
use super::wav;
use super::{Fault, Warning};
use crate::units::Seconds;

/// Where a sound comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// A file of any kind that is read.
    File(PathBuf),
    /// Standard input, while it is still being written: a WAV or another kind that needs no look
    /// ahead.
    Stdin,
    /// Standard input, samples without a header.
    Raw(RawFormat),
}

/// What is known of a clip before its samples are read.
#[derive(Clone, Debug, PartialEq)]
pub struct Facts {
    /// Frames a second, 8,000 to 192,000.
    pub sample_rate: u32,
    /// 1 to 8.
    pub channels: usize,
    /// How long the clip says it is, in seconds; `None` where it does not say.
    pub seconds: Option<f64>,
    /// The kind of recording in words, for example "AAC in MP4".
    pub format: String,
}

/// A sound that is read block by block, in memory that does not grow with its length.
pub struct Clip {
    facts: Facts,
    reader: Reader,
    soundness: Soundness,
    warnings: Vec<Warning>,
    ended: bool,
    frames: u64,
}

enum Reader {
    Plain {
        samples: Box<Samples>,
        /// A file, not a pipe: it should hold what its head says.
        file: bool,
        /// Whether the head says how long it is.
        length_known: bool,
    },
    Coded(Box<Coded>),
}

/// Opens a sound and reads as much as is needed to know its facts.
///
/// # Errors
/// A [`Fault`] if nothing can be read.
pub fn open(source: &Source) -> Result<Clip, Fault> {
    match source {
        Source::File(path) => Clip::from_path(path),
        Source::Stdin => Clip::from_pipe(io::stdin()),
        Source::Raw(format) => Clip::from_raw(io::stdin(), *format),
    }
}

impl Clip {
    /// Opens a file, or the far end of a named pipe.
    ///
    /// # Errors
    /// A [`Fault`] if nothing can be read.
    pub fn from_path(path: &Path) -> Result<Self, Fault> {
        let unreadable = |error: io::Error| Fault::unreadable(&error);
        let what = path.metadata().map_err(unreadable)?;
        if what.is_dir() {
            return Err(Fault::Directory);
        }
        let file = File::open(path).map_err(unreadable)?;
        let input = if what.is_file() {
            Input::file(file).map_err(unreadable)?
        } else {
            Input::pipe(file)
        };
        Self::new(input, &path.to_string_lossy())
    }

    /// Opens bytes that can be searched, such as a clip in memory.
    ///
    /// # Errors
    /// A [`Fault`] if nothing can be read.
    pub fn from_bytes(bytes: impl Read + Seek + Send + Sync + 'static) -> Result<Self, Fault> {
        Self::new(
            Input::file(bytes).map_err(|error| Fault::unreadable(&error))?,
            "CLIP",
        )
    }

    /// Opens a stream that is still being written.
    ///
    /// # Errors
    /// A [`Fault`] if nothing can be read.
    pub fn from_pipe(pipe: impl Read + Send + Sync + 'static) -> Result<Self, Fault> {
        Self::new(Input::pipe(pipe), "CLIP")
    }

    /// Opens a stream of samples without a header.
    ///
    /// # Errors
    /// [`Fault::SampleRate`] or [`Fault::Channels`] if these are out of range.
    pub fn from_raw(
        pipe: impl Read + Send + Sync + 'static,
        format: RawFormat,
    ) -> Result<Self, Fault> {
        super::raw::in_range(format.sample_rate, format.channels)?;
        let mut input = Input::pipe(pipe);
        input.let_go();
        Ok(Self::plain(input, format, None, "raw", false))
    }

    fn new(mut input: Input, name: &str) -> Result<Self, Fault> {
        let unreadable = |error: io::Error| Fault::unreadable(&error);
        let mut start = vec![0; 16];
        let count = input.read_full(&mut start).map_err(unreadable)?;
        start.truncate(count);
        input.rewind().map_err(unreadable)?;
        if start.is_empty() {
            return Err(Fault::Empty);
        }
        if let Some(kind) = kind::foreign(&start) {
            return Err(Fault::Foreign {
                kind,
                name: name.into(),
            });
        }
        if wav::recognized(&start) {
            let file = input.len().is_some();
            if let Some(head) = wav::head(&mut input)? {
                input.let_go();
                return Ok(Self::plain(input, head.format, head.length, "WAV", file));
            }
            input.rewind().map_err(unreadable)?;
        }
        if kind::is_text(&mut input).map_err(unreadable)? {
            return Err(Fault::Text);
        }
        let known = kind::known(&mut input, &start)?;
        input.let_go();
        match Coded::new(input, &known.expected) {
            Ok(coded) => Ok(Self::coded(coded)),
            Err(Fault::NoSound | Fault::Coding { .. }) if known.speech => Err(Fault::Foreign {
                kind: Foreign::Amr,
                name: name.into(),
            }),
            Err(fault) => Err(fault),
        }
    }

    fn plain(
        input: Input,
        format: RawFormat,
        length: Option<u64>,
        container: &str,
        file: bool,
    ) -> Self {
        let frame = (format.coding.bytes() * format.channels) as u64;
        let facts = Facts {
            sample_rate: format.sample_rate,
            channels: format.channels,
            seconds: length.map(|bytes| (bytes / frame) as f64 / f64::from(format.sample_rate)),
            format: format!("{container}, {}", format.coding),
        };
        let samples = Box::new(Samples::new(input, format, length));
        let reader = Reader::Plain {
            samples,
            file,
            length_known: length.is_some(),
        };
        Self::start(facts, reader, format.coding.step())
    }

    fn coded(coded: Coded) -> Self {
        let facts = Facts {
            sample_rate: coded.rate(),
            channels: coded.channels(),
            seconds: coded.declared().map(|length| length.0),
            format: coded.format(),
        };
        Self::start(facts, Reader::Coded(Box::new(coded)), 1.0 / 32_768.0)
    }

    fn start(facts: Facts, reader: Reader, step: f32) -> Self {
        let soundness = Soundness::new(facts.channels, step);
        Clip {
            facts,
            reader,
            soundness,
            warnings: Vec::new(),
            ended: false,
            frames: 0,
        }
    }

    /// Sample rate, channels, declared length and kind.
    pub fn facts(&self) -> &Facts {
        &self.facts
    }

    /// Replaces `out` by the next interleaved samples: whole frames, finite, full scale 1, at most
    /// about a second. `false` is the end.
    ///
    /// # Errors
    /// A [`Fault`] if reading fails on the way, or at the end if the sound as a whole cannot be
    /// judged: no samples, silence, too short, no usable numbers. After it comes the end.
    pub fn next_block(&mut self, out: &mut Vec<f32>) -> Result<bool, Fault> {
        out.clear();
        while !self.ended {
            let more = match &mut self.reader {
                Reader::Plain { samples, .. } => samples.next(out),
                Reader::Coded(coded) => coded.next(out),
            };
            match more {
                Ok(true) if out.is_empty() => {}
                Ok(true) => {
                    self.frames += (out.len() / self.facts.channels) as u64;
                    self.soundness.take(out);
                    return Ok(true);
                }
                Ok(false) => {
                    self.ended = true;
                    self.end()?;
                }
                Err(fault) => {
                    self.ended = true;
                    out.clear();
                    return Err(fault);
                }
            }
        }
        Ok(false)
    }

    /// What makes a reading less sure. Complete once [`Clip::next_block`] has told the end.
    pub fn warnings(&self) -> &[Warning] {
        &self.warnings
    }

    fn end(&mut self) -> Result<(), Fault> {
        let seconds = |frames: u64| Seconds(frames as f64 / f64::from(self.facts.sample_rate));
        let read = seconds(self.frames);
        match &self.reader {
            Reader::Plain { file: false, .. } => {}
            Reader::Plain {
                length_known: false,
                ..
            } => {
                self.warnings.push(Warning::LengthMissing { read });
            }
            Reader::Plain { samples, .. } => {
                if samples.missing().is_some_and(|bytes| bytes > 0) {
                    let declared = self.facts.seconds.map(Seconds);
                    self.warnings.push(Warning::CutOff { read, declared });
                }
            }
            Reader::Coded(coded) => self.warnings = coded.warnings(),
        }
        self.warnings
            .extend(self.soundness.verdict(self.facts.sample_rate)?);
        Ok(())
    }
}
