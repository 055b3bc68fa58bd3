//! What must hold for any reading of any machine.
use super::build::*;
use engine_note::firing::FiringKind;
use engine_note::guide::{
    Advice, CautionId, DangerId, Direction, Screw, Turn, Verdict, advise, trade,
};
use engine_note::machine::{Carburetor, Coil, Cycle, Profile, SpeedRange, Speeds, Use};
use engine_note::reading::{Acceleration, Bog, Hunting, Plateau, Reading, Return};
use engine_note::units::{Decibels, Hertz, Rpm, Seconds};
use proptest::option::of;
use proptest::prelude::*;

fn any_firing() -> impl Strategy<Value = FiringKind> {
    prop_oneof![
        Just(FiringKind::Clean),
        Just(FiringKind::FourStroking),
        Just(FiringKind::Limiter),
        Just(FiringKind::Unclear),
        Just(FiringKind::None),
    ]
}

fn any_plateau(rpm: std::ops::Range<f64>) -> impl Strategy<Value = Plateau> {
    (
        rpm,
        0.0..200.0f64,
        any_firing(),
        0.0..=1.0f64,
        of(0.0..=1.0f64),
        0.0..=1.0f64,
        of(1_000.0..20_000.0f64),
        0.0..20.0f64,
    )
        .prop_map(
            |(rpm, half, firing, share, skips, doubt, other, clipped)| Plateau {
                held: Seconds(2.0),
                rpm: Rpm(rpm),
                rpm_low: Rpm(rpm - half),
                rpm_high: Rpm(rpm + half),
                spread_rpm: Rpm(half),
                spread_pct: 100.0 * half / rpm,
                firing,
                firing_share: 1.0 - share * share,
                skip_ratio: skips,
                confidence: 1.0 - doubt * doubt,
                other_rpm: other.filter(|_| doubt > 0.6).map(Rpm),
                clipped_pct: clipped,
            },
        )
}

fn any_reading() -> impl Strategy<Value = Reading> {
    let bog = (0.0..3_000.0f64, 0.0..3.0f64).prop_map(|(dip, lasts)| Bog {
        dip_rpm: Rpm(dip),
        lasts: Seconds(lasts),
    });
    let rise =
        (of(bog), 0.0..=1.0f64, 0.1..5.0f64).prop_map(|(bog, confidence, rise)| Acceleration {
            bog,
            confidence,
            rise: Seconds(rise),
            ..bogged()
        });
    let back = (
        any::<bool>(),
        2_500.0..6_000.0f64,
        0.0..8.0f64,
        0.0..=1.0f64,
    )
        .prop_map(|(hangs, at, time, confidence)| {
            let back = hung(at);
            let hang = back.hang.filter(|_| hangs);
            Return {
                hang,
                time: Seconds(time),
                confidence,
                ..back
            }
        });
    let hunting = (0.2..4.0f64, 1.5..20.0f64).prop_map(|(rate, depth)| Hunting {
        rate_hz: Hertz(rate),
        depth_pct: depth,
        low_rpm: Rpm(2_500.0),
        high_rpm: Rpm(3_100.0),
        heard: Seconds(3.0),
        explained: 0.8,
    });
    (
        of(any_plateau(1_500.0..5_500.0)),
        of(any_plateau(4_000.0..16_000.0)),
        of(4_000.0..16_000.0f64),
        proptest::option::weighted(0.2, hunting),
        proptest::collection::vec(rise, 0..3),
        proptest::collection::vec(back, 0..3),
        prop_oneof![3 => Just(0.0), 1 => 0.0..100.0f64],
        prop_oneof![5 => Just(9.0), 1 => 0.0..1.0f64],
    )
        .prop_map(
            |(idle, full_throttle, peak, hunting, accelerations, returns, doubt, readable)| {
                Reading {
                    heard: Seconds(10.0),
                    readable: Seconds(readable),
                    doubtful_pct: doubt,
                    idle,
                    full_throttle,
                    peak_rpm: peak.map(Rpm),
                    hunting,
                    accelerations,
                    returns,
                    clipped_pct: 0.0,
                    level_dbfs: Some(Decibels(-20.0)),
                    ..Reading::default()
                }
            },
        )
}

