//! From blocks of samples to frames.
use super::Frame;
use crate::machine::Profile;
use crate::units::Seconds;

/// How far a listener may look ahead before it decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// At most 200 ms behind the sound.
    Live,
    /// Seconds ahead, for recorded clips.
    Ahead,
}

/// Turns interleaved samples at any rate into frames, one each [`Listener::hop`].
///
/// Block sizes never change a reading.
pub struct Listener {}

impl Listener {
    /// A listener for interleaved samples, `sample_rate` 8,000 to 192,000 per second, 1 to 8
    /// `channels`.
    pub fn new(_sample_rate: u32, _channels: usize, _machine: &Profile, _look: Look) -> Self {
        Listener {}
    }

    /// Time between frames.
    pub fn hop(&self) -> Seconds {
        Seconds(0.016)
    }

    /// Takes a block of interleaved samples (finite, full scale 1) of any length and appends the
    /// frames that are now decided.
    pub fn push(&mut self, _block: &[f32], _frames: &mut Vec<Frame>) {}

    /// Ends the sound and appends the frames that are left.
    pub fn finish(&mut self, _frames: &mut Vec<Frame>) {}
}
