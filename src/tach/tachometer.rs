//! The stage as one streaming type: samples in, one [`Moment`] a hop out.
use std::collections::VecDeque;
use std::sync::Arc;

use super::angle::{Angle, Track, Turns, slope, trend};
use super::base::{self, Base};
use super::continuity::Continuity;
use super::counts::Counter;
use super::curve::Curve;
use super::evidence::{self, Evidence, RHYTHMS, SPEEDS};
use super::fine::Fine;
use super::fit::TwoKinds;
use super::memory::Memory;
use super::moment::Moment;
use super::path::{Chain, Place};
use super::refine::{Refined, refine};
use super::usual::{Throttle, Usual};
use crate::capture::WORKING_RATE;
use crate::machine::SpeedRange;
use crate::spectrum::{Framer, HOP, Lines, Spectrum, Still};
use crate::units::{Hertz, Rpm};

/// Hops on either side of a moment along which the sound is cut: a third of a second.
const AROUND: usize = 20;
/// Hops of the decided path that are kept.
const KEEP: usize = 2 * AROUND;
/// Hops of the path that are needed beyond the last decided one: those around it are put right where
/// the path moves fast, which takes the hops around them.
const BEYOND: usize = 2 * AROUND;
/// A change from hop to hop beyond which the path is broken, as a ratio.
const BREAK: f64 = 1.12;
/// Change of speed a second (as a ratio) above which the cut is done twice.
const MOVING: f64 = 0.15;
/// Change of speed a second from which the looks are narrow.
const SNAP: f64 = 0.8;
/// Change of the path from hop to hop, as a ratio, below which a cut may be shared.
const EVEN: f64 = 0.006;
/// Correction, as a ratio, above which the cut is done twice.
const RECUT: f64 = 0.004;
/// Count of slips, or of lines in step, from which another base is told as possible.
const DOUBT: f64 = 1.2;

/// How far the tachometer looks ahead of the hop that it decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LookAhead {
    /// Hops after the one decided.
    pub hops: usize,
    /// Hops decided at a time.
    pub batch: usize,
    /// Hops by which the decision on the base waits for slips of the rhythm to come.
    pub slips: usize,
    /// Hops by which a base that was decided waits for jumps of the path over which the crank must go
    /// on; 0 takes it as it is.
    pub jumps: usize,
    /// Hops that lines which stay where they are are looked for ahead.
    pub still: usize,
}

impl LookAhead {
    /// For recorded clips: about eight seconds.
    pub const CLIP: LookAhead = LookAhead {
        hops: 60,
        batch: 40,
        slips: 240,
        jumps: 120,
        still: 60,
    };
    /// For live sound: the reading trails the sound by less than 200 ms.
    pub const LIVE: LookAhead = LookAhead {
        hops: 2,
        batch: 1,
        slips: 0,
        jumps: 0,
        still: 0,
    };
}

/// Rhythms of single firings, of which `firings` make a revolution, as rhythms of revolutions.
fn of_revolutions(rhythm: &[f32; RHYTHMS], firings: f64) -> [f32; RHYTHMS] {
    let firings = firings.round() as usize;
    let mut out = [0.0; RHYTHMS];
    for (i, p) in rhythm.iter().enumerate() {
        // The first multiple of the firings of a revolution after which the rhythm begins again.
        let every = (1..=RHYTHMS).find(|n| (n * firings).is_multiple_of(i + 1));
        out[every.unwrap_or(1) - 1] += p;
    }
    out
}

/// A hop whose base is not yet decided.
struct Pending {
    moment: Moment,
    turns: Arc<Turns>,
    local: Vec<f64>,
    middle: usize,
    scale: f64,
}

/// Crank speed from a stream of samples at the working rate.
pub struct Tachometer {
    framer: Framer,
    tracker: Tracker,
}

