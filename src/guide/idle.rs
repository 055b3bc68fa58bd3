//! Rules of the idle-speed screw: an attachment that moves, an idle outside its range.
use super::advice::{Danger, DangerId, Move, Reason, ReasonId};
use super::case::{Case, Draft};
use super::screw::{Direction, Screw};
use super::trade::{EIGHTH_OF_IDLE, IDLE_MARGIN};
use super::turn::Turn;
use crate::machine::{Figure, Use};
use crate::reading::Plateau;
use crate::units::Rpm;

/// The idle is outside its range by more than this share.
const OUTSIDE: f64 = 0.03;

const NEVER: &str = "Never run the engine at idle with anything near the attachment, and never use \
     the machine while the attachment moves at idle";

/// Judges the idle speed. Runs after the other screws' rules: what no screw explains leaves only
/// the turn that stops the attachment.
pub(super) fn judge(case: &Case<'_>, draft: &mut Draft) {
    on_return(case, draft);
    let Some(idle) = case.idle() else { return };
    if !case.sure(idle) {
        draft.unsure = true;
        let other = idle
            .other_rpm
            .map_or_else(String::new, |other| format!(" or {other}"));
        draft.note(
            ReasonId::BaseInDoubt,
            format!(
                "Idle {}{other}: nothing decides which (confidence {:.2}), so no screw is turned \
                 on it",
                idle.rpm, idle.confidence
            ),
        );
        draft.ask(
            "speeds.idle",
            "What is the maker's idle speed, lowest and highest?",
            "two speeds fit what was heard, and the machine's own range decides between them",
        );
    }
    ask_for_figures(case, draft);
    if attachment_moves(case, idle, draft) || !case.sure(idle) {
        return;
    }
    let Some(range) = case.machine.speeds.idle else {
        draft.note(ReasonId::IdleInRange, format!("Idle {}", idle.rpm));
        return;
    };
    if idle.rpm.0 > range.high().0 * (1.0 + OUTSIDE) {
        high(case, idle, range.high(), draft);
    } else if idle.rpm.0 < range.low().0 * (1.0 - OUTSIDE) {
        low(case, idle, range.low(), draft);
    } else {
        draft.note(
            ReasonId::IdleInRange,
            format!(
                "Idle {}, where it belongs{}",
                idle.rpm,
                case.only_typical(Figure::Idle)
            ),
        );
    }
}

fn ask_for_figures(case: &Case<'_>, draft: &mut Draft) {
    let blower = case.machine.used_for == Some(Use::Blower);
    if case.machine.speeds.clutch_in.is_none() && !blower {
        draft.ask(
            "speeds.clutch_in",
            "At which speed does the clutch begin to move the attachment? (A blower has none: set \
             its use)",
            "the idle must stay far enough below it, and without it that cannot be judged",
        );
    }
    if case.machine.speeds.idle.is_none() && (blower || case.machine.speeds.clutch_in.is_none()) {
        draft.ask(
            "speeds.idle",
            "What is the maker's idle speed, lowest and highest?",
            "an idle was heard, and without its range it cannot be said whether it is right",
        );
    }
}

/// The attachment turns, or the idle leaves no margin to where it does.
fn attachment_moves(case: &Case<'_>, idle: &Plateau, draft: &mut Draft) -> bool {
    let Some(clutch) = case.clutch_in() else {
        return false;
    };
    if idle.rpm.0 * IDLE_MARGIN <= clutch.0 {
        return false;
    }
    let sure = case.sure(idle);
    let limit = Rpm(clutch.0 / IDLE_MARGIN);
    let typical = case.only_typical(Figure::ClutchIn);
    let (reason, why) = if idle.rpm.0 >= clutch.0 {
        (
            ReasonId::IdleAtClutchIn,
            format!(
                "Idle {}, at or above the {clutch} at which the clutch moves the attachment\
                 {typical}",
                idle.rpm
            ),
        )
    } else {
        (
            ReasonId::IdleNearClutchIn,
            format!(
                "Idle {}, too near the {clutch} at which the clutch moves the attachment{typical}: \
                 it must stay below {limit} (1.25 rule)",
                idle.rpm
            ),
        )
    };
    draft.dangers.push(Danger {
        id: DangerId::AttachmentAtIdle,
        certain: sure && !case.machine.is_typical(Figure::ClutchIn),
        why: why.clone(),
        act: "If the throttle was closed: keep everything away from the attachment, and stop the \
              engine if it moves"
            .into(),
    });
    // Slower would not help a clutch that bites where the idle belongs.
    let idle_is_right = case
        .machine
        .speeds
        .idle
        .is_some_and(|range| idle.rpm.0 <= range.high().0);
    let turns = sure && case.may_turn(Screw::Idle);
    draft.suspect(reason, turns && !idle_is_right);
    if !turns {
        return true;
    }
    let far = idle.rpm.0 - limit.0 > EIGHTH_OF_IDLE.1;
    let amount = if far { Turn::QUARTER } else { Turn::EIGHTH };
    draft.moves.push(Move {
        screw: Screw::Idle,
        direction: Direction::Out,
        turns: amount,
        urgent: true,
        reasons: vec![Reason {
            id: reason,
            words: why,
        }],
        say: case.say(Screw::Idle, Direction::Out, amount),
        listen_for: format!(
            "The attachment stands still and the idle stays steady at {limit} or slower. If the \
             engine stalls before that, or the speed does not answer, stop and check the clutch \
             and the throttle"
        ),
        never: NEVER.into(),
    });
    true
}

