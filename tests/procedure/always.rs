//! What holds for any sequence of readings and answers.
use engine_note::firing::FiringKind;
use engine_note::guide::{Direction, Screw};
use engine_note::machine::{Carburetor, Coil, Profile, SpeedRange, Speeds, Use};
use engine_note::procedure::{
    Answer, AsFound, Begin, Heard, Outcome, Procedure, Prompt, Reference, Throttle, Verdict, Word,
};
use engine_note::units::{Rpm, Seconds};
use proptest::prelude::*;

use crate::hearing::frame;

const HOP: f64 = 0.032;
const MAXIMUM: f64 = 10_500.0;

fn machine(carburetor: Carburetor, coil: Coil) -> Profile {
    Profile {
        used_for: Some(Use::TrimmerHead),
        carburetor: Some(carburetor),
        coil,
        speeds: Speeds {
            idle: Some(SpeedRange(Rpm(2_800.0), Rpm(3_000.0))),
            clutch_in: Some(Rpm(3_800.0)),
            full_throttle: Some(SpeedRange(Rpm(9_000.0), Rpm(MAXIMUM))),
            limiter: (coil == Coil::Limited).then_some(Rpm(10_900.0)),
        },
        ..Profile::default()
    }
}

/// What is heard for a while.
#[derive(Clone, Debug)]
enum Sound {
    /// The engine does what it was told, so fast (0 to 1 of what can be).
    Obeys {
        fast: f64,
        skip: f64,
    },
    /// The same, over its maximum at full throttle by this factor.
    TooFast {
        by: f64,
    },
    /// A speed, whatever was asked.
    Speed {
        rpm: f64,
        skip: f64,
    },
    /// A speed that is not sure.
    Doubtful {
        rpm: f64,
    },
    /// On the limiter.
    Limiter,
    Nothing,
}

#[derive(Clone, Debug)]
struct Stretch {
    seconds: f64,
    sound: Sound,
    word: Option<Word>,
}

fn words() -> impl Strategy<Value = Option<Word>> {
    prop_oneof![
        4 => Just(None),
        8 => Just(Some(Word::Done)),
        2 => Just(Some(Word::AttachmentStill)),
        1 => Just(Some(Word::AttachmentTurning)),
        1 => Just(Some(Word::Stalled)),
        2 => Just(Some(Word::Started)),
        1 => Just(Some(Word::AtStop)),
        1 => Just(Some(Word::Cannot)),
        1 => Just(Some(Word::Pause)),
        2 => Just(Some(Word::Resume)),
        1 => Just(Some(Word::Back)),
    ]
}

fn sounds() -> impl Strategy<Value = Sound> {
    prop_oneof![
        12 => (0.0..1.0f64, 0.0..0.8f64).prop_map(|(fast, skip)| Sound::Obeys { fast, skip }),
        2 => (1.006..1.15f64).prop_map(|by| Sound::TooFast { by }),
        2 => (1_000.0..15_000.0f64, 0.0..0.8f64).prop_map(|(rpm, skip)| Sound::Speed { rpm, skip }),
        1 => (1_000.0..15_000.0f64).prop_map(|rpm| Sound::Doubtful { rpm }),
        1 => Just(Sound::Limiter),
        1 => Just(Sound::Nothing),
    ]
}

fn stretches() -> impl Strategy<Value = Vec<Stretch>> {
    let one = (0.3..9.0f64, sounds(), words()).prop_map(|(seconds, sound, word)| Stretch {
        seconds,
        sound,
        word,
    });
    prop::collection::vec(one, 1..120)
}

/// An engine that is too fast most of the time, and somebody who answers.
fn too_fast() -> impl Strategy<Value = Vec<Stretch>> {
    let sound = prop_oneof![
        8 => (1.006..1.15f64).prop_map(|by| Sound::TooFast { by }),
        2 => sounds(),
    ];
    let word = prop_oneof![
        6 => Just(Some(Word::Done)),
        2 => Just(None),
        1 => words(),
    ];
    let one = (2.0..9.0f64, sound, word).prop_map(|(seconds, sound, word)| Stretch {
        seconds,
        sound,
        word,
    });
    prop::collection::vec(one, 60..160)
}

fn begins() -> impl Strategy<Value = Begin> {
    let found = prop_oneof![
        Just(AsFound::Warm),
        Just(AsFound::Cold),
        Just(AsFound::Stopped)
    ];
    (found, any::<bool>(), any::<bool>()).prop_map(|(as_found, skip_checks, no_base)| Begin {
        as_found,
        skip_checks,
        no_base,
    })
}

