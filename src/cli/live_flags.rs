//! The flags that say where live sound comes from and whether it is kept.
use std::path::{Path, PathBuf};

use clap::Args;

use super::trouble::Trouble;
use crate::capture::{
    Facts, LiveSource, Pace, RawFormat, Recording, RecordingKind, Source, microphones,
};

/// Where the sound comes from.
#[derive(Debug, Default, Args)]
pub struct LiveFlags {
    /// The microphone, by its name or id in --list-mics [default: the system's choice]
    #[arg(long, value_name = "NAME", conflicts_with = "from")]
    pub mic: Option<String>,
    /// A recording instead of the microphone, or `-` for standard input
    #[arg(long, value_name = "FILE")]
    pub from: Option<PathBuf>,
    /// Samples without a header on standard input, for example s16le:48000:1
    #[arg(long, value_name = "CODING:RATE:CHANNELS", requires = "from")]
    pub raw: Option<String>,
    /// Take a recording as fast as it comes instead of at its own pace
    #[arg(long, requires = "from")]
    pub no_pace: bool,
    /// Keep the sound in this file, .wav or .flac
    #[arg(long, value_name = "FILE")]
    pub record: Option<PathBuf>,
}

impl LiveFlags {
    /// Where the sound comes from.
    pub fn source(&self) -> Result<LiveSource, Trouble> {
        let Some(path) = &self.from else {
            let name = self.mic.clone();
            return Ok(LiveSource::Microphone { name });
        };
        let stream = path.as_os_str() == "-";
        let source = match &self.raw {
            Some(text) if stream => text
                .parse::<RawFormat>()
                .map(Source::Raw)
                .map_err(|fault| Trouble::usage(format!("--raw: {fault}"), fault.hint()))?,
            Some(text) => {
                return Err(Trouble::usage(
                    "--raw is for standard input only",
                    format!("send the samples in: `--from - --raw {text} < FILE`"),
                ));
            }
            None if stream => Source::Stdin,
            None => Source::File(path.clone()),
        };
        let pace = if self.no_pace {
            Pace::AsItComes
        } else {
            Pace::RealTime
        };
        Ok(LiveSource::Clip { source, pace })
    }

    /// What the source is called in messages.
    pub fn name(&self) -> String {
        match (&self.from, &self.mic) {
            (Some(path), _) => path.to_string_lossy().into_owned(),
            (None, Some(name)) => name.clone(),
            (None, None) => "microphone".into(),
        }
    }

    /// The file in which the sound is kept, and how; looked at before anything is opened.
    pub fn recording(&self) -> Result<Option<(&Path, RecordingKind)>, Trouble> {
        let Some(path) = &self.record else {
            return Ok(None);
        };
        if self.from.as_deref() == Some(path) {
            return Err(Trouble::usage(
                "--record names the recording that is heard",
                "name another file, since this one would be lost",
            ));
        }
        let kind = RecordingKind::of(path).ok_or_else(|| {
            Trouble::usage(
                format!("--record {}: no kind that is written", path.display()),
                "end the name in .wav or .flac",
            )
        })?;
        Ok(Some((path, kind)))
    }
}

/// Starts to keep the sound.
pub fn record(path: &Path, kind: RecordingKind, facts: &Facts) -> Result<Recording, Trouble> {
    Recording::create(path, kind, facts)
        .map_err(|error| Trouble::output(&path.to_string_lossy(), &error))
}

/// The microphones, a line each: the default with a star, the id, the name.
pub fn list() -> Result<String, Trouble> {
    let all = microphones().map_err(|fault| Trouble::fault(None, &fault))?;
    let mut text = String::new();
    for one in all {
        let mark = if one.default { '*' } else { ' ' };
        text.push_str(&format!("{mark} {}  ({})\n", one.name, one.id));
    }
    Ok(text)
}
