//! Cases, each named after the clause that it holds.
use engine_note::firing::FiringKind;
use engine_note::guide::{Direction, FaultId, Screw, Turn};
use engine_note::machine::{Carburetor, Coil, Profile};
use engine_note::procedure::{
    Answer, AsFound, Begin, Procedure, Prompt, Reference, Throttle, Verdict, Word,
};
use engine_note::tach;
use engine_note::units::{Rpm, Seconds};

use crate::bench::{Run, run};
use crate::hearing::{GOOD, POOR, frame};

fn butterfly(answers: bool) -> Run {
    (1..200)
        .map(|seed| run(seed, None, GOOD, answers))
        .find(|run| {
            run.engine.carburetor == Carburetor::Butterfly && run.engine.clutch_in.is_some()
        })
        .expect("one of them is")
}

fn barrel() -> Run {
    (1..200)
        .map(|seed| run(seed, None, GOOD, true))
        .find(|run| run.engine.carburetor == Carburetor::BarrelValve)
        .expect("one of them is")
}

fn first(run: &Run, is: impl Fn(&Prompt) -> bool) -> usize {
    run.prompts
        .iter()
        .position(|(_, prompt)| is(prompt))
        .expect("is prompted")
}

#[test]
fn mixture_screws_are_seated_and_go_out_one_and_a_quarter() {
    let run = butterfly(true);
    for screw in [Screw::Low, Screw::High] {
        let (_, prompt) = &run.prompts[first(&run, |p| p.screw == Some(screw))];
        assert_eq!(prompt.from, Some(Reference::Seat));
        assert_eq!(prompt.direction, Some(Direction::Out));
        assert_eq!(prompt.turns, Some(Turn::thirty_seconds(40)));
    }
    let (_, prompt) = &run.prompts[first(&run, |p| p.screw == Some(Screw::Idle))];
    assert_eq!(prompt.from, Some(Reference::Touch));
    assert_eq!(prompt.direction, Some(Direction::In));
    assert_eq!(prompt.turns, Some(Turn::thirty_seconds(40)));
}

#[test]
fn butterfly_low_speed_first_barrel_valve_high_speed_first() {
    let step = |run: &Run, step: &str| first(run, |p| p.step == step);
    let run = butterfly(true);
    assert!(step(&run, "low-speed") < step(&run, "high-speed"));
    let run = barrel();
    assert!(step(&run, "high-speed") < step(&run, "low-speed"));
}

#[test]
fn first_full_throttle_is_half_a_turn_richer_than_base() {
    for run in [butterfly(true), barrel()] {
        let opened = first(&run, |p| p.throttle == Some(Throttle::Full));
        let out: f64 = run.prompts[..opened]
            .iter()
            .filter(|(_, p)| p.screw == Some(Screw::High) && p.from == Some(Reference::Here))
            .map(|(_, p)| p.turns.unwrap().turns())
            .sum();
        // Half a turn, also where every turn falls a fifth short.
        assert!((0.5..=0.65).contains(&(0.8 * out)), "{out}");
    }
}

#[test]
fn without_answers_the_clutch_is_not_checked() {
    let run = butterfly(false);
    assert!(run.tuned());
    let clutch = |word: &str| {
        let line = run
            .outcome
            .proof
            .iter()
            .find(|line| line.line.contains(word));
        line.expect("a line of the proof").within
    };
    assert_eq!(clutch("clutch-in"), None);
    assert_eq!(clutch("attachment"), None);
}

#[test]
fn a_clutch_that_bites_early_stops_the_tuning() {
    let run = run(10_001, Some(FaultId::Clutch), GOOD, true);
    assert_eq!(run.outcome.verdict, Verdict::Stopped);
    assert_eq!(run.outcome.faults[0].id, FaultId::Clutch);
}

#[test]
fn full_throttle_never_longer_than_ten_seconds_with_a_slow_hand() {
    for seed in 1..=8 {
        let run = run(seed, None, GOOD, true);
        assert!(run.full <= 10.0, "{} s", run.full);
    }
}

/// Whoever was told to close the throttle takes up to three seconds; a new prompt in that time begins
/// them anew.
#[test]
fn a_hand_that_is_closing_the_throttle_is_not_disturbed() {
    for seed in 1..=12 {
        let run = run(seed, None, POOR, seed % 2 == 0);
        for pair in run.prompts.windows(2) {
            let ((t, close), (next_t, next)) = (&pair[0], &pair[1]);
            let open = |at: f64| {
                let log = run.log.iter().rev().find(|(t, ..)| *t <= at);
                log.is_some_and(|(_, speed, ..)| *speed > 0.6 * run.engine.maximum)
            };
            if close.throttle == Some(Throttle::Idle) && close.screw.is_none() && open(*next_t) {
                assert!(
                    next.id == close.id || next_t - t > 3.0,
                    "engine {seed}: {t} {close:?}, then {next_t} {next:?}"
                );
            }
        }
    }
}

struct Table {
    procedure: Procedure,
    t: f64,
}