fn machines() -> impl Strategy<Value = Profile> {
    let carburetors = prop_oneof![Just(Carburetor::Butterfly), Just(Carburetor::BarrelValve)];
    let coils = prop_oneof![Just(Coil::Plain), Just(Coil::Limited), Just(Coil::Unknown)];
    (carburetors, coils).prop_map(|(carburetor, coil)| machine(carburetor, coil))
}

fn heard(t: f64, sound: &Sound, asked: Throttle) -> Heard {
    let at = |rpm: f64, skip: f64| {
        let kind = if skip > 0.1 {
            FiringKind::FourStroking
        } else {
            FiringKind::Clean
        };
        frame(t, Some(rpm), kind, Some(skip))
    };
    match *sound {
        Sound::Obeys { fast, skip } => match asked {
            Throttle::Stop => frame(t, None, FiringKind::None, None),
            Throttle::Idle | Throttle::Start => at(2_300.0 + 1_600.0 * fast, 0.0),
            Throttle::Part => at(4_000.0 + 2_000.0 * fast, 0.1),
            Throttle::Full | Throttle::Snap => at(8_300.0 + 2_400.0 * fast, skip),
        },
        Sound::TooFast { by } => match asked {
            Throttle::Full | Throttle::Snap => at(by * MAXIMUM, 0.4),
            _ => heard(
                t,
                &Sound::Obeys {
                    fast: 0.3,
                    skip: 0.4,
                },
                asked,
            ),
        },
        Sound::Speed { rpm, skip } => at(rpm, skip),
        Sound::Doubtful { rpm } => {
            let mut heard = at(rpm, 0.3);
            if let Ok(speed) = &mut heard.frame.speed {
                speed.confidence = 0.3;
            }
            heard
        }
        Sound::Limiter => frame(t, Some(10_850.0), FiringKind::Limiter, Some(0.2)),
        Sound::Nothing => frame(t, None, FiringKind::None, None),
    }
}

/// What was prompted and heard, as far as the rules need it.
struct Watch {
    plain: bool,
    base: bool,
    last_id: Option<u32>,
    prompts: Vec<Prompt>,
    asked: Throttle,
    full_at: Option<f64>,
    rest: Option<(f64, f64)>,
    richer_before_first: f64,
    ever_full: bool,
    may_not_richer: bool,
    /// Skip ratios and speeds of the last full throttle, surely heard.
    last_full: Vec<(f64, f64)>,
    unread_since: f64,
    over_since: Option<f64>,
    closing_urgent: bool,
    engine_off: bool,
    /// Since when full throttle is heard over the maximum, as fast as engines are, and nothing else.
    surely_over_since: Option<f64>,
    /// Full throttles with that since the high-speed screw was last asked to go out.
    surely_over: u32,
}

impl Watch {
    fn new(plain: bool, base: bool) -> Watch {
        Watch {
            plain,
            base,
            last_id: None,
            prompts: vec![],
            asked: Throttle::Stop,
            full_at: None,
            rest: None,
            richer_before_first: 0.0,
            ever_full: false,
            may_not_richer: false,
            last_full: vec![],
            unread_since: 0.0,
            over_since: None,
            closing_urgent: false,
            engine_off: true,
            surely_over_since: None,
            surely_over: 0,
        }
    }

    fn hears(&mut self, t: f64, heard: &Heard) {
        let sure = heard.frame.speed.ok().filter(|s| s.confidence >= 0.6);
        let over = sure.is_some_and(|s| (1.005 * MAXIMUM..1.19 * MAXIMUM).contains(&s.rpm.0));
        if over && self.asked == Throttle::Full {
            self.surely_over_since.get_or_insert(t);
        } else {
            self.surely_over_since = None;
        }
        match sure {
            Some(speed) => {
                self.unread_since = t;
                if self.asked == Throttle::Full
                    && let Some(skip) = heard.skip_ratio
                {
                    self.last_full.push((speed.rpm.0, skip));
                }
                if speed.rpm.0 > MAXIMUM && speed.rpm.0 < 1.4 * MAXIMUM {
                    self.over_since.get_or_insert(t);
                } else {
                    self.over_since = None;
                }
            }
            None => self.over_since = None,
        }
    }

