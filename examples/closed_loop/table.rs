//! The table of docs/closed-loop.md.
use std::time::Duration;

use engine_note::machine::{Carburetor, Coil};
use engine_note::synth::AILMENTS;

use super::bench::{Case, Ears, Left};
use super::recipes::{RECIPES, follow};
use super::score::Stand;

/// A line for one engine.
pub fn line(case: &Case, left: &Left, first: u64) -> String {
    let specimen = &case.specimen;
    let stand = left.settings.map(|at| Stand::of(specimen, &at));
    let stand = stand.map_or(String::new(), |s| {
        format!(
            "{} high {:+.3} low {:+.3} idle {:.0}{}{}",
            if s.right() { "right" } else { "WRONG" },
            s.high_off,
            s.low_off,
            s.idle,
            if s.idle_right { "" } else { " OUT" },
            if s.still { "" } else { " TURNS" },
        )
    });
    format!(
        "{:>6} {:<16} {:?} {:?}{}: {:<10} {stand}; {} moves, {:.1} min, {} stalls, over {:.1} s (longest {:.1}, {:.3}), full {:.1} s, faults {:?}",
        case.seed - first,
        case.fault.unwrap_or("healthy"),
        specimen.carburetor,
        specimen.profile.coil,
        if specimen.limiter.is_some() {
            "+limiter"
        } else {
            ""
        },
        left.verdict,
        left.moves,
        left.seconds / 60.0,
        left.stalls,
        left.over_total,
        left.over_longest,
        left.highest,
        left.full_longest,
        left.faults,
    )
}

/// The whole table.
pub fn print(cases: &[Case], left: &[Left], seed: u64, ears: Ears, took: Duration) {
    let all: Vec<(&Case, &Left)> = cases.iter().zip(left).collect();
    let healthy: Vec<_> = all
        .iter()
        .copied()
        .filter(|(c, _)| c.fault.is_none())
        .collect();
    let listens = match ears {
        Ears::Exact => "the truth, 0.2 s late",
        Ears::Perfect => {
            "the truth with errors of 0.3 % in speed and 0.05 in skip ratio, 0.2 s late"
        }
        Ears::Rough => {
            "the truth with those errors, gaps (10 to 30 % of the time), a bias of up to 0.05 in skip ratio, and twice, half or three halves of the speed for 2 % of the time"
        }
        Ears::Dull => "the truth, 0.2 s late, light skipping too light on two engines of five",
        Ears::Sound => "the engine's sound through the whole program",
        Ears::Pipe => "the engine's sound through the program as a process",
    };
    let hours = left.iter().map(|l| l.seconds).sum::<f64>() / 3_600.0;
    println!(
        "Heard: {listens}. Seed {seed}, {} healthy engines, {} with a planted fault, {hours:.1} h of engine time.",
        healthy.len(),
        all.len() - healthy.len(),
    );
    eprintln!(
        "{:.0} s on this machine, {:.0} times real time",
        took.as_secs_f64(),
        3_600.0 * hours / took.as_secs_f64().max(1e-3)
    );
    if !healthy.is_empty() {
        healthy_table(&healthy);
        groups(&healthy);
        beside(&healthy);
    }
    faults_table(&all);
}

fn share(count: usize, of: usize) -> String {
    format!(
        "{:.1} % ({count} of {of})",
        100.0 * count as f64 / of.max(1) as f64
    )
}

fn stand(case: &Case, left: &Left) -> Option<Stand> {
    left.settings.map(|at| Stand::of(&case.specimen, &at))
}

fn tuned(case: &Case, left: &Left) -> bool {
    left.verdict == "tuned" && stand(case, left).is_some_and(|s| s.right())
}

