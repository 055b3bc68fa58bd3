//! Compressed sound as blocks of samples: packets are decoded, and what is lost becomes silence, so
//! that the time goes on.
use super::decoder::{Decoded, Decoder, coding_name};
use super::input::{Input, Shared};
use super::opus::Opus;
use super::outline::Edit;
use super::packets::{End, Packets};
use super::raw::in_range;
use super::{Fault, Warning};
use crate::units::Seconds;

/// A packet that starts so much later than the one before it ended, in seconds, follows a loss; less
/// is the rounding of some containers to milliseconds.
const JUMP: f64 = 0.04;
/// A longer loss is not filled, nor more than so much together.
const LONGEST_GAP: f64 = 1.0;
const MOST_SILENCE: f64 = 60.0;
/// A clip may be so much shorter than declared without being cut off: some writers count the
/// padding of the coder, three AAC packets at 44.1 kHz.
const SHORTER: f64 = 0.07;
/// Less damage than this, in seconds, is not worth a word.
const DAMAGE: f64 = 0.1;

/// What is known of a clip before it is opened.
#[derive(Clone, Default)]
pub(super) struct Expected {
    /// What an mp4 says of the coder's delay.
    pub edits: Vec<Edit>,
    /// Whether the declared length is an estimate and no statement.
    pub estimated: bool,
    /// Whether the end of the bytes is the end of a file.
    pub file: bool,
    /// Whether the head promised more bytes than there are.
    pub cut_off: bool,
}

/// Decodes packet by packet.
pub(super) struct Coded {
    packets: Packets,
    decoder: Decoder,
    expected: Expected,
    rate: u32,
    channels: usize,
    /// Samples of the first packet, decoded to learn the rate and the channels.
    first: Vec<f32>,
    /// Frames that the coder put before the sound.
    delay: u64,
    /// Frames of these still to drop.
    skip: u64,
    /// Frames that were dropped or given.
    frames: u64,
    /// Frames that the clip declares, those to drop included.
    declared: Option<u64>,
    /// When the next packet should start, in seconds.
    next: Option<f64>,
    damaged: u64,
    silence: f64,
    end: Option<End>,
}

enum Piece {
    /// Samples were appended, or none.
    Samples,
    /// A packet of so many seconds could not be decoded.
    Lost(f64),
    End,
}

impl Coded {
    /// Opens a compressed clip and decodes its first packet.
    ///
    /// Containers are searched for their end, which a damaged byte there can stop. What then can be
    /// read straight ahead is read so.
    pub(super) fn new(input: Input, expected: &Expected) -> Result<Self, Fault> {
        let input = Shared::new(input);
        let first = match Self::open(input.clone(), expected) {
            Err(fault @ (Fault::Broken { .. } | Fault::Unknown)) if expected.file => fault,
            result => return result,
        };
        input.lock().read_straight();
        if input.lock().rewind().is_err() {
            return Err(first);
        }
        Self::open(input, expected).map_err(|_| first)
    }

    fn open(input: Shared, expected: &Expected) -> Result<Self, Fault> {
        let packets = Packets::new(input, expected.file)?;
        let decoder = Decoder::new(packets.parameters().ok_or(Fault::NoSound)?)?;
        let mut coded = Coded {
            packets,
            decoder,
            expected: expected.clone(),
            rate: 0,
            channels: 0,
            first: Vec::new(),
            delay: 0,
            skip: 0,
            frames: 0,
            declared: None,
            next: None,
            damaged: 0,
            silence: 0.0,
            end: None,
        };
        coded.learn()?;
        Ok(coded)
    }

    /// Decodes the first packet, since containers do not always tell the true rate and channels.
    fn learn(&mut self) -> Result<(), Fault> {
        let mut first = Vec::new();
        let mut lost = 0.0;
        while first.is_empty() {
            match self.piece(&mut first)? {
                Piece::Samples => {}
                Piece::Lost(length) => lost += length,
                Piece::End if self.damaged + self.packets.failures > 0 => {
                    return Err(Fault::Broken {
                        what: "no part of it could be decoded".into(),
                    });
                }
                Piece::End => return Err(Fault::NoSamples),
            }
        }
        in_range(self.rate, self.channels)?;
        self.fill(lost);
        self.first.append(&mut first);
        self.delay = self.coder_delay();
        self.skip = self.delay;
        self.declared = self
            .packets
            .declared(self.rate)
            .filter(|_| !self.expected.estimated);
        Ok(())
    }

    /// Frames that the coder put before the sound and that the decoder does not drop itself.
    fn coder_delay(&self) -> u64 {
        if let Decoder::Opus(_) = self.decoder {
            let header = self
                .packets
                .parameters()
                .and_then(|all| all.extra_data.as_deref());
            return Opus::pre_skip(header);
        }
        if self.packets.is_caf() {
            return self.packets.delay();
        }
        let track = self.packets.track();
        let edit = self
            .expected
            .edits
            .iter()
            .find(|edit| edit.track == track && edit.scale > 0);
        edit.map_or(0, |edit| {
            (edit.skip as f64 * f64::from(self.rate) / f64::from(edit.scale)).round() as u64
        })
    }