fn any_profile() -> impl Strategy<Value = Profile> {
    let used_for = of(prop_oneof![
        Just(Use::TrimmerHead),
        Just(Use::BrushBlade),
        Just(Use::Saw),
        Just(Use::Blower),
        Just(Use::Hedge)
    ]);
    let carburetor = of(prop_oneof![
        3 => Just(Carburetor::Butterfly),
        3 => Just(Carburetor::BarrelValve),
        1 => Just(Carburetor::Automatic)
    ]);
    let coil = prop_oneof![Just(Coil::Plain), Just(Coil::Limited), Just(Coil::Unknown)];
    let cycle = prop_oneof![4 => Just(Cycle::TwoStroke), 1 => Just(Cycle::FourStroke)];
    (
        (used_for, carburetor, coil, cycle),
        of((2_000.0..3_500.0f64, 0.0..800.0f64)),
        of(2_500.0..5_000.0f64),
        of((6_000.0..13_000.0f64, 0.0..3_000.0f64)),
        of(8_000.0..15_000.0f64),
    )
        .prop_map(
            |((used_for, carburetor, coil, cycle), idle, clutch, full, limiter)| {
                let range = |(low, width): (f64, f64)| SpeedRange(Rpm(low), Rpm(low + width));
                Profile {
                    used_for,
                    carburetor,
                    coil,
                    cycle,
                    speeds: Speeds {
                        idle: idle.map(range),
                        clutch_in: clutch.map(Rpm),
                        full_throttle: full.map(range),
                        limiter: limiter.map(Rpm),
                    },
                    ..Profile::default()
                }
            },
        )
}

fn leaner(advice: &Advice) -> bool {
    advice
        .moves
        .iter()
        .any(|m| m.screw != Screw::Idle && m.direction == Direction::In)
}

