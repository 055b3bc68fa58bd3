//! Facts of the trade against which the rules and starting profiles are held.
//!
//! Each line names what it rests on. Expected values are written here by hand, not taken from the
//! program.
use engine_note::guide::{Screw, Turn, trade};
use engine_note::machine::{Carburetor, Class, Figure, Origin};

/// Common practice, no source.
#[test]
fn mixture_screws_start_one_and_a_quarter_turns_out() {
    assert_eq!(trade::BASE_SETTING.turns(), 1.25);
    assert_eq!(trade::BASE_SETTING.to_string(), "one and a quarter turns");
}

/// Common practice, no source.
#[test]
fn the_last_enrichment_of_the_low_speed_screw_is_for_butterflies_only() {
    let (least, most) = trade::final_enrichment(Carburetor::Butterfly).unwrap();
    assert_eq!((least.turns(), most.turns()), (0.125, 0.25));
    assert_eq!(trade::final_enrichment(Carburetor::BarrelValve), None);
}

/// Common practice, no source: all fuel of a barrel-valve carburetor passes the high-speed screw.
#[test]
fn the_high_speed_screw_comes_first_on_a_barrel_valve_and_last_on_a_butterfly() {
    assert_eq!(trade::order(Carburetor::BarrelValve)[0], Screw::High);
    assert_eq!(
        trade::order(Carburetor::Butterfly).last(),
        Some(&Screw::High)
    );
    assert!(trade::order(Carburetor::Automatic).is_empty());
}

/// Common practice, no source: 25 mm, which is one inch (25.4 mm exactly) to a millimetre.
#[test]
fn the_line_is_an_inch_short_of_its_longest() {
    assert!((trade::LINE_SHORT_MM - 25.4).abs() < 1.0);
}

/// Common practice, no source.
#[test]
fn screws_move_by_eighths_and_by_a_quarter_at_most() {
    assert_eq!(Turn::EIGHTH.turns(), 0.125);
    assert_eq!(Turn::QUARTER.turns(), 0.25);
}

/// Common practice, no source: a limited coil is judged 300 to 500 rpm below its ceiling; at most
/// ten seconds of full throttle without load; nobody within 15 m.
#[test]
fn other_figures_of_the_trade() {
    assert_eq!(trade::BELOW_LIMITER, (300.0, 500.0));
    assert_eq!(trade::FULL_THROTTLE_SECONDS, 10.0);
    assert_eq!(trade::CLEAR_ZONE_M, 15.0);
}

/// ISO 11806-1 and ISO 11681-1 (from memory): the attachment stands still below 1.25 times idle.
/// The products are arithmetic.
#[test]
fn the_clutch_bites_no_lower_than_one_and_a_quarter_times_idle() {
    for (idle, clutch) in [
        (2_700.0, 3_375.0),
        (2_800.0, 3_500.0),
        (3_000.0, 3_750.0),
        (3_200.0, 4_000.0),
    ] {
        assert_eq!(trade::IDLE_MARGIN * idle, clutch);
    }
}

/// Usual speeds of the classes in rpm: common practice, no source.
#[test]
fn starting_profiles_have_the_usual_speeds_and_say_that_they_are_only_that() {
    type Row = (Class, (f64, f64), Option<(f64, f64)>, (f64, f64));
    let rows: [Row; 8] = [
        (
            Class::Trimmer,
            (2600., 3200.),
            Some((3500., 4500.)),
            (7500., 10500.),
        ),
        (
            Class::BrushCutter,
            (2500., 3000.),
            Some((3400., 4300.)),
            (9500., 12500.),
        ),
        (
            Class::SmallSaw,
            (2800., 3300.),
            Some((3600., 4500.)),
            (11500., 13500.),
        ),
        (
            Class::Saw,
            (2500., 3000.),
            Some((3300., 4200.)),
            (12500., 14000.),
        ),
        (
            Class::LargeSaw,
            (2300., 2800.),
            Some((3200., 3800.)),
            (12000., 13500.),
        ),
        (Class::Blower, (2600., 3200.), None, (7000., 8500.)),
        (Class::BackpackBlower, (2000., 2600.), None, (6000., 7800.)),
        (
            Class::HedgeTrimmer,
            (2600., 3100.),
            Some((3600., 4500.)),
            (8500., 11000.),
        ),
    ];
    for (class, idle, clutch, full) in rows {
        let profile = class.profile();
        let got = profile.speeds.idle.unwrap();
        assert_eq!((got.low().0, got.high().0), idle, "{class}");
        let got = profile.speeds.full_throttle.unwrap();
        assert_eq!((got.low().0, got.high().0), full, "{class}");
        let got = class
            .clutch_range()
            .map(|range| (range.low().0, range.high().0));
        assert_eq!(got, clutch, "{class}");
        match (profile.speeds.clutch_in, clutch) {
            (None, None) => {}
            (Some(speed), Some((low, high))) => {
                assert!((low..=high).contains(&speed.0), "{class}: {speed}");
                // A class must keep the rule above by itself.
                assert!(speed.0 >= 1.25 * idle.1, "{class}: {speed}");
            }
            other => panic!("{class}: {other:?}"),
        }
        for figure in Figure::ALL
            .into_iter()
            .filter(|figure| profile.knows(*figure))
        {
            assert_eq!(profile.origin(figure), Some(&Origin::Typical), "{class}");
        }
        assert!(profile.to_toml().contains("common practice"));
        assert!(profile.validate().is_ok());
    }
}

/// The maker's figure always wins over the usual one.
#[test]
fn filling_in_never_replaces_what_is_known() {
    let mut profile = engine_note::machine::Profile::from_toml(
        "use = \"trimmer head\"\n[speeds]\nidle = [2700, 2900]\n[sources]\nidle = \"maker\"\n",
    )
    .unwrap();
    let filled = profile.fill_from(Class::Trimmer);
    assert!(!filled.contains(&Figure::Idle));
    assert_eq!(profile.speeds.idle.unwrap().high().0, 2_900.0);
    assert_eq!(profile.origin(Figure::Idle), Some(&Origin::Maker));
    assert!(profile.is_typical(Figure::ClutchIn));
}
