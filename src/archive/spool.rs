//! The spool: pieces of results, one after the other as they came, until they are put in order.
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::error::ArchiveError;

/// A file to which pieces are appended.
pub struct Spool {
    out: BufWriter<File>,
    path: PathBuf,
    length: i64,
}

impl Spool {
    /// Opens or begins it and holds it alone. `needed` is told its length and says how much of it
    /// stays.
    pub fn open(
        path: &Path,
        needed: impl FnOnce(i64) -> Result<i64, ArchiveError>,
    ) -> Result<Spool, ArchiveError> {
        let failed = |error| ArchiveError::results(path, &error);
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(path)
            .map_err(failed)?;
        if let Err(TryLockError::WouldBlock) = file.try_lock() {
            return Err(ArchiveError::Busy { path: path.into() });
        }
        let length = i64::try_from(file.metadata().map_err(failed)?.len()).unwrap_or(i64::MAX);
        let length = needed(length)?;
        file.set_len(length.unsigned_abs()).map_err(failed)?;
        file.seek(SeekFrom::End(0)).map_err(failed)?;
        Ok(Spool {
            out: BufWriter::new(file),
            path: path.into(),
            length,
        })
    }

    /// How much was written.
    pub fn length(&self) -> i64 {
        self.length
    }

    /// Waits until all of it is on the disk.
    pub fn sync(&mut self) -> Result<(), ArchiveError> {
        let failed = |error| ArchiveError::results(&self.path, &error);
        self.out.flush().map_err(failed)?;
        self.out.get_ref().sync_data().map_err(failed)
    }

    /// Cuts off what was written beyond `length`: a piece that was not finished.
    pub fn cut(&mut self, length: i64) -> io::Result<()> {
        self.out.flush()?;
        self.out.get_ref().set_len(length.unsigned_abs())?;
        self.out.seek(SeekFrom::End(0))?;
        self.length = length;
        Ok(())
    }
}

impl Write for Spool {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.out.write(bytes)?;
        self.length = self
            .length
            .saturating_add(i64::try_from(count).unwrap_or(i64::MAX));
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        // Only a sync counts; flushing after each piece would cost a write for nothing.
        Ok(())
    }
}

/// Copies so many bytes from a place in one file to the end of another.
pub fn copy(from: &mut File, start: i64, length: i64, into: &mut impl Write) -> io::Result<()> {
    from.seek(SeekFrom::Start(start.unsigned_abs()))?;
    let wanted = length.unsigned_abs();
    let copied = io::copy(&mut from.take(wanted), into)?;
    if copied < wanted {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    Ok(())
}

/// Renames a file and waits until the new name is on the disk.
pub fn rename(from: &Path, to: &Path) -> io::Result<()> {
    fs::rename(from, to)?;
    #[cfg(unix)]
    {
        let folder = to.parent().filter(|folder| !folder.as_os_str().is_empty());
        let _ = File::open(folder.unwrap_or(Path::new("."))).and_then(|folder| folder.sync_all());
    }
    Ok(())
}
