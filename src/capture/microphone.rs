//! One open microphone.
//!
//! The sound system calls back on a thread of its own, where nothing may wait or ask for memory. The
//! callback therefore writes into a ring of fixed size and counts what does not fit; everything
//! else happens on the reader's side.
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};
use std::thread;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig};
use rtrb::{Consumer, Producer, RingBuffer};

use super::pace::Pace;
use super::soundness::ABSURD;
use super::{Facts, Fault, choice};
use crate::units::Seconds;

/// Length of the ring. A reader that is later than this loses sound.
const RING: Seconds = Seconds(2.0);
/// Without a callback for so long the microphone is taken as dead. Servers that start may think for
/// a second and a half before the first sound.
const DEAD: Duration = Duration::from_secs(3);
/// When nobody has looked for so long, that time says nothing of the microphone.
const AWAY: Duration = Duration::from_millis(500);
/// How often the reader looks.
const LOOK: Duration = Duration::from_millis(2);

/// An open microphone. It stops when it is dropped.
pub(super) struct Microphone {
    facts: Facts,
    /// Kept open as long as this lives.
    _stream: cpal::Stream,
    samples: Consumer<f32>,
    shared: Arc<Shared>,
    pace: Pace,
    /// When the last sound came, less the time in which nobody looked.
    latest: Instant,
    looked: Instant,
    dropped_seen: u64,
    missing: Seconds,
    overruns_seen: u64,
}

/// What the sound system's threads tell the reader.
#[derive(Default)]
struct Shared {
    /// Frames that were offered.
    frames: AtomicU64,
    /// Frames that did not fit into the ring.
    dropped: AtomicU64,
    /// Times that the system itself was too late.
    overruns: AtomicU64,
    /// The first error that ends the sound.
    lost: OnceLock<cpal::Error>,
}

impl Microphone {
    /// Opens the default microphone, or the one whose id or name is `wanted`, at 48,000 or else
    /// 44,100 Hz, and starts it. This can take as long as the sound system likes.
    pub(super) fn open(wanted: Option<&str>) -> Result<Self, Fault> {
        let choice::Choice {
            device,
            rate,
            offer: chosen,
            source,
        } = choice::choose(wanted)?;
        let config = StreamConfig {
            channels: chosen.channels,
            sample_rate: rate,
            buffer_size: BufferSize::Default,
        };
        let channels = usize::from(chosen.channels);
        let shared = Arc::new(Shared::default());
        let ring = (f64::from(rate) * RING.0) as usize * channels;
        let (producer, samples) = RingBuffer::new(ring);
        let began = Instant::now();
        let stream = match chosen.format {
            SampleFormat::I16 => start::<i16>(&device, config, producer, &shared),
            SampleFormat::I32 => start::<i32>(&device, config, producer, &shared),
            _ => start::<f32>(&device, config, producer, &shared),
        }
        .map_err(|error| choice::refused(choice::fault(&error, wanted)))?;
        let facts = Facts {
            sample_rate: rate,
            channels,
            seconds: None,
            format: name(&device, source.as_deref(), wanted)?,
        };
        Ok(Microphone {
            facts,
            _stream: stream,
            samples,
            shared,
            pace: Pace::new(rate, began),
            latest: Instant::now(),
            looked: Instant::now(),
            dropped_seen: 0,
            missing: Seconds(0.0),
            overruns_seen: 0,
        })
    }

    /// Sample rate and channels; the format is the name of the microphone.
    pub(super) fn facts(&self) -> &Facts {
        &self.facts
    }

    /// Waits for sound, `wait` at most, and appends it: interleaved samples, whole frames, full
    /// scale 1. `false` if none came.
    ///
    /// # Errors
    /// [`Fault::MicrophoneLost`] when the system stops it, [`Fault::MicrophoneMute`] when callbacks
    /// cease, [`Fault::MicrophoneTooFast`] when sound comes faster than time passes.
    pub(super) fn next_block(&mut self, wait: Duration, out: &mut Vec<f32>) -> Result<bool, Fault> {
        let began = Instant::now();
        loop {
            let now = Instant::now();
            let away = now.duration_since(std::mem::replace(&mut self.looked, now));
            if away > AWAY {
                self.latest += away;
            }
            let frames = self.shared.frames.load(Ordering::Relaxed);
            self.pace.check(frames, now)?;
            let ready = self.samples.slots() / self.facts.channels * self.facts.channels;
            if let Ok(chunk) = self.samples.read_chunk(ready)
                && ready > 0
            {
                let (first, second) = chunk.as_slices();
                let both = first.iter().chain(second);
                // No number, or none that a microphone gives, is no sound.
                out.extend(both.map(|x| if x.abs() <= ABSURD { *x } else { 0.0 }));
                chunk.commit_all();
                self.latest = now;
                if let Some(missing) = self.pace.missing(frames, now) {
                    self.missing.0 += missing.0;
                }
                return Ok(true);
            }
            if let Some(error) = self.shared.lost.get() {
                let cause = choice::cause(error);
                return Err(Fault::MicrophoneLost { cause });
            }
            if self.samples.is_abandoned() {
                let cause = "the sound system let it go".into();
                return Err(Fault::MicrophoneLost { cause });
            }
            let waited = now.saturating_duration_since(self.latest);
            if waited >= DEAD {
                let waited = Seconds(waited.as_secs_f64());
                return Err(Fault::MicrophoneMute { waited });
            }
            if now.duration_since(began) >= wait {
                return Ok(false);
            }
            thread::sleep(LOOK.min(wait));
        }
    }