/// From frames to moments.
struct Tracker {
    look: LookAhead,
    firings: f64,
    band: SpeedRange,
    usual: Usual,
    spectrum: Spectrum,
    lines: Lines,
    still: Still,
    evidence: Evidence,
    chain: Chain,
    angle: Angle,
    fine: Fine,
    /// The turns at the path's own base.
    memory: Memory,
    counter: Counter,
    /// The last fresh hop and its cut.
    last: Option<(Moment, Arc<Turns>)>,
    /// Base that was decided last, those that wait, and the one taken last.
    decided: Base,
    continuity: Continuity,
    base: Base,
    /// Base and reading of the last cut at another base than the path's.
    recut: Option<(Base, Refined)>,
    recut_turns: Turns,
    /// The turns of such cuts, and what they show.
    recut_memory: Memory,
    recut_kinds: TwoKinds,
    /// The last cut by revolutions of an engine that fires several times in one.
    crank_turns: Turns,
    follow: Vec<(usize, f64)>,
    pending: VecDeque<Pending>,
    pool: Vec<Vec<f64>>,
    spare: Vec<Turns>,
    sound: Curve,
    /// Index in the stream of the first sample of `sound`.
    start: usize,
    /// Firing fundamentals of the last decided hops, in hertz.
    past: Vec<f64>,
    /// First undecided hop.
    hop: usize,
    /// Frames taken.
    frames: usize,
    path: Vec<f64>,
    local: Vec<f64>,
}

impl Tachometer {
    /// A tachometer for crank speeds in `band` of an engine with `firings` per revolution (above 0:
    /// cylinders for a two-stroke, half as many for a four-stroke cycle).
    pub fn new(look: LookAhead, band: SpeedRange, firings: f64) -> Self {
        let from = evidence::place(band.0).floor().max(0.0) as usize;
        let to = evidence::place(band.1).ceil().clamp(0.0, SPEEDS as f64) as usize;
        let tracker = Tracker {
            look,
            spectrum: Spectrum::new(),
            lines: Lines::default(),
            still: Still::new(look.still),
            evidence: Evidence::new(firings),
            firings,
            band,
            usual: Usual::default(),
            chain: Chain::new(look.hops, look.batch, BEYOND, from..to),
            angle: Angle::new(),
            fine: Fine::default(),
            memory: Memory::default(),
            counter: Counter::new(),
            last: None,
            decided: Base::SAME,
            continuity: Continuity::default(),
            base: Base::SAME,
            recut: None,
            recut_turns: Turns::default(),
            recut_memory: Memory::default(),
            recut_kinds: TwoKinds::default(),
            crank_turns: Turns::default(),
            follow: Vec::new(),
            pending: VecDeque::new(),
            pool: Vec::new(),
            spare: Vec::new(),
            sound: Curve::default(),
            start: 0,
            past: Vec::new(),
            hop: 0,
            frames: 0,
            path: Vec::new(),
            local: Vec::new(),
        };
        Tachometer {
            framer: Framer::new(Spectrum::FRAME),
            tracker,
        }
    }

    /// Tells it the speeds at which this engine lingers.
    #[must_use]
    pub fn with_usual(mut self, usual: Usual) -> Self {
        self.tracker.know(usual);
        self
    }

    /// Tells it how the throttle is held from now on, as far as somebody knows.
    pub fn hold(&mut self, throttle: Option<Throttle>) {
        if self.tracker.usual.throttle != throttle {
            let usual = self.tracker.usual;
            self.tracker.know(Usual { throttle, ..usual });
        }
    }

    /// Samples by which the newest decided hop trails the sound at most.
    pub fn delay(&self) -> usize {
        let look = self.tracker.look;
        self.framer.delay()
            + (look.hops + look.batch - 1 + look.slips + look.jumps + look.still) * HOP
    }

    /// Takes samples of any number; `each` gets every hop that is now decided, and the sound around it
    /// cut by revolutions (of an engine that fires less often than once in one: by firings).
    pub fn push(&mut self, samples: &[f32], each: &mut impl FnMut(&Moment, &Turns)) {
        let Tachometer { framer, tracker } = self;
        // Hop by hop, so that what is decided never depends on the size of the blocks.
        for piece in samples.chunks(HOP) {
            tracker.sound.push(piece);
            framer.push(piece, |frame| tracker.frame(frame, each));
        }
    }

    /// Ends the sound: the hops that are left.
    pub fn finish(&mut self, each: &mut impl FnMut(&Moment, &Turns)) {
        let Tachometer { framer, tracker } = self;
        framer.finish(|frame| tracker.frame(frame, each));
        while tracker.weigh(each) {}
        let places = tracker.chain.finish().to_vec();
        tracker.decide(&places, places.len(), each);
        while tracker.judge() {}
        while !tracker.pending.is_empty() {
            tracker.settle(each);
        }
    }
}

