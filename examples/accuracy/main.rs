//! Prints the tables of docs/accuracy.md that rest on made-up sound with a known truth:
//! `cargo run --release --example accuracy -- --engines 160 --others 80 --seed 1`
//!
//! Scenes are drawn by lot, the same for the same seed. The profile holds cycle and cylinders of the
//! scene and nothing else; the search band is the default. `--folder FOLDER` takes clips that another model made,
//! `examples/fit/another_engine.py`, in place of scenes. `--live` reads them as they would be heard live.
//! `--held 3000,3600` prints instead how the first 24 steady engines of the seed, or as many as `--engines` says,
//! are read when they are held at these speeds.
mod about;
mod held;
mod score;
mod table;

use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use engine_note::reading::{Frame, Look};
use engine_note::synth::{Truth, draw_engine, draw_other};
use engine_note::units::Rpm;

use about::{About, Source};
use score::Score;

/// One clip, read.
pub struct Clip {
    /// Its truth.
    pub truth: Truth,
    /// What was read.
    pub frames: Vec<Frame>,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let value = |name: &str| {
        let at = arguments.iter().position(|a| a == name)? + 1;
        arguments.get(at)
    };
    let number = |name: &str, otherwise: u64| -> Result<u64, std::num::ParseIntError> {
        value(name).map_or(Ok(otherwise), |v| v.parse())
    };
    let held_at: Vec<Rpm> = match value("--held") {
        Some(list) => {
            let speeds = list.split(',').map(|rpm| rpm.parse().map(Rpm));
            speeds.collect::<Result<_, _>>()?
        }
        None => vec![],
    };
    let engines = number("--engines", if held_at.is_empty() { 160 } else { 24 })?;
    let others = number("--others", 80)?;
    let seed = number("--seed", 1)? * 1_000_003;
    let look = if arguments.iter().any(|a| a == "--live") {
        Look::Live
    } else {
        Look::Ahead
    };
    if !held_at.is_empty() {
        return Ok(held::print(&held_at, seed, engines as usize, look)?);
    }
    let sources: Vec<Source> = match value("--folder") {
        Some(folder) => Source::folder(folder.as_ref())?,
        None => (0..engines)
            .map(|i| draw_engine(seed + i))
            .chain((0..others).map(|i| draw_other(seed + i, i as usize)))
            .map(|scene| Source::Scene(Box::new(scene)))
            .collect(),
    };
    if sources.is_empty() {
        return Err(
            "no clip: `--folder FOLDER` takes a folder of NAME.wav with NAME.truth.json".into(),
        );
    }
    let (clips, scores): (Vec<About>, Vec<Score>) = scored(&sources, look)?.into_iter().unzip();
    table::print(&clips, &scores);
    Ok(())
}

/// What each clip is, and what it scores.
fn scored(sources: &[Source], look: Look) -> Result<Vec<(About, Score)>, String> {
    let scored = in_parallel(sources, |source| {
        let (frames, truth, about) = source.read(look)?;
        Ok((about, Score::of(&Clip { truth, frames })))
    });
    scored.into_iter().collect()
}

/// Does the work on as many clips at a time as there are cores; results in order.
fn in_parallel<T: Send + Sync>(clips: &[Source], work: impl Fn(&Source) -> T + Sync) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let results: Vec<OnceLock<T>> = clips.iter().map(|_| OnceLock::new()).collect();
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                loop {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    let Some(clip) = clips.get(i) else { break };
                    // Each place is filled once, since each number is drawn once.
                    let _ = results[i].set(work(clip));
                }
            });
        }
    });
    results
        .into_iter()
        .filter_map(OnceLock::into_inner)
        .collect()
}