    fn prompt(&mut self, t: f64, prompt: &Prompt) {
        match self.last_id {
            Some(last) if prompt.id <= last => {
                let same = self.prompts.iter().find(|p| p.id == prompt.id);
                assert_eq!(
                    same,
                    Some(prompt),
                    "a number again is the same prompt again"
                );
                return;
            }
            _ => self.last_id = Some(prompt.id),
        }
        self.prompts.push(prompt.clone());
        let closes = prompt.throttle == Some(Throttle::Idle);
        if self.over_since.is_some_and(|since| t - since > 0.4) && !self.engine_off {
            assert!(
                closes || self.closing_urgent || prompt.throttle == Some(Throttle::Stop),
                "{t}: over the maximum the throttle is closed first: {prompt:?}"
            );
        }
        if let (Some(screw), Some(direction), Some(turns)) =
            (prompt.screw, prompt.direction, prompt.turns)
        {
            self.screw(t, prompt, screw, direction, turns.turns());
        }
        if closes && prompt.urgent {
            self.closing_urgent = true;
            let surely = self.surely_over_since.is_some_and(|since| t - since > 0.2);
            self.surely_over += u32::from(surely);
        }
        if let Some(throttle) = prompt.throttle {
            self.throttle(t, throttle);
        }
    }

    fn screw(&mut self, t: f64, prompt: &Prompt, screw: Screw, direction: Direction, turns: f64) {
        if prompt.from == Some(Reference::Here) {
            assert!(turns <= 0.25, "a quarter turn at most in one move");
        }
        assert_eq!(32.0 * turns, (32.0 * turns).round(), "a multiple of 1/32");
        assert!(
            !matches!(self.asked, Throttle::Full | Throttle::Part),
            "{t}: a screw moves at idle or stopped"
        );
        if self.closing_urgent && prompt.urgent {
            assert_eq!(
                (screw, direction),
                (Screw::High, Direction::Out),
                "after the throttle the next is richer"
            );
            self.closing_urgent = false;
        }
        if screw == Screw::High && direction == Direction::Out {
            self.surely_over = 0;
        }
        if screw == Screw::High && direction == Direction::Out && !self.ever_full {
            self.richer_before_first += if prompt.from == Some(Reference::Here) {
                turns
            } else {
                0.0
            };
        }
        let leaner = direction == Direction::In && screw != Screw::Idle;
        if leaner {
            assert!(
                self.over_since.is_none_or(|since| t - since < 0.35),
                "{t}: leaner while over the maximum"
            );
            assert!(t - self.unread_since < 1.2, "{t}: leaner while unsure");
        }
        if leaner && screw == Screw::High {
            let mut skips: Vec<f64> = self.last_full.iter().map(|(_, skip)| *skip).collect();
            skips.sort_by(f64::total_cmp);
            let most = skips.last().copied().unwrap_or(0.0);
            assert!(
                !self.plain || most >= 0.1,
                "{t}: leaner though clean on a plain coil"
            );
            let fastest = self.last_full.iter().map(|(rpm, _)| *rpm);
            let slowest = fastest.fold(f64::INFINITY, f64::min);
            assert!(slowest <= MAXIMUM, "{t}: leaner though over the maximum");
            if most < 0.3 {
                assert!(turns <= 0.125, "an eighth or less near the goal");
            }
        }
    }

    fn throttle(&mut self, t: f64, throttle: Throttle) {
        if matches!(throttle, Throttle::Full | Throttle::Snap) {
            assert!(
                self.surely_over < 2,
                "{t}: opened again after two full throttles over the maximum, and no richer"
            );
        }
        if let Some(since) = self.full_at.take() {
            let held = t - since;
            assert!(held <= 10.0, "full throttle for {held} s");
            self.rest = Some((t, held));
        }
        if throttle == Throttle::Full {
            if let Some((from, held)) = self.rest {
                assert!(t - from >= held, "a rest of {} s after {held} s", t - from);
            }
            assert!(
                !self.base
                    || self.ever_full
                    || self.may_not_richer
                    || self.richer_before_first >= 0.5,
                "the first full throttle is opened half a turn richer than base"
            );
            self.ever_full = true;
            self.full_at = Some(t);
            self.last_full.clear();
            self.closing_urgent = false;
        }
        if matches!(throttle, Throttle::Full | Throttle::Snap | Throttle::Part) {
            assert!(t - self.unread_since < 3.2, "{t}: a lost reading advances");
        }
        self.engine_off = matches!(throttle, Throttle::Stop | Throttle::Start);
        self.asked = throttle;
    }

    fn now(&self, t: f64) {
        if let Some(since) = self.full_at {
            assert!(t - since <= 10.0, "full throttle since {since}");
        }
    }
}