impl Tracker {
    fn know(&mut self, usual: Usual) {
        self.usual = usual;
        self.evidence.set_loss(usual.loss().as_deref());
    }

    fn frame(&mut self, frame: &[f32], each: &mut impl FnMut(&Moment, &Turns)) {
        self.frames += 1;
        self.spectrum.lines(frame, &mut self.lines);
        if self.still.push(&mut self.lines) {
            self.weigh(each);
        }
    }

    /// Weighs the oldest lines that wait, and decides when the chain has enough of them.
    fn weigh(&mut self, each: &mut impl FnMut(&Moment, &Turns)) -> bool {
        if !self.still.next(&mut self.lines) {
            return false;
        }
        let logits = self.evidence.logits(&self.lines, &self.still.height);
        if let Some((places, done)) = self.chain.push(logits) {
            let places = places.to_vec();
            self.decide(&places, done, each);
        }
        true
    }

    /// Cuts and refines the first `done` of the undecided hops.
    fn decide(&mut self, places: &[Place], done: usize, each: &mut impl FnMut(&Moment, &Turns)) {
        let past = self.past.len();
        self.path.clear();
        self.path.extend_from_slice(&self.past);
        self.path.extend(
            places
                .iter()
                .map(|p| evidence::speed(p.place).hertz().0 * self.firings),
        );
        self.follow(past, done);
        for (i, place) in places.iter().enumerate().take(done) {
            let at = past + i;
            self.unbroken(at);
            let hop = self.hop;
            let middle = at.min(AROUND);
            let origin = (hop * HOP) as isize - (middle * HOP) as isize - self.start as isize;
            let track = Track {
                sound: &self.sound.cubics()[..self.known()],
                origin,
                hop: HOP,
                path: &self.local,
            };
            let change = slope(&self.local, middle);
            let trend = trend(&self.local);
            let follows = i > 0 || past > 0;
            let even = follows && (self.path[at] / self.path[at - 1] - 1.0).abs() < EVEN;
            if let Some((last, turns)) = self
                .last
                .take_if(|_| hop % 2 == 1 && even && change.abs() < MOVING)
            {
                let on = (change * HOP as f64 / f64::from(WORKING_RATE)).exp();
                let rpm = last.rpm.0 * on;
                let exact = trend.and_then(|trend| self.fine.after(hop, trend));
                let moment = Moment {
                    hop,
                    rpm: Rpm(rpm),
                    heard: Rpm(rpm),
                    exact: exact.map(|exact| Hertz(exact / self.firings).rpm()),
                    base: Base::SAME,
                    probability: place.probability,
                    rhythm: place.rhythm,
                    change,
                    counts: self.counter.again(change, &place.rhythm),
                    fresh: false,
                    ..last
                };
                self.hop += 1;
                self.wait(moment, turns, middle, 1.0);
            } else {
                let mut ratio = 1.0;
                let mut refined = refine(
                    self.angle.cut(&track, middle, 1.0, change.abs() > SNAP),
                    1.0,
                );
                if (refined.ratio - 1.0).abs() > RECUT || change.abs() > MOVING {
                    ratio = refined.ratio;
                    refined = refine(
                        self.angle.cut(&track, middle, ratio, change.abs() > SNAP),
                        0.35,
                    );
                }
                // The path itself stays as it is: half refined and half not, it would bend here.
                let speed = self.path[at] * ratio * refined.ratio;
                let kinds = self.memory.look(hop, speed, 1, &self.angle.turns);
                let cut = self.path[at] * ratio;
                let exact = trend.and_then(|trend| {
                    let look = &self.angle.turns;
                    self.fine.speed(hop, look, speed, cut, trend)
                });
                let moment = Moment {
                    hop,
                    rpm: Hertz(speed / self.firings).rpm(),
                    heard: Hertz(speed / self.firings).rpm(),
                    exact: exact.map(|exact| Hertz(exact / self.firings).rpm()),
                    base: Base::SAME,
                    kinds,
                    firings: self.firings.max(1.0),
                    error: refined.error,
                    probability: place.probability,
                    rhythm: place.rhythm,
                    runner_up: (evidence::speed(place.runner_up.0), place.runner_up.1),
                    change,
                    refined,
                    counts: self.counter.push(
                        hop,
                        &self.angle.turns,
                        &kinds,
                        speed,
                        change,
                        &place.rhythm,
                    ),
                    fresh: true,
                };
                self.hop += 1;
                let spare = self.spare.pop().unwrap_or_default();
                let turns = Arc::new(std::mem::replace(&mut self.angle.turns, spare));
                self.last = Some((moment, Arc::clone(&turns)));
                self.wait(moment, turns, middle, ratio * refined.ratio);
            }
            if self.pending.len() - self.continuity.waiting() > self.look.slips {
                self.judge();
            }
            if self.continuity.waiting() > self.look.jumps {
                self.settle(each);
            }
        }
        self.past.extend_from_slice(&self.path[past..past + done]);
        let spent = self.past.len().saturating_sub(KEEP);
        self.past.drain(..spent);
        self.forget();
    }

