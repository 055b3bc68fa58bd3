//! The tables, in Markdown.
use engine_note::synth::OTHER_KINDS;

use crate::about::About;
use crate::score::{Frames, Score};

/// A part of a whole in percent.
pub fn share(part: usize, whole: usize) -> String {
    if whole == 0 {
        return "-".into();
    }
    format!("{:.2} %", 100.0 * part as f64 / whole as f64)
}

fn quantile(errors: &mut [f64], part: f64) -> String {
    errors.sort_by(f64::total_cmp);
    let at = ((errors.len() as f64 * part) as usize).min(errors.len().saturating_sub(1));
    errors
        .get(at)
        .map_or("-".into(), |e| format!("{:.3} %", 100.0 * e))
}

/// The clips of one class of sound.
struct Class {
    name: &'static str,
    holds: fn(&About) -> bool,
}

fn low_roll_off(clip: &About) -> bool {
    clip.roll_off <= 150.0
}

const CLASSES: [Class; 4] = [
    Class {
        name: "10 dB or better, roll-off up to 150 Hz",
        holds: |s| s.snr >= 10.0 && low_roll_off(s),
    },
    Class {
        name: "the same, no other sounds",
        holds: |s| s.snr >= 10.0 && low_roll_off(s) && s.sounds == 0,
    },
    Class {
        name: "0 dB, roll-off up to 150 Hz",
        holds: |s| s.snr == 0.0 && low_roll_off(s),
    },
    Class {
        name: "all",
        holds: |_| true,
    },
];

fn sum<'a>(scores: impl Iterator<Item = &'a Frames>) -> Frames {
    let mut all = Frames::default();
    scores.for_each(|s| all.add(s));
    all
}

/// Prints all tables.
pub fn print(clips: &[About], scores: &[Score]) {
    let of = |class: &Class, part: fn(&Score) -> &Frames| {
        sum(clips
            .iter()
            .zip(scores)
            .filter(|(s, _)| (class.holds)(s))
            .map(|(_, score)| part(score)))
    };
    println!("Steady frames:\n");
    println!(
        "| class | frames | with a speed | within 1 %, of those read | within 1 %, of all | octave errors | \
         median error | 95 % of errors below | interval holds the truth | firing kind right | skip ratio, mean error |"
    );
    println!("| --- |{}", " --- |".repeat(10));
    for class in &CLASSES {
        let mut f = of(class, |s| &s.steady);
        println!(
            "| {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {:.3} |",
            class.name,
            f.all,
            share(f.read, f.all),
            share(f.within_1, f.read),
            share(f.within_1, f.all),
            share(f.octave, f.all),
            quantile(&mut f.errors, 0.5),
            quantile(&mut f.errors, 0.95),
            share(f.held, f.errors.len()),
            share(f.firing, f.all),
            f.skip.1 / f.skip.0.max(1) as f64
        );
    }
    println!("\nMoving frames (more than 50 % a second):\n");
    println!(
        "| class | frames | with a speed | within 3 %, of those read | within 3 %, of all | octave errors | median error | \
         interval holds the truth |"
    );
    println!("| --- |{}", " --- |".repeat(7));
    for class in &CLASSES {
        let mut f = of(class, |s| &s.moving);
        println!(
            "| {} | {} | {} | {} | {} | {} | {} | {} |",
            class.name,
            f.all,
            share(f.read, f.all),
            share(f.within_3, f.read),
            share(f.within_3, f.all),
            share(f.octave, f.all),
            quantile(&mut f.errors, 0.5),
            share(f.held, f.errors.len())
        );
    }
    let f = of(&CLASSES[0], |s| &s.steady);
    println!("\nFiring, steady frames, {}:\n", CLASSES[0].name);
    println!(
        "| truth | clean | four-stroking | limiter | unclear | no speed |\n| --- | --- | --- | --- | --- | --- |"
    );
    for (name, row) in ["clean", "four-stroking", "limiter"].iter().zip(f.kinds) {
        let n: usize = row.iter().sum();
        println!("| {name} | {} |", row.map(|k| share(k, n)).join(" | "));
    }
    others(clips, scores);
    worst(clips, scores);
}

