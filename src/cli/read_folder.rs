//! `read` of folders: many clips, which may be stopped anywhere and goes on.
use std::io::Write;
use std::ops::ControlFlow;

use super::args::Read;
use super::exit::Outcome;
use super::folder::{FolderClip, Folders, folders};
use super::in_order::in_order;
use super::inputs::Input;
use super::picture::{Pictures, gathered_and_drawn};
use super::progress::Progress;
use super::read::{Done, look_of, told};
use super::results::{Results, over_no_clip};
use super::since_last::{key, open, place, tell, tell_of_the_gone};
use super::terminal::{complain, say};
use super::trouble::Trouble;
use crate::archive::{Archive, Entry, Place, Stamp};
use crate::book::Digest;
use crate::report::{Brief, Format, Look, Pieces, Renderer, Report, Summarizer, Summary};

/// A clip that was heard, or why not.
struct Heard<'a> {
    clip: &'a FolderClip,
    stamp: Option<Stamp>,
    sha256: Option<Digest>,
    done: Result<Done, Trouble>,
}

/// One run.
struct Run<'a> {
    arguments: &'a Read,
    found: &'a Folders,
    place: Option<Place>,
    archive: Option<Archive>,
    pictures: Option<&'a Pictures>,
    look: Look,
    /// Where nothing is kept, the summary grows as clips are read.
    summarizer: Summarizer,
    worst: Outcome,
}

/// Runs the command on folders.
pub fn read_folders(arguments: &Read) -> Result<Outcome, Trouble> {
    let found = folders(&arguments.clips, &arguments.known)?;
    let summary_file = arguments.summary.as_deref();
    for (flag, file) in [
        ("--output", arguments.output.as_deref()),
        ("--summary", summary_file),
    ] {
        let clips = found.clips.iter().flatten();
        over_no_clip(flag, file, clips.map(|clip| clip.path.as_path()))?;
    }
    let clips = found.clips.iter().flatten();
    let clips = clips.map(|clip| Input::File(clip.path.clone()));
    let pictures = Pictures::plan(&arguments.drawn, clips, true)?;
    let mut summary_file = summary_file
        .map(|path| Results::open(Some(path)))
        .transpose()?;
    let look = look_of(arguments);
    let pieces = Pieces::of(arguments.format, look);
    let mut run = Run {
        arguments,
        found: &found,
        place: place(arguments, pieces.is_some())?,
        archive: None,
        pictures: pictures.as_ref(),
        look,
        summarizer: Summarizer::default(),
        worst: Outcome::Read,
    };
    // A folder whose disk is not there must not empty the results of the last run.
    if found.clips.iter().any(Result::is_ok) {
        run.begin()?;
    } else {
        run.place = None;
    }
    for trouble in found.clips.iter().filter_map(|clip| clip.as_ref().err()) {
        complain(trouble);
        run.worst = run.worst.or_worse(trouble.outcome());
        if let Trouble::Told { words, .. } = trouble {
            run.summarizer.miss(words);
        }
    }
    let printed = arguments.output.is_none() && arguments.format != Format::Text;
    if found.clips.iter().all(Result::is_err) && !printed {
        return Ok(run.worst);
    }
    let summary = match (pieces, &run.place) {
        (Some(pieces), Some(Place::Beside(_))) => run.filed(&pieces)?,
        (pieces, _) => run.printed(pieces.as_ref())?,
    };
    if let Some(file) = &mut summary_file {
        file.write_all(summary.json().as_bytes())?;
    }
    summary_file.map_or(Ok(()), Results::whole)?;
    Ok(run.worst)
}

impl<'a> Run<'a> {
    /// Opens the ledger.
    fn begin(&mut self) -> Result<(), Trouble> {
        let Some(place) = &self.place else {
            return Ok(());
        };
        self.archive = open(place, self.arguments)?;
        if self.archive.is_none() {
            self.place = None;
        }
        Ok(())
    }

