use proptest::option::of;
use proptest::prelude::*;

use super::*;
use crate::units::Rpm;

const FULL: &str = r#"
name = "the red one"
use = "trimmer head"
cycle = "two-stroke"
cylinders = 1
carburetor = "barrel-valve"
coil = "limited"

[speeds]
idle = [2700, 3000]
clutch_in = 3_800
full_throttle = [9500.0, 10500]
limiter = 11500
search = [1500, 14000]

[sources]
idle = "maker"
clutch_in = "typical"
full_throttle = "measured"
limiter = "stamped on the coil"
"#;

#[track_caller]
fn refused(text: &str) -> ProfileError {
    Profile::from_toml(text).expect_err("this profile must be refused")
}

/// The message and its line.
#[track_caller]
fn says(text: &str, line: usize, message: &str) {
    let error = refused(text);
    assert_eq!(error.line(), Some(line), "{error}");
    assert_eq!(error.to_string(), message);
    assert!(!error.to_string().ends_with('.') && !error.hint().is_empty());
}

#[test]
fn every_field_is_read() {
    let profile = Profile::from_toml(FULL).unwrap();
    assert_eq!(
        profile,
        Profile {
            name: Some("the red one".into()),
            used_for: Some(Use::TrimmerHead),
            cycle: Cycle::TwoStroke,
            cylinders: 1,
            carburetor: Some(Carburetor::BarrelValve),
            coil: Coil::Limited,
            speeds: Speeds {
                idle: Some(SpeedRange(Rpm(2_700.0), Rpm(3_000.0))),
                clutch_in: Some(Rpm(3_800.0)),
                full_throttle: Some(SpeedRange(Rpm(9_500.0), Rpm(10_500.0))),
                limiter: Some(Rpm(11_500.0)),
            },
            sources: Sources {
                idle: Some(Origin::Maker),
                clutch_in: Some(Origin::Typical),
                full_throttle: Some(Origin::Measured),
                limiter: Some(Origin::Said("stamped on the coil".into())),
            },
            search: SpeedRange(Rpm(1_500.0), Rpm(14_000.0)),
        }
    );
    assert_eq!(
        profile.check(),
        [Oddity::OnlyTypical {
            figure: Figure::ClutchIn
        }]
    );
}

#[test]
fn an_empty_profile_is_a_single_two_stroke() {
    assert_eq!(Profile::from_toml("").unwrap(), Profile::default());
    assert_eq!(
        Profile::from_toml("\u{feff}# nothing\r\n").unwrap(),
        Profile::default()
    );
    assert_eq!(Profile::default().check(), []);
}

