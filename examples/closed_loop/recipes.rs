//! Simple recipes on the same engines, for comparison: no program, the same error in every turn.
use engine_note::machine::Carburetor;
use engine_note::synth::{Random, Settings, Specimen};

/// The recipes, by name.
pub const RECIPES: [&str; 3] = [
    "base settings only",
    "base settings, then blind eighths",
    "one pass by ear, hearing perfectly",
];

/// Where a recipe leaves the screws.
pub fn follow(recipe: &str, specimen: &Specimen, seed: u64) -> Settings {
    let mut hand = Hand(Random::new(seed, 600));
    let base = Settings {
        high: hand.turn(1.25),
        low: hand.turn(1.25),
        idle: hand.turn(1.25),
    };
    match recipe {
        "base settings only" => base,
        "base settings, then blind eighths" => Settings {
            // An eighth richer to be on the safe side, the idle an eighth up for it.
            high: base.high + hand.turn(0.125),
            low: base.low + hand.turn(0.125),
            idle: base.idle + hand.turn(0.125),
        },
        _ => by_ear(specimen, base, &mut hand),
    }
}

struct Hand(Random);

impl Hand {
    fn turn(&mut self, turns: f64) -> f64 {
        turns * (1.0 + self.0.between(-0.2, 0.2))
    }
}

/// Low-speed screw to the fastest idle, idle-speed screw into the range, high-speed screw in from
/// half a turn rich until it is clean and out until it skips; each once, an eighth at a time.
fn by_ear(specimen: &Specimen, base: Settings, hand: &mut Hand) -> Settings {
    let mut at = base;
    at.high += hand.turn(0.5);
    let idle = |at: &Settings| {
        specimen
            .idle_speed(at.idle, specimen.idle_mixture(at, 1.0))
            .0
    };
    let begin = idle(&at);
    let mut trial = at;
    trial.low -= hand.turn(0.125);
    let sign = if idle(&trial) > begin { -1.0 } else { 1.0 };
    for _ in 0..16 {
        let mut next = at;
        next.low += sign * hand.turn(0.125);
        if idle(&next) <= idle(&at) {
            break;
        }
        at = next;
    }
    if specimen.carburetor == Carburetor::Butterfly {
        at.low += hand.turn(0.1875);
    }
    let range = specimen.profile.speeds.idle;
    let (low, high) = range.map_or((2_600.0, 3_000.0), |r| (r.low().0, r.high().0));
    for _ in 0..24 {
        let now = idle(&at);
        if now < low {
            at.idle += hand.turn(0.125);
        } else if now > high {
            at.idle -= hand.turn(0.125);
        } else {
            break;
        }
    }
    let skips = |at: &Settings| {
        let excess = specimen.excess(specimen.full_mixture(at, 1.0));
        let q = 1.0 / (1.0 + (-4.0 * excess / specimen.irregular).exp());
        q / (1.0 + q)
    };
    for _ in 0..16 {
        if skips(&at) < 0.05 {
            break;
        }
        at.high -= hand.turn(0.125);
    }
    for _ in 0..16 {
        if skips(&at) > 0.05 {
            break;
        }
        at.high += hand.turn(0.125);
    }
    at
}
