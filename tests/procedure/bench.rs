//! One engine from its first prompt to its result, at the speed of the computer.
use engine_note::guide::{Direction, FaultId, Screw};
use engine_note::machine::Profile;
use engine_note::procedure::{
    AsFound, Begin, Outcome, Procedure, Prompt, Throttle as Asked, Verdict,
};
use engine_note::units::Seconds;

use crate::engine::{Engine, Throttle};
use crate::hearing::{Errors, Hearing};
use crate::lot::Lot;
use crate::technician::Technician;

const HOP: f64 = 0.016;
/// As long as a tuning may take, in seconds.
const LONGEST: f64 = 3_600.0;

pub struct Run {
    pub engine: Engine,
    pub profile: Profile,
    pub outcome: Outcome,
    pub seconds: f64,
    pub moves: u32,
    pub prompts: Vec<(f64, Prompt)>,
    /// Time over the maximum: the longest stretch, in seconds.
    pub over: f64,
    /// Longest time at full throttle, in seconds.
    pub full: f64,
    /// Turns rich of the ideal at the end.
    pub off: f64,
    pub log: Vec<(f64, f64, f64, f64)>,
}

impl Run {
    pub fn tuned(&self) -> bool {
        self.outcome.verdict == Verdict::Tuned
    }

    pub fn right(&self) -> bool {
        let idle = self.engine.idle_target();
        let (low, high) = self.engine.idle_range;
        let in_range = (low..=high).contains(&idle);
        let still = self.engine.clutch_in.is_none_or(|clutch| idle < clutch);
        self.tuned() && self.off.abs() <= 1.0 / 16.0 && in_range && still
    }

    pub fn names(&self, fault: FaultId) -> bool {
        self.outcome.verdict == Verdict::Stopped
            && self.outcome.faults.iter().take(3).any(|f| f.id == fault)
    }
}

pub fn run(seed: u64, fault: Option<FaultId>, errors: Errors, answers: bool) -> Run {
    let mut lot = Lot::new(seed);
    let (mut engine, profile) = Engine::drawn(&mut lot, fault);
    let begin = Begin {
        as_found: AsFound::Stopped,
        skip_checks: true,
        no_base: false,
    };
    let mut procedure = Procedure::new(&profile, begin);
    let mut technician = Technician::new(answers, seed ^ 0x55);
    let mut hearing = Hearing::new(errors, seed ^ 0xAA);
    let (mut moves, mut over, mut longest_over) = (0, 0.0, 0.0f64);
    let (mut full, mut longest_full) = (0.0, 0.0f64);
    let (mut prompts, mut log) = (vec![], vec![]);
    let mut n = 0u32;
    let (outcome, t) = loop {
        n += 1;
        let t = HOP * f64::from(n);
        let said = technician.act(t, &mut engine);
        engine.hop(HOP);
        // The limiter's own saw-tooth is not what an advice drives it to.
        let fast = engine.throttle == Throttle::Full && engine.speed > 1.003 * engine.maximum;
        over = if fast { over + HOP } else { 0.0 };
        longest_over = longest_over.max(over);
        full = if engine.throttle == Throttle::Full {
            full + HOP
        } else {
            0.0
        };
        longest_full = longest_full.max(full);
        if n.is_multiple_of(32) {
            log.push((t, engine.speed, engine.high, engine.skip));
        }
        let heard = hearing.hear(t, &engine);
        let step = procedure.step(Seconds(t), &heard, &said);
        for prompt in step.prompts {
            technician.told(t, &prompt);
            moves += u32::from(prompt.screw.is_some());
            prompts.push((t, prompt));
        }
        if let Some(outcome) = step.outcome {
            break (outcome, t);
        }
        if t > LONGEST {
            break (procedure.end(Seconds(t)), t);
        }
    };
    engine.running = true;
    engine.throttle = Throttle::Idle;
    engine.warm();
    for _ in 0..2_000 {
        engine.hop(HOP);
    }
    Run {
        off: engine.high - engine.ideal(),
        engine,
        profile,
        outcome,
        seconds: t,
        moves,
        prompts,
        over: longest_over,
        full: longest_full,
        log,
    }
}

/// The run in lines, for whoever wants to know why.
pub fn told(run: &Run) -> String {
    let mut text = String::new();
    for (t, p) in &run.prompts {
        let screw = match (p.screw, p.direction, p.turns) {
            (Some(screw), Some(direction), Some(turns)) => format!(
                "{} {} {:.4}",
                match screw {
                    Screw::High => "H",
                    Screw::Low => "L",
                    Screw::Idle => "I",
                },
                if direction == Direction::In {
                    "in"
                } else {
                    "out"
                },
                turns.turns()
            ),
            _ => String::new(),
        };
        let (_, speed, high, skip) = run
            .log
            .iter()
            .rev()
            .find(|(at, ..)| at <= t)
            .copied()
            .unwrap_or_default();
        let throttle = p
            .throttle
            .map_or(String::new(), |t: Asked| format!("{t:?}"));
        text.push_str(&format!(
            "{t:8.1} {:10} {throttle:6} {screw:14} {}| n {speed:6.0} H {high:.3} skip {skip:.2}\n",
            p.step,
            if p.urgent { "! " } else { "" },
        ));
    }
    text
}