#[test]
fn errors_point_at_line_and_key() {
    says(
        "cylinders = 1\ncylnders = 2",
        2,
        "line 2, cylnders: there is no such key (did you mean \"cylinders\"?)",
    );
    says(
        "\n\n[speeds]\nclutch = 3500",
        4,
        "line 4, speeds.clutch: there is no such key (did you mean \"clutch_in\"?)",
    );
    says(
        "[speeds]\nfull-throttle = [1, 2]",
        2,
        "line 2, speeds.full-throttle: there is no such key (did you mean \"full_throttle\"?)",
    );
    says(
        "[sources]\nsearch = \"maker\"",
        2,
        "line 2, sources.search: there is no such key",
    );
    says(
        "use = \"chainsaw\"",
        1,
        "line 1, use: \"chainsaw\" is not one of the choices",
    );
    says(
        "carburetor = \"buterfly\"",
        1,
        "line 1, carburetor: \"buterfly\" is not one of the choices (did you mean \"butterfly\"?)",
    );
    says(
        "cycle = 2",
        1,
        "line 1, cycle: one of the known words in quotes is expected here, not the number 2",
    );
    says(
        "name = true",
        1,
        "line 1, name: a text in quotes is expected here, not true",
    );
    says(
        "cylinders = 1.5",
        1,
        "line 1, cylinders: a whole number of cylinders is expected here, not the number 1.5",
    );
    says(
        "[speeds]\nidle = 2800",
        2,
        "line 2, speeds.idle: a range of two speeds in rpm, [low, high], is expected here, not the number 2800",
    );
    says(
        "[speeds]\nidle = [1, 2, 3]",
        2,
        "line 2, speeds.idle: a range of two speeds in rpm, [low, high], is expected here, not a list of 3",
    );
    says(
        "[speeds]\nclutch_in = \"3500\"",
        2,
        "line 2, speeds.clutch_in: one speed in rpm is expected here, not the text \"3500\"",
    );
    says(
        "speeds = 3",
        1,
        "line 1, speeds: a table of speeds or their sources is expected here, not the number 3",
    );
    for count in ["0", "5", "-1"] {
        says(
            &format!("cylinders = {count}"),
            1,
            &format!("line 1, cylinders: {count} is outside 1 to 4"),
        );
    }
    says(
        "[speeds]\n\nidle = [3000, 2700]",
        3,
        "line 3, speeds.idle: the range runs backwards, from 3000 to 2700",
    );
    says(
        "[speeds]\nlimiter = 30000",
        2,
        "line 2, speeds.limiter: 30000 is outside 300 to 25000",
    );
    says(
        "[speeds]\nlimiter = nan",
        2,
        "line 2, speeds.limiter: NaN is outside 300 to 25000",
    );
    says(
        "[speeds]\nsearch = [0, inf]",
        2,
        "line 2, speeds.search: 0 is outside 300 to 25000",
    );
    says(
        "use = \"blower\"\n[speeds]\nclutch_in = 3500",
        3,
        "line 3, speeds.clutch_in: a blower has no clutch, but 3500 rpm is given",
    );
    says(
        "[speeds]\nclutch_in = 2900\nidle = [2700, 3000]",
        2,
        "line 2, speeds.clutch_in: the idle speed (3000 rpm) must lie below the clutch-in speed (2900 rpm)",
    );
    says(
        "[speeds]\nfull_throttle = [3000, 9000]\nclutch_in = 3500",
        2,
        "line 2, speeds.full_throttle: the clutch-in speed (3500 rpm) must lie below the full-throttle speed (3000 rpm)",
    );
}

#[test]
fn what_is_no_toml_is_refused_at_its_line_and_column() {
    let error = refused("name = \"a\"\ncylinders = = 2\n");
    let ProfileError::Syntax { line, column, .. } = error else {
        panic!("{error:?}")
    };
    assert_eq!((line, column), (2, 13));
    assert_eq!(
        refused("coil = \"plain\"\ncoil = \"limited\"").line(),
        Some(2)
    );
}

#[test]
fn a_clutch_too_near_the_idle_is_odd_and_not_wrong() {
    let profile = Profile::from_toml("[speeds]\nidle = [2700, 3000]\nclutch_in = 3600").unwrap();
    let odd = profile.check();
    // 3,600 / 1.25 = 2,880, which the lower end of the range keeps.
    assert_eq!(
        odd[0],
        Oddity::ClutchTooNearIdle {
            clutch_in_rpm: Rpm(3_600.0),
            idle_high_rpm: Rpm(3_000.0),
            keep_idle_below_rpm: Rpm(2_880.0),
            never_met: false
        }
    );
    assert!(odd.contains(&Oddity::NoSource {
        figure: Figure::Idle
    }));
    let just = Profile::from_toml("[speeds]\nidle = [2700, 3000]\nclutch_in = 3750").unwrap();
    assert!(
        !just
            .check()
            .iter()
            .any(|o| matches!(o, Oddity::ClutchTooNearIdle { .. }))
    );
    let never = Profile::from_toml("[speeds]\nidle = [2900, 3000]\nclutch_in = 3600").unwrap();
    assert!(
        never.check()[0]
            .to_string()
            .contains("not even the lower idle speed")
    );
}