fn healthy_table(healthy: &[(&Case, &Left)]) {
    let n = healthy.len();
    let count = |test: &dyn Fn(&Case, &Left) -> bool| {
        share(healthy.iter().filter(|(c, l)| test(c, l)).count(), n)
    };
    let is =
        |test: fn(&Stand) -> bool| move |c: &Case, l: &Left| stand(c, l).is_some_and(|s| test(&s));
    println!("\n| healthy engines | result | asked for |\n| --- | --- | --- |");
    println!(
        "| tuned: high-speed screw within 1/16 turn of its ideal, idle in range, attachment still | {} | 99 % |",
        count(&tuned)
    );
    println!(
        "| called tuned | {} | |",
        count(&|_, l| l.verdict == "tuned")
    );
    println!(
        "| high-speed screw within 1/16 turn | {} | |",
        count(&is(Stand::high_right))
    );
    println!(
        "| idle in range, warm | {} | |",
        count(&is(|s| s.idle_right))
    );
    println!("| attachment still | {} | |", count(&is(|s| s.still)));
    println!(
        "| left more than 1/16 turn leaner than ideal, called tuned | {} | at most 0.5 % |",
        count(&|c, l| l.verdict == "tuned" && stand(c, l).is_some_and(|s| s.lean()))
    );
    println!(
        "| driven over the maximum (by more than 0.5 %, for 0.3 s or longer) | {} | at most 0.5 % |",
        count(&|_, l| l.over_longest >= 0.3)
    );
    println!(
        "| longest time over the maximum | {:.1} s | 5 s |",
        healthy
            .iter()
            .map(|(_, l)| l.over_longest)
            .fold(0.0, f64::max)
    );
    println!(
        "| highest speed | {:.1} % of the maximum | |",
        100.0 * healthy.iter().map(|(_, l)| l.highest).fold(0.0, f64::max)
    );
    println!(
        "| longest full throttle | {:.1} s | 10 s |",
        healthy
            .iter()
            .map(|(_, l)| l.full_longest)
            .fold(0.0, f64::max)
    );
    println!(
        "| stopped | {} | at most 1 % |",
        count(&|_, l| l.verdict == "stopped")
    );
    println!(
        "| unfinished | {} | |",
        count(&|_, l| l.verdict == "unfinished")
    );
    println!(
        "| stalled at least once | {} | |",
        count(&|_, l| l.stalls > 0)
    );
    let tuned: Vec<_> = healthy
        .iter()
        .filter(|(_, l)| l.verdict == "tuned")
        .collect();
    let mean = |of: &dyn Fn(&Left) -> f64| {
        tuned.iter().map(|(_, l)| of(l)).sum::<f64>() / tuned.len().max(1) as f64
    };
    println!(
        "| moves and minutes, mean | {:.0} and {:.1} | |",
        mean(&|l| f64::from(l.moves)),
        mean(&|l| l.seconds / 60.0)
    );
}

fn groups(healthy: &[(&Case, &Left)]) {
    println!("\n| healthy engines by kind | tuned |\n| --- | --- |");
    let row = |name: &str, test: &dyn Fn(&Case) -> bool| {
        let group: Vec<_> = healthy.iter().filter(|(c, _)| test(c)).collect();
        let right = group.iter().filter(|(c, l)| tuned(c, l)).count();
        println!("| {name} | {} |", share(right, group.len()));
    };
    row("butterfly", &|c| {
        c.specimen.carburetor == Carburetor::Butterfly
    });
    row("barrel valve", &|c| {
        c.specimen.carburetor == Carburetor::BarrelValve
    });
    row("coil plain, said", &|c| {
        c.specimen.profile.coil == Coil::Plain
    });
    row("coil limited, said", &|c| {
        c.specimen.profile.coil == Coil::Limited
    });
    row("coil unknown, plain", &|c| {
        c.specimen.profile.coil == Coil::Unknown && c.specimen.limiter.is_none()
    });
    row("coil unknown, limited", &|c| {
        c.specimen.profile.coil == Coil::Unknown && c.specimen.limiter.is_some()
    });
    let mut classes: Vec<_> = healthy.iter().map(|(c, _)| c.specimen.class).collect();
    classes.sort_by_key(|class| class.word());
    classes.dedup();
    for class in classes {
        row(class.word(), &|c| c.specimen.class == class);
    }
}

fn beside(healthy: &[(&Case, &Left)]) {
    println!(
        "\n| recipe on the same engines | right | leaner than ideal by more than 1/16 |\n| --- | --- | --- |"
    );
    for recipe in RECIPES {
        let stands: Vec<_> = healthy
            .iter()
            .map(|(c, _)| Stand::of(&c.specimen, &follow(recipe, &c.specimen, c.seed)))
            .collect();
        println!(
            "| {recipe} | {} | {} |",
            share(stands.iter().filter(|s| s.right()).count(), stands.len()),
            share(stands.iter().filter(|s| s.lean()).count(), stands.len()),
        );
    }
}

fn faults_table(all: &[(&Case, &Left)]) {
    println!(
        "\n| planted fault | stopped, fault among the first three | stopped | fault named first | driven over the maximum for more than 5 s |\n| --- | --- | --- | --- | --- |"
    );
    let row = |name: &str, group: &[&(&Case, &Left)]| {
        let n = group.len();
        if n == 0 {
            return;
        }
        let found = |within: usize| {
            let hit = |c: &Case, l: &Left| {
                l.verdict == "stopped"
                    && l.faults
                        .iter()
                        .take(within)
                        .any(|f| Some(f.as_str()) == c.fault)
            };
            share(group.iter().filter(|(c, l)| hit(c, l)).count(), n)
        };
        let stopped = group.iter().filter(|(_, l)| l.verdict == "stopped").count();
        let over = group.iter().filter(|(_, l)| l.over_longest > 5.0).count();
        println!(
            "| {name} | {} | {} | {} | {} |",
            found(3),
            share(stopped, n),
            found(1),
            share(over, n)
        );
    };
    for word in AILMENTS {
        let group: Vec<_> = all.iter().filter(|(c, _)| c.fault == Some(word)).collect();
        row(word, &group);
    }
    let group: Vec<_> = all.iter().filter(|(c, _)| c.fault.is_some()).collect();
    row("all", &group);
}