fn walk(machine: &Profile, begin: Begin, stretches: &[Stretch], saved: bool) -> Option<Outcome> {
    let mut procedure = Procedure::new(machine, begin);
    let mut watch = Watch::new(machine.coil == Coil::Plain, !begin.no_base);
    let mut t = 0.0;
    if begin.as_found != AsFound::Stopped {
        watch.asked = Throttle::Idle;
    }
    for stretch in stretches {
        if saved {
            let text = serde_json::to_string(&procedure).expect("plain data");
            let again: Procedure = serde_json::from_str(&text).expect("as it was written");
            assert_eq!(again, procedure, "saved and read back it is the same");
            procedure = again;
        }
        let end = t + stretch.seconds;
        let mut word = stretch.word;
        while t < end {
            t += HOP;
            let heard = heard(t - 0.2, &stretch.sound, watch.asked);
            watch.hears(t, &heard);
            let answer = word.take().map(|answer| Answer {
                t_s: Seconds(t),
                answer,
                id: None,
            });
            if matches!(answer, Some(a) if matches!(a.answer, Word::AtStop | Word::Cannot | Word::Back))
            {
                watch.may_not_richer = true;
            }
            let answers: Vec<Answer> = answer.into_iter().collect();
            let step = procedure.step(Seconds(t), &[heard], &answers);
            for prompt in &step.prompts {
                watch.prompt(t, prompt);
            }
            watch.now(t);
            if step.outcome.is_some() {
                let after = procedure.step(Seconds(t + 1.0), &[], &[]);
                assert!(after.prompts.is_empty() && after.outcome.is_none());
                return step.outcome;
            }
        }
    }
    None
}

proptest! {
    // 256 unless PROPTEST_CASES says more.
    #![proptest_config(ProptestConfig::default())]

    #[test]
    fn no_sequence_breaks_a_rule(
        machine in machines(),
        begin in begins(),
        stretches in stretches(),
    ) {
        walk(&machine, begin, &stretches, false);
    }

    #[test]
    fn too_fast_it_is_not_opened_a_third_time_without_being_richer(
        machine in machines(),
        begin in begins(),
        stretches in too_fast(),
    ) {
        walk(&machine, begin, &stretches, false);
    }

    #[test]
    fn saved_anywhere_it_goes_on_exactly(
        machine in machines(),
        begin in begins(),
        stretches in stretches(),
    ) {
        let straight = walk(&machine, begin, &stretches, false);
        let saved = walk(&machine, begin, &stretches, true);
        prop_assert_eq!(straight, saved);
    }

    #[test]
    fn every_state_can_be_quit_and_paused(
        machine in machines(),
        begin in begins(),
        stretches in stretches(),
    ) {
        let mut procedure = Procedure::new(&machine, begin);
        let (mut t, mut asked) = (0.0, Throttle::Idle);
        for stretch in &stretches {
            let end = t + stretch.seconds;
            let mut word = stretch.word;
            while t < end {
                t += HOP;
                let heard = heard(t - 0.2, &stretch.sound, asked);
                let answers: Vec<Answer> = word
                    .take()
                    .map(|answer| Answer { t_s: Seconds(t), answer, id: None })
                    .into_iter()
                    .collect();
                let step = procedure.step(Seconds(t), &[heard], &answers);
                if step.outcome.is_some() {
                    return Ok(());
                }
                asked = step.prompts.iter().filter_map(|p| p.throttle).next_back().unwrap_or(asked);
            }
            let say = |answer| [Answer { t_s: Seconds(t), answer, id: None }];
            let mut quits = procedure.clone();
            let step = quits.step(Seconds(t), &[], &say(Word::Quit));
            let closed = step.prompts.iter().any(|p| p.throttle == Some(Throttle::Idle));
            prop_assert!(asked != Throttle::Full || closed, "quit with the throttle open");
            let verdict = step.outcome.expect("quit ends it at once").verdict;
            prop_assert_ne!(verdict, Verdict::Tuned);
            let mut paused = procedure.clone();
            let step = paused.step(Seconds(t), &[], &say(Word::Pause));
            let closed = step.prompts.iter().any(|p| p.throttle == Some(Throttle::Idle));
            prop_assert!(asked != Throttle::Full || closed, "paused with the throttle open");
            for n in 1..600 {
                let now = t + 0.1 * f64::from(n);
                let idle = frame(now, Some(2_900.0), FiringKind::Clean, Some(0.0));
                let step = paused.step(Seconds(now), &[idle], &[]);
                prop_assert!(step.prompts.is_empty(), "paused means that nothing is asked");
                prop_assert!(step.outcome.is_none());
            }
            let mut ended = procedure.clone();
            prop_assert_eq!(ended.end(Seconds(t)).verdict, Verdict::Unfinished);
        }
    }
}
