//! Sound from a microphone, as it comes.
//!
//! The sound system calls back on a thread of its own, where nothing may wait or ask for memory. The
//! callback therefore writes into a ring of fixed size and counts what does not fit; everything
//! else happens on the reader's side.
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};
use std::thread;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig};
use rtrb::{Consumer, Producer, RingBuffer};

use super::{Facts, Fault, Warning};
use crate::units::Seconds;

/// Sample rates in the order in which they are asked for.
const RATES: [u32; 2] = [48_000, 44_100];
/// Sample formats in the order in which they are asked for.
const FORMATS: [SampleFormat; 3] = [SampleFormat::F32, SampleFormat::I32, SampleFormat::I16];
/// Length of the ring. A reader that is later than this loses sound.
const RING: Seconds = Seconds(2.0);
/// Without a callback for so long the microphone is taken as mute.
const MUTE: Duration = Duration::from_secs(3);
/// How often the reader looks.
const LOOK: Duration = Duration::from_millis(4);
/// Names under which the Linux sound library lists conversions and bridges, not microphones.
const PLUGINS: [&str; 9] = [
    "null",
    "jack",
    "oss",
    "lavrate",
    "samplerate",
    "speexrate",
    "speex",
    "upmix",
    "vdownmix",
];

/// A microphone that can be opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listed {
    /// What [`Microphone::open`] takes.
    pub id: String,
    /// For people.
    pub name: String,
    /// Whether this one is opened if none is named.
    pub default: bool,
}

/// An open microphone. It stops when it is dropped.
pub struct Microphone {
    facts: Facts,
    /// Kept open as long as this lives.
    _stream: cpal::Stream,
    samples: Consumer<f32>,
    shared: Arc<Shared>,
    pace: Pace,
    dropped_seen: u64,
    silent_frames: u64,
}

/// What the sound system's thread tells the reader.
#[derive(Default)]
struct Shared {
    /// Frames that were offered.
    frames: AtomicU64,
    /// Frames that did not fit into the ring.
    dropped: AtomicU64,
    /// The first error that ends the sound.
    lost: OnceLock<String>,
}

/// The microphones of this machine. Bridges and conversions that the system lists beside them are
/// left out.
///
/// # Errors
/// [`Fault::NoMicrophone`] if there are none.
pub fn microphones() -> Result<Vec<Listed>, Fault> {
    let host = cpal::default_host();
    let default = host
        .default_input_device()
        .and_then(|device| device.id().ok());
    let devices = host
        .input_devices()
        .map_err(|_| Fault::NoMicrophone { wanted: None })?;
    let mut listed: Vec<Listed> = devices
        .filter(|device| device.default_input_config().is_ok())
        .filter_map(|device| {
            let id = device.id().ok()?;
            let name = device.description().ok()?.name().to_owned();
            Some(Listed {
                default: default.as_ref() == Some(&id),
                id: id.to_string(),
                name,
            })
        })
        .filter(|one| !PLUGINS.contains(&one.id.rsplit(':').next().unwrap_or_default()))
        .collect();
    listed.sort_by_key(|one| !one.default);
    if listed.is_empty() {
        Err(Fault::NoMicrophone { wanted: None })
    } else {
        Ok(listed)
    }
}