/// Frames with a speed where no engine runs, by the sound that the clip was drawn for.
fn others(clips: &[About], scores: &[Score]) {
    let (frames, false_speed) = scores
        .iter()
        .fold((0, 0), |(n, k), s| (n + s.none.0, k + s.none.1));
    println!(
        "\nWithout an engine: {frames} frames, {} with a speed\n",
        share(false_speed, frames)
    );
    println!("| sound | frames | with a speed |\n| --- | --- | --- |");
    let clips: Vec<_> = clips
        .iter()
        .zip(scores)
        .filter(|(clip, _)| !clip.engine)
        .collect();
    for kind in 0..OTHER_KINDS.min(clips.len()) {
        let same = clips.iter().skip(kind).step_by(OTHER_KINDS);
        let (n, k) = same.fold((0, 0), |(n, k), (_, s)| (n + s.none.0, k + s.none.1));
        let name = clips[kind]
            .0
            .note
            .trim_start_matches("synthetic, no engine: ")
            .split(" and ")
            .next();
        if k > 0 {
            println!("| {} | {n} | {} |", name.unwrap_or_default(), share(k, n));
        }
    }
}

/// The clips that lose most.
fn worst(clips: &[About], scores: &[Score]) {
    println!("\nWorst clips (steady frames that are not within 1 %, and false speeds):\n");
    println!(
        "| seed | frames lost | octave errors | not read | what it is |\n| --- | --- | --- | --- | --- |"
    );
    let lost = |s: &Score| s.steady.all - s.steady.within_1 + s.none.1;
    let mut order: Vec<usize> = (0..scores.len()).collect();
    order.sort_by_key(|i| std::cmp::Reverse(lost(&scores[*i])));
    for i in order.into_iter().take(15).filter(|i| lost(&scores[*i]) > 0) {
        let (clip, f) = (&clips[i], &scores[i].steady);
        let roll_off = clip.roll_off;
        println!(
            "| {} | {} | {} | {} | {}; {:.0} dB, roll-off {roll_off:.0} Hz, {} other sounds |",
            clip.seed,
            lost(&scores[i]),
            f.octave,
            f.all - f.read,
            clip.note,
            clip.snr,
            clip.sounds
        );
    }
    worst_firing(clips, scores);
}

/// The clips with the most steady frames whose firing is read wrong, and as what.
fn worst_firing(clips: &[About], scores: &[Score]) {
    println!("\nWorst clips by firing (10 dB or better, steady frames that have a speed):\n");
    println!(
        "| seed | frames | clean read 4s, limiter | 4s read clean, limiter | limiter read clean, 4s | \
         skip error | what it is |\n| --- | --- | --- | --- | --- | --- | --- |"
    );
    let wrong = |s: &Score| {
        let k = &s.steady.kinds;
        k[0][1] + k[0][2] + k[1][0] + k[1][2] + k[2][0] + k[2][1]
    };
    let mut order: Vec<usize> = (0..scores.len())
        .filter(|i| clips[*i].snr >= 10.0)
        .collect();
    order.sort_by_key(|i| std::cmp::Reverse(wrong(&scores[*i])));
    for i in order
        .into_iter()
        .take(15)
        .filter(|i| wrong(&scores[*i]) > 0)
    {
        let (clip, f) = (&clips[i], &scores[i].steady);
        let k = &f.kinds;
        println!(
            "| {} | {} | {}, {} | {}, {} | {}, {} | {:.2} | {} |",
            clip.seed,
            f.read,
            k[0][1],
            k[0][2],
            k[1][0],
            k[1][2],
            k[2][0],
            k[2][1],
            f.skip.1 / f.skip.0.max(1) as f64,
            clip.note
        );
    }
}
