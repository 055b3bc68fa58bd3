//! From the events of a tuning to a visit.
use engine_note::book::{Held, How, Screws, Tuning, Visit};
use engine_note::firing::FiringKind;
use engine_note::guide::{Direction, Screw, Turn};
use engine_note::procedure::{
    Answer, NetTurns, Outcome, Prompt, ProofLine, Reference, Throttle, Verdict, Word,
};
use engine_note::session::Event;
use engine_note::units::{Rpm, Seconds};

fn prompt(id: u32) -> Prompt {
    Prompt {
        id,
        step: "step".into(),
        say: "say".into(),
        throttle: None,
        screw: None,
        direction: None,
        turns: None,
        from: None,
        ask: None,
        urgent: false,
    }
}

fn throttle(id: u32, t: f64, throttle: Throttle) -> Event {
    Event::Prompt {
        t_s: Seconds(t),
        prompt: Prompt {
            throttle: Some(throttle),
            ..prompt(id)
        },
    }
}

fn turn(
    id: u32,
    t: f64,
    screw: Screw,
    direction: Direction,
    from: Reference,
    turns: Turn,
) -> Event {
    Event::Prompt {
        t_s: Seconds(t),
        prompt: Prompt {
            screw: Some(screw),
            direction: Some(direction),
            turns: Some(turns),
            from: Some(from),
            ..prompt(id)
        },
    }
}

/// Readings every tenth of a second.
fn readings(from: f64, to: f64, rpm: f64, firing: FiringKind, skips: f64) -> Vec<Event> {
    let count = ((to - from) * 10.0).round() as usize;
    (0..count)
        .map(|at| Event::Reading {
            t_s: Seconds(from + at as f64 / 10.0),
            rpm: Some(Rpm(rpm)),
            rpm_low: None,
            rpm_high: None,
            confidence: Some(1.0),
            firing,
            skip_ratio: Some(skips),
        })
        .collect()
}

fn outcome() -> Outcome {
    Outcome {
        verdict: Verdict::Tuned,
        proof: vec![ProofLine {
            line: "full throttle, rpm".into(),
            value: Some(9_350.0),
            low: Some(8_800.0),
            high: Some(10_200.0),
            within: Some(true),
        }],
        net_turns: NetTurns::default(),
        faults: vec![],
    }
}

/// Idle, full throttle and rich, an eighth in twice (the second a repeat of its prompt), a refused
/// turn, then idle and full throttle again.
fn events() -> Vec<Event> {
    use FiringKind::{Clean, FourStroking};
    let eighth = |id, t| {
        turn(
            id,
            t,
            Screw::High,
            Direction::In,
            Reference::Here,
            Turn::EIGHTH,
        )
    };
    let mut events = vec![throttle(1, 0.0, Throttle::Idle)];
    events.extend(readings(0.0, 1.0, 4_000.0, Clean, 0.0)); // settles: does not count
    events.extend(readings(1.0, 4.0, 2_850.0, Clean, 0.02));
    events.push(throttle(2, 4.0, Throttle::Full));
    events.extend(readings(4.0, 5.0, 5_000.0, Clean, 0.0));
    events.extend(readings(5.0, 8.0, 8_350.0, FourStroking, 0.4));
    events.push(eighth(3, 8.0));
    events.push(eighth(3, 9.0));
    events.extend(readings(9.0, 12.0, 8_900.0, FourStroking, 0.25));
    events.push(eighth(4, 12.0));
    events.push(turn(
        5,
        13.0,
        Screw::Low,
        Direction::Out,
        Reference::Here,
        Turn::EIGHTH,
    ));
    events.push(turn(
        6,
        14.0,
        Screw::Idle,
        Direction::In,
        Reference::Touch,
        Turn::thirty_seconds(48),
    ));
    events.push(throttle(7, 15.0, Throttle::Idle));
    events.extend(readings(16.0, 19.0, 2_800.0, Clean, 0.0));
    events.push(throttle(8, 20.0, Throttle::Full));
    events.extend(readings(21.0, 24.0, 9_350.0, FourStroking, 0.12));
    events.push(Event::Result {
        t_s: Seconds(25.0),
        outcome: outcome(),
    });
    events
}

const REFUSED: Answer = Answer {
    t_s: Seconds(13.5),
    answer: Word::Cannot,
    id: Some(5),
};

#[test]
fn a_visit_takes_over_what_a_tuning_did() {
    let tuning = Tuning::from_events(&events(), &[REFUSED]);
    let mut visit = Visit::on("2026-05-04".parse().unwrap());
    visit.screws_found = Screws {
        high: Some(1.25),
        low: Some(1.0),
        idle: None,
    };
    visit.take_tuning(&tuning);
    let made: Vec<_> = visit
        .moves
        .iter()
        .map(|made| (made.screw, made.direction, made.turns.turns()))
        .collect();
    assert_eq!(
        made,
        [
            (Screw::High, Direction::In, 0.125),
            (Screw::High, Direction::In, 0.125),
            (Screw::Idle, Direction::In, 1.5)
        ]
    );
    let left = Screws {
        high: Some(1.0),
        low: Some(1.0),
        idle: Some(1.5),
    };
    assert_eq!(visit.screws_left, left);
    let (before, after) = (visit.before.unwrap(), visit.after.unwrap());
    let held = |rpm| Some(Held::bare(Rpm(rpm)));
    assert_eq!(
        (before.how, before.idle, before.full_throttle),
        (How::Tuning, held(2_850.0), held(8_350.0))
    );
    assert_eq!(
        (before.skip_ratio, before.firing),
        (Some(0.4), Some(FiringKind::FourStroking))
    );
    assert_eq!(
        (after.idle, after.full_throttle, after.skip_ratio),
        (held(2_800.0), held(9_350.0), Some(0.12))
    );
    assert_eq!(
        (visit.verdict, visit.proof),
        (Some(Verdict::Tuned), outcome().proof)
    );
}

#[test]
fn a_refusal_without_a_number_means_the_prompt_that_stands() {
    let answer = Answer {
        id: None,
        ..REFUSED
    };
    let tuning = Tuning::from_events(&events(), &[answer]);
    assert_eq!(tuning, Tuning::from_events(&events(), &[REFUSED]));
    assert!(tuning.moves.iter().all(|made| made.screw != Screw::Low));
}

#[test]
fn a_screw_whose_place_was_not_known_stays_unknown() {
    let tuning = Tuning::from_events(&events(), &[REFUSED]);
    let left = tuning.screws_left(Screws::default());
    assert_eq!((left.high, left.low, left.idle), (None, None, Some(1.5)));
}

#[test]
fn a_tuning_without_a_turn_leaves_it_as_found() {
    let mut events = vec![throttle(1, 0.0, Throttle::Idle)];
    events.extend(readings(0.0, 4.0, 2_850.0, FiringKind::Clean, 0.0));
    let tuning = Tuning::from_events(&events, &[]);
    assert_eq!(tuning.before, tuning.after);
    assert_eq!(tuning.before.unwrap().idle, Some(Held::bare(Rpm(2_850.0))));
    assert_eq!((tuning.moves.len(), tuning.outcome), (0, None));
    assert_eq!(Tuning::from_events(&[], &[]), Tuning::default());
}
