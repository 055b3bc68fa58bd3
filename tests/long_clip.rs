//! The result of a clip of ten hours needs no more memory than a program may have: 64 MiB. One test,
//! since the peak is that of the process.
#![cfg(target_os = "linux")]
mod peak;

use std::io::{self, Write};

use engine_note::firing::{Firing, FiringKind};
use engine_note::machine::Profile;
use engine_note::reading::Frame;
use engine_note::report::{ClipFacts, Format, Gatherer, Look, Renderer, Rows};
use engine_note::tach::{Speed, Unreadable};
use engine_note::units::{Decibels, Rpm, Seconds};

const HOP: f64 = 0.016;

/// Ten seconds of idle, three of full throttle, two of nothing, over and over.
fn frame(i: u64) -> Frame {
    let t = i as f64 * HOP;
    let rpm = match t % 15.0 {
        t if t < 10.0 => Some(2_800.0 + 20.0 * (t * 7.0).sin()),
        t if t < 13.0 => Some(9_400.0 + 90.0 * (t * 19.0).sin()),
        _ => None,
    };
    Frame {
        t: Seconds(t),
        speed: rpm.ok_or(Unreadable::NoEngine).map(|rpm| Speed {
            rpm: Rpm(rpm),
            low: Rpm(rpm - 3.0),
            high: Rpm(rpm + 3.0),
            confidence: 0.93,
            other: None,
        }),
        firing: Firing {
            kind: if rpm.is_some() {
                FiringKind::Clean
            } else {
                FiringKind::None
            },
            skip_ratio: rpm.map(|_| 0.0123),
            pattern: None,
            sub_order: rpm.map(|_| Decibels(-17.25)),
            variation: rpm.map(|_| 0.071),
        },
        level: Decibels(-20.5),
        clipped: 0.0,
    }
}

/// Counts what is written and forgets it.
struct Counted(u64);

impl Write for Counted {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0 += bytes.iter().filter(|b| **b == b'\n').count() as u64;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

fn lines(frames: u64, format: Format) -> u64 {
    let mut gatherer = Gatherer::new(&Profile::default(), format);
    (0..frames).for_each(|i| gatherer.push(&frame(i)).unwrap());
    let seconds = frames as f64 * HOP;
    let clip = ClipFacts {
        path: "long.wav".into(),
        seconds,
        sample_rate: 48_000,
        channels: 1,
    };
    let report = gatherer.finish(clip, vec![]).unwrap();
    let mut out = Counted(0);
    let mut renderer = Renderer::new(&mut out, format, false, Look::default());
    renderer.write(&report).unwrap();
    renderer.finish().unwrap();
    out.0
}

#[test]
fn ten_hours_of_frames_fit_into_64_mib_in_every_format() {
    let ten_hours = 2_250_000;
    assert_eq!(lines(ten_hours, Format::Csv(Rows::Frames)), ten_hours + 1);
    assert!(lines(ten_hours, Format::Json) > ten_hours);
    assert!(lines(ten_hours, Format::Text) < 500);
    for rows in [Rows::Frames, Rows::Clips] {
        assert!(lines(ten_hours, Format::Parquet(rows)) > 0);
    }
    let peak = peak::peak();
    assert!(peak < 64 * 1_024, "{peak} KiB");
}
