//! Where results go: standard output, or a file that is there only once it is whole.
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, BufWriter, StdoutLock, Write};
use std::path::{Path, PathBuf};

use super::exit::Outcome;
use super::terminal::output;
use super::trouble::Trouble;

/// Where results go.
pub enum Results {
    /// Standard output.
    Standard(BufWriter<StdoutLock<'static>>),
    /// Something that is there and is no regular file: a named pipe, a device.
    Device(BufWriter<File>),
    /// A file, written beside its place first.
    Beside(Beside),
}

/// A file that takes the place of another once it is whole.
pub struct Beside {
    out: BufWriter<File>,
    path: PathBuf,
    whole: bool,
}

impl Beside {
    fn whole(&mut self) -> io::Result<()> {
        self.out.flush()?;
        self.out.get_ref().sync_all()?;
        fs::rename(part(&self.path), &self.path)?;
        self.whole = true;
        Ok(())
    }
}

impl Drop for Beside {
    /// What did not become whole is of no use to anybody.
    fn drop(&mut self) {
        if !self.whole {
            let _ = fs::remove_file(part(&self.path));
        }
    }
}

impl Results {
    /// Opens the place: the named file, or standard output where none is named or it is `-`.
    ///
    /// # Errors
    /// Where it cannot be written, or another program is writing it.
    pub fn open(path: Option<&Path>) -> Result<Results, Trouble> {
        let Some(path) = path.filter(|path| path.as_os_str() != "-") else {
            return Ok(Results::Standard(output()));
        };
        if let Some(device) = device(path)? {
            return Ok(Results::Device(BufWriter::new(device)));
        }
        let unwritable = |error| Trouble::output(&path.to_string_lossy(), &error);
        let file = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(false)
            .open(part(path))
            .map_err(unwritable)?;
        if let Err(TryLockError::WouldBlock) = file.try_lock() {
            return Err(in_use(path));
        }
        file.set_len(0).map_err(unwritable)?;
        Ok(Results::Beside(Beside {
            out: BufWriter::new(file),
            path: path.into(),
            whole: false,
        }))
    }

    /// Says that all of it is written: a file takes its place now.
    ///
    /// # Errors
    /// Where it cannot.
    pub fn whole(self) -> Result<(), Trouble> {
        match self {
            Results::Standard(mut out) => Ok(out.flush()?),
            Results::Device(mut out) => Ok(out.flush()?),
            Results::Beside(mut beside) => beside
                .whole()
                .map_err(|error| Trouble::output(&beside.path.to_string_lossy(), &error)),
        }
    }
}

impl Write for Results {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self {
            Results::Standard(out) => out.write(bytes),
            Results::Device(out) => out.write(bytes),
            Results::Beside(beside) => beside.out.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self {
            Results::Standard(out) => out.flush(),
            Results::Device(out) => out.flush(),
            Results::Beside(beside) => beside.out.flush(),
        }
    }
}

/// Refuses a file that is to be written and is one of the clips.
pub fn over_no_clip<'a>(
    flag: &str,
    output: Option<&Path>,
    mut clips: impl Iterator<Item = &'a Path>,
) -> Result<(), Trouble> {
    let place = output.and_then(|path| path.canonicalize().ok());
    if place.is_some() && clips.any(|clip| clip.canonicalize().ok() == place) {
        return Err(Trouble::usage(
            format!("`{flag}` names a clip that is to be read"),
            "name another file: the results would take the place of the clip",
        ));
    }
    Ok(())
}

/// Whether results can be kept beside a path and renamed into it: a file, or none yet.
pub fn is_file(path: &Path) -> Result<bool, Trouble> {
    Ok(path.as_os_str() != "-" && device(path)?.is_none())
}

/// The file in which results wait until they are whole.
fn part(path: &Path) -> PathBuf {
    with_ending(path, ".part")
}

/// A file beside another.
fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

/// What is to be written, where it is there already and is no regular file.
fn device(path: &Path) -> Result<Option<File>, Trouble> {
    let unwritable = |error| Trouble::output(&path.to_string_lossy(), &error);
    match fs::metadata(path) {
        Ok(facts) if facts.is_dir() => Err(Trouble::usage(
            format!("cannot write `{}`: it is a folder", path.display()),
            "name a file in it",
        )),
        Ok(facts) if !facts.is_file() => OpenOptions::new()
            .write(true)
            .open(path)
            .map(Some)
            .map_err(unwritable),
        Ok(_) | Err(_) => Ok(None),
    }
}

fn in_use(path: &Path) -> Trouble {
    Trouble::input(
        format!("`{}` is being written by another program", path.display()),
        "wait until it has ended, or name another file",
        Outcome::Unreadable,
    )
}
