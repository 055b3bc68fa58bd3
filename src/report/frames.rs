//! Frames on their way to a file: one line each, kept outside memory until the clip's turn comes.
use std::cell::RefCell;
use std::io::{self, Read, Seek, SeekFrom};

use schemars::JsonSchema;
use serde::ser::{Error as _, SerializeSeq};
use serde::{Deserialize, Serialize, Serializer};
use tempfile::SpooledTempFile;

use crate::firing::{FiringKind, Pattern};
use crate::reading::Frame;
use crate::tach::Unreadable;

/// Bytes of lines that stay in memory before they go to a temporary file: about 50 seconds of
/// sound, so that ordinary clips never touch the disk.
const IN_MEMORY: usize = 256 * 1024;

/// What is heard around one moment, in numbers that every format can carry.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FrameLine {
    /// Centre of what the line describes, in seconds from the start of the sound.
    pub t_s: f64,
    /// Crank speed in revolutions per minute; null where it is not readable.
    pub rpm: Option<f64>,
    /// Lower end of the 95 % interval of the speed.
    pub rpm_low: Option<f64>,
    /// Upper end of the 95 % interval of the speed.
    pub rpm_high: Option<f64>,
    /// Probability that the base of the speed is right (not half of it, double, …), 0 to 1; 0 where
    /// there is no speed.
    pub confidence: f64,
    /// How the engine fires; "none" exactly where there is no speed.
    pub firing: FiringKind,
    /// Share of revolutions without a full firing, 0 to 1; null where it cannot be judged.
    pub skip_ratio: Option<f64>,
    /// Root-mean-square level against full scale in decibels; null for digital silence.
    pub level_dbfs: Option<f64>,
    /// Why there is no speed; null where there is one.
    pub unreadable: Option<Unreadable>,
    /// A second speed that fits as well, where nothing decides between the two.
    pub rpm_other: Option<f64>,
    /// Rhythm of the skipped firings; null where nothing is skipped.
    pub pattern: Option<Pattern>,
    /// Level of the strongest sub-order family against the whole orders in decibels.
    pub sub_order_db: Option<f64>,
    /// Cycle-to-cycle variation: 0 (all revolutions alike) to 1 (nothing in common).
    pub variation: Option<f64>,
    /// Share of samples at or beyond full scale, 0 to 1.
    pub clipped: f64,
}

/// Numbers that are not finite stop here: no format carries them.
fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

impl From<&Frame> for FrameLine {
    fn from(frame: &Frame) -> Self {
        let speed = frame.speed.ok();
        FrameLine {
            t_s: frame.t.0,
            rpm: speed.and_then(|s| finite(s.rpm.0)),
            rpm_low: speed.and_then(|s| finite(s.low.0)),
            rpm_high: speed.and_then(|s| finite(s.high.0)),
            confidence: speed.and_then(|s| finite(s.confidence)).unwrap_or(0.0),
            firing: frame.firing.kind,
            skip_ratio: frame.firing.skip_ratio.and_then(finite),
            level_dbfs: finite(frame.level.0),
            unreadable: frame.speed.err(),
            rpm_other: speed
                .and_then(|s| s.other)
                .and_then(|other| finite(other.0)),
            pattern: frame.firing.pattern,
            sub_order_db: frame.firing.sub_order.and_then(|level| finite(level.0)),
            variation: frame.firing.variation.and_then(finite),
            clipped: finite(frame.clipped).unwrap_or(0.0),
        }
    }
}

impl FrameLine {
    /// The same with the decimals that mean something: 0.1 ms, 0.01 rpm, three places of a share. No
    /// more than JSON writes, so that every format has the same numbers.
    fn rounded(self) -> Self {
        let to = |places: i32| {
            move |value: f64| (value * 10f64.powi(places)).round() / 10f64.powi(places)
        };
        FrameLine {
            t_s: to(4)(self.t_s),
            rpm: self.rpm.map(to(2)),
            rpm_low: self.rpm_low.map(to(2)),
            rpm_high: self.rpm_high.map(to(2)),
            confidence: to(3)(self.confidence),
            skip_ratio: self.skip_ratio.map(to(3)),
            level_dbfs: self.level_dbfs.map(to(2)),
            rpm_other: self.rpm_other.map(to(2)),
            sub_order_db: self.sub_order_db.map(to(2)),
            variation: self.variation.map(to(3)),
            clipped: to(4)(self.clipped),
            ..self
        }
    }
}

/// Takes frames as they come; a clip of ten hours needs the memory of a short one.
pub struct FrameKeeper {
    rows: Option<csv::Writer<SpooledTempFile>>,
}

impl FrameKeeper {
    /// A keeper for formats that show every frame.
    pub fn keeping() -> Self {
        let rows = csv::WriterBuilder::new()
            .has_headers(false)
            .from_writer(SpooledTempFile::new(IN_MEMORY));
        FrameKeeper { rows: Some(rows) }
    }

    /// A keeper for formats that show none: it forgets each frame at once.
    pub fn forgetting() -> Self {
        FrameKeeper { rows: None }
    }

