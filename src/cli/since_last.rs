//! Where a run over folders is kept, and what is said of the run before it.
use super::args::Read;
use super::folder::FolderClip;
use super::results::is_file;
use super::terminal::note;
use super::trouble::Trouble;
use crate::archive::{Archive, ArchiveError, Begun, Place};

/// The ledger of a folder whose results are printed.
const LEDGER: &str = ".engine-note.ledger";

/// Where the run is kept: beside the results, or for printed ones in the folder where that is asked.
pub fn place(arguments: &Read, in_pieces: bool) -> Result<Option<Place>, Trouble> {
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

/// Opens the ledger; none where it cannot be written and the results are printed anyway.
pub fn open(place: &Place, arguments: &Read) -> Result<Option<Archive>, Trouble> {
    let format = match place {
        Place::Beside(_) => format!("{:?}", arguments.format),
        // What is printed is not kept.
        Place::Alone(_) => "printed".into(),
    };
    match Archive::begin(place, &format, arguments.since_last) {
        Ok(archive) => Ok(Some(archive)),
        Err(error @ ArchiveError::ReadOnly { .. }) if matches!(place, Place::Alone(_)) => {
            note(
                &format!("{error}; everything is read, and nothing is remembered"),
                Some(&error.hint()),
            );
            Ok(None)
        }
        Err(error) => Err(error.into()),
    }
}

/// Says how a run begins that reads so many clips of all.
pub fn tell(begun: Begun, since_last: bool, reads: usize, all: usize) {
    let known = all - reads;
    let words = match begun {
        Begun::First if since_last => "no earlier run is known: everything is read".into(),
        Begun::First | Begun::Again => return,
        Begun::OtherProgram => {
            "the last run was one of another version of the program: everything is read again"
                .into()
        }
        Begun::OtherFormat => "the last run wrote another format: everything is read again".into(),
        Begun::ResultsChanged => {
            "the file of results is not as the last run left it: what lay there is read again"
                .into()
        }
        Begun::GoesOn if known == 0 => return,
        Begun::GoesOn => {
            format!("going on with a run that was interrupted: {known} of {all} clips are read")
        }
        Begun::SinceLast => {
            format!("{reads} of {all} clips are new, have changed or could not be read before")
        }
    };
    note(&words, None);
}

/// Names clips that are known and gone: the first of them, and how many there are.
pub fn tell_of_the_gone(first: &[Vec<u8>], count: i64) {
    if count == 0 {
        return;
    }
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
    let names = names.join(", ");
    note(
        &format!("{count} {clips} gone since the last run: {names}{more}"),
        None,
    );
}

/// The key of a clip in the ledger.
pub fn key<'a>(place: &Option<Place>, clip: &'a FolderClip) -> &'a [u8] {
    match place {
        Some(Place::Alone(_)) => clip.key_below(),
        Some(Place::Beside(_)) | None => clip.key(),
    }
}