    /// Where the path moves fast, its speeds are a mean over windows that are long for it: puts
    /// them right all together before the cuts, which need the path on both sides of a hop.
    fn follow(&mut self, past: usize, done: usize) {
        let to = (past + done + AROUND).min(self.path.len());
        self.follow.clear();
        for at in past..to {
            self.unbroken(at);
            let middle = at.min(AROUND);
            if slope(&self.local, middle).abs() < SNAP {
                continue;
            }
            let hop = self.hop + at - past;
            let origin = (hop * HOP) as isize - (middle * HOP) as isize - self.start as isize;
            let sound = &self.sound.cubics()[..self.known()];
            let track = Track {
                sound,
                origin,
                hop: HOP,
                path: &self.local,
            };
            let refined = refine(self.angle.cut(&track, middle, 1.0, true), 1.0);
            if refined.lines >= 3 {
                self.follow.push((at, self.path[at] * refined.ratio));
            }
        }
        for (at, speed) in self.follow.drain(..) {
            self.path[at] = speed;
        }
    }

    /// Queues a hop until its base is decided.
    fn wait(&mut self, moment: Moment, turns: Arc<Turns>, middle: usize, scale: f64) {
        let mut local = self.pool.pop().unwrap_or_default();
        local.clone_from(&self.local);
        self.pending.push_back(Pending {
            moment,
            turns,
            local,
            middle,
            scale,
        });
    }

    /// Decides the base of the oldest hop for which it is not decided, as far as its slips say; false
    /// where there is none.
    fn judge(&mut self) -> bool {
        let mut waiting = self.pending.iter().skip(self.continuity.waiting());
        let Some(Pending { moment, .. }) = waiting.next() else {
            return false;
        };
        self.decided = base::decide(
            &moment.counts,
            waiting.map(|p| &p.moment.counts),
            self.decided,
            moment.rpm,
            self.band,
            self.firings,
            self.usual,
        );
        self.continuity.push(
            self.decided,
            moment.rpm,
            moment.change,
            self.band,
            self.usual,
        );
        true
    }

