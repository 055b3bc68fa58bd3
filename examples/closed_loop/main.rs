//! The closed loop: engines drawn by lot, a technician with an unsteady hand, and the program that
//! tells him what to do. Prints the table of docs/closed-loop.md:
//! `cargo run --release --example closed_loop -- --engines 1000 --faults 250 --seed 1`
//!
//! `--ears exact|perfect|rough|dull|sound|pipe` says who listens (default sound: the engine's sound through the
//! whole program, in this process; pipe: the same through the binary `--program FILE`), `--list` prints a line for each engine, `--trace N` the whole stream of engine number N
//! (`--fault WORD` gives it that fault, `--sound FILE` keeps its sound as a WAV), `--mute` a technician who never answers, `--no-base` leaves
//! the screws as found, `--wide` draws the engines far wider than our own model, `--drill` holds readings against the truth without a guide, `--threads N` how many cores.
mod bench;
mod drill;
mod dull;
mod hearing;
mod pipe;
mod recipes;
mod rough;
mod score;
mod table;
mod technician;
mod wide;

use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use bench::{Case, Ears};
use engine_note::synth::AILMENTS;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let value = |name: &str| {
        let at = arguments.iter().position(|a| a == name)? + 1;
        arguments.get(at).cloned()
    };
    let number = |name: &str, otherwise: u64| -> Result<u64, std::num::ParseIntError> {
        value(name).map_or(Ok(otherwise), |v| v.parse())
    };
    let flag = |name: &str| arguments.iter().any(|a| a == name);
    let engines = number("--engines", 100)?;
    let faults = number("--faults", 25)?;
    let seed = number("--seed", 1)?;
    let first = seed * 1_000_003;
    let ears = match value("--ears").as_deref() {
        Some("exact") => Ears::Exact,
        Some("perfect") => Ears::Perfect,
        Some("rough") => Ears::Rough,
        Some("dull") => Ears::Dull,
        Some("sound") | None => Ears::Sound,
        Some("pipe") => Ears::Pipe,
        Some(other) => {
            return Err(
                format!("--ears {other}: exact, perfect, rough, dull, sound or pipe").into(),
            );
        }
    };
    let mute = flag("--mute");
    let prepared = |seed: u64, fault: Option<&'static str>| {
        let mut case = Case::new(seed, fault);
        if flag("--wide") {
            wide::widen(&mut case.specimen, seed);
        }
        case.no_base = flag("--no-base");
        case
    };
    if let Some(number) = value("--trace") {
        let fault = value("--fault");
        let fault = fault.and_then(|word| AILMENTS.into_iter().find(|a| *a == word));
        let number: u64 = number.parse()?;
        let mut case = prepared(first + number, fault);
        case.sound = value("--sound").map(std::path::PathBuf::from);
        return trace(&case, ears, mute);
    }
    let planted = |i: u64| AILMENTS[(i % AILMENTS.len() as u64) as usize];
    let mut cases: Vec<Case> = (0..engines).map(|i| prepared(first + i, None)).collect();
    cases.extend((0..faults).map(|i| prepared(first + 500_000 + i, Some(planted(i)))));
    let program = value("--program").map(std::path::PathBuf::from);
    for case in &mut cases {
        case.program = program.clone();
    }
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let threads = number("--threads", cores as u64)? as usize;
    let begin = Instant::now();
    if flag("--drill") {
        let tallies = in_parallel(&cases, threads, drill::drill)?;
        for (case, tallies) in cases.iter().zip(&tallies).filter(|_| flag("--list")) {
            println!("{}", drill::line(case, tallies));
        }
        drill::print(&tallies);
        eprintln!("{:.0} s", begin.elapsed().as_secs_f64());
        return Ok(());
    }
    let left = in_parallel(&cases, threads, |case| {
        case.tune(ears, mute, |_, _, _, _| {})
    })?;
    let took = begin.elapsed();
    if flag("--list") {
        for (case, left) in cases.iter().zip(&left) {
            println!("{}", table::line(case, left, first));
        }
    }
    table::print(&cases, &left, seed, ears, took);
    Ok(())
}

fn trace(case: &Case, ears: Ears, mute: bool) -> Result<(), Box<dyn std::error::Error>> {
    println!("{:#?}", case.specimen);
    let ideal = case.specimen.high_ideal;
    let mut readings = 0;
    let left = case.tune(ears, mute, |t, line, live, at| {
        if line.contains("\"event\":\"reading\"") {
            readings += 1;
            if readings % 50 != 0 {
                return;
            }
        }
        println!(
            "{t:8.2} {:6.0} rpm skip {:.2} thr {:.1} H {:+.3} L {:+.3} I {:.3} heat {:.2}  {line}",
            live.speed().0,
            live.skip_ratio(),
            live.throttle(),
            at.high - ideal,
            at.low - case.specimen.low_peak,
            at.idle,
            live.heat(),
        );
    })?;
    println!("{}", table::line(case, &left, 0));
    Ok(())
}

/// Works on as many engines at a time as there are cores; results in order.
fn in_parallel<T: Send + Sync>(
    cases: &[Case],
    threads: usize,
    work: impl Fn(&Case) -> Result<T, String> + Sync,
) -> Result<Vec<T>, String> {
    let next = AtomicUsize::new(0);
    let results: Vec<OnceLock<Result<T, String>>> = cases.iter().map(|_| OnceLock::new()).collect();
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                loop {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    let Some(case) = cases.get(i) else { break };
                    // Each place is filled once, since each number is drawn once.
                    let _ = results[i].set(work(case));
                }
            });
        }
    });
    results
        .into_iter()
        .filter_map(OnceLock::into_inner)
        .collect()
}
