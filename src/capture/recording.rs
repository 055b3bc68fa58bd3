//! A recording of live sound that is playable at any moment, also after the program was killed.
//!
//! A WAV says its length at its start, so the length is put right after each piece that was written:
//! first the samples, then the numbers, each with one call, so that no moment leaves it wrong. (What
//! lies behind the last number is lost: [`PIECE`] at most.) A FLAC is a chain of frames that stand
//! for themselves; its start leaves the length open until the end. Both go to the disk once a second,
//! and hold 16-bit samples. Formats: RIFF and WAVE of 1991, from memory; RFC 9639 for FLAC.
//!
//! Writing is a thread of its own, since a disk that sleeps must not hold up the sound.
use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};
use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use super::Facts;
use super::flac::Flac;
use crate::units::Seconds;

/// What is gathered before it is written.
const PIECE: Duration = Duration::from_millis(200);
/// How often what was written is made to last.
const SYNC: Duration = Duration::from_secs(1);
/// Blocks that may wait for a slow disk: about ten seconds of them.
const WAITING: usize = 1_000;
/// Length of the head of a WAV.
const HEAD: u64 = 44;

/// How a recording is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RecordingKind {
    /// 16-bit samples as they are.
    Wav,
    /// 16-bit samples, coded without loss in about half the room.
    Flac,
}

impl RecordingKind {
    /// The kind that a file name asks for by its ending; none for endings that are not written.
    pub fn of(path: &Path) -> Option<RecordingKind> {
        let ending = path.extension()?.to_string_lossy().to_lowercase();
        match ending.as_str() {
            "wav" | "wave" => Some(RecordingKind::Wav),
            "flac" => Some(RecordingKind::Flac),
            _ => None,
        }
    }
}

/// A recording under way. It is ended properly when it is dropped.
pub struct Recording {
    blocks: Option<SyncSender<Vec<f32>>>,
    writer: Option<JoinHandle<io::Result<()>>>,
    rate: f64,
    channels: usize,
    lost: u64,
}

impl Recording {
    /// Creates the file, in place of one of that name, and starts.
    ///
    /// # Errors
    /// What the system says where the file cannot be created.
    pub fn create(path: &Path, kind: RecordingKind, facts: &Facts) -> io::Result<Recording> {
        let mut file = Growing {
            file: File::create(path)?,
            form: match kind {
                RecordingKind::Wav => Form::Wav { bytes: 0 },
                RecordingKind::Flac => Form::Flac(Box::new(Flac::new(facts)?)),
            },
            rate: facts.sample_rate,
            channels: facts.channels,
            bytes: Vec::new(),
        };
        file.begin()?;
        let (blocks, waiting) = sync_channel(WAITING);
        Ok(Recording {
            blocks: Some(blocks),
            writer: Some(thread::spawn(move || write(&waiting, file))),
            rate: f64::from(facts.sample_rate),
            channels: facts.channels,
            lost: 0,
        })
    }

    /// Takes interleaved samples, whole frames. It never waits: what a disk cannot take is lost, and
    /// counted.
    ///
    /// # Errors
    /// The first time after writing has failed, for example because the disk is full.
    pub fn push(&mut self, block: &[f32]) -> io::Result<()> {
        let Some(blocks) = &self.blocks else {
            return Ok(());
        };
        match blocks.try_send(block.to_vec()) {
            Ok(()) => Ok(()),
            Err(TrySendError::Full(block)) => {
                self.lost += (block.len() / self.channels) as u64;
                Ok(())
            }
            Err(TrySendError::Disconnected(_)) => self.close(),
        }
    }

    /// Sound that is missing in the recording, because the disk was too slow.
    pub fn lost(&self) -> Seconds {
        Seconds(self.lost as f64 / self.rate)
    }

    /// Ends the recording.
    ///
    /// # Errors
    /// What the system says where it could not be written to its end.
    pub fn finish(mut self) -> io::Result<()> {
        self.close()
    }

    fn close(&mut self) -> io::Result<()> {
        self.blocks = None;
        match self.writer.take().map(JoinHandle::join) {
            Some(Ok(result)) => result,
            Some(Err(_)) => Err(io::Error::other("the encoder failed")),
            None => Ok(()),
        }
    }
}

impl Drop for Recording {
    fn drop(&mut self) {
        // Whoever wants to know how it ended calls `finish`.
        let _ = self.close();
    }
}

/// The writing thread.
fn write(waiting: &Receiver<Vec<f32>>, mut file: Growing) -> io::Result<()> {
    let mut piece: Vec<f32> = Vec::new();
    let (mut written, mut synced) = (Instant::now(), Instant::now());
    loop {
        let due = PIECE.saturating_sub(written.elapsed());
        let more = match waiting.recv_timeout(due) {
            Ok(block) => {
                piece.extend_from_slice(&block);
                true
            }
            Err(RecvTimeoutError::Timeout) => true,
            Err(RecvTimeoutError::Disconnected) => false,
        };
        // A sound that comes faster than time is written in pieces of a bounded length as well.
        if !more || written.elapsed() >= PIECE || piece.len() > 1 << 16 {
            file.append(&piece)?;
            piece.clear();
            written = Instant::now();
        }
        if !more {
            return file.end();
        }
        if synced.elapsed() >= SYNC {
            file.file.sync_data()?;
            synced = Instant::now();
        }
    }
}

enum Form {
    Wav {
        /// Bytes of samples so far.
        bytes: u64,
    },
    Flac(Box<Flac>),
}

/// A file that is whole after each step.
struct Growing {
    file: File,
    form: Form,
    rate: u32,
    channels: usize,
    bytes: Vec<u8>,
}

