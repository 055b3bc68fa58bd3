//! Rules of the high-speed screw: full throttle too fast, too rich, without burble, on the limiter.
use super::advice::{Danger, DangerId, Move, Reason, ReasonId};
use super::case::{Case, Draft};
use super::screw::{Direction, Screw};
use super::trade::{BELOW_LIMITER, EIGHTH_OF_HIGH};
use super::turn::Turn;
use crate::firing::FiringKind;
use crate::machine::{Carburetor, Coil, Cycle, Figure};
use crate::reading::Plateau;

/// Four-stroking up to this share of skipped revolutions is light: the goal (common practice, no
/// source, for "just begins to burble").
const LIGHT: f64 = 0.25;
/// The most frequent kind of firing must have this share of the frames to be judged by.
const MAJORITY: f64 = 0.6;
/// A limiter is taken as heard from a smaller share: between its bursts the turns look like another
/// kind, and what is advised then is never leaner.
const LIMITER_SHARE: f64 = 0.35;
/// Half-order levels do not survive more clipping than this, in percent of the samples.
const MOST_CLIPPED: f64 = 5.0;
/// Full throttle is slow when its whole interval lies this share below the range.
const SLOW: f64 = 0.97;
/// A full throttle heard for less time is not judged, in seconds.
const LEAST_HELD: f64 = 0.8;
/// Nor is one whose speed spreads by more, in percent: the engine works, or the throttle moves.
const UNSTEADY: f64 = 3.0;
/// Over the maximum by more than this, a quarter of a turn is due.
const FAR_OVER: f64 = 1.03;

const NEVER_LEANER: &str = "Never turn it in while no burble is heard or the speed is near the \
     maximum: a lean two-stroke loses its oil with its fuel and seizes";
const NEVER_FORCE: &str = "Never force it onto its seat and never turn it past its cap's travel";

/// Judges full throttle.
pub(super) fn judge(case: &Case<'_>, draft: &mut Draft) {
    if over_maximum(case, draft) {
        return;
    }
    let Some(full) = case.full() else { return };
    if case.maximum().is_none() {
        draft.ask(
            "speeds.full_throttle",
            "What is the maker's full-throttle speed, lowest and highest?",
            "full throttle was heard, and without the maker's maximum it cannot be said whether \
             it is too fast",
        );
    }
    if !case.sure(full) {
        in_doubt(full, draft);
        return;
    }
    if case.machine.cycle == Cycle::FourStroke {
        draft.note(
            ReasonId::FiringUnclear,
            format!(
                "Full throttle {}; a four-stroke cycle has no burble to set it by, so its \
                 high-speed screw is set by the maker's procedure",
                full.rpm
            ),
        );
        return;
    }
    let enough = match full.firing {
        FiringKind::Limiter => LIMITER_SHARE,
        _ => MAJORITY,
    };
    if full.firing_share < enough {
        unclear(full, draft);
        return;
    }
    if full.firing != FiringKind::Limiter && not_at_rest(full, draft) {
        return;
    }
    match full.firing {
        FiringKind::Limiter => limiter(case, full, draft),
        FiringKind::FourStroking if near_limiter(case, full) => limiter(case, full, draft),
        FiringKind::FourStroking => four_stroking(case, full, draft),
        FiringKind::Clean => clean(case, full, draft),
        FiringKind::Unclear | FiringKind::None => unclear(full, draft),
    }
}

/// Too fast: the throttle first, then richer, before anything else.
fn over_maximum(case: &Case<'_>, draft: &mut Draft) -> bool {
    let (Some(maximum), Some((speed, sure))) = (case.maximum(), case.fastest()) else {
        return false;
    };
    if speed.0 <= maximum.0 {
        return false;
    }
    let only_typical = case.machine.is_typical(Figure::FullThrottle);
    let typical = case.only_typical(Figure::FullThrottle);
    let why = format!("Full throttle reaches {speed}, above the maximum of {maximum}{typical}");
    draft.dangers.push(Danger {
        id: DangerId::OverMaximum,
        certain: sure && !only_typical,
        why: if sure {
            why.clone()
        } else {
            format!("{why}; the base of the speed is in doubt, so it may be a misreading")
        },
        act: if only_typical {
            "Close the throttle, and look the maker's maximum up before you open it fully again"
        } else {
            "Close the throttle now, and do not open it fully again before the high-speed screw is \
             richer and the attachment is as in use"
        }
        .into(),
    });
    if !sure {
        draft.unsure = true;
        if let Some(full) = case.full() {
            in_doubt(full, draft);
        }
        return true;
    }
    let turns = case.may_turn(Screw::High);
    if turns {
        let amount = if speed.0 > FAR_OVER * maximum.0 {
            Turn::QUARTER
        } else {
            Turn::EIGHTH
        };
        draft.moves.push(Move {
            screw: Screw::High,
            direction: Direction::Out,
            turns: amount,
            urgent: true,
            reasons: vec![Reason {
                id: ReasonId::OverMaximum,
                words: why,
            }],
            say: case.say(Screw::High, Direction::Out, amount),
            listen_for: format!(
                "Full throttle for 3 s at most: the speed must stay at or below {maximum} with a \
                 light burble. If it does not answer to the screw, stop: air leaks and a missing \
                 or short attachment make an engine fast, too"
            ),
            never: "Never turn it in while the engine is over the maximum".into(),
        });
    }
    draft.suspect(ReasonId::OverMaximum, turns);
    true
}

