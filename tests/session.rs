//! A session as a whole: sound and answers in, events out, the same whatever the blocks.
use engine_note::machine::Profile;
use engine_note::procedure::{Answer, AsFound, Begin, Verdict, Word};
use engine_note::session::{Event, LAG, Session};
use engine_note::synth::{Scene, draw_engine, render};
use engine_note::units::Seconds;
use proptest::prelude::*;

/// A drawn engine, so many seconds of it.
fn sound(seed: u64, seconds: f64) -> (u32, usize, Vec<f32>) {
    let scene: Scene = draw_engine(seed);
    let (mut samples, _) = render(&scene).unwrap().finish();
    let channels = usize::from(scene.channels);
    samples.truncate((seconds * f64::from(scene.sample_rate)) as usize * channels);
    (scene.sample_rate, channels, samples)
}

fn begin() -> Begin {
    Begin {
        as_found: AsFound::Warm,
        skip_checks: true,
        no_base: true,
    }
}

fn answers() -> Vec<Answer> {
    [
        (0.3, Word::Done),
        (0.9, Word::AttachmentStill),
        (1.5, Word::Pause),
        (1.52, Word::Resume),
        (2.3, Word::Done),
    ]
    .map(|(t, answer)| Answer {
        t_s: Seconds(t),
        answer,
        id: None,
    })
    .to_vec()
}

/// All events of a sound that comes in blocks of these many frames, round and round.
fn events(sound: &(u32, usize, Vec<f32>), blocks: &[usize], answers: &[Answer]) -> Vec<Event> {
    let (rate, channels, samples) = sound;
    let mut session = Session::new(*rate, *channels, &Profile::default(), begin()).unwrap();
    answers.iter().for_each(|answer| session.answer(*answer));
    let mut events = vec![];
    let (mut rest, mut sizes) = (&samples[..], blocks.iter().cycle());
    while !rest.is_empty() {
        let size = (sizes.next().unwrap() * channels).min(rest.len());
        session.push(&rest[..size], &mut events);
        rest = &rest[size..];
    }
    session.finish(&mut events);
    events
}

fn readings(events: &[Event]) -> Vec<f64> {
    events
        .iter()
        .filter_map(|event| match event {
            Event::Reading { t_s, .. } => Some(t_s.0),
            _ => None,
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_sizes_of_the_blocks_change_nothing(
        seed in 0u64..6,
        blocks in prop::collection::vec(1usize..9_000, 1..20),
    ) {
        let sound = sound(seed, 3.0);
        let whole = events(&sound, &[usize::MAX / 16], &answers());
        let parts = events(&sound, &blocks, &answers());
        prop_assert!(whole.len() > 180);
        prop_assert_eq!(whole, parts);
    }
}

#[test]
fn there_is_a_reading_at_every_hop_and_none_trails_too_far() {
    for rate in [8_000u32, 11_025, 22_050, 44_100, 48_000, 96_000] {
        let mut session = Session::new(rate, 1, &Profile::default(), begin()).unwrap();
        let (mut events, mut times, mut worst) = (vec![], vec![], 0.0f64);
        // Nothing is readable in silence, and silence has readings all the same.
        let silence = vec![0.0; rate as usize * 4];
        let mut pushed = 0;
        for block in silence.chunks(rate as usize / 500) {
            events.clear();
            session.push(block, &mut events);
            pushed += block.len();
            for t in readings(&events) {
                let sound = pushed as f64 / f64::from(rate);
                worst = worst.max(sound - t);
                times.push(t);
            }
        }
        events.clear();
        session.finish(&mut events);
        times.extend(readings(&events));
        let hop = Session::hop().0;
        assert!(times[0].abs() < 1e-9, "{rate}: the first at {}", times[0]);
        for (i, t) in times.iter().enumerate() {
            assert!((t - hop * i as f64).abs() < 1e-4, "{rate}: {i} at {t}");
        }
        let last = times.last().unwrap();
        assert!((4.0 - last).abs() <= 2.0 * hop, "{rate}: ends at {last}");
        // The block of 2 ms in which it came is not the session's.
        assert!(worst <= LAG.0 + 0.002, "{rate}: {worst} s behind");
        assert!(worst > 0.05, "{rate}: {worst}: nothing is heard at once");
    }
    const { assert!(LAG.0 <= 0.3) };
}

#[test]
fn the_end_of_the_sound_is_an_unfinished_session() {
    let events = events(&sound(1, 2.0), &[4_096], &[]);
    let Some(Event::Result { t_s, outcome }) = events.last() else {
        panic!("the last event is no result: {:?}", events.last());
    };
    assert_eq!(outcome.verdict, Verdict::Unfinished);
    assert!((t_s.0 - 2.0).abs() < 0.001, "{t_s}");
    let results = events
        .iter()
        .filter(|event| matches!(event, Event::Result { .. }));
    assert_eq!(results.count(), 1);
}

#[test]
fn no_sound_at_all_is_an_unfinished_session() {
    let events = events(&(48_000, 1, vec![]), &[1], &[]);
    assert!(matches!(
        events.last(),
        Some(Event::Result { outcome, .. }) if outcome.verdict == Verdict::Unfinished
    ));
}
