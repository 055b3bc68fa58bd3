//! The loudspeaker, for practice.
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use rtrb::{Producer, RingBuffer};

use super::bench::RATE;
use super::exit::Outcome;
use super::trouble::Trouble;

/// Sound that may wait: 0.3 s.
const WAITING: usize = RATE as usize * 3 / 10;

/// The loudspeaker that is playing; it stops when it is dropped.
pub struct Loudspeaker {
    stream: cpal::Stream,
    samples: Producer<f32>,
}

impl Loudspeaker {
    /// Opens the system's choice.
    ///
    /// # Errors
    /// Where there is none.
    pub fn open() -> Result<Loudspeaker, Trouble> {
        let silent = |error: String| {
            Trouble::input(
                format!("no loudspeaker: {error}"),
                "connect one, or practise without --sound",
                Outcome::Unreadable,
            )
        };
        let device = cpal::default_host()
            .default_output_device()
            .ok_or_else(|| silent("the system has none".into()))?;
        let config = device
            .default_output_config()
            .map_err(|error| silent(error.to_string()))?;
        let channels = usize::from(config.channels());
        let (samples, mut waiting) = RingBuffer::<f32>::new(WAITING);
        // The engine's samples are drawn out to the device's rate on straight lines; it is for the
        // ear, and nothing is measured on it.
        let step = f64::from(RATE) / f64::from(config.sample_rate());
        let (mut at, mut old, mut new) = (0.0f64, 0.0f32, 0.0f32);
        let stream = device
            .build_output_stream::<f32, _, _>(
                config.config(),
                move |out: &mut [f32], _: &_| {
                    for frame in out.chunks_mut(channels) {
                        at += step;
                        while at >= 1.0 {
                            at -= 1.0;
                            old = new;
                            new = waiting.pop().unwrap_or(0.0);
                        }
                        frame.fill(old + (new - old) * at as f32);
                    }
                },
                |_| {},
                None,
            )
            .map_err(|error| silent(error.to_string()))?;
        stream.play().map_err(|error| silent(error.to_string()))?;
        Ok(Loudspeaker { stream, samples })
    }

    /// Plays these samples; what does not fit is left out.
    pub fn play(&mut self, block: &[f32]) {
        debug_assert!(self.samples.buffer().capacity() >= block.len());
        for sample in block {
            if self.samples.push(*sample).is_err() {
                break;
            }
        }
        let _ = &self.stream;
    }
}
