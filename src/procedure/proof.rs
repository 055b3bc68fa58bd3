//! The proof: each line measured, within or outside and by how much.
use serde::{Deserialize, Serialize};

use super::approach;
use super::book::Book;
use super::cure::Died;
use super::ear::Look;
use super::limited;
use super::looks::changing;
use super::outcome::ProofLine;
use super::stage::{Next, StageKind};
use super::stuck::Symptom;
use super::task::{Report, Snapped, Task};
use crate::guide::trade::{GOOD_RETURN_SECONDS, IDLE_MARGIN, LATE_RETURN_SECONDS};
use crate::guide::{Direction, Screw};

/// Idle is listened to for so long, in seconds.
const LISTEN: f64 = 20.0;
/// A steady idle keeps within this share of its speed.
const STEADY: f64 = 0.05;
/// The last full throttle: long enough for fuel that does not last to run out.
const LONG: Task = Task::Full { seconds: 6.0 };
/// Snap accelerations.
const SNAPS: usize = 3;
/// More than this share of the turns without a full firing is more than lightly four-stroking.
const LIGHT: f64 = 0.45;
/// Full throttle may pass the maximum by what a reading errs.
const READING: f64 = 0.003;
/// The idle after full throttle is listened to for so long, in seconds; one that is still falling by this
/// share of its speed comes back late: the time that `trade::LATE_RETURN_SECONDS` allows has passed by the
/// middle of it. Long enough that the listening does not begin anew until the idle stands still.
const COMES_BACK: f64 = 10.0;
const STILL_FALLS: f64 = 0.06;
/// A hot engine is stopped for so long before it is started again, in seconds.
const HOT_STOP: f64 = 45.0;
/// So often the high-speed screw is set again where the last full throttle says that it is off.
const SET_AGAIN: u32 = 2;
/// Rounds of repairs.
const ROUNDS: u32 = 5;

