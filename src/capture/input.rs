//! The bytes of a clip, from a file that can be searched or from a pipe that cannot.
use std::io::{self, Read, Seek, SeekFrom};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use symphonia::core::io::MediaSource;

use super::outline::Patch;

/// What can be read and searched from any thread.
pub(super) trait Searchable: Read + Seek + Send + Sync {}
impl<T: Read + Seek + Send + Sync> Searchable for T {}

/// How many bytes of a pipe are kept, so that its start can be read a second time.
const KEPT: usize = 1 << 20;

/// The bytes of a clip.
pub(super) enum Input {
    /// A file, or bytes in memory.
    File {
        /// Where the bytes come from.
        inner: Box<dyn Searchable>,
        /// Number of bytes.
        len: u64,
        /// Position of the next byte.
        at: u64,
        /// Hide that it can be searched: a decoder then reads straight ahead.
        straight: bool,
        /// Corrections of the head.
        patches: Vec<Patch>,
    },
    /// A pipe: each byte comes once, when it is ready.
    Pipe {
        /// Where the bytes come from.
        inner: Box<dyn Read + Send + Sync>,
        /// The first bytes, for [`Input::rewind`].
        kept: Vec<u8>,
        /// Position in `kept`.
        at: usize,
        /// Whether more is kept.
        keeping: bool,
    },
}

impl Input {
    pub(super) fn file(mut inner: impl Searchable + 'static) -> io::Result<Self> {
        let len = inner.seek(SeekFrom::End(0))?;
        inner.seek(SeekFrom::Start(0))?;
        let inner = Box::new(inner);
        Ok(Input::File {
            inner,
            len,
            at: 0,
            straight: false,
            patches: Vec::new(),
        })
    }

    pub(super) fn pipe(inner: impl Read + Send + Sync + 'static) -> Self {
        Input::Pipe {
            inner: Box::new(inner),
            kept: Vec::new(),
            at: 0,
            keeping: true,
        }
    }

    /// Number of bytes, where it is known.
    pub(super) fn len(&self) -> Option<u64> {
        match self {
            Input::File { len, .. } => Some(*len),
            Input::Pipe { .. } => None,
        }
    }

    /// Back to the first byte. A pipe can do that once, as long as little was read.
    pub(super) fn rewind(&mut self) -> io::Result<()> {
        match self {
            Input::File { .. } => self.seek(SeekFrom::Start(0)).map(drop),
            Input::Pipe {
                kept, at, keeping, ..
            } => {
                if !*keeping || kept.len() > KEPT {
                    return Err(io::ErrorKind::Unsupported.into());
                }
                *at = 0;
                Ok(())
            }
        }
    }

    /// Ends the keeping: what was read stays for one more reading, what comes is not kept.
    pub(super) fn let_go(&mut self) {
        if let Input::Pipe { keeping, .. } = self {
            *keeping = false;
        }
    }

    /// Lets a decoder read straight ahead, without searching for the end.
    pub(super) fn read_straight(&mut self) {
        if let Input::File { straight, .. } = self {
            *straight = true;
        }
    }

    /// Lets the head of a file read as if it were written so.
    pub(super) fn patch(&mut self, corrections: Vec<Patch>) {
        if let Input::File { patches, .. } = self {
            *patches = corrections;
        }
    }

    /// Reads what is ready, one byte at least; 0 is the end.
    pub(super) fn read_ready(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            match self.read(buffer) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                result => return result,
            }
        }
    }

    /// Reads as many bytes as `buffer` takes, fewer only at the end.
    pub(super) fn read_full(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let mut filled = 0;
        while filled < buffer.len() {
            match self.read_ready(&mut buffer[filled..])? {
                0 => break,
                count => filled += count,
            }
        }
        Ok(filled)
    }

    /// Bytes from here to the end, where that is known.
    pub(super) fn rest(&mut self) -> io::Result<Option<u64>> {
        match self {
            Input::File { at, len, .. } => Ok(Some(len.saturating_sub(*at))),
            Input::Pipe { .. } => Ok(None),
        }
    }

    /// Reads ahead in a file without moving; nothing in a pipe.
    pub(super) fn look(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let Input::File { at: here, .. } = *self else {
            return Ok(0);
        };
        let count = self.read_full(buffer)?;
        self.seek(SeekFrom::Start(here))?;
        Ok(count)
    }

    /// Passes over `count` bytes; says whether they were all there.
    pub(super) fn pass(&mut self, count: u64) -> io::Result<bool> {
        if let Input::File { at, len, .. } = *self {
            let target = at.saturating_add(count);
            self.seek(SeekFrom::Start(target.min(len)))?;
            return Ok(target <= len);
        }
        let passed = io::copy(&mut self.take(count), &mut io::sink())?;
        Ok(passed == count)
    }
}

impl Read for Input {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self {
            Input::File {
                inner, at, patches, ..
            } => {
                let count = inner.read(buffer)?;
                for (place, bytes) in patches {
                    for (place, &byte) in (*place..).zip(bytes.iter()) {
                        let here = place
                            .checked_sub(*at)
                            .and_then(|here| usize::try_from(here).ok());
                        if let Some(old) = here.and_then(|here| buffer[..count].get_mut(here)) {
                            *old = byte;
                        }
                    }
                }
                *at += count as u64;
                Ok(count)
            }
            Input::Pipe {
                inner,
                kept,
                at,
                keeping,
            } => {
                if *at < kept.len() {
                    let count = buffer.len().min(kept.len() - *at);
                    buffer[..count].copy_from_slice(&kept[*at..*at + count]);
                    *at += count;
                    return Ok(count);
                }
                if !*keeping && !kept.is_empty() {
                    *kept = Vec::new();
                    *at = 0;
                }
                let count = inner.read(buffer)?;
                if *keeping && kept.len() <= KEPT {
                    kept.extend_from_slice(&buffer[..count]);
                    *at = kept.len();
                }
                Ok(count)
            }
        }
    }
}

impl Seek for Input {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        match self {
            Input::File { inner, at, .. } => {
                *at = inner.seek(to)?;
                Ok(*at)
            }
            Input::Pipe { .. } => Err(io::ErrorKind::Unsupported.into()),
        }
    }
}

/// An input that a decoder can be given more than once: one that fails takes it along.
#[derive(Clone)]
pub(super) struct Shared(Arc<Mutex<Input>>);

impl Shared {
    pub(super) fn new(input: Input) -> Self {
        Shared(Arc::new(Mutex::new(input)))
    }

    /// A panic in a decoder does not leave the input in a bad state, so poison does not matter.
    pub(super) fn lock(&self) -> MutexGuard<'_, Input> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Read for Shared {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.lock().read(buffer)
    }
}

impl Seek for Shared {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.lock().seek(to)
    }
}

impl MediaSource for Shared {
    fn is_seekable(&self) -> bool {
        matches!(
            *self.lock(),
            Input::File {
                straight: false,
                ..
            }
        )
    }

    fn byte_len(&self) -> Option<u64> {
        if self.is_seekable() {
            self.lock().len()
        } else {
            None
        }
    }
}
