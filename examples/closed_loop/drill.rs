//! How well the engines' sound is heard, without a guide: each engine idles and runs at full throttle
//! with the high-speed screw at stated turns from its ideal, and readings are held against the truth.
use engine_note::firing::FiringKind;
use engine_note::session::Hearing;
use engine_note::synth::{Controls, Live, Settings};
use engine_note::tach::Throttle;

use super::bench::{Case, RATE};

/// Turns of the high-speed screw from its ideal; none is the idle.
const STANDS: [Option<f64>; 9] = [
    None,
    Some(0.5),
    Some(0.25),
    Some(0.125),
    Some(0.0625),
    Some(0.0),
    Some(-0.0625),
    Some(-0.125),
    Some(-0.25),
];
/// Wrong bases that are told apart.
const RATIOS: [f64; 8] = [1.0 / 3.0, 0.5, 2.0 / 3.0, 0.75, 4.0 / 3.0, 1.5, 2.0, 3.0];
const NAMES: [&str; 9] = ["1/3", "1/2", "2/3", "3/4", "4/3", "3/2", "2", "3", "other"];

/// How long each stand is held, and from when on it is judged.
const HELD: f64 = 8.0;
const JUDGED: f64 = 3.5;
/// From when on the hearing knows where the throttle is, as in a tuning.
const HAND: f64 = 3.0;

/// Readings of one stand against the truth.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tally {
    hops: f64,
    right: f64,
    wrong: f64,
    confident_wrong: f64,
    none: f64,
    kinds: [f64; 4],
    skip_true: f64,
    skip_heard: f64,
    skip_judged: f64,
    /// Hops read at a third, half, two thirds, 3/4, 4/3, 3/2, two times, three times the speed, and at none of them.
    ratios: [f64; 9],
    /// Of the means over the stand: sum of errors, of their squares, and how many.
    means: [f64; 3],
}

/// Drills one engine.
pub fn drill(case: &Case) -> Result<Vec<Tally>, String> {
    let specimen = &case.specimen;
    let mut live = Live::sounding(specimen, &case.around, case.seed, RATE, 1.0, true);
    let mut hearing = Hearing::new(RATE, 1, &specimen.profile).map_err(|e| e.to_string())?;
    let mut tallies = vec![Tally::default(); STANDS.len()];
    let mut block = vec![0.0f32; 128];
    let mut events = vec![];
    let mut late = std::collections::VecDeque::new();
    let low = specimen.low_final;
    let idle_speed = specimen
        .profile
        .speeds
        .idle
        .map_or(2_800.0, |r| 0.5 * (r.0.0 + r.1.0));
    let (mut now, mut hop) = (0.0, 0u64);
    for (stand, tally) in STANDS.iter().zip(&mut tallies) {
        let settings = Settings {
            high: specimen.high_ideal + stand.unwrap_or(0.0),
            low,
            idle: (idle_speed - specimen.touch.0) / specimen.idle_turn.0,
        };
        let mut sums = [0.0; 3];
        for (throttle, held) in [(0.0, 5.0), (f64::from(u8::from(stand.is_some())), HELD)] {
            let begin = now;
            while now < begin + held {
                let controls = Controls {
                    settings,
                    throttle,
                    ignition: true,
                    pulling: false,
                };
                live.pull(&controls, &mut block);
                hop += 1;
                now = hop as f64 * 0.008;
                late.push_back((now, live.speed().0, live.skip_ratio()));
                let known = now > begin + HAND;
                hearing.hold(known.then_some(if throttle > 0.5 {
                    Throttle::Open
                } else {
                    Throttle::Closed
                }));
                events.clear();
                hearing.push(&block, &mut events);
                for heard in &events {
                    let frame = &heard.frame;
                    let (t_s, firing, skip_ratio) = (frame.t, frame.firing.kind, heard.skip_ratio);
                    let speed_read = frame.speed.ok();
                    let (rpm, confidence) =
                        (speed_read.map(|s| s.rpm), speed_read.map(|s| s.confidence));
                    // The sound trails the engine by 0.1 s.
                    while late
                        .front()
                        .is_some_and(|l: &(f64, f64, f64)| l.0 < t_s.0 - 0.1)
                    {
                        late.pop_front();
                    }
                    let judged = t_s.0 > begin + JUDGED && (throttle > 0.5 || stand.is_none());
                    let Some(&(_, speed, skip)) = late.front().filter(|_| judged) else {
                        continue;
                    };
                    tally.hops += 1.0;
                    match rpm {
                        Some(rpm) if (rpm.0 / speed - 1.0).abs() < 0.02 => tally.right += 1.0,
                        Some(rpm) => {
                            tally.wrong += 1.0;
                            let near = RATIOS
                                .iter()
                                .position(|r| (rpm.0 / speed / r - 1.0).abs() < 0.03);
                            tally.ratios[near.unwrap_or(RATIOS.len())] += 1.0;
                            if confidence.is_some_and(|c| c > 0.6) {
                                tally.confident_wrong += 1.0;
                            }
                        }
                        None => tally.none += 1.0,
                    }
                    match firing {
                        FiringKind::Clean => tally.kinds[0] += 1.0,
                        FiringKind::FourStroking => tally.kinds[1] += 1.0,
                        FiringKind::Limiter => tally.kinds[2] += 1.0,
                        _ => tally.kinds[3] += 1.0,
                    }
                    tally.skip_true += skip;
                    if let Some(heard) = skip_ratio {
                        tally.skip_judged += 1.0;
                        tally.skip_heard += heard;
                        sums[0] += heard - skip;
                        sums[1] += 1.0;
                    }
                }
            }
        }
        if sums[1] > 0.0 {
            let error: f64 = sums[0] / sums[1];
            tally.means = [error, error * error, 1.0];
        }
    }
    Ok(tallies)
}