/// What was measured.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Sheet {
    pub(super) idle: Option<Look>,
    pub(super) still: Option<bool>,
    pub(super) snaps: Vec<Snapped>,
    pub(super) full: Option<Look>,
    pub(super) hot_idle: Option<f64>,
}

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Proof {
    doing: Doing,
    looks: u32,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
enum Doing {
    #[default]
    Idle,
    Still,
    Snaps,
    Full,
    /// After full throttle, where no snap was heard.
    Back,
    HotStop,
    HotStart,
    /// It did not start hot, and something is tried.
    HotCure,
    HotIdle,
    /// The low-speed screw was moved, and the steps after it come again.
    Repair,
}

impl Proof {
    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        match (self.doing, report) {
            (_, Report::Begin) => {
                book.sheet = Sheet::default();
                *self = Proof::default();
                Next::Do(Task::Idle { seconds: LISTEN })
            }
            (_, Report::OverMaximum { surely: true, .. }) => Next::Back(StageKind::High),
            (Doing::Idle, Report::Heard(look)) => self.idle(book, look),
            (Doing::Still, Report::Attachment(turning, _)) => {
                book.sheet.still = turning.map(|turning| !turning);
                if turning == Some(true) {
                    return Next::Stuck(Symptom::AttachmentTurning);
                }
                self.doing = Doing::Snaps;
                Next::Do(Task::Snap)
            }
            (Doing::Snaps, Report::Snapped(snapped)) => self.snapped(book, snapped),
            (Doing::Snaps, Report::Unheard) => {
                // What cannot be heard is not checked.
                book.sheet.snaps.clear();
                self.doing = Doing::Full;
                Next::Do(LONG)
            }
            (Doing::Snaps, Report::NotOpened) => {
                self.looks += 1;
                if self.looks > 3 {
                    return self.richer_low(book, Symptom::Bog);
                }
                Next::Do(Task::Snap)
            }
            (Doing::Full, Report::Heard(look)) => self.full(book, look),
            (Doing::Full, Report::NotOpened) => self.richer_low(book, Symptom::Bog),
            (Doing::Back, Report::Heard(look)) if look.drift < -STILL_FALLS => {
                book.sign(Symptom::Hanging);
                self.richer_low(book, Symptom::Hanging)
            }
            (Doing::Back, Report::Heard(_)) => {
                self.doing = Doing::HotStop;
                Next::Do(self.doing.task())
            }
            (Doing::HotStop, Report::Done) => {
                self.doing = Doing::HotStart;
                Next::Do(Task::Start)
            }
            (Doing::HotStart, Report::Done | Report::Stalled) => {
                self.doing = Doing::HotIdle;
                Next::Do(Task::Idle { seconds: 6.0 })
            }
            (Doing::HotStart, Report::Cannot | Report::Unheard) => {
                match book.cures.next(Died::Starting, &book.screws) {
                    Some(cure) => {
                        self.doing = Doing::HotCure;
                        Next::Do(cure)
                    }
                    None => Next::Stuck(Symptom::WillNotRun),
                }
            }
            (Doing::HotCure, _) => {
                self.doing = Doing::HotStart;
                Next::Do(Task::Start)
            }
            (Doing::HotIdle, Report::Heard(look)) => {
                book.sheet.hot_idle = Some(look.rpm);
                let (low, high) = book.facts.idle;
                if look.rpm < 0.985 * low || look.rpm > 1.015 * high {
                    return self.again(book, StageKind::Settle);
                }
                Next::Done
            }
            (Doing::Repair, Report::Done | Report::AtStop | Report::Cannot) => {
                self.again(book, StageKind::High)
            }
            (doing, _) => Next::Do(doing.task()),
        }
    }

    fn idle(&mut self, book: &mut Book, mut look: Look) -> Next {
        look.rpm = book.idle_speed(look.rpm);
        let (low, high) = book.facts.idle;
        book.sheet.idle = Some(look);
        if look.rpm < low || look.rpm > high {
            return self.again(book, StageKind::Settle);
        }
        if look.spread > STEADY {
            return self.richer_low(book, Symptom::Hunting);
        }
        self.doing = if book.facts.clutched {
            Doing::Still
        } else {
            Doing::Snaps
        };
        Next::Do(self.doing.task())
    }

    fn snapped(&mut self, book: &mut Book, snapped: Snapped) -> Next {
        book.sheet.snaps.push(snapped);
        if book.sheet.snaps.len() < SNAPS {
            return Next::Do(Task::Snap);
        }
        let snaps = &book.sheet.snaps;
        let bogs = snaps.iter().filter(|s| s.bogged()).count();
        let late = median(snaps.iter().map(|s| s.back));
        if bogs > 1 {
            return self.richer_low(book, Symptom::Bog);
        }
        if late > GOOD_RETURN_SECONDS {
            if late > LATE_RETURN_SECONDS {
                book.sign(Symptom::Hanging);
            }
            return self.richer_low(book, Symptom::Hanging);
        }
        self.doing = Doing::Full;
        Next::Do(LONG)
    }

    fn full(&mut self, book: &mut Book, look: Look) -> Next {
        self.looks += 1;
        book.sheet.full = Some(look);
        if let Some(symptom) = changing(&look) {
            book.sign(symptom);
            if self.looks < 2 {
                return Next::Do(LONG);
            }
            return Next::Stuck(symptom);
        }
        let over = book
            .facts
            .maximum
            .is_some_and(|most| look.rpm > (1.0 + READING) * most);
        let heavy = !book.capped && look.skip.is_some_and(|skip| skip > LIGHT);
        if over || heavy {
            if self.looks < 2 {
                return Next::Do(LONG);
            }
            return self.again(book, StageKind::High);
        }
        book.full_look(look);
        if approach::is_off(book) && book.rounds < SET_AGAIN {
            return self.again(book, StageKind::High);
        }
        // Where no snap was heard, the idle that follows tells whether it comes back.
        self.doing = if book.sheet.snaps.is_empty() {
            Doing::Back
        } else {
            Doing::HotStop
        };
        Next::Do(self.doing.task())
    }

    /// An earlier step once more, and then the proof from its beginning.
    fn again(&mut self, book: &mut Book, stage: StageKind) -> Next {
        book.rounds += 1;
        if book.rounds > ROUNDS {
            return Next::Stuck(Symptom::Rounds);
        }
        Next::Back(stage)
    }

    /// Hunting, hanging and bogging ask for a richer low-speed screw, once or twice.
    fn richer_low(&mut self, book: &mut Book, symptom: Symptom) -> Next {
        book.rounds += 1;
        if book.rounds > ROUNDS.min(3) || book.at_stop(Screw::Low, Direction::Out) {
            return Next::Stuck(symptom);
        }
        self.doing = Doing::Repair;
        Next::Do(Task::turn(Screw::Low, Direction::Out, 4))
    }
}

impl Doing {
    fn task(self) -> Task {
        match self {
            Doing::Idle => Task::Idle { seconds: LISTEN },
            Doing::Still => Task::Attachment,
            Doing::Snaps => Task::Snap,
            Doing::Full => LONG,
            Doing::Back => Task::Idle {
                seconds: COMES_BACK,
            },
            Doing::HotStop => Task::Stop { wait: HOT_STOP },
            Doing::HotStart | Doing::HotCure => Task::Start,
            Doing::HotIdle => Task::Idle { seconds: 6.0 },
            Doing::Repair => Task::turn(Screw::Low, Direction::Out, 4),
        }
    }
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    super::ear::quantile(&mut values, 0.5)
}

