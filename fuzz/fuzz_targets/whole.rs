//! The whole way: a clip from outside through every stage to JSON, and its frames to an expectation.
#![no_main]
use std::io::Cursor;

use engine_note::capture::Clip;
use engine_note::machine::Profile;
use engine_note::reading::{Listener, Look as Ahead};
use engine_note::report::{ClipFacts, Format, Gatherer, Look, Renderer};
use libfuzzer_sys::fuzz_target;

/// Blocks that are read at most: a few bytes may stand for hours of silence.
const MOST_BLOCKS: usize = 20;

fuzz_target!(|bytes: &[u8]| {
    let Ok(mut clip) = Clip::from_bytes(Cursor::new(bytes.to_vec())) else {
        return;
    };
    let (sample_rate, channels) = (clip.facts().sample_rate, clip.facts().channels);
    let machine = Profile::default();
    let mut listener = Listener::new(sample_rate, channels, &machine, Ahead::Ahead)
        .expect("the clip has a rate and channels that are read");
    let (mut block, mut frames) = (vec![], vec![]);
    for _ in 0..MOST_BLOCKS {
        match clip.next_block(&mut block) {
            Ok(true) => listener.push(&block, &mut frames),
            Ok(false) | Err(_) => break,
        }
    }
    listener.finish(&mut frames);
    for format in [Format::Json, Format::Text] {
        let mut gatherer = Gatherer::new(&machine, format);
        frames.iter().for_each(|frame| {
            gatherer
                .push(frame)
                .expect("there is room for a few frames")
        });
        let facts = ClipFacts {
            path: "fuzz".into(),
            seconds: 1.0,
            sample_rate,
            channels,
        };
        let report = gatherer
            .finish(facts, vec![])
            .expect("there is room for a few frames");
        let mut out = vec![];
        let mut renderer = Renderer::new(&mut out, format, false, Look::default());
        renderer.write(&report).expect("memory takes everything");
        renderer.finish().expect("memory takes everything");
        if format == Format::Json {
            let value: serde_json::Value =
                serde_json::from_slice(&out).expect("the output is JSON");
            assert_eq!(value["frames"].as_array().map(Vec::len), Some(frames.len()));
        }
    }
});
