//! One scenario for each rule of the trade (common practice, no source, where nothing else is named).
use super::build::*;
use engine_note::firing::FiringKind;
use engine_note::guide::{DangerId, Direction, FaultId, ReasonId, Screw, Turn, Verdict, advise};
use engine_note::machine::{Carburetor, Class, Coil, Cycle, Profile, SpeedRange};
use engine_note::reading::{Hunting, Plateau, Reading, Return, UnreadableTime};
use engine_note::tach::Unreadable;
use engine_note::units::{Hertz, Rpm, Seconds};

#[test]
fn rich_at_full_throttle_turns_the_high_speed_screw_in_an_eighth() {
    let reading = heard(IDLE, Some(plateau(9_200.0, FiringKind::FourStroking, 0.45)));
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(advice.verdict, Verdict::Turn);
    assert_eq!(moves(&advice), [(Screw::High, Direction::In, Turn::EIGHTH)]);
    let words = &advice.moves[0].reasons[0].words;
    assert!(
        words.contains("rich or lightly loaded") && words.contains("9200 rpm"),
        "{words}"
    );
    assert!(
        advice.moves[0].say.contains("an eighth of a turn"),
        "{}",
        advice.moves[0].say
    );
}

#[test]
fn near_the_maximum_a_rich_engine_is_leaned_by_less_or_left() {
    // An eighth adds up to 600 rpm on the rich side.
    let lean_by = |rpm: f64| {
        let reading = heard(IDLE, Some(plateau(rpm, FiringKind::FourStroking, 0.45)));
        moves(&advise(
            &reading,
            &trimmer(Carburetor::Butterfly, Coil::Plain),
        ))
    };
    assert_eq!(
        lean_by(9_800.0),
        [(Screw::High, Direction::In, Turn::EIGHTH)]
    );
    assert_eq!(
        lean_by(10_000.0),
        [(Screw::High, Direction::In, Turn::SIXTEENTH)]
    );
    assert_eq!(lean_by(10_300.0), []);
}

