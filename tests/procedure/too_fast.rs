//! An engine that is too fast whatever the screw, and one that only seems to be; an idle that is heard at
//! twice its speed.
use engine_note::firing::FiringKind;
use engine_note::guide::{Direction, FaultId, Screw};
use engine_note::machine::{Carburetor, Coil, Profile, SpeedRange, Speeds, Use};
use engine_note::procedure::{
    Answer, AsFound, Begin, Outcome, Procedure, Prompt, Throttle, Verdict, Word,
};
use engine_note::units::{Rpm, Seconds};

use crate::hearing::frame;

const HOP: f64 = 0.016;
const MAXIMUM: f64 = 10_500.0;

/// What a run came to.
struct Course {
    outcome: Option<Outcome>,
    /// How often it was over the maximum.
    times: u32,
    /// Longest time over the maximum, in seconds.
    over: f64,
    prompts: Vec<Prompt>,
}

/// Tunes with a hand that takes three seconds for the throttle and does each turn at once. `full` says the
/// speed and the skip ratio at full throttle, `idle` those at idle, for so many turns out of the
/// high-speed and of the idle-speed screw since the beginning.
fn tune(
    seconds: f64,
    full: impl Fn(f64) -> (f64, f64),
    idle: impl Fn(f64) -> (f64, f64),
) -> Course {
    let machine = Profile {
        used_for: Some(Use::TrimmerHead),
        carburetor: Some(Carburetor::BarrelValve),
        coil: Coil::Plain,
        speeds: Speeds {
            idle: Some(SpeedRange(Rpm(2_700.0), Rpm(3_000.0))),
            clutch_in: Some(Rpm(3_900.0)),
            full_throttle: Some(SpeedRange(Rpm(9_500.0), Rpm(MAXIMUM))),
            limiter: None,
        },
        ..Profile::default()
    };
    let begin = Begin {
        as_found: AsFound::Warm,
        skip_checks: true,
        no_base: true,
    };
    let mut procedure = Procedure::new(&machine, begin);
    let (mut high, mut idle_screw, mut rpm) = (0.0, 0.0, idle(0.0).0);
    let mut opens_at = None;
    let (mut open, mut over) = (false, 0.0f64);
    let mut course = Course {
        outcome: None,
        times: 0,
        over: 0.0,
        prompts: vec![],
    };
    let mut said = vec![];
    let mut t = 0.0;
    while t < seconds {
        t += HOP;
        if let Some((at, opens)) = opens_at
            && t >= at
        {
            open = opens;
            opens_at = None;
        }
        let (goal, skip) = if open { full(high) } else { idle(idle_screw) };
        rpm += (goal - rpm) * HOP / 0.2;
        course.times += u32::from(rpm > MAXIMUM && over == 0.0);
        over = if rpm > MAXIMUM { over + HOP } else { 0.0 };
        course.over = course.over.max(over);
        let kind = if skip > 0.1 {
            FiringKind::FourStroking
        } else {
            FiringKind::Clean
        };
        let heard = frame(t - 0.2, Some(rpm), kind, Some(skip));
        let step = procedure.step(Seconds(t), &[heard], &said);
        said.clear();
        for prompt in step.prompts {
            let opens = matches!(prompt.throttle, Some(Throttle::Full | Throttle::Snap));
            if prompt.throttle.is_some() && opens != open {
                opens_at = Some((t + 3.0, opens));
            }
            let turns = prompt.turns.map_or(0.0, |turns| turns.turns());
            let out = if prompt.direction == Some(Direction::Out) {
                turns
            } else {
                -turns
            };
            match prompt.screw {
                Some(Screw::High) => high += out,
                Some(Screw::Idle) => idle_screw += out,
                _ => {}
            }
            let ask = prompt.ask.clone().unwrap_or_default();
            let answer = if ask.contains(&Word::AttachmentStill) {
                Some(Word::AttachmentStill)
            } else {
                ask.contains(&Word::Done).then_some(Word::Done)
            };
            said.extend(answer.map(|answer| Answer {
                t_s: Seconds(t),
                answer,
                id: None,
            }));
            course.prompts.push(prompt);
        }
        if step.outcome.is_some() {
            course.outcome = step.outcome;
            break;
        }
    }
    course
}

fn steady_idle(_: f64) -> (f64, f64) {
    (2_850.0, 0.0)
}

/// An attachment that is missing or too light: two percent of a quarter turn is all that richer does.
#[test]
fn too_fast_whatever_the_screw_it_is_stopped_after_few_openings() {
    for over in [1.03, 1.08, 1.15] {
        for answers in [0.0, 0.08] {
            let full = |high: f64| (over * MAXIMUM * (1.0 - answers * high), 0.5);
            let course = tune(1_800.0, full, steady_idle);
            let outcome = course.outcome.expect("it comes to an end");
            assert_eq!(outcome.verdict, Verdict::Stopped);
            let first = outcome.faults.iter().take(2);
            assert!(
                first.clone().any(|f| f.id == FaultId::Attachment),
                "{:?}",
                outcome.faults
            );
            assert!(course.times <= 5, "{} times over", course.times);
            assert!(course.over < 5.0, "{} s over the maximum", course.over);
        }
    }
}

/// After each opening over the maximum it is made richer before the next one.
#[test]
fn full_throttle_is_not_opened_again_before_it_is_richer() {
    let full = |_: f64| (1.06 * MAXIMUM, 0.4);
    let course = tune(1_800.0, full, steady_idle);
    let mut richer = true;
    for prompt in &course.prompts {
        if prompt.throttle == Some(Throttle::Full) {
            assert!(richer, "{prompt:?}");
            richer = false;
        }
        richer |= prompt.screw == Some(Screw::High) && prompt.direction == Some(Direction::Out);
    }
}

/// An engine that is only set too lean comes under its maximum as it is made richer: no fault.
#[test]
fn too_fast_by_its_screw_it_is_made_richer_and_goes_on() {
    // An eighth takes three to four percent of the speed; it just four-strokes a little under the maximum.
    let full = |high: f64| {
        let rpm = 1.4 * MAXIMUM * (1.0 - 0.25 * high);
        (rpm, (0.1 + 1.5 * (high - 1.16)).clamp(0.01, 0.5))
    };
    let course = tune(600.0, full, steady_idle);
    let stopped = course
        .outcome
        .is_some_and(|outcome| outcome.verdict == Verdict::Stopped);
    assert!(course.times > 0 && !stopped, "{} times over", course.times);
}

/// Every second turn of what is heard fires: the idle is half as fast, and is made faster.
#[test]
fn an_idle_that_skips_every_third_turn_is_too_slow() {
    // Above 2,300 rpm it is heard as what it is.
    let idle = |screw: f64| {
        let rpm = 1_600.0 - 1_500.0 * screw;
        if rpm < 2_300.0 {
            (2.0 * rpm, 0.4)
        } else {
            (rpm, 0.0)
        }
    };
    let course = tune(240.0, |_| (9_000.0, 0.5), idle);
    let turns: Vec<Direction> = course
        .prompts
        .iter()
        .filter(|p| p.screw == Some(Screw::Idle))
        .filter_map(|p| p.direction)
        .collect();
    assert!(turns.len() >= 2, "{turns:?}");
    assert!(
        turns[..2].iter().all(|d| *d == Direction::In),
        "faster first: {turns:?}"
    );
}