#[test]
fn other_oddities_are_named() {
    let odd = |text: &str| Profile::from_toml(text).unwrap().check();
    assert!(odd("coil = \"plain\"\n[speeds]\nlimiter = 9000").contains(
        &Oddity::LimiterOnPlainCoil {
            limiter_rpm: Rpm(9_000.0)
        }
    ));
    assert!(
        odd("[speeds]\nlimiter = 9000\nfull_throttle = [8000, 9500]").contains(
            &Oddity::LimiterBelowMaximum {
                limiter_rpm: Rpm(9_000.0),
                maximum_rpm: Rpm(9_500.0)
            }
        )
    );
    assert!(
        odd("[sources]\nidle = \"maker\"").contains(&Oddity::SourceWithoutFigure {
            figure: Figure::Idle
        })
    );
    assert!(matches!(
        odd("[speeds]\nidle = [900, 1000]")[0],
        Oddity::OutsideSearch {
            figure: Figure::Idle,
            ..
        }
    ));
    for oddity in odd("[speeds]\nidle = [2700, 3000]\nclutch_in = 3600\nlimiter = 9000") {
        assert!(!oddity.to_string().is_empty());
    }
}

#[test]
fn the_written_file_teaches_every_key() {
    for profile in [Profile::default(), Profile::from_toml(FULL).unwrap()] {
        let text = profile.to_toml();
        for key in [
            "name",
            "use",
            "cycle",
            "cylinders",
            "carburetor",
            "coil",
            "idle",
            "clutch_in",
            "full_throttle",
            "limiter",
            "search",
            "[speeds]",
            "[sources]",
            "1.25",
        ] {
            assert!(text.contains(key), "{key} is missing in\n{text}");
        }
    }
}

/// The examples behind comment signs are a valid profile by themselves.
#[test]
fn the_examples_in_an_empty_profile_can_be_used() {
    let uncommented: String = Profile::default()
        .to_toml()
        .lines()
        .map(|line| match line.strip_prefix("# ") {
            Some(rest) if rest.contains(" = ") => format!("{rest}\n"),
            _ => format!("{line}\n"),
        })
        .collect();
    let profile = Profile::from_toml(&uncommented).unwrap();
    assert_eq!(profile.used_for, Some(Use::TrimmerHead));
    assert_eq!(profile.check(), []);
}

#[test]
fn classes_are_known_by_their_words() {
    for class in Class::ALL {
        assert_eq!(class.word().parse::<Class>().unwrap(), class);
        assert!(!class.describes().is_empty());
        let odd = class.profile().check();
        assert!(
            odd.iter().all(|o| matches!(o, Oddity::OnlyTypical { .. })),
            "{class}: {odd:?}"
        );
    }
    assert!(
        "lawn mower"
            .parse::<Class>()
            .unwrap_err()
            .hint()
            .contains("hedge-trimmer")
    );
}

#[test]
fn filling_in_leaves_out_what_would_contradict() {
    let mut fast = Profile::from_toml("[speeds]\nidle = [4100, 4300]").unwrap();
    let filled = fast.fill_from(Class::Trimmer);
    assert_eq!(filled, [Figure::FullThrottle]);
    assert!(fast.validate().is_ok());
    let mut blower = Profile {
        used_for: Some(Use::Blower),
        ..Profile::default()
    };
    blower.fill_from(Class::Trimmer);
    assert_eq!(blower.speeds.clutch_in, None);
    let mut clutched = Profile::from_toml("[speeds]\nclutch_in = 3500").unwrap();
    clutched.fill_from(Class::Blower);
    assert_eq!(clutched.used_for, None);
}

#[test]
fn known_speeds_narrow_the_search() {
    let band = |text: &str| Profile::from_toml(text).unwrap().search_band();
    assert_eq!(band(""), DEFAULT_SEARCH);
    assert_eq!(
        band("[speeds]\nidle = [2700, 3000]\nfull_throttle = [9000, 10000]"),
        SpeedRange(Rpm(0.6 * 2_700.0), Rpm(1.35 * 10_000.0))
    );
    assert_eq!(
        band("[speeds]\nfull_throttle = [9000, 10000]\nsearch = [2000, 9500]"),
        SpeedRange(Rpm(2_000.0), Rpm(9_500.0))
    );
}

fn any_origin() -> impl Strategy<Value = Option<Origin>> {
    of("\\PC{0,20}|maker|typical|measured".prop_map(Origin::from))
}

