//! Whatever a book holds comes back from its export.
use engine_note::book::{
    Air, Book, BookError, Check, Clip, Contents, Digest, Entry, Finding, Held, How, Layout,
    Machine, Measured, Moment, MoveMade, PATIENCE, Screws, Tag, Visit,
};
use engine_note::firing::FiringKind;
use engine_note::guide::{Direction, FaultId, Screw, Turn};
use engine_note::machine::{Class, Profile};
use engine_note::procedure::{OutcomeFault, ProofLine, Reference, Verdict};
use engine_note::units::Rpm;
use jiff::civil::Date;
use proptest::option;
use proptest::prelude::*;

fn words() -> impl Strategy<Value = String> {
    prop_oneof![
        any::<String>(),
        "[a-z <>&'\"\\\\]{0,20}",
        Just("\0\n\u{1f600}".to_string())
    ]
}

fn tag() -> impl Strategy<Value = Tag> {
    "[^\\pC\\pZ][^\\pC]{0,20}[^\\pC\\pZ]".prop_map(|text| text.parse().unwrap())
}

fn held() -> impl Strategy<Value = Held> {
    let rpm = || (0.0..30_000.0f64).prop_map(Rpm);
    (rpm(), option::of(rpm()), option::of(rpm())).prop_map(|(rpm, low, high)| Held {
        rpm,
        low,
        high,
    })
}

fn measured() -> impl Strategy<Value = Measured> {
    let how = prop_oneof![Just(How::Heard), Just(How::Tuning), Just(How::Typed)];
    let firing = prop_oneof![
        Just(FiringKind::Clean),
        Just(FiringKind::FourStroking),
        Just(FiringKind::Limiter)
    ];
    (
        how,
        option::of(held()),
        option::of(held()),
        option::of(0.0..=1.0f64),
        option::of(firing),
    )
        .prop_map(|(how, idle, full_throttle, skip_ratio, firing)| Measured {
            how,
            idle,
            full_throttle,
            skip_ratio,
            firing,
        })
}

fn screws() -> impl Strategy<Value = Screws> {
    let turns = || option::of(-30.0..=30.0f64);
    (turns(), turns(), turns()).prop_map(|(high, low, idle)| Screws { high, low, idle })
}

fn made() -> impl Strategy<Value = MoveMade> {
    let screw = prop_oneof![Just(Screw::High), Just(Screw::Low), Just(Screw::Idle)];
    let direction = prop_oneof![Just(Direction::In), Just(Direction::Out)];
    let from = prop_oneof![
        Just(Reference::Here),
        Just(Reference::Seat),
        Just(Reference::Touch),
        Just(Reference::RichStop)
    ];
    (screw, direction, any::<u16>(), from).prop_map(|(screw, direction, count, from)| MoveMade {
        screw,
        direction,
        turns: Turn::thirty_seconds(count),
        from,
    })
}

fn check() -> impl Strategy<Value = Check> {
    let found = prop_oneof![
        Just(Finding::Good),
        Just(Finding::NotChecked),
        words().prop_map(Finding::Words)
    ];
    (words(), found).prop_map(|(what, found)| Check { what, found })
}

fn proof() -> impl Strategy<Value = ProofLine> {
    let value = || option::of(-1e9..=1e9f64);
    (words(), value(), value(), value(), any::<Option<bool>>()).prop_map(
        |(line, value, low, high, within)| ProofLine {
            line,
            value,
            low,
            high,
            within,
        },
    )
}

fn clip() -> impl Strategy<Value = Clip> {
    let moment = prop_oneof![
        Just(Moment::Before),
        Just(Moment::During),
        Just(Moment::After)
    ];
    (moment, words(), any::<[u8; 32]>()).prop_map(|(moment, path, hash)| Clip {
        moment,
        path,
        sha256: Digest(hash),
    })
}