    /// Sound that was lost since the last call, because it was not taken in time, here or by the
    /// system.
    pub(super) fn dropped(&mut self) -> Seconds {
        let dropped = self.shared.dropped.load(Ordering::Relaxed);
        let new = dropped - std::mem::replace(&mut self.dropped_seen, dropped);
        let missing = std::mem::take(&mut self.missing);
        Seconds(missing.0 + new as f64 / f64::from(self.facts.sample_rate))
    }

    /// Whether the system itself has lost sound since the last call.
    pub(super) fn overrun(&mut self) -> bool {
        let overruns = self.shared.overruns.load(Ordering::Relaxed);
        overruns != std::mem::replace(&mut self.overruns_seen, overruns)
    }
}

/// Puts the recording to its source, where a sound server has the say, and gives the name of what is
/// heard now.
fn name(
    device: &cpal::Device,
    source: Option<&str>,
    wanted: Option<&str>,
) -> Result<String, Fault> {
    #[cfg(target_os = "linux")]
    if let Some(name) = super::server::settle(source) {
        return Ok(name);
    }
    if source.is_some() {
        let wanted = wanted.map(str::to_owned);
        return Err(Fault::NoMicrophone { wanted });
    }
    let described = device.description().map(|it| it.name().to_owned());
    Ok(described.unwrap_or_default())
}

fn start<T>(
    device: &cpal::Device,
    config: StreamConfig,
    mut ring: Producer<f32>,
    shared: &Arc<Shared>,
) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    let channels = usize::from(config.channels);
    let (heard, failed) = (Arc::clone(shared), Arc::clone(shared));
    let stream = device.build_input_stream::<T, _, _>(
        config,
        move |data, _| take(data, channels, &mut ring, &heard),
        move |error| {
            if error.kind() == ErrorKind::Xrun {
                failed.overruns.fetch_add(1, Ordering::Relaxed);
            } else if fatal(error.kind()) {
                // Some systems call this a million times in a second: the first one is kept, and the
                // reader closes the stream.
                let _ = failed.lost.set(error);
            }
        },
        None,
    )?;
    stream.play()?;
    Ok(stream)
}

/// What the sound system's thread does: no waiting, no memory.
fn take<T>(data: &[T], channels: usize, ring: &mut Producer<f32>, heard: &Shared)
where
    T: Copy,
    f32: FromSample<T>,
{
    let frames = (data.len() / channels) as u64;
    heard.frames.fetch_add(frames, Ordering::Relaxed);
    match ring.write_chunk_uninit(data.len()) {
        Ok(room) => {
            room.fill_from_iter(data.iter().map(|x| f32::from_sample_(*x)));
        }
        Err(_) => {
            heard.dropped.fetch_add(frames, Ordering::Relaxed);
        }
    }
}

fn fatal(kind: ErrorKind) -> bool {
    !matches!(
        kind,
        ErrorKind::DeviceChanged | ErrorKind::Xrun | ErrorKind::RealtimeDenied
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_that_pass_do_not_stop_it() {
        assert!(!fatal(ErrorKind::Xrun) && !fatal(ErrorKind::DeviceChanged));
        assert!(fatal(ErrorKind::BackendError) && fatal(ErrorKind::DeviceNotAvailable));
    }

    #[test]
    fn what_does_not_fit_is_counted_and_what_fits_is_kept_in_order() {
        let (mut ring, mut samples) = RingBuffer::new(8);
        let heard = Shared::default();
        take(&[1i16 << 14, -(1 << 14), 0, 0], 2, &mut ring, &heard);
        // Whole blocks only: half of one would break the order of the channels.
        take(&[0i16; 6], 2, &mut ring, &heard);
        take(&[1i16 << 13; 4], 2, &mut ring, &heard);
        assert_eq!(heard.frames.load(Ordering::Relaxed), 7);
        assert_eq!(heard.dropped.load(Ordering::Relaxed), 3);
        let got: Vec<f32> = std::iter::from_fn(|| samples.pop().ok()).collect();
        assert_eq!(got, [0.5, -0.5, 0.0, 0.0, 0.25, 0.25, 0.25, 0.25]);
    }
}
