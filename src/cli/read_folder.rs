//! `read` of folders: many clips, which may be stopped anywhere and goes on.
use std::io::Write;
use std::ops::ControlFlow;

use super::args::Read;
use super::exit::Outcome;
use super::folder::{FolderClip, Folders, folders};
use super::in_order::in_order;
use super::inputs::Input;
use super::progress::Progress;
use super::read::{Done, gathered, look_of};
use super::results::{Results, is_file, over_no_clip};
use super::terminal::{complain, note, say};
use super::trouble::Trouble;
use crate::archive::{Archive, ArchiveError, Begun, Entry, Place, Stamp};
use crate::book::Digest;
use crate::report::{Brief, Format, Look, Pieces, Renderer, Report, Summarizer, Summary};

/// The ledger of a folder whose results are printed.
const LEDGER: &str = ".engine-note.ledger";

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
    look: Look,
    /// Where nothing is kept, the summary grows as clips are read.
    summarizer: Summarizer,
    worst: Outcome,
}

/// Runs the command on folders.
pub fn read_folders(arguments: &Read) -> Result<Outcome, Trouble> {
    let found = folders(&arguments.clips, &arguments.known)?;
    let paths = found.clips.iter().flatten().map(|clip| clip.path.as_path());
    over_no_clip(arguments.output.as_deref(), paths)?;
    let summary_file = arguments.summary.as_deref();
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
    if found.clips.iter().all(Result::is_err) && arguments.output.is_some() {
        return Ok(run.worst);
    }
    let summary = match (pieces, &run.place) {
        (Some(pieces), Some(Place::Beside(_))) => run.into_a_file(&pieces)?,
        (pieces, _) => run.printed(pieces.as_ref())?,
    };
    if let Some(file) = &mut summary_file {
        file.write_all(summary.json().as_bytes())?;
    }
    summary_file.map_or(Ok(()), Results::whole)?;
    Ok(run.worst)
}

/// Where the run is kept: beside the results, or for printed ones in the folder where that is asked.
fn place(arguments: &Read, in_pieces: bool) -> Result<Option<Place>, Trouble> {
    if let Some(path) = arguments.output.as_deref()
        && is_file(path)?
    {
        if in_pieces {
            return Ok(Some(Place::Beside(path.into())));
        }
        if arguments.since_last {
            return Err(Trouble::usage(
                "--since-last cannot add to a file of this format",
                "write `--format ndjson`, which is written clip by clip",
            ));
        }
    }
    if !arguments.since_last {
        return Ok(None);
    }
    match &arguments.clips[..] {
        [folder] => Ok(Some(Place::Alone(folder.join(LEDGER)))),
        _ => Err(Trouble::usage(
            "--since-last takes one folder where results are printed",
            "write them into a file with `-o FILE`, or name one folder",
        )),
    }
}

impl<'a> Run<'a> {
    /// Opens the ledger and says how the run begins.
    fn begin(&mut self) -> Result<(), Trouble> {
        let Some(place) = &self.place else {
            return Ok(());
        };
        let format = match (place, self.arguments.format) {
            // What is printed is not kept.
            (Place::Alone(_), _) => "printed",
            (Place::Beside(_), Format::Text) => "text",
            (Place::Beside(_), Format::Json) => "json",
            (Place::Beside(_), Format::Ndjson) => "ndjson",
            (Place::Beside(_), Format::Csv) => "csv",
        };
        match Archive::begin(place, format, self.arguments.since_last) {
            Ok(archive) => self.archive = Some(archive),
            Err(error @ ArchiveError::ReadOnly { .. }) if matches!(place, Place::Alone(_)) => {
                note(
                    &format!("{error}; everything is read, and nothing is remembered"),
                    Some(&error.hint()),
                );
                self.place = None;
            }
            Err(error) => return Err(error.into()),
        }
        Ok(())
    }

    /// The clips that have to be read.
    fn to_read(&mut self) -> Result<Vec<&'a FolderClip>, Trouble> {
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
        let known = all - list.len();
        match archive.begun() {
            Begun::First if self.arguments.since_last => {
                note("no earlier run is known: everything is read", None)
            }
            Begun::First | Begun::Again => {}
            Begun::OtherProgram => note(
                "the last run was one of another version of the program: everything is read again",
                None,
            ),
            Begun::OtherFormat => note(
                "the last run wrote another format: everything is read again",
                None,
            ),
            Begun::ResultsChanged => note(
                "the file of results is not as the last run left it: what lay there is read again",
                None,
            ),
            Begun::GoesOn if known > 0 => note(
                &format!(
                    "going on with a run that was interrupted: {known} of {all} clips are read"
                ),
                None,
            ),
            Begun::GoesOn => {}
            Begun::SinceLast => note(
                &format!(
                    "{} of {all} clips are new, have changed or could not be read before",
                    list.len()
                ),
                None,
            ),
        }
        Ok(list)
    }

    /// Reads what has to be read and hands it to `take` in order.
    fn hear(
        &mut self,
        mut take: impl FnMut(&mut Self, &FolderClip, &Report) -> Result<(), Trouble>,
        mut keep: impl FnMut(&mut Self, Entry<'_>, Option<&Report>) -> Result<(), Trouble>,
    ) -> Result<(), Trouble> {
        let list = self.to_read()?;
        let (machines, format) = (&self.found.machines, self.arguments.format);
        let kept = self.archive.is_some();
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
                    done: gathered(&input, None, machine, format, &progress),
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
        if let Some(archive) = &mut self.archive {
            archive.sync()?;
        }
        stopped.map_or(Ok(()), Err)
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
    fn into_a_file(&mut self, pieces: &Pieces) -> Result<Summary, Trouble> {
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
        let tail = match self.arguments.format {
            Format::Text => self.ending(&summary),
            Format::Json | Format::Ndjson | Format::Csv => {
                say(&format!("\n{}", summary.text(&Look::default())));
                String::new()
            }
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
            say(&format!("\n{}", summary.text(&Look::default())));
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
        if count > 0 {
            let names: Vec<_> = first
                .iter()
                .map(|key| String::from_utf8_lossy(key))
                .collect();
            let more = if count > names.len() as i64 {
                ", …"
            } else {
                ""
            };
            let clips = if count == 1 { "clip is" } else { "clips are" };
            note(
                &format!(
                    "{count} {clips} gone since the last run: {}{more}",
                    names.join(", ")
                ),
                None,
            );
        }
        let place = &self.place;
        let keys = self.found.clips.iter().flatten();
        archive.finish(keys.map(|clip| key(place, clip)), pieces, tail)?;
        Ok(())
    }
}

/// The key of a clip in the ledger.
fn key<'a>(place: &Option<Place>, clip: &'a FolderClip) -> &'a [u8] {
    match place {
        Some(Place::Alone(_)) => clip.key_below(),
        Some(Place::Beside(_)) | None => clip.key(),
    }
}
