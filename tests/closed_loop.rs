//! A small slice of the closed loop (docs/closed-loop.md): engines drawn by lot, a technician with an
//! unsteady hand, the program's own prompts. The truth is the engine's.
#![allow(dead_code)]
#[path = "../examples/closed_loop/bench.rs"]
mod bench;
#[path = "../examples/closed_loop/dull.rs"]
mod dull;
#[path = "../examples/closed_loop/hearing.rs"]
mod hearing;
#[path = "../examples/closed_loop/pipe.rs"]
mod pipe;
#[path = "../examples/closed_loop/recipes.rs"]
mod recipes;
#[path = "../examples/closed_loop/rough.rs"]
mod rough;
#[path = "../examples/closed_loop/score.rs"]
mod score;
#[path = "../examples/closed_loop/technician.rs"]
mod technician;

use bench::{Case, Ears, Left};
use engine_note::synth::AILMENTS;
use score::Stand;

/// The first of the engines that `--seed 1` draws.
const FIRST: u64 = 1_000_003;
const HEALTHY: u64 = 12;

fn tune(case: &Case, ears: Ears) -> Left {
    let left = case.tune(ears, false, |_, _, _, _| {}).unwrap();
    let what = format!("engine {} {:?}: {left:?}", case.seed, case.fault);
    assert!(left.full_longest <= 10.0, "full throttle too long, {what}");
    assert!(
        left.over_longest <= 5.0,
        "over the maximum too long, {what}"
    );
    left
}

#[test]
fn healthy_engines_come_right_and_better_than_by_simple_recipes() {
    let mut right = 0;
    let mut by_recipe = [0; recipes::RECIPES.len()];
    for seed in FIRST..FIRST + HEALTHY {
        let case = Case::new(seed, None);
        let left = tune(&case, Ears::Perfect);
        let stand = Stand::of(&case.specimen, &left.settings.unwrap());
        right += u64::from(left.verdict == "tuned" && stand.right());
        for (count, recipe) in by_recipe.iter_mut().zip(recipes::RECIPES) {
            let at = recipes::follow(recipe, &case.specimen, seed);
            *count += u64::from(Stand::of(&case.specimen, &at).right());
        }
    }
    assert!(right >= 9, "{right} of {HEALTHY} right");
    assert!(
        by_recipe.iter().all(|r| *r < right),
        "{by_recipe:?} against {right}"
    );
}

#[test]
fn planted_faults_are_stopped_with_their_name_among_the_first_three() {
    let mut found = 0;
    for (seed, word) in (FIRST + 500_000..).zip(AILMENTS) {
        let case = Case::new(seed, Some(word));
        let left = tune(&case, Ears::Perfect);
        let named = left.faults.iter().take(3).any(|fault| fault == word);
        found += u32::from(left.verdict == "stopped" && named);
    }
    assert!(found >= 3, "{found} of {}", AILMENTS.len());
}

/// Sound, listener, session, procedure and technician together: the tuning ends by itself, within the
/// limits of full throttle, on one engine of each carburetor.
#[test]
fn by_sound_a_tuning_ends_within_its_limits() {
    for seed in [FIRST + 7, FIRST + 14] {
        let left = tune(&Case::new(seed, None), Ears::Sound);
        assert_ne!(left.verdict, "unfinished", "engine {seed}: {left:?}");
    }
}