    /// Takes the base of the oldest hop that waits, and hands it on.
    fn settle(&mut self, each: &mut impl FnMut(&Moment, &Turns)) {
        let (Some(mut p), Some((decided, base))) =
            (self.pending.pop_front(), self.continuity.pop())
        else {
            return;
        };
        // Without a look ahead a jump may as well be the end of an error.
        self.base = if self.look.jumps == 0 { decided } else { base };
        p.moment.heard = Rpm(p.moment.rpm.0 * decided.factor());
        p.moment.base = self.base;
        let counts = p.moment.counts;
        let path = p.moment.rpm;
        let times = |f: f64| Rpm(path.0 * f);
        if self.base == Base::SAME {
            p.moment.fresh |= self.recut.take().is_some();
            // Lines between the orders that stay in step, or slips that are too few to decide.
            let fits = |speed: Rpm| !self.usual.excludes(speed);
            if counts.half > DOUBT && p.moment.rhythm[0] < 0.5 && fits(times(0.5)) {
                p.moment.probability = p.moment.probability.min(0.5);
                p.moment.runner_up = (times(0.5), 0.5);
            } else if counts.double > DOUBT && fits(times(2.0)) {
                p.moment.probability = p.moment.probability.min(0.5);
                p.moment.runner_up = (times(2.0), 0.5);
            }
        } else {
            let factor = self.base.factor();
            let refined = match self.recut {
                Some((base, refined)) if base == self.base && !p.moment.fresh => refined,
                _ => {
                    p.moment.fresh = true;
                    let origin = ((p.moment.hop - p.middle) * HOP) as isize - self.start as isize;
                    let sound = &self.sound.cubics()[..self.known()];
                    let track = Track {
                        sound,
                        origin,
                        hop: HOP,
                        path: &p.local,
                    };
                    let refined = refine(
                        self.angle.cut(
                            &track,
                            p.middle,
                            p.scale * factor,
                            p.moment.change.abs() > SNAP,
                        ),
                        0.2,
                    );
                    std::mem::swap(&mut self.recut_turns, &mut self.angle.turns);
                    refined
                }
            };
            self.recut = Some((self.base, refined));
            p.moment.rpm = times(factor);
            p.moment.refined = refined;
            p.moment.runner_up = (path, 0.1);
            p.moment.rhythm = [0.0; RHYTHMS];
            p.moment.rhythm[self.base.every() - 1] = 1.0;
        }
        let turns = if self.firings > 1.5 {
            self.cut_by_revolutions(&p);
            p.moment.rhythm = of_revolutions(&p.moment.rhythm, self.firings);
            &self.crank_turns
        } else if self.base == Base::SAME {
            &p.turns
        } else {
            &self.recut_turns
        };
        if self.firings > 1.5 || self.base != Base::SAME {
            if p.moment.fresh {
                let rate = p.moment.rpm.hertz().0 * self.firings.min(1.0);
                self.recut_kinds = self.recut_memory.look(p.moment.hop, rate, 1, turns);
            }
            p.moment.kinds = self.recut_kinds;
        }
        if let Some(exact) = p.moment.exact {
            p.moment.rpm = Rpm(exact.0 * self.base.factor());
        }
        each(&p.moment, turns);
        self.pool.push(p.local);
        self.spare.extend(Arc::into_inner(p.turns));
    }

    /// Cylinders are unlike each other, so that neighbouring firings say nothing of skips: cuts a
    /// fresh hop by whole revolutions.
    fn cut_by_revolutions(&mut self, p: &Pending) {
        if !p.moment.fresh && !self.crank_turns.samples.is_empty() {
            return;
        }
        let track = Track {
            sound: &self.sound.cubics()[..self.known()],
            origin: ((p.moment.hop - p.middle) * HOP) as isize - self.start as isize,
            hop: HOP,
            path: &p.local,
        };
        let scale = p.scale * self.base.factor() / self.firings;
        let narrow = p.moment.change.abs() > SNAP;
        self.angle.cut(&track, p.middle, scale, narrow);
        std::mem::swap(&mut self.crank_turns, &mut self.angle.turns);
    }

    /// The path around `at`, held level beyond the first break on either side.
    fn unbroken(&mut self, at: usize) {
        let from = at.saturating_sub(AROUND);
        let to = (at + AROUND + 1).min(self.path.len());
        self.local.clear();
        self.local.extend_from_slice(&self.path[from..to]);
        let middle = at - from;
        let broken = |a: f64, b: f64| a / b > BREAK || b / a > BREAK;
        for i in middle + 1..self.local.len() {
            if broken(self.local[i], self.local[i - 1]) {
                self.local[i] = self.local[i - 1];
            }
        }
        for i in (0..middle).rev() {
            if broken(self.local[i], self.local[i + 1]) {
                self.local[i] = self.local[i + 1];
            }
        }
    }

    /// The sound up to the end of the newest frame: what lies beyond it depends on the blocks in
    /// which it came and must not be seen.
    fn known(&self) -> usize {
        ((self.frames - 1) * HOP + Spectrum::FRAME / 2 - Curve::BEHIND)
            .saturating_sub(self.start)
            .min(self.sound.cubics().len())
    }

    /// Drops sound that no later hop can need.
    fn forget(&mut self) {
        let needed = ((self.hop - self.pending.len()) * HOP).saturating_sub(Spectrum::FRAME * 2);
        let spent = needed.saturating_sub(self.start);
        let sound = self.sound.cubics().len();
        if spent > sound / 2 && spent <= sound {
            self.sound.forget(spent);
            self.start += spent;
        }
    }
}