    pub(super) fn rate(&self) -> u32 {
        self.rate
    }

    pub(super) fn channels(&self) -> usize {
        self.channels
    }

    /// The declared length of the sound.
    pub(super) fn declared(&self) -> Option<Seconds> {
        self.declared
            .map(|frames| self.seconds(frames.saturating_sub(self.delay)))
    }

    fn seconds(&self, frames: u64) -> Seconds {
        Seconds(frames as f64 / f64::from(self.rate))
    }

    /// In words, for example "AAC in MP4".
    pub(super) fn format(&self) -> String {
        let coding = self
            .packets
            .parameters()
            .map(coding_name)
            .unwrap_or_default();
        match self.packets.container() {
            Some(container) => format!("{coding} in {container}"),
            None => coding,
        }
    }

    /// What made the sound less than it should be, now that it has ended.
    pub(super) fn warnings(&self) -> Vec<Warning> {
        let read = self.seconds(self.frames.saturating_sub(self.delay));
        let slack = SHORTER.max(self.seconds(self.packets.most_padding()).0);
        let missing = self
            .declared()
            .filter(|declared| read.0 + slack < declared.0);
        let cut_off = self.expected.cut_off || self.end == Some(End::CutOff) || missing.is_some();
        let mut warnings = Vec::new();
        if self.end == Some(End::Changed) {
            warnings.push(Warning::Changed { read });
        } else if cut_off && self.expected.file {
            warnings.push(Warning::CutOff {
                read,
                declared: missing,
            });
        }
        if self.silence >= DAMAGE {
            warnings.push(Warning::Damaged {
                parts: self.damaged,
                length: Seconds(self.silence),
            });
        }
        warnings
    }

    /// Appends the next samples, whole frames; `false` is the end.
    pub(super) fn next(&mut self, out: &mut Vec<f32>) -> Result<bool, Fault> {
        if self.first.is_empty() {
            match self.piece(out)? {
                Piece::Samples => {}
                Piece::Lost(length) => self.fill(length),
                Piece::End => return Ok(false),
            }
        }
        // Silence stands before what came after the loss.
        if !self.first.is_empty() {
            self.first.append(out);
            std::mem::swap(&mut self.first, out);
        }
        let frames = (out.len() / self.channels) as u64;
        self.frames += frames;
        let skip = self.skip.min(frames);
        self.skip -= skip;
        out.drain(..skip as usize * self.channels);
        Ok(true)
    }

    /// Puts silence before the next samples.
    fn fill(&mut self, length: f64) {
        if length > 0.0 && length <= LONGEST_GAP && self.silence + length <= MOST_SILENCE {
            let frames = (length * f64::from(self.rate)).round() as usize;
            let samples = self.first.len() + frames * self.channels;
            self.first.resize(samples, 0.0);
        }
        self.silence += length.max(0.0);
    }

    /// Decodes one packet and appends its samples.
    fn piece(&mut self, out: &mut Vec<f32>) -> Result<Piece, Fault> {
        if self.end.is_some() {
            return Ok(Piece::End);
        }
        let packet = match self.packets.next()? {
            Ok(packet) => packet,
            Err(end) => {
                self.end = Some(end);
                return Ok(Piece::End);
            }
        };
        let time = self.packets.time(&packet);
        if let (Some((start, _)), Some(next)) = (time, self.next)
            && start - next > JUMP
            && self.rate > 0
        {
            self.damaged += 1;
            self.fill(start - next);
        }
        let (rate, channels) = match self.decoder.decode(&packet, out)? {
            Decoded::Samples { rate, channels } => (rate, channels),
            Decoded::Changed => {
                self.end = Some(End::Changed);
                return Ok(Piece::End);
            }
            Decoded::Damaged => {
                let length = time
                    .map_or(0.0, |(_, length)| length)
                    .clamp(0.0, LONGEST_GAP);
                self.next = time.map(|(start, _)| start + length);
                self.damaged += 1;
                return Ok(Piece::Lost(length));
            }
        };
        // A packet without samples, such as one that is trimmed away, says nothing.
        if !out.is_empty() {
            if self.rate == 0 {
                (self.rate, self.channels) = (rate, channels);
            } else if (rate, channels) != (self.rate, self.channels) {
                out.clear();
                self.end = Some(End::Changed);
                return Ok(Piece::End);
            }
        }
        let decoded = (out.len() / channels.max(1)) as f64 / f64::from(rate.max(1));
        self.next = time.map(|(start, length)| start + length.max(decoded));
        Ok(Piece::Samples)
    }
}