fn visit() -> impl Strategy<Value = Visit> {
    let date = (1900i16..2200, 1i8..=12, 1i8..=28)
        .prop_map(|(year, month, day)| Date::new(year, month, day).unwrap());
    let verdict = prop_oneof![
        Just(Verdict::Tuned),
        Just(Verdict::Stopped),
        Just(Verdict::Unfinished)
    ];
    let fault = (0..FaultId::ALL.len(), words()).prop_map(|(at, why)| OutcomeFault {
        id: FaultId::ALL[at],
        why,
    });
    let air = (option::of(-60.0..=60.0f64), option::of(-450.0..=9_000.0f64)).prop_map(
        |(temperature_c, altitude_m)| Air {
            temperature_c,
            altitude_m,
        },
    );
    let some_words = || option::of(words());
    let few = 0..4usize;
    (
        (
            date,
            some_words(),
            some_words(),
            some_words(),
            air,
            option::of(verdict),
            some_words(),
            some_words(),
        ),
        (
            option::of(measured()),
            option::of(measured()),
            screws(),
            screws(),
        ),
        (
            proptest::collection::vec(check(), few.clone()),
            proptest::collection::vec(made(), few.clone()),
            proptest::collection::vec(proof(), few.clone()),
            proptest::collection::vec(fault, few.clone()),
            proptest::collection::vec(clip(), few),
        ),
    )
        .prop_map(
            |(
                (date, complaint, notes, fuel, air, verdict, technician, attachment),
                (before, after, screws_found, screws_left),
                (checks, moves, proof, faults, clips),
            )| Visit {
                date,
                technician,
                attachment,
                complaint,
                checks,
                before,
                after,
                screws_found,
                screws_left,
                moves,
                proof,
                verdict,
                faults,
                notes,
                air,
                fuel,
                clips,
            },
        )
}

fn machine() -> impl Strategy<Value = Machine> {
    (tag(), 0..=Class::ALL.len(), words()).prop_map(|(tag, class, name)| {
        let class = Class::ALL.get(class).copied();
        let profile = Profile {
            name: Some(name),
            ..class.map(Class::profile).unwrap_or_default()
        };
        Machine {
            tag,
            class,
            profile,
        }
    })
}

prop_compose! {
    fn contents()(
        machines in proptest::collection::vec(machine(), 0..4),
        visits in proptest::collection::vec((any::<prop::sample::Index>(), visit()), 0..6),
    ) -> Contents {
        let mut machines = machines;
        machines.sort_by(|a, b| a.tag.cmp(&b.tag));
        machines.dedup_by(|a, b| a.tag == b.tag);
        let owned = |(owner, visit): (prop::sample::Index, Visit)| Entry {
            machine: machines[owner.index(machines.len())].tag.clone(),
            visit,
        };
        let visits = if machines.is_empty() { vec![] } else { visits.into_iter().map(owned).collect() };
        Contents { schema: Layout::Book1, machines, visits }
    }
}