/// Profiles that hold together.
fn any_profile() -> impl Strategy<Value = Profile> {
    let names = (
        of("\\PC{0,30}|\"\"\"|[\\n\\t'\\\\]{1,4}"),
        of(proptest::sample::select(vec![
            Use::TrimmerHead,
            Use::BrushBlade,
            Use::Saw,
            Use::Blower,
            Use::Hedge,
        ])),
        proptest::sample::select(vec![Cycle::TwoStroke, Cycle::FourStroke]),
        1..=4u8,
        of(proptest::sample::select(vec![
            Carburetor::Butterfly,
            Carburetor::BarrelValve,
            Carburetor::Automatic,
        ])),
        proptest::sample::select(vec![Coil::Plain, Coil::Limited, Coil::Unknown]),
    );
    let speed = prop_oneof![300.0..25_000.0f64, (300..25_000i32).prop_map(f64::from)];
    let speeds = (
        proptest::collection::vec(speed, 8),
        proptest::collection::vec(any::<bool>(), 5),
        (any_origin(), any_origin(), any_origin(), any_origin()),
    );
    (names, speeds)
        .prop_map(
            |((name, used_for, cycle, cylinders, carburetor, coil), (mut s, known, from))| {
                s[..6].sort_by(f64::total_cmp);
                s[6..].sort_by(f64::total_cmp);
                let range = |a: usize| SpeedRange(Rpm(s[a]), Rpm(s[a + 1]));
                Profile {
                    name,
                    used_for,
                    cycle,
                    cylinders,
                    carburetor,
                    coil,
                    speeds: Speeds {
                        idle: known[0].then(|| range(0)),
                        clutch_in: (known[1] && used_for != Some(Use::Blower)).then(|| Rpm(s[2])),
                        full_throttle: known[2].then(|| range(3)),
                        limiter: known[3].then(|| Rpm(s[5])),
                    },
                    sources: Sources {
                        idle: from.0,
                        clutch_in: from.1,
                        full_throttle: from.2,
                        limiter: from.3,
                    },
                    search: if known[4] { range(6) } else { DEFAULT_SEARCH },
                }
            },
        )
        .prop_filter("speeds must differ", |profile| profile.validate().is_ok())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn what_is_written_reads_back_unchanged(profile in any_profile()) {
        let text = profile.to_toml();
        prop_assert_eq!(Profile::from_toml(&text), Ok(profile), "{}", text);
    }

    #[test]
    fn filling_in_keeps_what_is_known(profile in any_profile(), at in 0..Class::ALL.len()) {
        let mut filled = profile.clone();
        let added = filled.fill_from(Class::ALL[at]);
        prop_assert!(filled.validate().is_ok());
        for figure in Figure::ALL {
            if added.contains(&figure) {
                prop_assert!(!profile.knows(figure) && filled.is_typical(figure));
            } else {
                prop_assert_eq!(profile.range_of(figure), filled.range_of(figure));
                prop_assert_eq!(profile.origin(figure), filled.origin(figure));
            }
        }
    }

    #[test]
    fn any_text_is_read_or_refused_in_one_line(text in "\\PC{0,80}") {
        if let Err(error) = Profile::from_toml(&text) {
            prop_assert!(!error.to_string().contains('\n') && !error.hint().is_empty());
        }
    }

    #[test]
    fn any_text_of_the_right_shape_is_read_or_refused_with_its_line(
        lines in proptest::collection::vec(
            "(use|name|cylinders|coil|idle|clutch_in|limiter|\\[speeds\\]|\\[sources\\])( =              (\"maker\"|\"saw\"|-?[0-9]{1,6}|nan|-inf|1e999|\\[1e4, 3\\]|0x[0-9a-f]{1,9}|[{]x = 1[}]))?",
            0..8,
        )
    ) {
        let text = lines.join("\n");
        if let Err(error) = Profile::from_toml(&text) {
            let line = error.line().unwrap();
            prop_assert!((1..=lines.len().max(1)).contains(&line), "{error} in\n{text}");
        }
    }
}
