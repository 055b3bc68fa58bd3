//! The pictures of a job sheet: its clips, read again where they can still be found.
use std::path::Path;

use super::exit::Outcome;
use super::inputs::Input;
use super::progress::Progress;
use super::read::{Done, gathered_with};
use super::terminal::note;
use super::trouble::Trouble;
use crate::book::{Clip, Digest, Moment, Visit};
use crate::machine::Profile;
use crate::report::{Drawing, Format, Picture, Spectrogram};

/// Reads a clip and draws it.
pub fn with_picture(
    path: &Path,
    machine: &Profile,
    title: &str,
) -> Result<(Done, Picture), Trouble> {
    let progress = Progress::new(1);
    let mut spectrogram = Spectrogram::new();
    let done = gathered_with(
        &Input::File(path.to_path_buf()),
        None,
        machine,
        Format::Text,
        &progress,
        Some(&mut spectrogram),
    )?;
    let course = spectrogram.finish();
    let picture = Drawing::new(&course, &done.report)
        .for_sheet(format!("{title}: {}", short(path)))
        .map_err(|error| Trouble::input(&error, error.hint(), Outcome::Unreadable))?;
    Ok((done, picture))
}

/// The pictures of a visit: its last clip as found and its last one as left, as far as they are
/// still there and still the same. What is missing is said, and the sheet is written without it.
pub fn of_visit(visit: &Visit, machine: &Profile) -> Result<Vec<Picture>, Trouble> {
    let last = |moment: Moment| visit.clips.iter().rfind(|clip| clip.moment == moment);
    let after = last(Moment::After).or_else(|| last(Moment::During));
    let mut pictures = vec![];
    for (clip, title) in [(last(Moment::Before), "As found"), (after, "As left")] {
        let Some(clip) = clip else { continue };
        let title = match clip.moment {
            Moment::During => "In between",
            Moment::Before | Moment::After => title,
        };
        match found(clip) {
            Ok(path) => match with_picture(path, machine, title) {
                Ok((_, picture)) => pictures.push(picture),
                Err(Trouble::Told { words, hint, .. }) => note(&words, hint.as_deref()),
                Err(trouble @ Trouble::ClosedPipe) => return Err(trouble),
            },
            Err(why) => note(
                &format!("{}: {why}, so its picture is left out", clip.path),
                None,
            ),
        }
    }
    Ok(pictures)
}

/// The name of a file, cut where it would fill more than a line.
fn short(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let mut letters = name.chars();
    let kept: String = letters.by_ref().take(40).collect();
    if letters.next().is_some() {
        kept + "…"
    } else {
        kept
    }
}

/// Where a clip of the book still lies.
fn found(clip: &Clip) -> Result<&Path, &'static str> {
    let path = Path::new(&clip.path);
    match Digest::of(path) {
        Ok(digest) if digest == clip.sha256 => Ok(path),
        Ok(_) => Err("not the recording of that day any more"),
        Err(_) => Err("no longer there"),
    }
}
