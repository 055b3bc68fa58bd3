//! The file of a session that was left, damaged in any way: it goes on from there, or says why not.
#![no_main]
use std::cell::OnceCell;
use std::fs;

use engine_note::session::{Event, Journal, Session};
use libfuzzer_sys::fuzz_target;
use tempfile::TempDir;

thread_local! {
    /// A folder for the file.
    static PLACE: OnceCell<TempDir> = const { OnceCell::new() };
}

const RATE: u32 = 8_000;

fuzz_target!(|bytes: &[u8]| {
    PLACE.with(|place| {
        let folder = place.get_or_init(|| tempfile::tempdir().expect("a temporary folder"));
        let path = folder.path().join("session");
        fs::write(&path, bytes).expect("room for a file");
        let (mut journal, kept) = match Journal::resume(&path) {
            Ok(resumed) => resumed,
            Err(error) => {
                assert!(!error.to_string().is_empty() && !error.hint().is_empty());
                assert_eq!(
                    fs::read(&path).ok().as_deref(),
                    Some(bytes),
                    "left as it was"
                );
                return;
            }
        };
        assert!(kept.torn < bytes.len() as u64);
        let mut session = Session::resume(RATE, 1, kept).expect("a usual rate");
        journal.sound(&session, RATE, 1).expect("room for a line");
        let mut events = vec![];
        // Pulses at 47 a second for a second and a half, then silence.
        let second = |at: usize| if at % 170 < 9 { 0.5 } else { 0.0 };
        let sound: Vec<f32> = (0..12_000).map(second).chain([0.0; 4_000]).collect();
        for block in sound.chunks(1_000) {
            session.push(block, &mut events);
            journal.keep(&session, &events).expect("room for a line");
            events.clear();
        }
        session.finish(&mut events);
        assert!(session.ended());
        for event in &events {
            let line = serde_json::to_string(event).expect("an event is JSON");
            assert!(serde_json::from_str::<Event>(&line).is_ok(), "{line}");
        }
        drop(journal);
        // What was written after it can be resumed again, unless the session came to its end.
        if let Err(error) = Journal::resume(&path) {
            assert!(
                matches!(error, engine_note::session::JournalError::Ended { .. }),
                "{error}"
            );
        }
    });
});
