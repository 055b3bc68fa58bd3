//! Streams on standard input: the text after `--raw`, samples without a header, and a WAV head in
//! front of what comes, in pieces of any size.
#![no_main]
use std::io::{Cursor, Read};

use engine_note::capture::{Clip, Coding, RawFormat, Resampler};
use libfuzzer_sys::fuzz_target;

/// Gives bytes in pieces whose sizes the bytes themselves decide.
struct Dribble(Cursor<Vec<u8>>);

impl Read for Dribble {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let at = self.0.position() as usize;
        let size = self
            .0
            .get_ref()
            .get(at)
            .map_or(1, |byte| usize::from(*byte) + 1);
        let size = size.min(buffer.len());
        self.0.read(&mut buffer[..size])
    }
}

/// Reads and resamples: all samples finite, whole frames, the length that it should be.
fn read(mut clip: Clip) {
    let (rate, channels) = (clip.facts().sample_rate, clip.facts().channels);
    let mut resampler = Resampler::new(rate, channels).expect("the clip has a rate that is read");
    let (mut block, mut out) = (Vec::new(), vec![Vec::new(); channels]);
    let mut frames = 0;
    while let Ok(true) = clip.next_block(&mut block) {
        assert!(block.iter().all(|x| x.is_finite()));
        frames += block.len() / channels;
        resampler.push(&block, &mut out);
    }
    resampler.finish(&mut out);
    let expected = (frames as f64 * 8_000.0 / f64::from(rate)).round() as usize;
    for list in &out {
        assert_eq!(list.len(), expected);
        assert!(list.iter().all(|x| x.is_finite()));
    }
}

fuzz_target!(|bytes: &[u8]| {
    if let Ok(text) = std::str::from_utf8(bytes) {
        let _ = text.parse::<RawFormat>();
    }
    let [choice, channels, rate, rest @ ..] = bytes else {
        return;
    };
    let coding = match choice % 6 {
        0 => Coding::U8,
        1 => Coding::S16,
        2 => Coding::S24,
        3 => Coding::S32,
        4 => Coding::F32,
        _ => Coding::F64,
    };
    // The usual rates are quick to set up; others, and such as are refused, now and then.
    let sample_rate = match rate {
        0..64 => 48_000,
        64..128 => 8_000,
        128..192 => 44_100,
        192..240 => 192_000,
        odd => u32::from(*odd) * 997 - 230_000,
    };
    let format = RawFormat {
        coding,
        sample_rate,
        channels: usize::from(channels % 10),
    };
    if let Ok(clip) = Clip::from_raw(Dribble(Cursor::new(rest.to_vec())), format) {
        read(clip);
    }
    let mut wav = b"RIFF\0\0\0\0WAVEfmt ".to_vec();
    wav.extend(rest);
    if let Ok(clip) = Clip::from_pipe(Dribble(Cursor::new(wav.clone()))) {
        read(clip);
    }
    if let Ok(clip) = Clip::from_bytes(Cursor::new(wav)) {
        read(clip);
    }
});