impl Microphone {
    /// Opens the default microphone, or the one whose id or name is `wanted`, at 48,000 or else
    /// 44,100 Hz, and starts it.
    ///
    /// # Errors
    /// [`Fault::NoMicrophone`], [`Fault::MicrophoneFormat`], or [`Fault::MicrophoneLost`] if the
    /// system does not let it start.
    pub fn open(wanted: Option<&str>) -> Result<Self, Fault> {
        let none = || Fault::NoMicrophone {
            wanted: wanted.map(str::to_owned),
        };
        let host = cpal::default_host();
        let device = match wanted {
            None => host.default_input_device().ok_or_else(none)?,
            Some(wanted) => {
                let one = microphones()?
                    .into_iter()
                    .find(|one| one.id == wanted || one.name == wanted);
                let id = one.ok_or_else(none)?.id.parse().map_err(|_| none())?;
                host.device_by_id(&id).ok_or_else(none)?
            }
        };
        // The system names a default even where there is none; the truth comes out here.
        let offers: Vec<Offer> = device
            .supported_input_configs()
            .map_err(|_| none())?
            .map(|range| Offer {
                lowest: range.min_sample_rate(),
                highest: range.max_sample_rate(),
                channels: range.channels(),
                format: range.sample_format(),
            })
            .collect();
        let (rate, chosen) = choose(&offers).ok_or(Fault::MicrophoneFormat)?;
        let config = StreamConfig {
            channels: chosen.channels,
            sample_rate: rate,
            // Left to itself this one gives sound in pieces of two seconds.
            buffer_size: match host.id().name() {
                "PulseAudio" => BufferSize::Fixed(rate / 100),
                _ => BufferSize::Default,
            },
        };
        let name = device
            .description()
            .map(|it| it.name().to_owned())
            .unwrap_or_default();
        let channels = usize::from(chosen.channels);
        let shared = Arc::new(Shared::default());
        let ring = (f64::from(rate) * RING.0) as usize * channels;
        let (producer, samples) = RingBuffer::new(ring);
        let stream = match chosen.format {
            SampleFormat::I16 => start::<i16>(&device, config, producer, &shared),
            SampleFormat::I32 => start::<i32>(&device, config, producer, &shared),
            _ => start::<f32>(&device, config, producer, &shared),
        }?;
        let facts = Facts {
            sample_rate: rate,
            channels,
            seconds: None,
            format: name,
        };
        Ok(Microphone {
            facts,
            _stream: stream,
            samples,
            shared,
            pace: Pace::new(rate, Instant::now()),
            dropped_seen: 0,
            silent_frames: 0,
        })
    }

    /// Sample rate and channels; the format is the name of the microphone.
    pub fn facts(&self) -> &Facts {
        &self.facts
    }

    /// Waits for sound and replaces `out` by interleaved samples, whole frames, full scale 1.
    ///
    /// # Errors
    /// [`Fault::MicrophoneLost`] when the system stops it, [`Fault::MicrophoneMute`] when nothing
    /// comes for three seconds, [`Fault::MicrophoneTooFast`] when sound comes faster than time
    /// passes.
    pub fn next_block(&mut self, out: &mut Vec<f32>) -> Result<(), Fault> {
        out.clear();
        let began = Instant::now();
        loop {
            self.pace
                .check(self.shared.frames.load(Ordering::Relaxed), Instant::now())?;
            let ready = self.samples.slots() / self.facts.channels * self.facts.channels;
            if let Ok(chunk) = self.samples.read_chunk(ready)
                && ready > 0
            {
                let (first, second) = chunk.as_slices();
                out.extend(
                    first
                        .iter()
                        .chain(second)
                        .map(|x| if x.is_finite() { *x } else { 0.0 }),
                );
                chunk.commit_all();
                self.hear(out);
                return Ok(());
            }
            if let Some(cause) = self.shared.lost.get() {
                return Err(Fault::MicrophoneLost {
                    cause: cause.clone(),
                });
            }
            if self.samples.is_abandoned() {
                return Err(Fault::MicrophoneLost {
                    cause: "the sound system let it go".into(),
                });
            }
            if began.elapsed() >= MUTE {
                return Err(Fault::MicrophoneMute {
                    waited: Seconds(MUTE.as_secs_f64()),
                });
            }
            thread::sleep(LOOK);
        }
    }

    fn hear(&mut self, block: &[f32]) {
        if block.iter().all(|x| *x == 0.0) {
            self.silent_frames += (block.len() / self.facts.channels) as u64;
        } else {
            self.silent_frames = 0;
        }
    }

    /// For how long there have been exact zeros only: a muted microphone, not a quiet room.
    pub fn silent_for(&self) -> Seconds {
        Seconds(self.silent_frames as f64 / f64::from(self.facts.sample_rate))
    }

    /// Sound that was lost since the last call, because it was not taken in time.
    pub fn dropped(&mut self) -> Option<Warning> {
        let dropped = self.shared.dropped.load(Ordering::Relaxed);
        let new = dropped - std::mem::replace(&mut self.dropped_seen, dropped);
        let length = Seconds(new as f64 / f64::from(self.facts.sample_rate));
        (new > 0).then_some(Warning::Dropped { length })
    }
}

/// What a device offers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Offer {
    lowest: u32,
    highest: u32,
    channels: u16,
    format: SampleFormat,
}