/// The speed of a plateau is trusted by a technician who reads the fields: one base, sure of it.
fn trusted(plateau: &Plateau) -> bool {
    plateau.other_rpm.is_none() && plateau.confidence >= 0.6
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4_000))]

    #[test]
    fn never_leaner_over_the_maximum(reading in any_reading(), machine in any_profile()) {
        let advice = advise(&reading, &machine);
        let maximum = machine.speeds.full_throttle.map_or(f64::INFINITY, |r| r.high().0);
        let fastest = [reading.full_throttle.map(|p| p.rpm), reading.peak_rpm];
        let over = fastest.into_iter().flatten().any(|speed| speed.0 > maximum);
        if over {
            prop_assert!(!leaner(&advice), "{:?}", advice.moves);
            if let Some(first) = advice.moves.first() {
                prop_assert!(
                    (first.screw, first.direction) == (Screw::High, Direction::Out)
                        || reading.full_throttle.is_some_and(|full| !trusted(&full))
                        || reading.doubtful_pct > 50.0
                        || machine.carburetor == Some(Carburetor::Automatic),
                    "{:?}", advice.moves
                );
            }
            if reading.readable.0 >= 0.5 {
                prop_assert_eq!(advice.dangers[0].id, DangerId::OverMaximum);
                prop_assert_eq!(advice.verdict, Verdict::Danger);
            }
        }
    }

    #[test]
    fn never_leaner_when_clean_on_a_plain_or_unknown_coil(
        reading in any_reading(),
        machine in any_profile(),
    ) {
        let clean = reading.full_throttle.is_some_and(|full| full.firing == FiringKind::Clean);
        if clean && machine.coil != Coil::Limited {
            prop_assert!(!leaner(&advise(&reading, &machine)));
        }
    }

    #[test]
    fn never_a_turn_that_rests_on_doubt(reading in any_reading(), machine in any_profile()) {
        let advice = advise(&reading, &machine);
        let doubtful = |plateau: &Option<Plateau>| plateau.is_some_and(|p| !trusted(&p));
        for m in &advice.moves {
            prop_assert!(reading.doubtful_pct <= 50.0);
            match m.screw {
                Screw::High => prop_assert!(!doubtful(&reading.full_throttle), "{m:?}"),
                Screw::Idle => prop_assert!(!doubtful(&reading.idle), "{m:?}"),
                Screw::Low => prop_assert!(
                    !doubtful(&reading.full_throttle) && !doubtful(&reading.idle), "{m:?}"
                ),
            }
        }
        // Under load, or with a throttle that moves, the burble says nothing.
        let steady = |full: Plateau| full.spread_pct <= 3.0 && full.held.0 >= 0.8;
        if reading.full_throttle.is_none_or(|full| !trusted(&full) || !steady(full)) {
            prop_assert!(!leaner(&advice), "{:?}", advice.moves);
        }
    }

    #[test]
    fn never_a_turn_of_a_screw_that_is_not_there(
        reading in any_reading(),
        machine in any_profile(),
    ) {
        let advice = advise(&reading, &machine);
        for m in &advice.moves {
            match machine.carburetor {
                Some(Carburetor::Automatic) => prop_assert!(false, "{m:?}"),
                // What the low-speed screw is differs from type to type.
                None => prop_assert!(m.screw != Screw::Low, "{m:?}"),
                Some(Carburetor::Butterfly | Carburetor::BarrelValve) => {}
            }
        }
        if machine.carburetor.is_none() && !advice.moves.is_empty() {
            prop_assert!(asks(&advice, "carburetor"));
        }
    }

    #[test]
    fn never_more_than_a_quarter_and_an_eighth_when_leaner(
        reading in any_reading(),
        machine in any_profile(),
    ) {
        for m in &advise(&reading, &machine).moves {
            prop_assert!(m.turns <= Turn::QUARTER && m.turns >= Turn::SIXTEENTH, "{m:?}");
            if m.direction == Direction::In {
                prop_assert!(m.turns <= Turn::EIGHTH, "{m:?}");
            }
            prop_assert!(!m.reasons.is_empty() && !m.listen_for.is_empty() && !m.never.is_empty());
            prop_assert!(m.say.contains(&m.turns.to_string()), "{m:?}");
        }
    }

    #[test]
    fn never_leaner_while_no_screw_explains_the_readings(
        reading in any_reading(),
        machine in any_profile(),
    ) {
        let hangs = reading.returns.iter().any(|r| r.hang.is_some() && r.confidence >= 0.6);
        if reading.hunting.is_some() || hangs {
            let advice = advise(&reading, &machine);
            prop_assert!(!leaner(&advice), "{:?}", advice.moves);
            prop_assert!(advice.moves.iter().all(|m| m.screw != Screw::Low));
            prop_assert!(reading.readable.0 < 0.5 || !advice.faults.is_empty());
        }
    }

    #[test]
    fn a_moving_attachment_comes_first(reading in any_reading(), machine in any_profile()) {
        let clutch = machine.speeds.clutch_in.filter(|_| machine.used_for != Some(Use::Blower));
        let (Some(idle), Some(clutch)) = (reading.idle, clutch) else { return Ok(()) };
        if reading.readable.0 < 0.5 || idle.rpm.0 * trade::IDLE_MARGIN <= clutch.0 {
            return Ok(());
        }
        let advice = advise(&reading, &machine);
        prop_assert!(advice.dangers.iter().any(|d| d.id == DangerId::AttachmentAtIdle));
        let over = advice.dangers.iter().any(|d| d.id == DangerId::OverMaximum && d.certain);
        let sure = trusted(&idle) && reading.doubtful_pct <= 50.0;
        if sure && machine.carburetor != Some(Carburetor::Automatic) {
            let at = advice.moves.iter().position(|m| m.screw == Screw::Idle).unwrap();
            prop_assert_eq!(at, usize::from(over), "{:?}", advice.moves);
            prop_assert_eq!(advice.moves[at].direction, Direction::Out);
        }
    }

    #[test]
    fn cautions_are_always_there(reading in any_reading(), machine in any_profile()) {
        let advice = advise(&reading, &machine);
        let given: Vec<CautionId> = advice.cautions.iter().map(|c| c.id).collect();
        prop_assert_eq!(&given[..], &CautionId::ALL[..]);
        prop_assert!(advice.cautions.iter().all(|c| !c.words.is_empty()));
        prop_assert!(!advice.headline.is_empty());
    }

    #[test]
    fn lean_is_never_said_from_sound(reading in any_reading(), machine in any_profile()) {
        let advice = advise(&reading, &machine);
        let reasons = advice.moves.iter().flat_map(|m| &m.reasons);
        let said = reasons.chain(&advice.notes).map(|reason| reason.words.as_str());
        let said = said.chain(advice.dangers.iter().map(|danger| danger.why.as_str()));
        for words in said {
            let words = words.to_lowercase();
            let mut each = words.split(|c: char| !c.is_alphabetic());
            prop_assert!(each.all(|word| word != "lean"), "{words}");
        }
        for words in advice.faults.iter().map(|fault| &fault.check) {
            prop_assert!(
                words.contains("common practice, no source") || words.contains("from memory")
            );
        }
    }

    #[test]
    fn advice_survives_json(reading in any_reading(), machine in any_profile()) {
        let advice = advise(&reading, &machine);
        let json = serde_json::to_string(&advice).unwrap();
        prop_assert_eq!(serde_json::from_str::<Advice>(&json).unwrap(), advice);
    }
}
