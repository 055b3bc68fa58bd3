//! Which microphones there are, and which format to ask one for.
use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{DeviceId, ErrorKind, Host, SampleFormat};

use super::Fault;
use super::microphones::Listed;
#[cfg(target_os = "linux")]
use super::server;

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

/// The sound system.
fn host() -> Host {
    #[cfg(target_os = "linux")]
    hush();
    cpal::default_host()
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

/// What the system says, as the end of a sentence.
pub(super) fn cause(error: &cpal::Error) -> String {
    let text = error.to_string();
    let text = text.trim_end_matches('.');
    let mut letters = text.chars();
    match (letters.next(), letters.next()) {
        (Some(first), Some(second)) if second.is_lowercase() || second == ' ' => {
            let rest = text.get(first.len_utf8()..).unwrap_or_default();
            first.to_lowercase().chain(rest.chars()).collect()
        }
        // A name in capitals stays one.
        _ => text.to_owned(),
    }
}

/// The microphones of this machine: those of the sound server where one answers.
pub(super) fn list() -> Result<Vec<Listed>, Fault> {
    let mut listed = served();
    if listed.is_empty() {
        listed = devices().map_err(refused)?;
    }
    listed.sort_by_key(|one| !one.default);
    Ok(listed)
}

#[cfg(target_os = "linux")]
fn served() -> Vec<Listed> {
    server::sources().unwrap_or_default()
}

#[cfg(not(target_os = "linux"))]
fn served() -> Vec<Listed> {
    Vec::new()
}

/// A sound server that refuses the program looks like none, or a broken one, from behind it.
pub(super) fn refused(fault: Fault) -> Fault {
    #[cfg(target_os = "linux")]
    if matches!(
        fault,
        Fault::NoMicrophone { .. } | Fault::MicrophoneLost { .. }
    ) && server::refuses()
    {
        return Fault::MicrophoneDenied;
    }
    fault
}

/// The microphones that the sound system itself lists.
fn devices() -> Result<Vec<Listed>, Fault> {
    let host = host();
    let default = host
        .default_input_device()
        .and_then(|device| device.id().ok());
    let devices = host.input_devices().map_err(|error| fault(&error, None))?;
    let listed: Vec<Listed> = devices
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
    if listed.is_empty() {
        Err(Fault::NoMicrophone { wanted: None })
    } else {
        Ok(listed)
    }
}

/// What is to be opened.
pub(super) struct Choice {
    pub(super) device: cpal::Device,
    /// The rate to ask for.
    pub(super) rate: u32,
    /// The format to ask for.
    pub(super) offer: Offer,
    /// The source of the sound server to which the recording is then put.
    pub(super) source: Option<String>,
}

/// Finds the microphone whose id or name is `wanted`, without it the system's choice, and what to
/// ask it for.
pub(super) fn choose(wanted: Option<&str>) -> Result<Choice, Fault> {
    let none = || Fault::NoMicrophone {
        wanted: wanted.map(str::to_owned),
    };
    let host = host();
    let (device, source) = match wanted {
        None => (host.default_input_device(), None),
        Some(wanted) => match wanted.parse::<DeviceId>() {
            Ok(id) if id.host() == host.id() => (host.device_by_id(&id), None),
            _ => {
                let named = |one: &Listed| one.id == wanted || one.name == wanted;
                if let Some(one) = served().into_iter().find(named) {
                    // The system's own device is the server; the rest is the server's affair.
                    (host.default_input_device(), Some(one.id))
                } else {
                    let one = devices()?.into_iter().find(named).ok_or_else(none)?;
                    let id = one.id.parse().map_err(|_| none())?;
                    (host.device_by_id(&id), None)
                }
            }
        },
    };
    let device = device.ok_or_else(none)?;
    let (rate, offer) = format(&device, wanted).map_err(refused)?;
    Ok(Choice {
        device,
        rate,
        offer,
        source,
    })
}

/// The rate and the format to ask a device for.
fn format(device: &cpal::Device, wanted: Option<&str>) -> Result<(u32, Offer), Fault> {
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
    best(&offers).ok_or(Fault::MicrophoneFormat)
}

/// The rate first, then one channel before two, then the format.
fn best(offers: &[Offer]) -> Option<(u32, Offer)> {
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
        assert_eq!(best(&[stereo, wide]), Some((48_000, wide)));
        let old = offer(8_000, 44_100, 2, SampleFormat::I16);
        assert_eq!(best(&[old]), Some((44_100, old)));
        let odd = offer(44_100, 48_000, 1, SampleFormat::U8);
        let low = offer(8_000, 16_000, 1, SampleFormat::F32);
        let many = offer(48_000, 48_000, 8, SampleFormat::F32);
        assert_eq!(best(&[odd, low, many]), None);
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
