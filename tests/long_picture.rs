//! What is gathered for a picture does not grow with the length of a clip. One test, since the peak is
//! that of the process.
#![cfg(target_os = "linux")]
mod peak;

use engine_note::firing::{Firing, FiringKind};
use engine_note::machine::Profile;
use engine_note::reading::Frame;
use engine_note::report::{ClipFacts, Course, Drawing, Format, Gatherer, Spectrogram, Theme};
use engine_note::tach::Speed;
use engine_note::units::{Decibels, Rpm, Seconds};

const HOP: usize = 128;

/// A sawtooth of 100 Hz, read at 6,000 rpm; the sound of five seconds comes before its frames, as it
/// does where a clip is read.
fn gathered(hops: usize) -> Course {
    let mut spectrogram = Spectrogram::new();
    let sound: Vec<f32> = (0..HOP * 5).map(|n| (n % 80) as f32 / 80.0 - 0.5).collect();
    let blocks: Vec<[Vec<f32>; 1]> = sound.chunks(HOP).map(|c| [c.to_vec()]).collect();
    for hop in 0..hops + 312 {
        if hop < hops {
            spectrogram.hear(&blocks[hop % 5]);
        }
        if let Some(hop) = hop.checked_sub(312) {
            spectrogram.push(&frame(hop));
        }
    }
    spectrogram.finish()
}

fn frame(hop: usize) -> Frame {
    Frame {
        t: Seconds((hop * HOP) as f64 / 8_000.0),
        speed: Ok(Speed {
            rpm: Rpm(6_000.0),
            low: Rpm(5_990.0),
            high: Rpm(6_010.0),
            confidence: 0.9,
            other: None,
        }),
        firing: Firing {
            kind: FiringKind::Clean,
            skip_ratio: Some(0.0),
            pattern: None,
            sub_order: None,
            variation: None,
        },
        level: Decibels(-12.0),
        clipped: 0.0,
    }
}

fn drawn(course: &Course, hops: usize) {
    let mut gatherer = Gatherer::new(&Profile::default(), Format::Text);
    (0..hops).for_each(|hop| gatherer.push(&frame(hop)).unwrap());
    let clip = ClipFacts {
        path: "long.wav".into(),
        seconds: hops as f64 * 0.016,
        sample_rate: 8_000,
        channels: 1,
    };
    let report = gatherer.finish(clip, vec![]).unwrap();
    let drawing = Drawing::new(course, &report);
    assert!(drawing.svg(None).unwrap().len() < 300_000);
    assert!(!drawing.png(Theme::Light).unwrap().is_empty());
}

#[test]
fn half_an_hour_needs_the_memory_of_a_minute() {
    let minute = 4_200;
    drawn(&gathered(minute), minute);
    let before = peak::peak();
    assert!(before < 96 * 1_024, "{before} KiB for a minute");
    let long = 112_500;
    drawn(&gathered(long), long);
    let grown = peak::peak() - before;
    assert!(grown < 4 * 1_024, "{grown} KiB more for half an hour");
}