/// The attachment keeps turning while the speed hangs above idle.
fn on_return(case: &Case<'_>, draft: &mut Draft) {
    let Some(clutch) = case.clutch_in() else {
        return;
    };
    let hung = case
        .reading
        .returns
        .iter()
        .filter_map(|back| Some((back.hang?, back.confidence)))
        .find(|(hang, _)| hang.plateau_rpm.0 >= clutch.0);
    if let Some((hang, confidence)) = hung {
        draft.dangers.push(Danger {
            id: DangerId::AttachmentOnReturn,
            certain: confidence >= 0.5 && !case.machine.is_typical(Figure::ClutchIn),
            why: format!(
                "After the throttle was released the speed hung at {} for {:.1} s, above the \
                 {clutch} at which the clutch moves the attachment{}",
                hang.plateau_rpm,
                hang.lasts.0,
                case.only_typical(Figure::ClutchIn)
            ),
            act: "Treat the attachment as moving until it is seen to stand still, and do not use \
                  the machine before the cause is found"
                .into(),
        });
    }
}

fn high(case: &Case<'_>, idle: &Plateau, high: Rpm, draft: &mut Draft) {
    let words = format!(
        "Idle {}, above {high}{}",
        idle.rpm,
        case.only_typical(Figure::Idle)
    );
    if draft.stop || !case.may_turn(Screw::Idle) {
        draft.note(ReasonId::IdleHigh, words);
        return;
    }
    draft.moves.push(Move {
        screw: Screw::Idle,
        direction: Direction::Out,
        turns: Turn::EIGHTH,
        urgent: false,
        reasons: vec![Reason {
            id: ReasonId::IdleHigh,
            words,
        }],
        say: case.say(Screw::Idle, Direction::Out, Turn::EIGHTH),
        listen_for: "A lower, steady idle that does not creep up again as the engine warms".into(),
        never: NEVER.into(),
    });
    draft.suspect(ReasonId::IdleHigh, true);
}

fn low(case: &Case<'_>, idle: &Plateau, low: Rpm, draft: &mut Draft) {
    let words = format!(
        "Idle {}, below {low}{}",
        idle.rpm,
        case.only_typical(Figure::Idle)
    );
    // Faster must not bring the attachment near moving.
    let limit = case
        .clutch_in()
        .map_or(f64::INFINITY, |clutch| clutch.0 / IDLE_MARGIN);
    let room = limit - idle.rpm_high.0;
    let turns = if room >= EIGHTH_OF_IDLE.1 {
        Turn::EIGHTH
    } else if room >= EIGHTH_OF_IDLE.1 / 2.0 {
        Turn::SIXTEENTH
    } else {
        draft.note(ReasonId::IdleLow, words);
        draft.suspect(ReasonId::IdleNearClutchIn, false);
        draft.stop = true;
        return;
    };
    if draft.stop || !case.may_turn(Screw::Idle) {
        draft.note(ReasonId::IdleLow, words);
        return;
    }
    draft.moves.push(Move {
        screw: Screw::Idle,
        direction: Direction::In,
        turns,
        urgent: false,
        reasons: vec![Reason {
            id: ReasonId::IdleLow,
            words,
        }],
        say: case.say(Screw::Idle, Direction::In, turns),
        listen_for: "A steady idle that keeps running, with the attachment standing still".into(),
        never: "Never turn it in to cure an engine that dies: set the low-speed screw first, and \
                stop at once when the attachment begins to move"
            .into(),
    });
    draft.suspect(ReasonId::IdleLow, true);
}