    /// The clips that have to be read.
    fn unread(&mut self) -> Result<Vec<&'a FolderClip>, Trouble> {
        let clips = self.found.clips.iter().flatten();
        let Some(archive) = &mut self.archive else {
            return Ok(clips.collect());
        };
        let mut list = vec![];
        let mut all = 0usize;
        for clip in clips {
            all += 1;
            let key = key(&self.place, clip);
            let digest = &self.found.machines[clip.machine].digest;
            if !archive.knows(key, &clip.path, digest)? {
                list.push(clip);
            }
        }
        tell(archive.begun(), self.arguments.since_last, list.len(), all);
        Ok(list)
    }

    /// Reads what has to be read and hands it to `take` in order.
    fn hear(
        &mut self,
        mut take: impl FnMut(&mut Self, &FolderClip, &Report) -> Result<(), Trouble>,
        mut keep: impl FnMut(&mut Self, Entry<'_>, Option<&Report>) -> Result<(), Trouble>,
    ) -> Result<(), Trouble> {
        let list = self.unread()?;
        let (machines, format) = (&self.found.machines, self.arguments.format);
        let (kept, pictures) = (self.archive.is_some(), self.pictures);
        let progress = Progress::new(list.len());
        let mut stopped = None;
        in_order(
            &list,
            |clip| {
                // Before the sound is read: what changes meanwhile is noticed by the next run.
                let stamp = kept.then(|| Stamp::of(&clip.path).ok()).flatten();
                let sha256 = kept.then(|| Digest::of(&clip.path).ok()).flatten();
                let input = Input::File(clip.path.clone());
                let machine = &machines[clip.machine].profile;
                Heard {
                    clip,
                    stamp,
                    sha256,
                    done: gathered_and_drawn(&input, None, machine, format, &progress, pictures),
                }
            },
            |heard| {
                let end = progress.done(|| self.one(heard, &mut take, &mut keep));
                match end {
                    Ok(()) => ControlFlow::Continue(()),
                    Err(trouble) => {
                        stopped = Some(trouble);
                        ControlFlow::Break(())
                    }
                }
            },
        );
        drop(progress);
        // What came before a stop is kept.
        let synced = self.archive.as_mut().map_or(Ok(()), Archive::sync);
        stopped.map_or(Ok(()), Err)?;
        Ok(synced?)
    }

    /// One clip in its turn.
    fn one(
        &mut self,
        heard: Heard<'_>,
        take: &mut impl FnMut(&mut Self, &FolderClip, &Report) -> Result<(), Trouble>,
        keep: &mut impl FnMut(&mut Self, Entry<'_>, Option<&Report>) -> Result<(), Trouble>,
    ) -> Result<(), Trouble> {
        let clip = heard.clip;
        let machine = &self.found.machines[clip.machine];
        let (brief, report) = match heard.done {
            Ok(done) => {
                take(self, clip, &done.report)?;
                if let Some(aside) = &done.aside {
                    complain(aside);
                }
                self.worst = self.worst.or_worse(told(done.picture.as_ref()));
                (Brief::of(&machine.tag, &done.report), Some(done.report))
            }
            Err(trouble @ Trouble::Told { .. }) => {
                complain(&trouble);
                let Trouble::Told { words, .. } = &trouble else {
                    return Ok(());
                };
                (Brief::broken(&machine.tag, words), None)
            }
            Err(closed @ Trouble::ClosedPipe) => return Err(closed),
        };
        if self.archive.is_none() {
            self.count(clip, &brief);
            return Ok(());
        }
        let nothing = Stamp {
            size: -1,
            modified_ns: 0,
            changed_ns: 0,
            settled: false,
        };
        let place = self.place.clone();
        let entry = Entry {
            key: key(&place, clip),
            stamp: heard.stamp.unwrap_or(nothing),
            sha256: heard.sha256.unwrap_or(Digest([0; 32])),
            profile: machine.digest,
            brief,
        };
        keep(self, entry, report.as_ref())
    }

    fn count(&mut self, clip: &FolderClip, brief: &Brief) {
        let outcome = match brief {
            Brief {
                broken: Some(_), ..
            } => Outcome::Unreadable,
            Brief { engine: false, .. } => Outcome::NoEngine,
            Brief { .. } => Outcome::Read,
        };
        self.worst = self.worst.or_worse(outcome);
        self.summarizer.add(&clip.path.to_string_lossy(), brief);
    }

    /// Results go piece by piece into a spool and from there into their file.
    fn filed(&mut self, pieces: &Pieces) -> Result<Summary, Trouble> {
        self.hear(
            |_, _, _| Ok(()),
            |run, entry, report| {
                let Some(archive) = &mut run.archive else {
                    return Ok(());
                };
                archive.put(entry, |spool| match report {
                    Some(report) => pieces.write(spool, report),
                    None => Ok(()),
                })?;
                Ok(())
            },
        )?;
        let summary = self.summary()?;
        let tail = if self.arguments.format == Format::Text {
            self.ending(&summary)
        } else {
            say(&format!("\n{}", summary.text(&Look::default())));
            String::new()
        };
        self.finish(pieces, tail.as_bytes())?;
        Ok(summary)
    }

    /// Results are printed as they come.
    fn printed(&mut self, pieces: Option<&Pieces>) -> Result<Summary, Trouble> {
        let mut results = Results::open(self.arguments.output.as_deref())?;
        let keep = |run: &mut Self, entry: Entry<'_>, _: Option<&Report>| {
            if let Some(archive) = &mut run.archive {
                archive.put(entry, |_| Ok(()))?;
            }
            Ok(())
        };
        let summary = if let (Format::Text, Some(pieces)) = (self.arguments.format, pieces) {
            let mut first = true;
            self.hear(
                |_, _, report| {
                    if std::mem::take(&mut first) {
                        results.write_all(&pieces.head)?;
                    }
                    pieces.write(&mut results, report)?;
                    Ok(results.flush()?)
                },
                keep,
            )?;
            let summary = self.summary()?;
            results.write_all(self.ending(&summary).as_bytes())?;
            summary
        } else {
            let format = self.arguments.format;
            let mut renderer = Renderer::new(&mut results, format, true, self.look);
            self.hear(|_, _, report| Ok(renderer.write(report)?), keep)?;
            renderer.finish()?;
            let summary = self.summary()?;
            if summary.clips > 0 {
                say(&format!("\n{}", summary.text(&Look::default())));
            }
            summary
        };
        results.whole()?;
        if let Some(pieces) = pieces {
            self.finish(pieces, b"")?;
        }
        Ok(summary)
    }

    /// The summary of all clips, those of earlier runs among them.
    fn summary(&mut self) -> Result<Summary, Trouble> {
        for clip in self.found.clips.iter().flatten() {
            let Some(archive) = &self.archive else { break };
            let brief = archive.brief(key(&self.place, clip))?;
            if let Some(brief) = brief {
                self.count(clip, &brief);
            }
        }
        Ok(std::mem::take(&mut self.summarizer).finish())
    }

    /// How a text ends.
    fn ending(&self, summary: &Summary) -> String {
        let machines = self.found.machines.iter().map(|machine| &machine.profile);
        format!(
            "\n{}{}",
            summary.text(&self.look),
            Pieces::cautions(machines, &self.look)
        )
    }

    fn finish(&mut self, pieces: &Pieces, tail: &[u8]) -> Result<(), Trouble> {
        let Some(archive) = self.archive.take() else {
            return Ok(());
        };
        let (first, count) = archive.gone()?;
        tell_of_the_gone(&first, count);
        let place = &self.place;
        let keys = self.found.clips.iter().flatten();
        archive.finish(keys.map(|clip| key(place, clip)), pieces, tail)?;
        Ok(())
    }
}