/// The rate first, then one channel before two, then the format.
fn choose(offers: &[Offer]) -> Option<(u32, Offer)> {
    RATES.iter().find_map(|&rate| {
        let fitting = offers.iter().filter(|offer| {
            (offer.lowest..=offer.highest).contains(&rate)
                && (1..=2).contains(&offer.channels)
                && FORMATS.contains(&offer.format)
        });
        let rank = |offer: &&Offer| {
            (
                offer.channels,
                FORMATS.iter().position(|format| *format == offer.format),
            )
        };
        fitting.min_by_key(rank).map(|offer| (rate, *offer))
    })
}

fn start<T>(
    device: &cpal::Device,
    config: StreamConfig,
    mut ring: Producer<f32>,
    shared: &Arc<Shared>,
) -> Result<cpal::Stream, Fault>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    let lost = |error: cpal::Error| Fault::MicrophoneLost {
        cause: error.to_string().trim_end_matches('.').into(),
    };
    let channels = usize::from(config.channels);
    let (heard, failed) = (Arc::clone(shared), Arc::clone(shared));
    let stream = device
        .build_input_stream::<T, _, _>(
            config,
            move |data, _| {
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
            },
            // Some systems call this a million times in a second: the first fatal error is kept.
            move |error| {
                if fatal(error.kind()) && failed.lost.get().is_none() {
                    let _ = failed
                        .lost
                        .set(error.to_string().trim_end_matches('.').into());
                }
            },
            None,
        )
        .map_err(lost)?;
    stream.play().map_err(lost)?;
    Ok(stream)
}

fn fatal(kind: ErrorKind) -> bool {
    !matches!(
        kind,
        ErrorKind::DeviceChanged | ErrorKind::Xrun | ErrorKind::RealtimeDenied
    )
}

/// Watches that sound does not come faster than time passes. Some devices that are none (a file, a
/// bridge to nowhere) give hours of it in seconds.
struct Pace {
    rate: u32,
    began: Instant,
}

impl Pace {
    fn new(rate: u32, began: Instant) -> Self {
        Pace { rate, began }
    }

    /// Servers may hand over two seconds that they had stored, and a clock may be off a little.
    fn check(&self, frames: u64, now: Instant) -> Result<(), Fault> {
        let sound = frames as f64 / f64::from(self.rate);
        let passed = now.duration_since(self.began).as_secs_f64();
        if sound > 1.1 * passed + 3.0 {
            let (sound, passed) = (Seconds(sound), Seconds(passed));
            return Err(Fault::MicrophoneTooFast { sound, passed });
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn offer(lowest: u32, highest: u32, channels: u16, format: SampleFormat) -> Offer {
        Offer {
            lowest,
            highest,
            channels,
            format,
        }
    }

    #[test]
    fn asks_for_48000_then_44100_and_for_one_channel() {
        let wide = offer(1, 384_000, 1, SampleFormat::F32);
        let stereo = offer(1, 384_000, 2, SampleFormat::F32);
        assert_eq!(choose(&[stereo, wide]), Some((48_000, wide)));
        let old = offer(8_000, 44_100, 2, SampleFormat::I16);
        assert_eq!(choose(&[old]), Some((44_100, old)));
        let odd = offer(44_100, 48_000, 1, SampleFormat::U8);
        let low = offer(8_000, 16_000, 1, SampleFormat::F32);
        let many = offer(48_000, 48_000, 8, SampleFormat::F32);
        assert_eq!(choose(&[odd, low, many]), None);
    }

    #[test]
    fn refuses_a_source_that_is_faster_than_time() {
        let began = Instant::now();
        let pace = Pace::new(48_000, began);
        let after = |seconds: f64| began + Duration::from_secs_f64(seconds);
        assert_eq!(pace.check(48_000 * 2, after(0.1)), Ok(()));
        assert_eq!(pace.check(48_000 * 602, after(600.0)), Ok(()));
        let (sound, passed) = (Seconds(120.0), Seconds(2.0));
        let fault = pace.check(48_000 * 120, after(2.0));
        assert_eq!(fault, Err(Fault::MicrophoneTooFast { sound, passed }));
    }

    #[test]
    fn errors_that_pass_do_not_stop_it() {
        assert!(!fatal(ErrorKind::Xrun) && !fatal(ErrorKind::DeviceChanged));
        assert!(fatal(ErrorKind::BackendError) && fatal(ErrorKind::DeviceNotAvailable));
    }
}