impl Growing {
    fn begin(&mut self) -> io::Result<()> {
        let head = match &self.form {
            Form::Wav { .. } => wav_head(self.rate, self.channels),
            Form::Flac(flac) => flac.head().to_vec(),
        };
        self.file.write_all(&head)
    }

    fn append(&mut self, samples: &[f32]) -> io::Result<()> {
        if samples.is_empty() {
            return Ok(());
        }
        self.bytes.clear();
        match &mut self.form {
            Form::Wav { bytes } => {
                let coded = samples.iter().flat_map(|&x| sixteen(x).to_le_bytes());
                self.bytes.extend(coded);
                self.file.write_all(&self.bytes)?;
                *bytes += self.bytes.len() as u64;
                let (riff, data) = lengths(*bytes);
                self.put(40, &data)?;
                self.put(4, &riff)
            }
            Form::Flac(flac) => {
                flac.push(
                    samples.iter().map(|&x| i32::from(sixteen(x))),
                    &mut self.bytes,
                )?;
                self.file.write_all(&self.bytes)
            }
        }
    }

    fn end(&mut self) -> io::Result<()> {
        if let Form::Flac(flac) = &mut self.form {
            self.bytes.clear();
            flac.finish(&mut self.bytes)?;
            self.file.write_all(&self.bytes)?;
            let head = flac.head();
            self.put(0, &head)?;
        }
        self.file.sync_all()
    }

    /// Writes over what stands at a place.
    fn put(&mut self, at: u64, bytes: &[u8]) -> io::Result<()> {
        self.file.seek(SeekFrom::Start(at))?;
        self.file.write_all(bytes)?;
        self.file.seek(SeekFrom::End(0)).map(drop)
    }
}

fn sixteen(sample: f32) -> i16 {
    // A cast saturates, so full scale and above stay where they are.
    (sample * 32_768.0).round() as i16
}

/// The two lengths of a WAV; what no number can say is "until the end".
fn lengths(bytes: u64) -> ([u8; 4], [u8; 4]) {
    let number = |length: u64| u32::try_from(length).unwrap_or(u32::MAX).to_le_bytes();
    (number(bytes + HEAD - 8), number(bytes))
}

fn wav_head(rate: u32, channels: usize) -> Vec<u8> {
    let frame = 2 * channels as u16;
    let (riff, data) = lengths(0);
    let mut head = Vec::with_capacity(HEAD as usize);
    head.extend(b"RIFF");
    head.extend(riff);
    head.extend(b"WAVEfmt ");
    head.extend(16_u32.to_le_bytes());
    head.extend(1_u16.to_le_bytes());
    head.extend((channels as u16).to_le_bytes());
    head.extend(rate.to_le_bytes());
    head.extend((rate * u32::from(frame)).to_le_bytes());
    head.extend(frame.to_le_bytes());
    head.extend(16_u16.to_le_bytes());
    head.extend(b"data");
    head.extend(data);
    head
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::{Clip, Source, open};

    fn facts(sample_rate: u32, channels: usize) -> Facts {
        Facts {
            sample_rate,
            channels,
            seconds: None,
            format: String::new(),
        }
    }

    fn read(path: &Path) -> (Facts, Vec<f32>) {
        let mut clip: Clip = open(&Source::File(path.into())).unwrap();
        let (mut all, mut block) = (Vec::new(), Vec::new());
        while clip.next_block(&mut block).unwrap() {
            all.extend(&block);
        }
        assert!(clip.warnings().is_empty(), "{:?}", clip.warnings());
        (clip.facts().clone(), all)
    }

    #[test]
    fn what_goes_in_comes_out_in_either_kind() {
        let folder = tempfile::tempdir().unwrap();
        for (name, rate, channels) in [
            ("a.wav", 48_000, 1),
            ("b.WAV", 44_100, 2),
            ("a.flac", 48_000, 1),
            ("b.flac", 44_100, 2),
            ("c.flac", 12_345, 1),
        ] {
            let path = folder.path().join(name);
            // Steps of 16 bit, so that nothing is rounded; the last part is no whole frame of FLAC.
            let sound: Vec<f32> = (0..30_011 * channels as i32)
                .map(|n| (n * 29 % 60_001 - 30_000) as f32 / 32_768.0)
                .collect();
            let kind = RecordingKind::of(&path).unwrap();
            let mut recording = Recording::create(&path, kind, &facts(rate, channels)).unwrap();
            for block in sound.chunks(480 * channels) {
                recording.push(block).unwrap();
            }
            assert_eq!(recording.lost().0, 0.0);
            recording.finish().unwrap();
            let (found, samples) = read(&path);
            assert_eq!((found.sample_rate, found.channels), (rate, channels));
            assert_eq!(found.seconds, Some(30_011.0 / f64::from(rate)), "{name}");
            assert!(samples == sound, "{name}");
        }
    }

    #[test]
    fn only_endings_that_are_written_are_taken() {
        assert_eq!(RecordingKind::of(Path::new("a.mp3")), None);
        assert_eq!(RecordingKind::of(Path::new("wav")), None);
    }

    #[test]
    fn what_is_too_long_for_a_number_reads_until_the_end() {
        assert_eq!(lengths(100), (136u32.to_le_bytes(), 100u32.to_le_bytes()));
        assert_eq!(lengths(1 << 33), ([0xff; 4], [0xff; 4]));
    }

    #[test]
    fn a_full_disk_is_told_once() {
        let full = Path::new("/dev/full");
        if !full.exists() {
            return;
        }
        let told = match Recording::create(full, RecordingKind::Wav, &facts(8_000, 1)) {
            Err(_) => 1,
            Ok(mut recording) => (0..2_000)
                .filter(|_| {
                    thread::sleep(Duration::from_millis(1));
                    recording.push(&[0.0; 80]).is_err()
                })
                .count(),
        };
        assert_eq!(told, 1);
    }
}