fn new_book() -> (tempfile::TempDir, Book) {
    let folder = tempfile::tempdir().unwrap();
    let book = Book::open_or_begin(&folder.path().join("book"), PATIENCE).unwrap();
    (folder, book)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn what_goes_in_comes_out(contents in contents()) {
        let json = contents.to_json();
        let read = Contents::from_json(&json).unwrap();
        prop_assert_eq!(&read, &contents, "the JSON changed it");
        let (folder, mut book) = new_book();
        book.import(&read).unwrap();
        prop_assert_eq!(&book.contents().unwrap(), &contents, "the file changed it");
        prop_assert_eq!(book.contents().unwrap().to_json(), json);
        // A second time changes nothing.
        let again = book.import(&read).unwrap();
        prop_assert_eq!((again.machines, again.visits, again.known), (0, 0, contents.visits.len()));
        // And it is all there when the file is opened anew.
        drop(book);
        let book = Book::open(&folder.path().join("book"), PATIENCE).unwrap();
        prop_assert_eq!(&book.contents().unwrap(), &contents);
    }

    #[test]
    fn a_visit_by_itself_is_the_same(machine in machine(), visit in visit()) {
        let (_folder, mut book) = new_book();
        let number = book.add_visit(&machine, &visit).unwrap();
        prop_assert_eq!(book.visit(number).unwrap(), (machine.clone(), visit.clone()));
        let (same, visits) = book.history(machine.tag.as_str()).unwrap();
        prop_assert_eq!(same, machine);
        prop_assert_eq!(&visits[0].visit, &visit);
        let unchanged = book.change_visit(number, |_| ()).unwrap();
        prop_assert_eq!(unchanged, visit);
    }

    #[test]
    fn no_text_makes_the_import_panic(text in "\\PC{0,60}", cut in any::<prop::sample::Index>(), contents in contents()) {
        let _ = Contents::from_json(&text);
        let json = contents.to_json();
        let mut at = cut.index(json.len());
        while !json.is_char_boundary(at) {
            at -= 1;
        }
        // Only white space may be missing at the end.
        prop_assert_eq!(Contents::from_json(&json[..at]).is_ok(), json[at..].trim().is_empty());
    }
}

#[test]
fn what_does_not_hold_together_is_refused_whole() {
    let (_folder, mut book) = new_book();
    let machine = Machine::new("saw 1".parse().unwrap());
    let good = Entry {
        machine: machine.tag.clone(),
        visit: Visit::on("2026-05-04".parse().unwrap()),
    };
    let contents = |machines: &[&Machine], visits: &[&Entry]| Contents {
        schema: Layout::Book1,
        machines: machines.iter().copied().cloned().collect(),
        visits: visits.iter().copied().cloned().collect(),
    };
    let mut hot = good.clone();
    hot.visit.air.temperature_c = Some(900.0);
    let mut fast = good.clone();
    fast.visit.before = Some(Measured {
        idle: Some(Held::bare(Rpm(f64::NAN))),
        ..Measured::nothing(How::Typed)
    });
    let cases = [
        (
            contents(&[&machine], &[&good, &hot]),
            "air temperature in °C: 900 is outside -60 to 60",
        ),
        (
            contents(&[&machine], &[&good, &fast]),
            "idle in rpm: NaN is outside 0 to 30000",
        ),
        (
            contents(&[], &[&good]),
            "visit 1 in the list belongs to `saw 1`, which is not among the machines",
        ),
        (
            contents(&[&machine, &machine], &[&good]),
            "the machine `saw 1` stands in the list more than once",
        ),
    ];
    for (contents, words) in cases {
        assert_eq!(book.import(&contents).unwrap_err().to_string(), words);
        assert_eq!(book.contents().unwrap().visits, []);
    }
    let unknown = r#"{"schema":"engine-note/book/1","machines":[],"visits":[],"more":1}"#;
    let newer = r#"{"schema":"engine-note/book/2","machines":[],"visits":[]}"#;
    for text in [unknown, newer, "[]", ""] {
        assert!(
            matches!(Contents::from_json(text), Err(BookError::Json { .. })),
            "{text}"
        );
    }
}

#[test]
fn a_machine_that_is_known_otherwise_keeps_its_own_words() {
    let (_folder, mut book) = new_book();
    let own = Machine {
        class: Some(Class::Saw),
        ..Machine::new("saw 1".parse().unwrap())
    };
    book.put_machine(&own).unwrap();
    let other = Machine {
        class: Some(Class::LargeSaw),
        ..own.clone()
    };
    let brought = Contents {
        schema: Layout::Book1,
        machines: vec![other],
        visits: vec![],
    };
    let done = book.import(&brought).unwrap();
    assert_eq!(done.differing, std::slice::from_ref(&own.tag));
    assert_eq!(book.machine("saw 1").unwrap(), Some(own));
}
