//! One clip from its first sample to its last: blocks in, frames out.
use super::exit::Outcome;
use super::inputs::Input;
use super::progress::Progress;
use super::trouble::Trouble;
use crate::capture::{self, Fault, RawFormat, Source, Warning};
use crate::machine::Profile;
use crate::reading::{Frame, Listener, Look};
use crate::report::{ClipFacts, Notice};

/// What a clip turned out to be once all of it was heard.
pub struct Heard {
    /// Rate, channels, length.
    pub facts: ClipFacts,
    /// What may make the reading worse.
    pub warnings: Vec<Notice>,
    /// The clip was read, but holds nothing that could be an engine.
    pub silent: Option<Trouble>,
}

/// What comes of a clip while it is heard.
pub enum Part<'a> {
    /// Sound of each channel at the working rate, before the frames that are read in it.
    Sound(&'a [Vec<f32>]),
    /// The next frame.
    Frame(&'a Frame),
}

/// Hears a clip and hands each frame in order to `take`.
///
/// # Errors
/// Where the clip cannot be read, and those of `take`.
pub fn hear(
    input: &Input,
    raw: Option<RawFormat>,
    machine: &Profile,
    progress: &Progress,
    mut take: impl FnMut(&Frame) -> Result<(), Trouble>,
) -> Result<Heard, Trouble> {
    hear_all(input, raw, machine, progress, |part| match part {
        Part::Sound(_) => Ok(()),
        Part::Frame(frame) => take(frame),
    })
}

/// Hears a clip and hands its sound and its frames to `take`.
///
/// # Errors
/// Where the clip cannot be read, and those of `take`.
pub fn hear_all(
    input: &Input,
    raw: Option<RawFormat>,
    machine: &Profile,
    progress: &Progress,
    mut take: impl FnMut(Part) -> Result<(), Trouble>,
) -> Result<Heard, Trouble> {
    let name = input.name();
    let trouble = |fault: &Fault| {
        Trouble::input(
            format!("{name}: {fault}"),
            fault.hint(),
            Outcome::from(fault),
        )
    };
    let source = match (input, raw) {
        (Input::File(path), _) => Source::File(path.clone()),
        (Input::Stream, None) => Source::Stdin,
        (Input::Stream, Some(format)) => Source::Raw(format),
    };
    let mut clip = capture::open(&source).map_err(|fault| trouble(&fault))?;
    let (rate, channels) = (clip.facts().sample_rate, clip.facts().channels);
    let mut listener =
        Listener::new(rate, channels, machine, Look::Ahead).map_err(|fault| trouble(&fault))?;
    let (mut block, mut frames) = (vec![], vec![]);
    let mut samples = 0u64;
    let seconds = |samples: u64| samples as f64 / channels.max(1) as f64 / f64::from(rate.max(1));
    let mut silent = None;
    loop {
        match clip.next_block(&mut block) {
            Ok(true) => listener.push(&block, &mut frames),
            Ok(false) => break,
            // Silence was heard to its end: that is a reading, and it says that there is no engine.
            Err(fault @ Fault::Silent { .. }) => {
                silent = Some(trouble(&fault));
                break;
            }
            Err(fault) => return Err(trouble(&fault)),
        }
        samples += block.len() as u64;
        take(Part::Sound(listener.sound()))?;
        frames
            .drain(..)
            .try_for_each(|frame| take(Part::Frame(&frame)))?;
        progress.heard(seconds(block.len() as u64));
    }
    listener.finish(&mut frames);
    take(Part::Sound(listener.sound()))?;
    frames
        .drain(..)
        .try_for_each(|frame| take(Part::Frame(&frame)))?;
    Ok(Heard {
        facts: ClipFacts {
            path: name,
            seconds: seconds(samples),
            sample_rate: rate,
            channels,
        },
        warnings: clip.warnings().iter().map(notice).collect(),
        silent,
    })
}

fn notice(warning: &Warning) -> Notice {
    Notice {
        words: warning.to_string(),
        hint: warning.hint().into(),
    }
}