#[test]
fn over_the_maximum_closes_the_throttle_and_then_enriches_before_anything_else() {
    let mut reading = heard(
        Some(3_500.0),
        Some(plateau(10_700.0, FiringKind::FourStroking, 0.5)),
    );
    reading.accelerations = vec![bogged()];
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(advice.verdict, Verdict::Danger);
    assert_eq!(advice.dangers[0].id, DangerId::OverMaximum);
    assert!(advice.dangers[0].act.starts_with("Close the throttle"));
    assert!(
        advice.headline.contains("Close the throttle"),
        "{}",
        advice.headline
    );
    assert_eq!(
        moves(&advice)[0],
        (Screw::High, Direction::Out, Turn::EIGHTH)
    );
    assert!(advice.moves[0].urgent);
    // Far over it, a quarter: the most in one move.
    let far = heard(IDLE, Some(plateau(11_500.0, FiringKind::Clean, 0.0)));
    let advice = advise(&far, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(
        moves(&advice),
        [(Screw::High, Direction::Out, Turn::QUARTER)]
    );
    // Air leak first among what else makes an engine fast.
    assert_eq!(
        suspects(&advice),
        [FaultId::AirLeak, FaultId::Attachment, FaultId::LimiterCoil]
    );
    assert!(advice.faults.iter().all(|fault| fault.if_no_change));
}

#[test]
fn a_short_run_over_the_maximum_counts_too() {
    let mut reading = heard(IDLE, Some(plateau(10_300.0, FiringKind::FourStroking, 0.5)));
    reading.peak_rpm = Some(Rpm(10_800.0));
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(advice.dangers[0].id, DangerId::OverMaximum);
    assert_eq!(moves(&advice)[0].1, Direction::Out);
}

#[test]
fn clean_without_burble_enriches_on_plain_and_unknown_coils() {
    for coil in [Coil::Plain, Coil::Unknown] {
        for carburetor in [Carburetor::Butterfly, Carburetor::BarrelValve] {
            let reading = heard(IDLE, Some(plateau(9_800.0, FiringKind::Clean, 0.0)));
            let advice = advise(&reading, &trimmer(carburetor, coil));
            assert_eq!(
                moves(&advice),
                [(Screw::High, Direction::Out, Turn::EIGHTH)]
            );
            let words = &advice.moves[0].reasons[0].words;
            assert!(
                words.contains("No burble heard") && !words.contains("lean"),
                "{words}"
            );
        }
    }
}

#[test]
fn lightly_four_stroking_at_full_throttle_is_left_alone() {
    let reading = heard(IDLE, Some(plateau(9_900.0, FiringKind::FourStroking, 0.15)));
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(advice.verdict, Verdict::Leave);
    assert_eq!(moves(&advice), []);
    assert!(notes(&advice, ReasonId::LightlyFourStroking) && notes(&advice, ReasonId::IdleInRange));
    assert!(
        advice.questions.is_empty() && advice.recording.is_empty(),
        "{advice:?}"
    );
}

#[test]
fn an_attachment_at_or_too_near_moving_is_a_danger_and_slows_the_idle_first() {
    // The 1.25 rule of ISO 11806-1 (from memory): clutch 3,800 rpm allows an idle of 3,040 rpm.
    for (idle, reason, turns) in [
        (3_100.0, ReasonId::IdleNearClutchIn, Turn::EIGHTH),
        (3_900.0, ReasonId::IdleAtClutchIn, Turn::QUARTER),
    ] {
        let reading = heard(Some(idle), Some(plateau(9_800.0, FiringKind::Clean, 0.0)));
        let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
        assert_eq!(advice.verdict, Verdict::Danger);
        assert_eq!(advice.dangers[0].id, DangerId::AttachmentAtIdle);
        assert_eq!(moves(&advice)[0], (Screw::Idle, Direction::Out, turns));
        assert_eq!(advice.moves[0].reasons[0].id, reason);
        assert_eq!(moves(&advice)[1].0, Screw::High);
    }
    let still = heard(Some(3_030.0), None);
    let advice = advise(&still, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert!(advice.dangers.is_empty(), "{:?}", advice.dangers);
}

#[test]
fn a_clutch_that_bites_where_the_idle_belongs_is_at_fault() {
    let mut machine = trimmer(Carburetor::Butterfly, Coil::Plain);
    machine.speeds.clutch_in = Some(Rpm(3_300.0));
    let advice = advise(&heard(IDLE, None), &machine);
    let clutch = advice
        .faults
        .iter()
        .find(|fault| fault.id == FaultId::Clutch)
        .unwrap();
    assert!(!clutch.if_no_change);
    assert!(clutch.check.contains("Do not return the machine to use"));
    assert_eq!(moves(&advice)[0].0, Screw::Idle);
}

#[test]
fn a_blower_has_no_attachment_to_move() {
    let mut machine = Class::Blower.profile();
    machine.carburetor = Some(Carburetor::Butterfly);
    let advice = advise(&heard(Some(3_100.0), None), &machine);
    assert!(advice.dangers.is_empty() && !asks(&advice, "speeds.clutch_in"));
}

#[test]
fn on_the_limiter_the_burble_test_is_refused_and_the_other_way_told() {
    let mut machine = trimmer(Carburetor::Butterfly, Coil::Limited);
    machine.speeds.full_throttle = Some(SpeedRange(Rpm(9_000.0), Rpm(12_000.0)));
    machine.speeds.limiter = Some(Rpm(11_500.0));
    let reading = heard(IDLE, Some(plateau(11_450.0, FiringKind::Limiter, 0.2)));
    let advice = advise(&reading, &machine);
    assert_eq!(
        moves(&advice),
        [(Screw::High, Direction::Out, Turn::EIGHTH)]
    );
    let m = &advice.moves[0];
    assert!(
        m.reasons[0].words.contains("burble test cannot be used"),
        "{m:?}"
    );
    // 300 to 500 rpm below the ceiling, or in until pitch and rhythm just change.
    assert!(
        m.listen_for.contains("between 11000 and 11200 rpm"),
        "{}",
        m.listen_for
    );
    assert!(
        m.listen_for.contains("pitch and rhythm just change"),
        "{}",
        m.listen_for
    );
    // Four-stroking so near the ceiling cannot be told from it.
    let near = heard(IDLE, Some(plateau(11_300.0, FiringKind::FourStroking, 0.5)));
    assert_eq!(moves(&advise(&near, &machine))[0].1, Direction::Out);
    let below = heard(IDLE, Some(plateau(11_100.0, FiringKind::FourStroking, 0.5)));
    assert_eq!(moves(&advise(&below, &machine))[0].1, Direction::In);
}

#[test]
fn a_limiter_is_told_from_less_than_half_of_the_frames_and_never_answered_leaner() {
    let mut machine = trimmer(Carburetor::Butterfly, Coil::Limited);
    machine.speeds.full_throttle = Some(SpeedRange(Rpm(9_000.0), Rpm(12_000.0)));
    machine.speeds.limiter = Some(Rpm(11_500.0));
    let mut full = plateau(11_450.0, FiringKind::Limiter, 0.2);
    full.firing_share = 0.45;
    let advice = advise(&heard(IDLE, Some(full)), &machine);
    assert_eq!(
        moves(&advice),
        [(Screw::High, Direction::Out, Turn::EIGHTH)]
    );
}

#[test]
fn no_screw_is_turned_after_a_clip_of_more_than_twenty_minutes() {
    let machine = trimmer(Carburetor::Butterfly, Coil::Plain);
    let mut reading = heard(IDLE, Some(plateau(9_200.0, FiringKind::FourStroking, 0.45)));
    assert_eq!(moves(&advise(&reading, &machine)).len(), 1);
    reading.heard = Seconds(20.0 * 60.0 + 1.0);
    assert!(moves(&advise(&reading, &machine)).is_empty());
}

#[test]
fn a_limiter_on_a_plain_coil_is_an_ignition_to_look_at() {
    let reading = heard(IDLE, Some(plateau(10_200.0, FiringKind::Limiter, 0.2)));
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(advice.verdict, Verdict::Stop);
    assert_eq!(suspects(&advice)[0], FaultId::Ignition);
    assert!(asks(&advice, "coil") && moves(&advice).is_empty());
}

#[test]
fn a_bog_enriches_the_low_speed_screw_and_knows_what_else_it_may_be() {
    let mut reading = heard(IDLE, Some(plateau(9_900.0, FiringKind::FourStroking, 0.15)));
    reading.accelerations = vec![bogged()];
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(moves(&advice), [(Screw::Low, Direction::Out, Turn::EIGHTH)]);
    // Final enrichment on a butterfly carburetor, none on a barrel valve.
    assert!(
        advice.moves[0]
            .listen_for
            .contains("an eighth of a turn to a quarter of a turn out")
    );
    assert!(advice.faults.iter().all(|fault| fault.if_no_change) && !advice.faults.is_empty());
    let advice = advise(&reading, &trimmer(Carburetor::BarrelValve, Coil::Plain));
    assert_eq!(moves(&advice), [(Screw::Low, Direction::Out, Turn::EIGHTH)]);
    assert!(
        advice.moves[0]
            .listen_for
            .contains("at the fastest idle, not beyond it")
    );
    assert!(
        advice.moves[0].say.contains("needle"),
        "{}",
        advice.moves[0].say
    );
}

#[test]
fn a_bog_on_a_barrel_valve_waits_for_the_high_speed_screw() {
    let mut reading = heard(IDLE, Some(plateau(9_300.0, FiringKind::FourStroking, 0.5)));
    reading.accelerations = vec![bogged()];
    let barrel = advise(&reading, &trimmer(Carburetor::BarrelValve, Coil::Plain));
    assert_eq!(moves(&barrel), [(Screw::High, Direction::In, Turn::EIGHTH)]);
    let butterfly = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(
        moves(&butterfly),
        [
            (Screw::Low, Direction::Out, Turn::EIGHTH),
            (Screw::High, Direction::In, Turn::EIGHTH)
        ]
    );
}

#[test]
fn a_bog_on_an_unknown_carburetor_asks_which_it_is() {
    let mut machine = trimmer(Carburetor::Butterfly, Coil::Plain);
    machine.carburetor = None;
    let mut reading = heard(IDLE, Some(plateau(9_900.0, FiringKind::FourStroking, 0.15)));
    reading.accelerations = vec![bogged()];
    let advice = advise(&reading, &machine);
    assert!(moves(&advice).is_empty() && asks(&advice, "carburetor"));
    assert!(
        advice.questions[0].ask.contains("barrel"),
        "{:?}",
        advice.questions
    );
}

#[test]
fn hunting_stops_and_names_the_air_leak_first() {
    let mut reading = heard(
        Some(3_020.0),
        Some(plateau(9_300.0, FiringKind::FourStroking, 0.5)),
    );
    reading.hunting = Some(Hunting {
        rate_hz: Hertz(1.3),
        depth_pct: 6.0,
        low_rpm: Rpm(2_840.0),
        high_rpm: Rpm(3_200.0),
        heard: Seconds(5.0),
        explained: 0.9,
    });
    reading.accelerations = vec![bogged()];
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(advice.verdict, Verdict::Stop);
    assert_eq!(moves(&advice), [], "neither leaner nor a low-speed screw");
    assert_eq!(
        suspects(&advice)[..4],
        [
            FaultId::AirLeak,
            FaultId::FuelStarvation,
            FaultId::TankVent,
            FaultId::CarburetorDirt
        ]
    );
    assert!(advice.faults[0].check.contains("0.48 bar (7 psi)"));
    assert!(
        advice.faults[0]
            .check
            .contains("common practice, no source")
    );
}

#[test]
fn hanging_stops_and_above_clutch_in_it_is_a_danger() {
    let mut reading = heard(IDLE, Some(plateau(9_900.0, FiringKind::FourStroking, 0.15)));
    reading.returns = vec![hung(3_500.0)];
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(advice.verdict, Verdict::Stop);
    assert_eq!(
        suspects(&advice)[..2],
        [FaultId::AirLeak, FaultId::ThrottleLinkage]
    );
    assert!(moves(&advice).is_empty());
    reading.returns = vec![hung(4_400.0)];
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(advice.dangers[0].id, DangerId::AttachmentOnReturn);
}

#[test]
fn a_return_over_five_seconds_is_hanging_too() {
    let mut reading = heard(IDLE, Some(plateau(9_900.0, FiringKind::FourStroking, 0.15)));
    let back = |time| Return {
        time: Seconds(time),
        hang: None,
        ..hung(3_500.0)
    };
    reading.returns = vec![back(5.5)];
    let machine = trimmer(Carburetor::Butterfly, Coil::Plain);
    assert_eq!(advise(&reading, &machine).verdict, Verdict::Stop);
    reading.returns = vec![back(2.5)];
    assert_eq!(advise(&reading, &machine).verdict, Verdict::Leave);
}

#[test]
fn clean_but_slow_is_explained_by_no_screw() {
    let reading = heard(IDLE, Some(plateau(8_200.0, FiringKind::Clean, 0.0)));
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(advice.verdict, Verdict::Stop);
    assert!(moves(&advice).is_empty());
    assert_eq!(
        suspects(&advice)[..4],
        [
            FaultId::MufflerScreen,
            FaultId::FuelStarvation,
            FaultId::Compression,
            FaultId::ThrottleLinkage
        ]
    );
}

#[test]
fn a_full_throttle_under_load_or_too_short_is_not_judged() {
    for (held, spread) in [(0.5, 0.2), (3.0, 4.0)] {
        for firing in [FiringKind::Clean, FiringKind::FourStroking] {
            let full = Plateau {
                held: Seconds(held),
                spread_pct: spread,
                ..plateau(8_200.0, firing, 0.5)
            };
            let reading = heard(IDLE, Some(full));
            let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
            assert!(moves(&advice).is_empty() && notes(&advice, ReasonId::Unsteady));
            assert_eq!(advice.verdict, Verdict::Ask);
            assert!(!advice.recording.is_empty());
        }
    }
    // Over the maximum, both count.
    let full = Plateau {
        spread_pct: 4.0,
        ..plateau(11_000.0, FiringKind::Clean, 0.0)
    };
    let advice = advise(
        &heard(IDLE, Some(full)),
        &trimmer(Carburetor::Butterfly, Coil::Plain),
    );
    assert_eq!(advice.verdict, Verdict::Danger);
    assert_eq!(moves(&advice)[0].1, Direction::Out);
}

#[test]
fn what_is_only_typical_is_no_limit() {
    let mut machine = Class::Saw.profile();
    machine.carburetor = Some(Carburetor::Butterfly);
    machine.coil = Coil::Plain;
    let slow = heard(None, Some(plateau(10_000.0, FiringKind::Clean, 0.0)));
    let advice = advise(&slow, &machine);
    assert_eq!(
        moves(&advice),
        [(Screw::High, Direction::Out, Turn::EIGHTH)]
    );
    assert!(asks(&advice, "speeds.full_throttle"));
    let fast = heard(None, Some(plateau(14_500.0, FiringKind::Clean, 0.0)));
    let advice = advise(&fast, &machine);
    assert!(!advice.dangers[0].certain && advice.headline.starts_with("Possible danger"));
    assert_eq!(moves(&advice)[0].1, Direction::Out);
}

#[test]
fn an_idle_outside_its_range_is_set_unless_the_attachment_would_move() {
    let machine = trimmer(Carburetor::Butterfly, Coil::Plain);
    let mut roomy = machine.clone();
    roomy.speeds.clutch_in = Some(Rpm(4_400.0));
    assert_eq!(
        moves(&advise(&heard(Some(3_200.0), None), &roomy)),
        [(Screw::Idle, Direction::Out, Turn::EIGHTH)]
    );
    assert_eq!(
        moves(&advise(&heard(Some(2_500.0), None), &roomy)),
        [(Screw::Idle, Direction::In, Turn::EIGHTH)]
    );
    let mut tight = machine;
    tight.speeds.clutch_in = Some(Rpm(3_300.0));
    let advice = advise(&heard(Some(2_600.0), None), &tight);
    assert!(moves(&advice).is_empty());
    assert_eq!(suspects(&advice), [FaultId::Clutch]);
}

#[test]
fn two_bases_that_fit_move_no_screw_and_ask_for_the_range() {
    let mut full = plateau(5_000.0, FiringKind::Clean, 0.0);
    full.other_rpm = Some(Rpm(10_000.0));
    let mut machine = trimmer(Carburetor::Butterfly, Coil::Plain);
    machine.speeds.full_throttle = None;
    let advice = advise(&heard(None, Some(full)), &machine);
    assert!(moves(&advice).is_empty() && asks(&advice, "speeds.full_throttle"));
    assert_eq!(advice.verdict, Verdict::Ask);
    assert!(!advice.recording.is_empty());
}

#[test]
fn a_doubtful_speed_over_the_maximum_is_a_possible_danger_without_a_turn() {
    let mut full = plateau(12_000.0, FiringKind::FourStroking, 0.5);
    full.confidence = 0.3;
    let advice = advise(
        &heard(IDLE, Some(full)),
        &trimmer(Carburetor::Butterfly, Coil::Plain),
    );
    assert!(moves(&advice).is_empty());
    assert!(!advice.dangers[0].certain && advice.headline.starts_with("Possible danger"));
}

#[test]
fn heavy_clipping_leans_nothing() {
    let mut full = plateau(9_200.0, FiringKind::FourStroking, 0.5);
    full.clipped_pct = 8.0;
    let advice = advise(
        &heard(IDLE, Some(full)),
        &trimmer(Carburetor::Butterfly, Coil::Plain),
    );
    assert!(moves(&advice).is_empty() && notes(&advice, ReasonId::Clipped));
}

#[test]
fn an_automatic_carburetor_gets_no_turn_but_its_dangers() {
    let reading = heard(
        Some(3_900.0),
        Some(plateau(12_000.0, FiringKind::Clean, 0.0)),
    );
    let advice = advise(&reading, &trimmer(Carburetor::Automatic, Coil::Plain));
    assert!(moves(&advice).is_empty() && notes(&advice, ReasonId::NoScrews));
    assert_eq!(advice.dangers.len(), 2);
    assert!(advice.faults.iter().all(|fault| !fault.if_no_change));
}

#[test]
fn a_four_stroke_cycle_is_not_set_by_its_burble() {
    let mut machine = trimmer(Carburetor::Butterfly, Coil::Plain);
    machine.cycle = Cycle::FourStroke;
    for firing in [FiringKind::Clean, FiringKind::FourStroking] {
        let advice = advise(&heard(IDLE, Some(plateau(9_800.0, firing, 0.5))), &machine);
        assert!(moves(&advice).is_empty(), "{advice:?}");
    }
    // Read as a two-stroke, it skips every second turn always: ask before leaning it.
    let mut reading = heard(IDLE, Some(plateau(9_200.0, FiringKind::FourStroking, 0.5)));
    reading.idle = Some(plateau(2_900.0, FiringKind::FourStroking, 0.5));
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert!(moves(&advice).is_empty() && asks(&advice, "cycle"));
}

#[test]
fn what_is_left_out_is_asked_for_only_when_it_matters() {
    let unknown = Profile::default();
    let only_idle = advise(&heard(IDLE, None), &unknown);
    assert!(asks(&only_idle, "speeds.clutch_in") && !asks(&only_idle, "speeds.full_throttle"));
    let clean = Some(plateau(9_800.0, FiringKind::Clean, 0.0));
    let only_full = advise(&heard(None, clean), &unknown);
    assert!(asks(&only_full, "speeds.full_throttle") && !asks(&only_full, "speeds.clutch_in"));
    assert!(asks(&only_full, "carburetor") && asks(&only_full, "coil"));
    let complete = advise(
        &heard(IDLE, clean),
        &trimmer(Carburetor::Butterfly, Coil::Plain),
    );
    assert!(complete.questions.is_empty(), "{:?}", complete.questions);
}

#[test]
fn typical_figures_are_called_typical() {
    let machine = Class::Trimmer.profile();
    let advice = advise(&heard(Some(3_900.0), None), &machine);
    assert!(advice.dangers[0].why.contains("common practice, no source"));
}

#[test]
fn nothing_readable_tells_how_to_record_it() {
    let reading = Reading {
        heard: Seconds(10.0),
        unreadable: vec![UnreadableTime {
            reason: Unreadable::Silence,
            time: Seconds(10.0),
        }],
        ..Reading::default()
    };
    let advice = advise(&reading, &trimmer(Carburetor::Butterfly, Coil::Plain));
    assert_eq!(advice.verdict, Verdict::NotReadable);
    assert!(moves(&advice).is_empty() && advice.questions.is_empty());
    let tips = advice.recording.join("\n");
    for part in [
        "0.5 to 1 m",
        "exhaust stream",
        "automatic gain",
        "3 s idle",
        "muted",
    ] {
        assert!(tips.contains(part), "{part} is not in {tips}");
    }
}

#[test]
fn half_a_recording_says_what_is_missing() {
    let advice = advise(
        &heard(IDLE, None),
        &trimmer(Carburetor::Butterfly, Coil::Plain),
    );
    assert!(
        advice
            .recording
            .iter()
            .any(|tip| tip.contains("No full throttle was heard"))
    );
}

#[test]
fn the_long_list_of_cautions_holds_every_short_one() {
    let long = include_str!("../../docs/cautions.md");
    for part in [
        "maker",
        "local rules",
        "Eyes",
        "ears",
        "15 m",
        "carbon monoxide",
        "muffler",
        "10 s",
        "caps",
        "25 mm",
        "1.25",
        "chain brake",
    ] {
        assert!(long.contains(part), "docs/cautions.md does not say {part}");
    }
}
