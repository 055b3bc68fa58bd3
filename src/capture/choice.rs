//! Which microphones there are, and which format to ask one for.
use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{DeviceId, ErrorKind, Host, SampleFormat};

use super::Fault;
use super::microphones::Listed;

/// Sample rates in the order in which they are asked for.
const RATES: [u32; 2] = [48_000, 44_100];
/// Sample formats in the order in which they are asked for.
const FORMATS: [SampleFormat; 3] = [SampleFormat::F32, SampleFormat::I32, SampleFormat::I16];
/// Names under which the Linux sound library lists conversions and bridges, not microphones.
const PLUGINS: [&str; 11] = [
    "null",
    "jack",
    "oss",
    "lavrate",
    "samplerate",
    "speexrate",
    "speex",
    "upmix",
    "vdownmix",
    "pulse",
    "pipewire",
];

/// What a device offers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Offer {
    lowest: u32,
    highest: u32,
    pub(super) channels: u16,
    pub(super) format: SampleFormat,
}

/// The sound system: the sound server where one answers, the system's own otherwise.
pub(super) fn host() -> Result<Host, Fault> {
    #[cfg(target_os = "linux")]
    match cpal::host_from_id(cpal::HostId::PulseAudio) {
        Ok(host) => return Ok(host),
        Err(error) if error.kind() == ErrorKind::PermissionDenied => {
            return Err(Fault::MicrophoneDenied);
        }
        Err(_) => hush(),
    }
    Ok(cpal::default_host())
}

/// Keeps the Linux sound library, which writes to standard error by itself, quiet on this thread.
#[cfg(target_os = "linux")]
fn hush() {
    // Where it cannot be kept quiet, its lines do no harm.
    drop(alsa::Output::local_error_handler());
}

/// What a fault of the sound system means for whoever opens a microphone.
pub(super) fn fault(error: &cpal::Error, wanted: Option<&str>) -> Fault {
    match error.kind() {
        ErrorKind::PermissionDenied => Fault::MicrophoneDenied,
        ErrorKind::DeviceBusy => Fault::MicrophoneBusy,
        ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable => Fault::NoMicrophone {
            wanted: wanted.map(str::to_owned),
        },
        ErrorKind::UnsupportedConfig => Fault::MicrophoneFormat,
        _ => Fault::MicrophoneLost {
            cause: cause(error),
        },
    }
}

/// What the system says, without its full stop.
pub(super) fn cause(error: &cpal::Error) -> String {
    let text = error.to_string();
    let text = text.trim_end_matches('.');
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_lowercase().chain(letters).collect()
    })
}

/// The microphones of this machine.
pub(super) fn list() -> Result<Vec<Listed>, Fault> {
    let host = host()?;
    let default = host
        .default_input_device()
        .and_then(|device| device.id().ok());
    let devices = host.input_devices().map_err(|error| fault(&error, None))?;
    let mut listed: Vec<Listed> = devices
        .filter_map(|device| {
            let id = device.id().ok()?;
            let plugin = PLUGINS.contains(&id.id());
            if plugin || device.default_input_config().is_err() {
                return None;
            }
            Some(Listed {
                default: default.as_ref() == Some(&id),
                id: id.to_string(),
                name: device.description().ok()?.name().to_owned(),
            })
        })
        .collect();
    listed.sort_by_key(|one| !one.default);
    if listed.is_empty() {
        Err(Fault::NoMicrophone { wanted: None })
    } else {
        Ok(listed)
    }
}

/// The device whose id or name is `wanted`; without it the system's choice.
pub(super) fn device(wanted: Option<&str>) -> Result<(Host, cpal::Device), Fault> {
    let none = || Fault::NoMicrophone {
        wanted: wanted.map(str::to_owned),
    };
    let mut host = host()?;
    let device = match wanted {
        None => host.default_input_device(),
        Some(wanted) => {
            // An id says itself which sound system it belongs to.
            let id = match wanted.parse::<DeviceId>() {
                Ok(id) => id,
                Err(_) => {
                    let mut all = list()?.into_iter();
                    let named = all
                        .find(|one| one.name == wanted || one.id.ends_with(&format!(":{wanted}")));
                    named.ok_or_else(none)?.id.parse().map_err(|_| none())?
                }
            };
            if id.host() != host.id() {
                host = cpal::host_from_id(id.host()).map_err(|_| none())?;
            }
            host.device_by_id(&id)
        }
    };
    Ok((host, device.ok_or_else(none)?))
}

/// The rate and the format to ask a device for.
pub(super) fn format(device: &cpal::Device, wanted: Option<&str>) -> Result<(u32, Offer), Fault> {
    // The system names a default even where there is none; the truth comes out here.
    let offers: Vec<Offer> = device
        .supported_input_configs()
        .map_err(|error| fault(&error, wanted))?
        .map(|range| Offer {
            lowest: range.min_sample_rate(),
            highest: range.max_sample_rate(),
            channels: range.channels(),
            format: range.sample_format(),
        })
        .collect();
    choose(&offers).ok_or(Fault::MicrophoneFormat)
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
    fn each_kind_of_error_is_told_apart() {
        let told = |kind: ErrorKind| fault(&cpal::Error::new(kind), Some("x"));
        assert_eq!(told(ErrorKind::PermissionDenied), Fault::MicrophoneDenied);
        assert_eq!(told(ErrorKind::DeviceBusy), Fault::MicrophoneBusy);
        assert_eq!(told(ErrorKind::UnsupportedConfig), Fault::MicrophoneFormat);
        let wanted = Some("x".into());
        let gone = told(ErrorKind::DeviceNotAvailable);
        assert_eq!(gone, Fault::NoMicrophone { wanted });
        let other = cpal::Error::with_message(ErrorKind::BackendError, "The card burns.");
        let cause = "the card burns".into();
        assert_eq!(fault(&other, None), Fault::MicrophoneLost { cause });
    }
}