/// Prints the table of many engines' tallies.
pub fn print(all: &[Vec<Tally>]) {
    println!(
        "| high-speed screw | within 2 % | wrong | wrong and sure | none | clean | four-stroking | limiter | skip true | heard | bias | scatter of 4.5 s means |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
    );
    for (i, stand) in STANDS.iter().enumerate() {
        let sum = |of: &dyn Fn(&Tally) -> f64| all.iter().map(|t| of(&t[i])).sum::<f64>();
        let hops = sum(&|t| t.hops).max(1.0);
        let part = |of: &dyn Fn(&Tally) -> f64| 100.0 * sum(of) / hops;
        let n = sum(&|t| t.means[2]).max(1.0);
        let bias = sum(&|t| t.means[0]) / n;
        println!(
            "| {} | {:.1} | {:.1} | {:.1} | {:.1} | {:.1} | {:.1} | {:.1} | {:.3} | {:.3} | {:+.3} | {:.3} |",
            stand.map_or("idle".into(), |s| format!("{s:+.4}")),
            part(&|t| t.right),
            part(&|t| t.wrong),
            part(&|t| t.confident_wrong),
            part(&|t| t.none),
            part(&|t| t.kinds[0]),
            part(&|t| t.kinds[1]),
            part(&|t| t.kinds[2]),
            sum(&|t| t.skip_true) / hops,
            sum(&|t| t.skip_heard) / sum(&|t| t.skip_judged).max(1.0),
            bias,
            (sum(&|t| t.means[1]) / n - bias * bias).max(0.0).sqrt(),
        );
    }
}

/// What is odd about one engine, a line.
pub fn line(case: &Case, tallies: &[Tally]) -> String {
    let words: Vec<String> = STANDS
        .iter()
        .zip(tallies)
        .map(|(stand, t)| {
            let wrong: String = NAMES
                .iter()
                .zip(t.ratios)
                .filter(|(_, n)| *n > 0.1 * t.hops)
                .map(|(name, _)| format!(" x{name}"))
                .collect();
            format!(
                "{}:{:.0}%{wrong}/{:+.2}",
                stand.map_or("idle".into(), |s| format!("{s:+.3}")),
                100.0 * t.right / t.hops.max(1.0),
                t.means[0]
            )
        })
        .collect();
    format!(
        "{} snr {} roll-off {:?} idle {:.0} full {:.0} {}",
        case.seed,
        case.around.noise.snr.0,
        case.around
            .microphone
            .roll_off
            .map(|r| (r.hertz.0, r.order)),
        case.specimen.engine.idle.0,
        case.specimen.engine.full.0,
        words.join(" ")
    )
}
