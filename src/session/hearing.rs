//! Live sound to what is heard of it, hop by hop.
use super::skips::Skips;
use crate::capture::Fault;
use crate::machine::Profile;
use crate::procedure::Heard;
use crate::reading::{Frame, Listener, Look};
use crate::tach::Throttle;

/// Hears live sound, with nothing to guide.
pub struct Hearing {
    listener: Listener,
    skips: Skips,
    frames: Vec<Frame>,
}

impl Hearing {
    /// For interleaved sound at `rate` samples a second (8,000 to 192,000) in 1 to 8 `channels`.
    ///
    /// # Errors
    /// A rate or channel count outside these ranges.
    pub fn new(rate: u32, channels: usize, machine: &Profile) -> Result<Hearing, Fault> {
        Ok(Hearing {
            listener: Listener::new(rate, channels, machine, Look::Beside)?,
            skips: Skips::default(),
            frames: vec![],
        })
    }

    /// How the throttle is held from now on, as far as somebody knows.
    pub fn hold(&mut self, throttle: Option<Throttle>) {
        self.listener.hold(throttle);
    }

    /// Takes interleaved samples and appends what is now decided.
    pub fn push(&mut self, block: &[f32], heard: &mut Vec<Heard>) {
        self.listener.push(block, &mut self.frames);
        self.tell(heard);
    }

    /// Ends the sound and appends what is left.
    pub fn finish(&mut self, heard: &mut Vec<Heard>) {
        self.listener.finish(&mut self.frames);
        self.tell(heard);
    }

    fn tell(&mut self, heard: &mut Vec<Heard>) {
        heard.extend(self.frames.drain(..).map(|frame| Heard {
            frame,
            skip_ratio: self.skips.push(&frame),
        }));
    }
}