impl Table {
    fn new(carburetor: Carburetor, begin: Begin) -> Table {
        let machine = Profile {
            carburetor: Some(carburetor),
            coil: Coil::Plain,
            ..Profile::default()
        };
        Table {
            procedure: Procedure::new(&machine, begin),
            t: 0.0,
        }
    }

    /// Listens for a while to one speed, or to nothing.
    fn hear(&mut self, seconds: f64, rpm: Option<f64>) -> Vec<Prompt> {
        let end = self.t + seconds;
        let mut prompts = vec![];
        while self.t < end {
            self.t += 0.016;
            let kind = rpm.map_or(FiringKind::None, |_| FiringKind::Clean);
            let heard = frame(self.t, rpm, kind, rpm.map(|_| 0.0));
            let step = self.procedure.step(Seconds(self.t), &[heard], &[]);
            assert_eq!(step.outcome, None);
            prompts.extend(step.prompts);
        }
        prompts
    }

    fn say(&mut self, answer: Word) -> Vec<Prompt> {
        let answer = Answer {
            t_s: Seconds(self.t),
            answer,
            id: None,
        };
        self.procedure.step(Seconds(self.t), &[], &[answer]).prompts
    }
}

const WARM: Begin = Begin {
    as_found: AsFound::Warm,
    skip_checks: true,
    no_base: true,
};

/// A warm engine idles until a screw is asked for.
fn asked_to_turn() -> (Table, Vec<Prompt>) {
    let mut table = Table::new(Carburetor::Butterfly, WARM);
    let mut asked = vec![];
    while asked.is_empty() {
        asked = table
            .hear(0.1, Some(2_900.0))
            .into_iter()
            .filter(|p| p.screw.is_some())
            .collect();
    }
    (table, asked)
}

#[test]
fn a_screw_that_was_asked_for_is_not_asked_for_twice_after_a_pause() {
    let (mut table, asked) = asked_to_turn();
    table.say(Word::Pause);
    assert_eq!(table.hear(60.0, Some(2_900.0)), []);
    let again = table.say(Word::Resume);
    assert_eq!(again, asked, "the same prompt with its number");
}

#[test]
fn a_lost_reading_pauses_and_the_step_goes_on_when_it_is_back() {
    let mut table = Table::new(Carburetor::Butterfly, WARM);
    table.hear(4.0, Some(2_900.0));
    let lost = table.hear(8.0, None);
    assert_eq!(lost.len(), 1, "{lost:?}");
    assert!(
        lost[0].screw.is_none()
            && lost[0]
                .ask
                .as_ref()
                .is_some_and(|a| a.contains(&Word::Stalled))
    );
    let back = table.hear(20.0, Some(2_900.0));
    assert!(!back.is_empty());
}

/// To vary the throttle asks for no certain speed: an engine whose base is in doubt is there.
#[test]
fn a_doubtful_speed_does_not_keep_the_engine_from_warming_up() {
    let begin = Begin {
        as_found: AsFound::Cold,
        ..WARM
    };
    let mut table = Table::new(Carburetor::Butterfly, begin);
    let varies = |p: &Prompt| p.throttle == Some(Throttle::Part);
    while !table.hear(0.1, Some(2_900.0)).iter().any(varies) {
        assert!(table.t < 60.0, "it never warms up");
    }
    let mut prompts = vec![];
    let end = table.t + 24.0;
    while prompts.is_empty() && table.t < end {
        table.t += 0.016;
        let mut heard = frame(table.t, Some(5_500.0), FiringKind::Clean, Some(0.0));
        if let Ok(speed) = &mut heard.frame.speed {
            (speed.confidence, speed.other) = (0.5, Some(Rpm(11_000.0)));
        }
        prompts.extend(
            table
                .procedure
                .step(Seconds(table.t), &[heard], &[])
                .prompts,
        );
    }
    assert_eq!(prompts.len(), 1, "{prompts:?}");
    assert_eq!(prompts[0].throttle, Some(Throttle::Idle));
    assert_eq!(prompts[0].say, "Close the throttle");
}

/// A prompt replaces the one before it: one about a gap in the hearing would stop the turn half way.
#[test]
fn a_gap_in_the_hearing_does_not_replace_a_turn_that_was_asked_for() {
    let (mut table, _) = asked_to_turn();
    assert_eq!(table.hear(4.5, None), []);
}

#[test]
fn a_start_that_fails_is_tried_with_other_settings_before_it_is_a_fault() {
    let begin = Begin {
        as_found: AsFound::Stopped,
        skip_checks: true,
        no_base: true,
    };
    let mut table = Table::new(Carburetor::Butterfly, begin);
    let mut tried = vec![];
    let mut starts = 0;
    for _ in 0..60 {
        let mut prompts = table.hear(0.1, None);
        let Some(last) = prompts.pop() else {
            continue;
        };
        if last.step == "stopped" {
            break;
        }
        if last.throttle == Some(Throttle::Start) {
            let ask = last.ask.unwrap_or_default();
            assert!(ask.contains(&Word::Started) && ask.contains(&Word::Stalled));
            starts += 1;
            table.say(Word::Cannot);
        } else {
            tried.push((last.screw, last.direction));
            table.say(Word::Done);
        }
    }
    let count = |screw, direction| {
        let of = |t: &&(Option<Screw>, Option<Direction>)| **t == (Some(screw), Some(direction));
        tried.iter().filter(of).count()
    };
    let (faster, richer) = (
        count(Screw::Idle, Direction::In),
        count(Screw::Low, Direction::Out),
    );
    assert!(faster >= 3 && richer >= 3, "{tried:?}");
    assert_eq!(faster + richer, tried.len(), "nothing else is turned");
    assert_eq!(starts, tried.len() + 1);
}

