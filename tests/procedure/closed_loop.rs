//! The loop closed by an engine model: how often it comes right. `ENGINES=1000` runs the whole.
use engine_note::guide::FaultId;
use engine_note::procedure::Verdict;

use crate::bench::{Run, run, told};
use crate::hearing::{Errors, GOOD, POOR};

const FAULTS: [FaultId; 5] = [
    FaultId::AirLeak,
    FaultId::FuelStarvation,
    FaultId::Clutch,
    FaultId::MufflerScreen,
    FaultId::Attachment,
];

fn number(name: &str, usual: u64) -> u64 {
    std::env::var(name)
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(usual)
}

fn healthy(errors: Errors, answers: bool) -> Vec<(u64, Run)> {
    let first = number("FIRST", 1);
    (first..first + number("ENGINES", 30))
        .map(|seed| (seed, run(seed, None, errors, answers)))
        .collect()
}

fn report(name: &str, runs: &[(u64, Run)]) {
    let n = runs.len() as f64;
    let share =
        |f: &dyn Fn(&Run) -> bool| 100.0 * runs.iter().filter(|(_, r)| f(r)).count() as f64 / n;
    let mean = |f: &dyn Fn(&Run) -> f64| runs.iter().map(|(_, r)| f(r)).sum::<f64>() / n;
    println!(
        "{name}: right {:.1} %, tuned {:.1}, off by >1/16 {:.1}, lean {:.1}, over {:.1} (>5 s {:.1}), stopped {:.1}, \
         unfinished {:.1}, {:.0} s, {:.0} moves, mean off {:.3}, full at most {:.1} s",
        share(&|r| r.right()),
        share(&|r| r.tuned()),
        share(&|r| r.tuned() && r.off.abs() > 1.0 / 16.0),
        share(&|r| r.off < -1.0 / 16.0),
        share(&|r| r.over > 0.1),
        share(&|r| r.over > 5.0),
        share(&|r| r.outcome.verdict == Verdict::Stopped),
        share(&|r| r.outcome.verdict == Verdict::Unfinished),
        mean(&|r| r.seconds),
        mean(&|r| f64::from(r.moves)),
        mean(&|r| if r.tuned() { r.off } else { 0.0 }),
        runs.iter().map(|(_, r)| r.full).fold(0.0, f64::max),
    );
    for (seed, r) in runs
        .iter()
        .filter(|(_, r)| !r.right() || r.over > 0.1)
        .take(12)
    {
        println!(
            "  {seed}: {:?} off {:.3} idle {:.0} in {:?} over {:.1} {:?} {} lim {} {}",
            r.outcome.verdict,
            r.off,
            r.engine.idle_target(),
            r.engine.idle_range,
            r.over,
            r.engine.carburetor,
            r.engine.maximum,
            r.engine.limited,
            r.outcome.faults.first().map_or("", |f| f.why.as_str()),
        );
    }
    if let Ok(seed) = std::env::var("SHOW") {
        for (s, r) in runs {
            if s.to_string() == seed {
                println!("{}{:#?}", told(r), r.outcome.proof);
            }
        }
    }
}

#[test]
fn healthy_engines_come_right() {
    let runs = healthy(GOOD, true);
    report("good hearing", &runs);
    let right = runs.iter().filter(|(_, r)| r.right()).count();
    assert!(right * 100 >= runs.len() * 95);
}

#[test]
fn healthy_engines_come_right_with_poor_hearing() {
    let runs = healthy(POOR, true);
    report("poor hearing", &runs);
    let right = runs.iter().filter(|(_, r)| r.right()).count();
    assert!(right * 100 >= runs.len() * 80);
    assert!(
        runs.iter()
            .all(|(_, r)| r.off > -1.0 / 16.0 && r.over < 5.0)
    );
}

#[test]
fn healthy_engines_come_right_without_answers() {
    let runs = healthy(GOOD, false);
    report("no answers", &runs);
    let right = runs.iter().filter(|(_, r)| r.right()).count();
    assert!(right * 100 >= runs.len() * 95);
}

#[test]
fn planted_faults_are_named() {
    let mut wrong = 0;
    let each = number("FAULTY", 25).div_ceil(5);
    for fault in FAULTS {
        let runs: Vec<_> = (1..=each)
            .map(|seed| (seed, run(10_000 + seed, Some(fault), GOOD, true)))
            .collect();
        let named = runs.iter().filter(|(_, r)| r.names(fault)).count();
        println!("{fault:?}: {named} of {}", runs.len());
        if let Ok(seed) = std::env::var("SHOW") {
            for (s, r) in &runs {
                if (10_000 + s).to_string() == seed
                    && std::env::var("FAULT").is_ok_and(|f| f == format!("{fault:?}"))
                {
                    println!("{} {:#?}", told(r), r.outcome.faults);
                }
            }
        }
        for (seed, r) in runs.iter().filter(|(_, r)| !r.names(fault)).take(6) {
            println!(
                "  {}: {:?} off {:.2} {:.0} s {:?}",
                10_000 + seed,
                r.outcome.verdict,
                r.off,
                r.seconds,
                r.outcome.faults.iter().map(|f| f.id).collect::<Vec<_>>()
            );
        }
        wrong += runs.len() - named;
    }
    assert!(wrong as u64 * 50 <= 5 * each, "{wrong} not named");
}
