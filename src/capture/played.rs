//! A clip that is played as if it came from a microphone.
//!
//! Reading is a thread of its own, so that a pipe that has nothing does not hold up whoever listens.
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::thread;
use std::time::{Duration, Instant};

use super::live::{Notice, Pace, Piece};
use super::{Clip, Facts, Fault, Source, Warning, open};

/// Length of a piece, as a share of a second: what a sound system gives.
const PIECES_PER_SECOND: u32 = 100;
/// Pieces that are read ahead.
const AHEAD: usize = 32;

/// What the reading thread sends.
enum Read {
    Sound(Vec<f32>),
    Warnings(Vec<Warning>),
    Failed(Fault),
}

/// A clip being played.
pub(super) struct Played {
    facts: Facts,
    pace: Pace,
    pieces: Receiver<Read>,
    /// What has been read before its time.
    next: Option<Vec<f32>>,
    warnings: Vec<Warning>,
    began: Option<Instant>,
    frames: u64,
}

impl Played {
    pub(super) fn open(source: &Source, pace: Pace) -> Result<Self, Fault> {
        let clip = open(source)?;
        let facts = clip.facts().clone();
        let (sender, pieces) = sync_channel(AHEAD);
        // It ends when the clip does, or with the first piece that nobody takes.
        thread::spawn(move || read(clip, |piece| sender.send(piece).is_ok()));
        Ok(Played {
            facts,
            pace,
            pieces,
            next: None,
            warnings: Vec::new(),
            began: None,
            frames: 0,
        })
    }

    pub(super) fn facts(&self) -> &Facts {
        &self.facts
    }

    pub(super) fn next(&mut self, wait: Duration, out: &mut Vec<f32>) -> Result<Piece, Fault> {
        let patience = Instant::now() + wait;
        loop {
            if let Some(warning) = self.warnings.pop() {
                return Ok(Piece::Told(Notice::Less(warning)));
            }
            if let Some(ready) = self.next.take() {
                if self.wait_until_due(&ready, patience) {
                    self.frames += (ready.len() / self.facts.channels) as u64;
                    *out = ready;
                    return Ok(Piece::Sound);
                }
                self.next = Some(ready);
                return Ok(Piece::Nothing);
            }
            let left = patience.saturating_duration_since(Instant::now());
            match self.pieces.recv_timeout(left) {
                Ok(Read::Sound(piece)) => self.next = Some(piece),
                Ok(Read::Warnings(warnings)) => self.warnings = warnings,
                Ok(Read::Failed(fault)) => return Err(fault),
                Err(RecvTimeoutError::Timeout) => return Ok(Piece::Nothing),
                Err(RecvTimeoutError::Disconnected) => return Ok(Piece::End),
            }
        }
    }

    /// Waits for the moment at which a microphone would have heard the last sample of a piece.
    fn wait_until_due(&mut self, piece: &[f32], patience: Instant) -> bool {
        if self.pace == Pace::AsItComes {
            return true;
        }
        let began = *self.began.get_or_insert_with(Instant::now);
        let end = self.frames + (piece.len() / self.facts.channels) as u64;
        let due = began + Duration::from_secs_f64(end as f64 / f64::from(self.facts.sample_rate));
        thread::sleep(due.min(patience).saturating_duration_since(Instant::now()));
        due <= Instant::now()
    }
}

fn read(mut clip: Clip, send: impl Fn(Read) -> bool) {
    let facts = clip.facts();
    let length = (facts.sample_rate / PIECES_PER_SECOND) as usize * facts.channels;
    let mut block = Vec::new();
    loop {
        match clip.next_block(&mut block) {
            Ok(true) => {
                let mut pieces = block.chunks(length);
                if !pieces.all(|piece| send(Read::Sound(piece.to_vec()))) {
                    return;
                }
            }
            Ok(false) => {
                send(Read::Warnings(clip.warnings().to_vec()));
                return;
            }
            Err(fault) => {
                send(Read::Failed(fault));
                return;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(seconds: f64) -> (tempfile::NamedTempFile, Vec<f32>) {
        let file = tempfile::Builder::new().suffix(".wav").tempfile().unwrap();
        let form = hound::WavSpec {
            channels: 1,
            sample_rate: 8_000,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut wav = hound::WavWriter::create(file.path(), form).unwrap();
        let samples: Vec<i16> = (0..(8_000.0 * seconds) as i32)
            .map(|n| (n * 37 % 2_000 - 1_000) as i16)
            .collect();
        samples.iter().for_each(|&x| wav.write_sample(x).unwrap());
        wav.finalize().unwrap();
        let full = samples.iter().map(|&x| f32::from(x) / 32_768.0);
        (file, full.collect())
    }

    fn play(file: &tempfile::NamedTempFile, pace: Pace) -> (Vec<f32>, usize, Duration) {
        let began = Instant::now();
        let source = Source::File(file.path().into());
        let mut played = Played::open(&source, pace).unwrap();
        let (mut all, mut block, mut nothing) = (Vec::new(), Vec::new(), 0);
        loop {
            match played.next(Duration::from_millis(3), &mut block).unwrap() {
                Piece::Sound => all.extend(&block),
                Piece::Nothing => nothing += 1,
                Piece::Told(notice) => panic!("{notice}"),
                Piece::End => return (all, nothing, began.elapsed()),
            }
        }
    }

    #[test]
    fn every_sample_comes_once_at_either_pace() {
        let (file, samples) = tone(0.7);
        assert_eq!(play(&file, Pace::AsItComes).0, samples);
        let (heard, nothing, took) = play(&file, Pace::RealTime);
        assert_eq!(heard, samples);
        assert!(nothing > 0, "whoever listens is asked back in between");
        // A sample never comes before its time; how late it may come is the machine's affair.
        assert!(took >= Duration::from_millis(700), "{took:?}");
    }

    #[test]
    fn a_clip_that_cannot_be_judged_says_so_at_its_end() {
        let (file, _) = tone(0.2);
        let mut played = Played::open(&Source::File(file.path().into()), Pace::AsItComes).unwrap();
        let mut block = Vec::new();
        let fault = loop {
            match played.next(Duration::from_secs(1), &mut block) {
                Ok(_) => {}
                Err(fault) => break fault,
            }
        };
        assert!(matches!(fault, Fault::TooShort { .. }));
    }
}