/// The sheet as lines.
pub(super) fn lines(book: &Book) -> Vec<ProofLine> {
    let facts = &book.facts;
    let sheet = &book.sheet;
    let line = |line: &str, value: Option<f64>, low: Option<f64>, high: Option<f64>| ProofLine {
        line: line.to_owned(),
        value,
        low,
        high,
        within: value.map(|value| {
            low.is_none_or(|low| value >= low) && high.is_none_or(|high| value <= high)
        }),
    };
    let (low, high) = facts.idle;
    let idle = sheet.idle.map(|look| look.rpm);
    let mut lines = vec![line("idle speed, rpm", idle, Some(low), Some(high))];
    if facts.clutched {
        // Only what was seen to turn counts: a clutch that bites early cannot be heard.
        let seen = book.bite.turning.filter(|_| book.answered);
        let margin = seen.zip(idle).map(|(bite, idle)| bite / idle);
        lines.push(line(
            "clutch-in speed over idle speed",
            margin,
            Some(IDLE_MARGIN),
            None,
        ));
        let turning = sheet.still.map(|still| f64::from(u8::from(!still)));
        lines.push(line("attachment turns at idle", turning, None, Some(0.0)));
    }
    let spread = sheet.idle.map(|look| 100.0 * look.spread);
    lines.push(line(
        "idle steadiness over 20 s, percent",
        spread,
        None,
        Some(100.0 * STEADY),
    ));
    let whole = sheet.snaps.len() == SNAPS;
    let bogs = whole.then(|| sheet.snaps.iter().filter(|s| s.bogged()).count() as f64);
    lines.push(line(
        "snap accelerations with a bog, of 3",
        bogs,
        None,
        Some(0.0),
    ));
    let back = whole.then(|| median(sheet.snaps.iter().map(|s| s.back)));
    lines.push(line(
        "return to idle, s",
        back,
        None,
        Some(GOOD_RETURN_SECONDS),
    ));
    let full = sheet.full.map(|look| look.rpm);
    let mut full = line("full throttle, rpm", full, facts.slowest, facts.maximum);
    if facts.maximum.is_none() {
        full.within = None;
    }
    lines.push(full);
    let skip = sheet.full.and_then(|look| look.skip);
    lines.push(line(
        "skip ratio at full throttle",
        skip,
        Some(0.0),
        Some(LIGHT).filter(|_| !book.capped),
    ));
    if let Some(cap) = limited::cap(book).filter(|_| book.ceiling.is_some()) {
        let speed = sheet.full.map(|look| look.rpm);
        lines.push(line(
            "full throttle under the ceiling of the coil, rpm",
            speed,
            None,
            Some(cap),
        ));
    }
    lines.push(line(
        "idle after a hot restart, rpm",
        sheet.hot_idle,
        Some(low),
        Some(high),
    ));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::machine::Profile;
    use crate::procedure::facts::Facts;

    /// What follows full throttle and an idle with that drift, where no snap was heard.
    fn after_an_idle(drift: f64) -> (Next, Next) {
        let mut book = Book::new(Facts::of(&Profile::default()));
        let mut proof = Proof {
            doing: Doing::Snaps,
            looks: 0,
        };
        let look = Look {
            rpm: 2_800.0,
            spread: 0.01,
            drift,
            skip: Some(0.1),
            limiter: 0.0,
            seconds: 4.0,
            fallen: 0.0,
            cleaned: 0.0,
        };
        let unheard = proof.next(&mut book, Report::Unheard);
        assert_eq!(unheard, Next::Do(LONG));
        let full = Look {
            rpm: 9_000.0,
            drift: 0.0,
            ..look
        };
        let listens = proof.next(&mut book, Report::Heard(full));
        (listens, proof.next(&mut book, Report::Heard(look)))
    }

    #[test]
    fn where_no_snap_is_heard_an_idle_that_comes_back_late_is_found() {
        let listens = Next::Do(Task::Idle {
            seconds: COMES_BACK,
        });
        let stops = Next::Do(Task::Stop { wait: HOT_STOP });
        let richer = Next::Do(Task::turn(Screw::Low, Direction::Out, 4));
        assert_eq!(after_an_idle(-0.12), (listens, richer));
        // An idle that stands, or rises a little, has come back.
        assert_eq!(after_an_idle(0.0), (listens, stops));
        assert_eq!(after_an_idle(0.12), (listens, stops));
    }
}
