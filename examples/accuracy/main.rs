//! Prints the tables of docs/accuracy.md that rest on made-up sound with a known truth:
//! `cargo run --release --example accuracy -- --engines 160 --others 80 --seed 1`
//!
//! Scenes are drawn by lot, the same for the same seed. The profile holds cycle and cylinders of the
//! scene and nothing else; the search band is the default.
mod score;
mod table;

use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use engine_note::machine::Profile;
use engine_note::reading::{Frame, Listener, Look};
use engine_note::synth::{Scene, Truth, draw_engine, draw_other, render};

use score::Score;

/// One clip, read.
pub struct Clip {
    /// Its scene.
    pub scene: Scene,
    /// Its truth.
    pub truth: Truth,
    /// What was read.
    pub frames: Vec<Frame>,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |name: &str, otherwise: u64| -> Result<u64, std::num::ParseIntError> {
        let at = arguments.iter().position(|a| a == name).map(|i| i + 1);
        at.and_then(|i| arguments.get(i))
            .map_or(Ok(otherwise), |v| v.parse())
    };
    let engines = number("--engines", 160)?;
    let others = number("--others", 80)?;
    let seed = number("--seed", 1)? * 1_000_003;
    let look = if arguments.iter().any(|a| a == "--live") {
        Look::Live
    } else {
        Look::Ahead
    };
    let mut scenes: Vec<Scene> = (0..engines).map(|i| draw_engine(seed + i)).collect();
    scenes.extend((0..others).map(|i| draw_other(seed + i, i as usize)));
    let scores = in_parallel(&scenes, |scene| {
        read(scene, look).map(|clip| Score::of(&clip))
    });
    let scores: Vec<Score> = scores.into_iter().collect::<Result<_, _>>()?;
    table::print(&scenes, &scores);
    Ok(())
}

fn read(scene: &Scene, look: Look) -> Result<Clip, String> {
    let (sound, truth) = render(scene).map_err(|e| e.to_string())?.finish();
    let mut machine = Profile::default();
    if let (Some(cycle), Some(cylinders)) = (truth.cycle, truth.cylinders) {
        (machine.cycle, machine.cylinders) = (cycle, cylinders);
    }
    let channels = usize::from(scene.channels);
    let mut listener =
        Listener::new(scene.sample_rate, channels, &machine, look).map_err(|e| e.to_string())?;
    let mut frames = Vec::new();
    for block in sound.chunks(4_800 * channels) {
        listener.push(block, &mut frames);
    }
    listener.finish(&mut frames);
    Ok(Clip {
        scene: scene.clone(),
        truth,
        frames,
    })
}

/// Does the work on as many scenes at a time as there are cores; results in order.
fn in_parallel<T: Send + Sync>(scenes: &[Scene], work: impl Fn(&Scene) -> T + Sync) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let results: Vec<OnceLock<T>> = scenes.iter().map(|_| OnceLock::new()).collect();
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                loop {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    let Some(scene) = scenes.get(i) else { break };
                    // Each place is filled once, since each number is drawn once.
                    let _ = results[i].set(work(scene));
                }
            });
        }
    });
    results
        .into_iter()
        .filter_map(OnceLock::into_inner)
        .collect()
}
