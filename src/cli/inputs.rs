//! From the words on the command line to the clips behind them.
use std::fs;
use std::path::{Path, PathBuf};

use super::exit::Outcome;
use super::trouble::{Trouble, reason};

/// Endings of the files that are taken from a folder. AMR and WMA cannot be decoded, but leaving
/// them out without a word would look as if they had been read.
const ENDINGS: [&str; 21] = [
    "wav", "wave", "flac", "mp3", "ogg", "oga", "opus", "m4a", "m4b", "mp4", "mov", "3gp", "aac",
    "caf", "aif", "aiff", "aifc", "webm", "mka", "amr", "wma",
];

/// One thing to be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Input {
    /// Standard input.
    Stream,
    /// A file.
    File(PathBuf),
}

impl Input {
    /// As the user gave it.
    pub fn name(&self) -> String {
        match self {
            Input::Stream => "-".into(),
            Input::File(path) => path.to_string_lossy().into_owned(),
        }
    }
}

/// Inputs, and whether there may be more than one.
#[derive(Debug)]
pub struct Inputs {
    /// In the order of the command line, folders in the order of their names; an argument that leads
    /// to nothing keeps its place with its trouble.
    pub list: Vec<Result<Input, Trouble>>,
    /// More than one argument or a folder: formats write a list.
    pub several: bool,
}

/// What the arguments stand for.
pub fn inputs(arguments: &[PathBuf]) -> Result<Inputs, Trouble> {
    let streams = arguments
        .iter()
        .filter(|path| path.as_os_str() == "-")
        .count();
    if streams > 1 {
        return Err(Trouble::usage(
            "`-` is given more than once",
            "standard input can be read only once",
        ));
    }
    let mut list = vec![];
    let mut several = arguments.len() > 1;
    for path in arguments {
        if path.as_os_str() == "-" {
            list.push(Ok(Input::Stream));
        } else if path.is_dir() {
            several = true;
            folder(path, &mut list);
        } else {
            list.push(Ok(Input::File(path.clone())));
        }
    }
    Ok(Inputs { list, several })
}

/// Adds the clips of a folder.
fn folder(path: &Path, list: &mut Vec<Result<Input, Trouble>>) {
    clips_in(path, &mut |found| list.push(found.map(Input::File)));
}

/// Hands the clips of a folder and of those in it to `take`, in the order of their names; a folder
/// without any is trouble.
pub fn clips_in(path: &Path, take: &mut dyn FnMut(Result<PathBuf, Trouble>)) {
    let mut any = false;
    walk(path, &mut |found| {
        any = true;
        take(found);
    });
    if !any {
        take(Err(Trouble::input(
            format!("{}: no clips in this folder", path.display()),
            format!("clips are known by their ending: {}", ENDINGS.join(", ")),
            Outcome::Unreadable,
        )));
    }
}

fn walk(path: &Path, take: &mut dyn FnMut(Result<PathBuf, Trouble>)) {
    let entries = fs::read_dir(path).and_then(|entries| entries.collect::<Result<Vec<_>, _>>());
    let mut entries = match entries {
        Ok(entries) => entries,
        Err(error) => {
            let words = format!("{}: {}", path.display(), reason(&error));
            take(Err(Trouble::input(
                words,
                "check the folder and your rights to it",
                Outcome::Unreadable,
            )));
            return;
        }
    };
    entries.sort_by_key(|entry| entry.file_name());
    for entry in entries {
        let hidden = entry.file_name().to_string_lossy().starts_with('.');
        // A link to a folder is not followed: it could lead round in a circle.
        match entry.file_type() {
            Ok(kind) if kind.is_dir() && !hidden => walk(&entry.path(), take),
            Ok(kind) if !kind.is_dir() && !hidden && is_clip(&entry.path()) => {
                take(Ok(entry.path()))
            }
            Ok(_) | Err(_) => {}
        }
    }
}

fn is_clip(path: &Path) -> bool {
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase());
    // A link that leads nowhere is a clip that cannot be read; a pipe or a device is none.
    ending.is_some_and(|ending| ENDINGS.contains(&ending.as_str()))
        && fs::metadata(path).map_or(true, |facts| facts.is_file())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folders_are_walked_in_order_and_only_for_clips() {
        let root = tempfile::tempdir().unwrap();
        for name in [
            "b.wav",
            "a.FLAC",
            "notes.txt",
            ".hidden.wav",
            "deep/c.m4a",
            "deep/.git/d.wav",
        ] {
            let path = root.path().join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, b"").unwrap();
        }
        fs::create_dir(root.path().join("folder.wav")).unwrap();
        let found = inputs(&[root.path().to_path_buf()]).unwrap();
        assert!(found.several);
        let names: Vec<_> = found
            .list
            .into_iter()
            .map(|input| match input.unwrap() {
                Input::File(path) => path
                    .strip_prefix(root.path())
                    .unwrap()
                    .to_string_lossy()
                    .into_owned(),
                Input::Stream => "-".into(),
            })
            .collect();
        assert_eq!(names, ["a.FLAC", "b.wav", "deep/c.m4a"]);
    }

    #[test]
    fn one_file_is_one_result_and_an_empty_folder_is_trouble() {
        let root = tempfile::tempdir().unwrap();
        let found = inputs(&[root.path().join("missing.wav")]).unwrap();
        assert!(!found.several && found.list.len() == 1);
        let found = inputs(&[root.path().to_path_buf()]).unwrap();
        assert_eq!(
            found
                .list
                .into_iter()
                .next()
                .unwrap()
                .unwrap_err()
                .outcome(),
            Outcome::Unreadable
        );
        let twice = inputs(&["-".into(), "-".into()]).unwrap_err();
        assert_eq!(twice.outcome(), Outcome::Usage);
    }
}
