//! Lines of JSON from outside: answers that come while a tuning goes on, and the record of a tuning
//! from which the book takes what was done. The stream keeps its order and can be read back.
#![no_main]
use engine_note::book::{Tuning, Visit};
use engine_note::machine::Profile;
use engine_note::procedure::{Answer, AsFound, Begin};
use engine_note::session::{Event, Session};
use libfuzzer_sys::fuzz_target;

const RATE: u32 = 8_000;
/// Length of the sound in seconds.
const SECONDS: usize = 2;

/// Two strokes of idle and full throttle, crude but readable: pulses whose rate steps up half-way.
fn sound() -> Vec<f32> {
    let (mut phase, mut level) = (0.0f32, 0.0f32);
    (0..SECONDS * RATE as usize)
        .map(|at| {
            let hertz = if at < SECONDS * RATE as usize / 2 {
                47.0
            } else {
                155.0
            };
            phase += hertz / RATE as f32;
            if phase >= 1.0 {
                phase -= 1.0;
                level = 0.8;
            }
            level *= 0.9;
            level
        })
        .collect()
}

/// The stream with these answers holds to what it promises.
fn tune(begin: Begin, answers: &[Answer]) -> Vec<Event> {
    let mut session = Session::new(RATE, 1, &Profile::default(), begin).expect("a usual rate");
    let mut events = vec![Session::start()];
    answers.iter().for_each(|answer| session.answer(*answer));
    session.push(&sound(), &mut events);
    session.finish(&mut events);
    let results = events
        .iter()
        .filter(|event| matches!(event, Event::Result { .. }));
    assert_eq!(results.count(), 1);
    assert!(matches!(events.last(), Some(Event::Result { .. })));
    let mut last = f64::NEG_INFINITY;
    for event in &events {
        let line = serde_json::to_string(event).expect("an event is JSON");
        let back: Event = serde_json::from_str(&line).expect("an event can be read back");
        assert_eq!(&back, event, "{line}");
        match event {
            Event::Prompt { t_s, prompt } => {
                assert!(t_s.0 >= last && !prompt.say.is_empty());
                last = t_s.0;
            }
            Event::Result { t_s, .. } => assert!(t_s.0 >= last),
            Event::Start { .. } | Event::Reading { .. } => {}
        }
    }
    events
}

fuzz_target!(|bytes: &[u8]| {
    let [choice, bytes @ ..] = bytes else {
        return;
    };
    let (mut events, mut answers) = (vec![], vec![]);
    for line in bytes.split(|byte| *byte == b'\n') {
        if let Ok(event) = serde_json::from_slice::<Event>(line) {
            events.push(event);
        } else if let Ok(answer) = serde_json::from_slice::<Answer>(line) {
            answers.push(answer);
        }
    }
    let keep = |events: &[Event]| {
        let mut visit = Visit::on(jiff::civil::date(2026, 5, 4));
        visit.take_tuning(&Tuning::from_events(events, &answers));
    };
    keep(&events);
    if !answers.is_empty() {
        let begin = Begin {
            as_found: if choice & 1 == 0 {
                AsFound::Warm
            } else {
                AsFound::Cold
            },
            skip_checks: choice & 2 != 0,
            no_base: choice & 4 != 0,
        };
        keep(&tune(begin, &answers));
    }
});
