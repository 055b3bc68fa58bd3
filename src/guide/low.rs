//! Rules of the low-speed screw, and of what looks like its business but is not: hunting, hanging,
//! a bog that answers to nothing.
use super::advice::{Move, Reason, ReasonId};
use super::case::{Case, Draft};
use super::screw::{Direction, Screw};
use super::trade::{GOOD_RETURN_SECONDS, LATE_RETURN_SECONDS, final_enrichment};
use super::turn::Turn;
use crate::machine::Carburetor;
use crate::reading::{Acceleration, Bog, Return};

/// A finding with less confidence moves nothing and stops nothing.
const SURE: f64 = 0.6;
/// An acceleration from idle that takes longer is worth a word, in seconds (common practice, no
/// source).
const SLOW_RISE: f64 = 2.5;

/// What no screw explains: hunting and hanging. Runs before all rules that turn something.
pub(super) fn unexplained(case: &Case<'_>, draft: &mut Draft) {
    if let Some(hunting) = &case.reading.hunting {
        draft.stop = true;
        draft.note(
            ReasonId::Hunting,
            format!(
                "The idle hunts: {:.0} to {:.0} rpm, {:.1} swings a second; no screw explains that",
                hunting.low_rpm.0, hunting.high_rpm.0, hunting.rate_hz.0
            ),
        );
        draft.suspect(ReasonId::Hunting, false);
    }
    for back in case
        .reading
        .returns
        .iter()
        .filter(|back| back.confidence >= SURE)
    {
        if let Some(words) = hangs(back) {
            draft.stop = true;
            draft.note(ReasonId::Hanging, words);
            draft.suspect(ReasonId::Hanging, false);
            break;
        }
    }
    let late = |back: &&Return| back.time.0 > GOOD_RETURN_SECONDS;
    if !draft.stop
        && let Some(back) = case.reading.returns.iter().find(late)
    {
        draft.note(
            ReasonId::Hanging,
            format!(
                "The return to idle took {:.1} s; {GOOD_RETURN_SECONDS:.0} s are good: listen \
                     to it again, released at once and fully",
                back.time.0
            ),
        );
    }
}

fn hangs(back: &Return) -> Option<String> {
    if let Some(hang) = back.hang {
        let until = if hang.to_the_end {
            "as long as it was heard, "
        } else {
            ""
        };
        return Some(format!(
            "On return to idle the speed hangs at {} for {until}{:.1} s, {:.0} rpm above idle; no \
             screw explains that",
            hang.plateau_rpm, hang.lasts.0, hang.above_idle_rpm.0
        ));
    }
    (back.time.0 > LATE_RETURN_SECONDS).then(|| {
        format!(
            "The return to idle took {:.1} s; no screw explains that",
            back.time.0
        )
    })
}

/// Judges accelerations from idle.
pub(super) fn judge(case: &Case<'_>, draft: &mut Draft) {
    let bogs: Vec<(&Acceleration, Bog)> = case
        .reading
        .accelerations
        .iter()
        .filter(|rise| rise.confidence >= SURE)
        .filter_map(|rise| Some((rise, rise.bog?)))
        .collect();
    let deepest = bogs
        .iter()
        .max_by(|a, b| a.1.dip_rpm.0.total_cmp(&b.1.dip_rpm.0));
    let Some((rise, bog)) = deepest else {
        slow_rise(case, draft);
        return;
    };
    let words = format!(
        "The engine bogs when the throttle opens: {:.0} rpm down for {:.1} s on the way from {} to \
         {}",
        bog.dip_rpm.0, bog.lasts.0, rise.from_rpm, rise.to_rpm
    );
    let base = case.idle().is_some_and(|idle| case.sure(idle))
        && case.full().is_none_or(|full| case.sure(full));
    if draft.stop || !base {
        draft.note(ReasonId::Bog, words);
        draft.suspect(ReasonId::Bog, !draft.stop);
        return;
    }
    let Some(carburetor) = case.machine.carburetor.filter(|c| Screw::Low.is_on(*c)) else {
        draft.note(ReasonId::Bog, words);
        // On an automatic carburetor there is nothing to turn; on an unknown one it must be known.
        let automatic = case.machine.carburetor.is_some();
        draft.suspect(ReasonId::Bog, !automatic);
        draft.stop |= automatic;
        return;
    };
    let high_first =
        carburetor == Carburetor::BarrelValve && draft.moves.iter().any(|m| m.screw == Screw::High);
    draft.suspect(ReasonId::Bog, true);
    if high_first {
        draft.note(
            ReasonId::Bog,
            format!(
                "{words}. All fuel of this carburetor passes the high-speed screw: set that \
                 first, then listen to the pick-up again"
            ),
        );
        return;
    }
    let stay = match final_enrichment(carburetor) {
        Some((least, most)) => {
            format!("It ends {least} to {most} out beyond the fastest idle")
        }
        None => "It ends at the fastest idle, not beyond it".to_owned(),
    };
    draft.moves.push(Move {
        screw: Screw::Low,
        direction: Direction::Out,
        turns: Turn::EIGHTH,
        urgent: false,
        reasons: vec![Reason {
            id: ReasonId::Bog,
            words,
        }],
        say: case.say(Screw::Low, Direction::Out, Turn::EIGHTH),
        listen_for: format!(
            "Snap the throttle open: no sag. {stay}. If the sag is worse and the exhaust smokes, \
             it was rich: back to where it stood. If it sags as much either way, no screw explains \
             it: stop and check the faults in order"
        ),
        never: "Never cure a bog with the idle-speed screw, and never leave the attachment moving \
                at idle"
            .into(),
    });
}

fn slow_rise(case: &Case<'_>, draft: &mut Draft) {
    if let Some(rise) = case
        .reading
        .accelerations
        .iter()
        .find(|r| r.rise.0 > SLOW_RISE)
    {
        draft.note(
            ReasonId::SlowRise,
            format!(
                "From {} to 90 % of {} took {:.1} s without a sag; if the throttle was snapped \
                 open, listen to it again",
                rise.from_rpm, rise.to_rpm, rise.rise.0
            ),
        );
    }
}