    /// Takes the next frame.
    ///
    /// # Errors
    /// Where the temporary folder is full or cannot be written.
    pub fn push(&mut self, frame: &Frame) -> io::Result<()> {
        match &mut self.rows {
            Some(rows) => rows
                .serialize(FrameLine::from(frame).rounded())
                .map_err(io::Error::from),
            None => Ok(()),
        }
    }

    /// Ends the clip.
    ///
    /// # Errors
    /// As for [`FrameKeeper::push`].
    pub fn finish(self) -> io::Result<KeptFrames> {
        let file = match self.rows {
            Some(rows) => rows.into_inner().map_err(|e| e.into_error())?,
            None => SpooledTempFile::new(0),
        };
        Ok(KeptFrames {
            file: RefCell::new(file),
        })
    }
}

/// The frames of one clip; written out as a sequence of [`FrameLine`]s.
pub struct KeptFrames {
    file: RefCell<SpooledTempFile>,
}

impl KeptFrames {
    /// Hands each frame in order to `take`, until that fails.
    ///
    /// # Errors
    /// Those of `take`, and where the temporary file cannot be read.
    pub fn each<E: From<io::Error>>(
        &self,
        mut take: impl FnMut(FrameLine) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut file = self.file.borrow_mut();
        file.seek(SeekFrom::Start(0))?;
        let mut rows = csv::ReaderBuilder::new()
            .has_headers(false)
            .from_reader(&mut *file as &mut dyn Read);
        for row in rows.deserialize() {
            take(row.map_err(io::Error::from)?)?;
        }
        Ok(())
    }
}

/// Why a frame did not reach the serializer.
enum Interrupted<E> {
    File(io::Error),
    Serializer(E),
}

impl<E> From<io::Error> for Interrupted<E> {
    fn from(error: io::Error) -> Self {
        Interrupted::File(error)
    }
}

impl Serialize for KeptFrames {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut sequence = serializer.serialize_seq(None)?;
        let all = self.each(|line| {
            sequence
                .serialize_element(&line)
                .map_err(Interrupted::Serializer)
        });
        match all {
            Ok(()) => sequence.end(),
            Err(Interrupted::Serializer(error)) => Err(error),
            Err(Interrupted::File(error)) => Err(S::Error::custom(error)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::firing::Firing;
    use crate::tach::Speed;
    use crate::units::{Decibels, Rpm, Seconds};

    fn frame(t: f64, speed: Result<Speed, Unreadable>) -> Frame {
        let kind = if speed.is_ok() {
            FiringKind::FourStroking
        } else {
            FiringKind::None
        };
        Frame {
            t: Seconds(t),
            speed,
            firing: Firing {
                kind,
                skip_ratio: speed.is_ok().then_some(0.5),
                pattern: speed.is_ok().then_some(Pattern::EverySecond),
                sub_order: None,
                variation: None,
            },
            level: Decibels(f64::NEG_INFINITY),
            clipped: 0.0,
        }
    }

    fn speed(rpm: f64) -> Speed {
        Speed {
            rpm: Rpm(rpm),
            low: Rpm(rpm - 5.0),
            high: Rpm(rpm + 5.0),
            confidence: 0.9,
            other: None,
        }
    }

    #[test]
    fn frames_come_back_in_order_from_memory_and_from_disk() {
        for count in [1usize, 100, 10_000] {
            let mut keeper = FrameKeeper::keeping();
            for i in 0..count {
                let heard = if i % 3 == 0 {
                    Err(Unreadable::NoEngine)
                } else {
                    Ok(speed(3_000.0 + i as f64))
                };
                keeper.push(&frame(i as f64 * 0.016, heard)).unwrap();
            }
            let kept = keeper.finish().unwrap();
            for _twice in 0..2 {
                let mut next = 0;
                kept.each(|line| {
                    assert!((line.t_s - next as f64 * 0.016).abs() < 1e-4);
                    assert_eq!(line.rpm, (next % 3 != 0).then_some(3_000.0 + next as f64));
                    assert_eq!(
                        line.unreadable,
                        (next % 3 == 0).then_some(Unreadable::NoEngine)
                    );
                    assert_eq!(line.pattern.is_some(), next % 3 != 0);
                    assert_eq!(line.level_dbfs, None);
                    next += 1;
                    Ok::<_, io::Error>(())
                })
                .unwrap();
                assert_eq!(next, count);
            }
        }
    }

    #[test]
    fn what_is_not_finite_becomes_nothing() {
        let odd = Speed {
            rpm: Rpm(f64::NAN),
            low: Rpm(f64::NEG_INFINITY),
            ..speed(3_000.0)
        };
        let line = FrameLine::from(&frame(0.0, Ok(odd)));
        assert_eq!(
            (line.rpm, line.rpm_low, line.rpm_high),
            (None, None, Some(3_005.0))
        );
        assert_eq!(line.level_dbfs, None);
    }

    #[test]
    fn a_clip_without_frames_is_an_empty_list() {
        let kept = FrameKeeper::keeping().finish().unwrap();
        assert_eq!(serde_json::to_string(&kept).unwrap(), "[]");
        let none = FrameKeeper::forgetting().finish().unwrap();
        assert_eq!(serde_json::to_string(&none).unwrap(), "[]");
    }
}