fn in_doubt(full: &Plateau, draft: &mut Draft) {
    draft.unsure = true;
    let other = full
        .other_rpm
        .map_or_else(String::new, |other| format!(" or {other}"));
    draft.note(
        ReasonId::BaseInDoubt,
        format!(
            "Full throttle {}{other}: nothing decides which (confidence {:.2}), so no screw is \
             turned on it",
            full.rpm, full.confidence
        ),
    );
    draft.ask(
        "speeds.full_throttle",
        "What is the maker's full-throttle speed, lowest and highest?",
        "two speeds fit what was heard, and the machine's own range decides between them",
    );
}

fn unclear(full: &Plateau, draft: &mut Draft) {
    draft.unsure = true;
    draft.note(
        ReasonId::FiringUnclear,
        format!(
            "Full throttle {}, but its firing could not be judged",
            full.rpm
        ),
    );
}

/// Too short, or not steady: under load an engine that is set well fires clean and slower.
fn not_at_rest(full: &Plateau, draft: &mut Draft) -> bool {
    let why = if full.held.0 < LEAST_HELD {
        format!("it was heard for {:.1} s only", full.held.0)
    } else if full.spread_pct > UNSTEADY {
        format!(
            "its speed was not steady (± {:.1} %), as under load or with a throttle that moves",
            full.spread_pct
        )
    } else {
        return false;
    };
    draft.unsure = true;
    draft.note(
        ReasonId::Unsteady,
        format!(
            "Full throttle {}, but {why}: the mixture is judged on 3 s without load",
            full.rpm
        ),
    );
    true
}

fn near_limiter(case: &Case<'_>, full: &Plateau) -> bool {
    case.machine.coil != Coil::Plain
        && case
            .machine
            .speeds
            .limiter
            .is_some_and(|limiter| full.rpm_high.0 > limiter.0 - BELOW_LIMITER.0)
}

fn ask_for_limiter(case: &Case<'_>, draft: &mut Draft) {
    if case.machine.speeds.limiter.is_none() {
        draft.ask(
            "speeds.limiter",
            "At which speed does the coil cut the spark?",
            "the mixture is judged 300 to 500 rpm below it",
        );
    }
}

fn limiter(case: &Case<'_>, full: &Plateau, draft: &mut Draft) {
    let words = format!(
        "The ignition limiter is heard at full throttle, at {}",
        full.rpm
    );
    if case.machine.coil == Coil::Plain {
        draft.stop = true;
        draft.suspect(ReasonId::LimiterHeard, false);
        draft.note(
            ReasonId::LimiterHeard,
            format!("{words}, but the coil is said to be plain"),
        );
        draft.ask(
            "coil",
            "Is the coil a limited one?",
            "bursts of missing sparks are either its limiter or an ignition that fails",
        );
        return;
    }
    if case.machine.coil == Coil::Unknown {
        draft.ask(
            "coil",
            "Is the coil a limited one?",
            "what was heard sounds like its limiter, and then the burble test needs another way",
        );
    }
    ask_for_limiter(case, draft);
    let ceiling = case
        .machine
        .speeds
        .limiter
        .map_or(full.rpm.0, |speed| speed.0);
    let (least, most) = BELOW_LIMITER;
    let explains = format!(
        "{words}: its stutter is no burble, so the burble test cannot be used as it is on this coil"
    );
    if !case.may_turn(Screw::High) {
        draft.note(ReasonId::LimiterHeard, explains);
        return;
    }
    draft.moves.push(Move {
        screw: Screw::High,
        direction: Direction::Out,
        turns: Turn::EIGHTH,
        urgent: false,
        reasons: vec![Reason {
            id: ReasonId::LimiterHeard,
            words: explains,
        }],
        say: case.say(Screw::High, Direction::Out, Turn::EIGHTH),
        listen_for: format!(
            "Repeat until full throttle sits {least:.0} to {most:.0} rpm below the ceiling, \
             between {:.0} and {:.0} rpm, and judge the burble there. The other way: from clearly \
             rich, turn in until pitch and rhythm just change, and leave it",
            ceiling - most,
            ceiling - least
        ),
        never: "Never lean through the stutter: past it the engine is lean and cannot be heard to \
                be"
        .into(),
    });
}

