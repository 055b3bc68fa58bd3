//! Memory does not grow with the length of a sound. One test, since the peak is that of the process.
#![cfg(target_os = "linux")]
mod peak;

use std::fs;
use std::io::{Cursor, Read};

use engine_note::capture::{Clip, Resampler};

/// A head and then the same body over and over.
fn endless(head: &[u8], body: Vec<u8>, times: u64) -> impl Read + Send + Sync + use<> {
    struct Again {
        body: Cursor<Vec<u8>>,
        left: u64,
    }
    impl Read for Again {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            if self.body.position() == self.body.get_ref().len() as u64 && self.left > 0 {
                self.left -= 1;
                self.body.set_position(0);
            }
            self.body.read(buffer)
        }
    }
    Cursor::new(head.to_vec()).chain(Again {
        body: Cursor::new(body),
        left: times - 1,
    })
}

/// Reads and resamples a sound, as the reading of a clip does, and gives its length in seconds.
fn seconds(mut clip: Clip) -> f64 {
    let rate = clip.facts().sample_rate;
    let mut resampler = Resampler::new(rate, clip.facts().channels).unwrap();
    let (mut block, mut out) = (Vec::new(), vec![Vec::new(); clip.facts().channels]);
    let mut samples = 0;
    while clip.next_block(&mut block).unwrap() {
        samples += block.len();
        resampler.push(&block, &mut out);
        out.iter_mut().for_each(Vec::clear);
    }
    samples as f64 / f64::from(rate)
}

#[test]
fn ten_hours_need_the_memory_of_ten_seconds() {
    // 48 kHz mono: a head without a length, then a second of a saw-tooth at a time.
    let mut head = b"RIFF\xff\xff\xff\xffWAVEfmt \x10\0\0\0\x01\0\x01\0".to_vec();
    head.extend(48_000_u32.to_le_bytes());
    head.extend(96_000_u32.to_le_bytes());
    head.extend(b"\x02\0\x10\0data\xff\xff\xff\xff");
    let second: Vec<u8> = (0..48_000_u32)
        .flat_map(|n| ((n % 480) as i16 * 50).to_le_bytes())
        .collect();
    let wav = |times| Clip::from_pipe(endless(&head, second.clone(), times)).unwrap();
    // MP3 frames without a tag can be strung together.
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/formats");
    let frames = fs::read(format!("{folder}/bare.mp3")).unwrap();
    let mp3 = |times| Clip::from_pipe(endless(&[], frames.clone(), times)).unwrap();

    assert_eq!(seconds(wav(10)), 10.0);
    let short = seconds(mp3(10));
    assert!((10.0..11.0).contains(&short), "{short}");
    let before = peak::peak();
    assert!(before < 32 * 1024, "{before} KiB for ten seconds");

    assert_eq!(seconds(wav(36_000)), 36_000.0);
    let long = seconds(mp3(1_800));
    assert!((1_800.0..1_900.0).contains(&long), "{long}");
    let grown = peak::peak() - before;
    assert!(grown < 1_024, "{grown} KiB more for ten hours");
}
