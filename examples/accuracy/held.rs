//! Drawn engines held at stated speeds, those of mains hum among them: drawn clips seldom hit these.
use engine_note::reading::Look;
use engine_note::synth::{Scene, draw_engine};
use engine_note::units::Rpm;

use crate::about::{About, Source};
use crate::score::{Frames, Score};
use crate::table::share;

/// Prints, speed by speed, how many of the steady frames of `count` engines are right, wrong and not
/// read.
pub fn print(speeds: &[Rpm], seed: u64, count: usize, look: Look) -> Result<(), String> {
    println!(
        "| held at, rpm | 10 dB or better: right | wrong | not read | below 10 dB: right | wrong | not read |"
    );
    println!("| --- |{}", " --- |".repeat(6));
    for speed in speeds {
        let sources: Vec<Source> = (seed..)
            .filter_map(|seed| held(draw_engine(seed), *speed))
            .take(count)
            .map(|scene| Source::Scene(Box::new(scene)))
            .collect();
        let scored = crate::scored(&sources, look)?;
        let sum = |loud: bool| {
            let mut sum = Frames::default();
            let of_these = |(about, _): &&(About, Score)| (about.snr >= 10.0) == loud;
            for (_, score) in scored.iter().filter(of_these) {
                sum.add(&score.steady);
            }
            let (right, all) = (sum.within_1, sum.all);
            [right, sum.read - right, all - sum.read]
                .map(|part| share(part, all))
                .join(" | ")
        };
        println!("| {} | {} | {} |", speed.0, sum(true), sum(false));
    }
    Ok(())
}

/// The same engine at another speed, if it is a steady one.
fn held(mut scene: Scene, speed: Rpm) -> Option<Scene> {
    match scene.engine.as_mut()?.schedule.as_mut_slice() {
        [only] if only.hunting.is_none() => only.rpm = speed,
        _ => return None,
    }
    Some(scene)
}