/// An engine that is not heard off idle: what the throttle was varied for until then counts.
#[test]
fn an_engine_that_is_heard_only_at_idle_is_warm_some_time() {
    let begin = Begin {
        as_found: AsFound::Cold,
        ..WARM
    };
    let mut table = Table::new(Carburetor::Butterfly, begin);
    let mut part = false;
    let mut asked = false;
    while !asked {
        assert!(table.t < 900.0, "it never ceases to warm up");
        let speed = (!part).then_some(2_900.0);
        for prompt in table.hear(0.1, speed) {
            asked |= prompt.screw.is_some();
            part = prompt.throttle.map_or(part, |t| t == Throttle::Part);
        }
    }
}

/// A warm engine idles, and whoever works at it answers, until full throttle is asked for.
fn asked_to_open() -> Table {
    let mut table = Table::new(Carburetor::BarrelValve, WARM);
    for _ in 0..4_000 {
        let mut opened = false;
        for prompt in table.hear(0.1, Some(2_800.0)) {
            let ask = prompt.ask.clone().unwrap_or_default();
            opened |= prompt.throttle == Some(Throttle::Full);
            if ask.contains(&Word::AttachmentStill) {
                table.say(Word::AttachmentStill);
            } else if ask.contains(&Word::Done) {
                table.say(Word::Done);
            }
        }
        if opened {
            return table;
        }
    }
    panic!("full throttle was never asked for");
}

/// A hand takes up to three seconds: what was asked for counts once it is heard.
#[test]
fn the_throttle_is_known_from_what_was_asked_for_and_heard() {
    let mut table = asked_to_open();
    table.hear(1.0, Some(2_800.0));
    assert_eq!(table.procedure.throttle(), Some(tach::Throttle::Closed));
    table.hear(0.6, Some(9_000.0));
    assert_eq!(table.procedure.throttle(), Some(tach::Throttle::Open));
    let closes = |p: &Prompt| p.throttle == Some(Throttle::Idle);
    let told = (0..100).any(|_| table.hear(0.1, Some(9_000.0)).iter().any(closes));
    assert!(told);
    assert_eq!(table.procedure.throttle(), Some(tach::Throttle::Open));
    table.hear(0.6, Some(2_800.0));
    assert_eq!(table.procedure.throttle(), Some(tach::Throttle::Closed));
    // Three times the idle is no reason to think that it was opened again.
    table.hear(1.0, Some(8_400.0));
    assert_eq!(table.procedure.throttle(), Some(tach::Throttle::Closed));
}

/// Trade practice: an engine that dies when the throttle opens wants a richer idle, not a faster one.
#[test]
fn an_engine_that_dies_when_the_throttle_opens_gets_a_richer_low_speed_screw() {
    let mut table = asked_to_open();
    table.hear(1.0, Some(2_800.0));
    let mut after = table.say(Word::Stalled);
    after.extend(table.hear(1.0, None));
    let turn = after.iter().find(|p| p.screw.is_some()).expect("a turn");
    assert_eq!(turn.screw, Some(Screw::Low));
    assert_eq!(turn.direction, Some(Direction::Out));
}

#[test]
fn back_goes_to_the_step_before() {
    let begin = Begin {
        as_found: AsFound::Stopped,
        skip_checks: true,
        no_base: false,
    };
    let mut table = Table::new(Carburetor::Butterfly, begin);
    let mut step = String::new();
    while step != "start" {
        for prompt in table.hear(0.1, None) {
            step = prompt.step.clone();
        }
        for prompt in table.say(Word::Done) {
            step = prompt.step.clone();
        }
    }
    let again = table.say(Word::Back);
    let again = if again.is_empty() {
        table.hear(1.0, None)
    } else {
        again
    };
    assert_eq!(again[0].step, "base");
}

#[test]
fn an_automatic_carburetor_is_left_alone() {
    let machine = Profile {
        carburetor: Some(Carburetor::Automatic),
        ..Profile::default()
    };
    let mut procedure = Procedure::new(&machine, Begin::default());
    let step = procedure.step(Seconds(0.1), &[], &[]);
    assert_eq!(step.outcome.expect("at once").verdict, Verdict::Stopped);
    assert!(step.prompts.iter().all(|p| p.screw.is_none()));
}

#[test]
fn the_end_of_input_leaves_it_unfinished() {
    let mut procedure = Procedure::new(&Profile::default(), Begin::default());
    procedure.step(Seconds(1.0), &[], &[]);
    assert_eq!(procedure.end(Seconds(2.0)).verdict, Verdict::Unfinished);
}