fn four_stroking(case: &Case<'_>, full: &Plateau, draft: &mut Draft) {
    let Some(skips) = full.skip_ratio else {
        unclear(full, draft);
        return;
    };
    let percent = 100.0 * skips;
    if full.clipped_pct > MOST_CLIPPED {
        draft.unsure = true;
        draft.note(
            ReasonId::Clipped,
            format!(
                "Four-stroking at full throttle ({}, {percent:.0} % of the turns), but {:.0} % of \
                 the samples clip, so its depth cannot be trusted",
                full.rpm, full.clipped_pct
            ),
        );
        return;
    }
    if skips <= LIGHT {
        draft.note(
            ReasonId::LightlyFourStroking,
            format!(
                "Lightly four-stroking at full throttle: {}, {percent:.0} % of the turns do not \
                 fire fully. That is where it belongs; leave the high-speed screw",
                full.rpm
            ),
        );
        return;
    }
    if case.machine.coil == Coil::Limited {
        ask_for_limiter(case, draft);
    }
    let words = format!(
        "Four-stroking at full throttle: {}, {percent:.0} % of the turns do not fire fully; rich \
         or lightly loaded",
        full.rpm
    );
    // Leaner is faster: an eighth must not carry it over the maximum.
    let (_, most) = EIGHTH_OF_HIGH;
    let room = case
        .maximum()
        .map_or(f64::INFINITY, |maximum| maximum.0 - full.rpm_high.0);
    let turns = if room >= most {
        Turn::EIGHTH
    } else if room >= most / 2.0 {
        Turn::SIXTEENTH
    } else {
        draft.note(
            ReasonId::NearMaximum,
            format!(
                "{words}. Leaner would be faster, and only {:.0} rpm are left to the maximum: \
                 leave the high-speed screw",
                room.max(0.0)
            ),
        );
        return;
    };
    if !case.may_turn(Screw::High) || draft.stop {
        draft.note(ReasonId::RichAtFullThrottle, words);
        return;
    }
    let limit = case.maximum().map_or_else(
        || "and never beyond the maker's maximum".to_owned(),
        |maximum| format!("and never beyond {maximum}"),
    );
    let fixed_jet = match case.machine.carburetor {
        Some(Carburetor::BarrelValve) => {
            " Where the jet is fixed, look for a dirty air filter or a choke that is part on"
        }
        _ => "",
    };
    draft.moves.push(Move {
        screw: Screw::High,
        direction: Direction::In,
        turns,
        urgent: false,
        reasons: vec![Reason {
            id: ReasonId::RichAtFullThrottle,
            words,
        }],
        say: case.say(Screw::High, Direction::In, turns),
        listen_for: format!(
            "First make sure that the air filter is clean and the choke is off. Then, turn by \
             turn, the burble must become lighter and the speed rise; stop when it only just \
             burbles, {limit}. When it cleans up fully, go back out until the burble just \
             returns.{fixed_jet}"
        ),
        never: NEVER_LEANER.into(),
    });
    if case
        .machine
        .speeds
        .full_throttle
        .is_some_and(|r| full.rpm_high.0 < SLOW * r.low().0)
    {
        draft.suspect(ReasonId::RichAtFullThrottle, true);
    }
}

fn clean(case: &Case<'_>, full: &Plateau, draft: &mut Draft) {
    let low = case.machine.speeds.full_throttle.map(|range| range.low());
    if let Some(low) = low.filter(|low| full.rpm_high.0 < SLOW * low.0) {
        let typical = case.only_typical(Figure::FullThrottle);
        if typical.is_empty() {
            draft.stop = true;
            draft.note(
                ReasonId::SlowAtFullThrottle,
                format!(
                    "Clean but slow at full throttle: {}, below {low}; no screw explains that",
                    full.rpm
                ),
            );
            draft.suspect(ReasonId::SlowAtFullThrottle, false);
            return;
        }
        // What is typical for a class is no limit for one machine: it only makes one look.
        draft.note(
            ReasonId::SlowAtFullThrottle,
            format!("Full throttle {}, below {low}{typical}", full.rpm),
        );
        draft.ask(
            "speeds.full_throttle",
            "What is the maker's full-throttle speed, lowest and highest?",
            "it fires clean but slower than such machines usually do, which is a fault if the \
             maker's figure says so, too",
        );
        draft.suspect(ReasonId::SlowAtFullThrottle, true);
    }
    let words = format!("No burble heard at full throttle, {}", full.rpm);
    if !case.may_turn(Screw::High) {
        draft.note(ReasonId::NoBurble, words);
        return;
    }
    if case.machine.coil == Coil::Unknown && case.machine.speeds.limiter.is_none() {
        draft.ask(
            "coil",
            "Is the coil a plain or a limited one?",
            "a limited coil hides how lean an engine is near its ceiling",
        );
    }
    draft.moves.push(Move {
        screw: Screw::High,
        direction: Direction::Out,
        turns: Turn::EIGHTH,
        urgent: true,
        reasons: vec![Reason {
            id: ReasonId::NoBurble,
            words,
        }],
        say: case.say(Screw::High, Direction::Out, Turn::EIGHTH),
        listen_for: "A light burble at full throttle without load, gone under load. If an eighth \
                     brings neither a burble nor a lower speed, stop: a leak does not answer to \
                     the screw. Engines built for clean exhaust may hardly burble at all; on them \
                     the maker's speed decides"
            .into(),
        never: format!("{NEVER_LEANER}. {NEVER_FORCE}"),
    });
    draft.suspect(ReasonId::NoBurble, true);
}
