//! How a session ended, in words.
use crate::guide::FaultId;
use crate::procedure::{Outcome, ProofLine, Verdict};
use crate::report::words;

/// The verdict in a word, to be read from afar.
pub fn verdict(outcome: &Outcome) -> &'static str {
    match outcome.verdict {
        Verdict::Tuned => "TUNED",
        Verdict::Stopped => "STOPPED",
        Verdict::Unfinished => "UNFINISHED",
    }
}

/// The lines of a result.
pub fn lines(outcome: &Outcome) -> Vec<String> {
    let mut lines = vec![
        match outcome.verdict {
            Verdict::Tuned => "Tuned: set and proved.",
            Verdict::Stopped => "Stopped: no setting helps. Look for the fault first.",
            Verdict::Unfinished => "Unfinished: left before its end.",
        }
        .to_string(),
    ];
    if !outcome.proof.is_empty() {
        lines.push(String::new());
        lines.push("Proof".into());
        lines.extend(outcome.proof.iter().map(proof));
    }
    let turns = &outcome.net_turns;
    lines.push(String::new());
    lines.push("Turns since each screw's last absolute setting".into());
    for (screw, turns) in [
        ("high-speed screw", turns.high),
        ("low-speed screw", turns.low),
        ("idle-speed screw", turns.idle),
    ] {
        let way = if turns > 0.0 {
            "out"
        } else if turns < 0.0 {
            "in"
        } else {
            ""
        };
        lines.push(
            format!("  {screw:<18}{:.2} {way}", turns.abs())
                .trim_end()
                .into(),
        );
    }
    if !outcome.faults.is_empty() {
        lines.push(String::new());
        lines.push("Likely faults, the likeliest first".into());
        for (i, fault) in outcome.faults.iter().enumerate() {
            lines.push(format!("  {}. {}", i + 1, words::capital(fault.id.what())));
            lines.push(format!("     why: {}", fault.why));
            lines.push(format!("     check: {}", FaultId::check(fault.id)));
        }
    }
    lines
}

/// A line of the proof: measured, within or outside and by how much.
fn proof(line: &ProofLine) -> String {
    let number = |value: f64| {
        if value.abs() >= 100.0 {
            words::grouped(value.round())
        } else {
            format!("{value:.2}")
        }
    };
    let limits = match (line.low, line.high) {
        (Some(low), Some(high)) => format!("{} to {}", number(low), number(high)),
        (Some(low), None) => format!("at least {}", number(low)),
        (None, Some(high)) => format!("at most {}", number(high)),
        (None, None) => "no limit known".into(),
    };
    let value = line.value.map_or_else(|| "-".into(), number);
    let judged = match (line.within, line.value) {
        (Some(true), _) => "within".into(),
        (Some(false), Some(value)) => {
            let by = match (line.low, line.high) {
                (Some(low), _) if value < low => low - value,
                (_, Some(high)) => value - high,
                _ => 0.0,
            };
            format!("OUTSIDE by {}", number(by))
        }
        (Some(false), None) => "OUTSIDE".into(),
        (None, _) => "not checked".into(),
    };
    format!("  {:<35}{value:>8}  {judged} ({limits})", line.line)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_says_within_or_outside_and_by_how_much() {
        let line = |value: Option<f64>, within: Option<bool>| {
            let text = proof(&ProofLine {
                line: "idle speed, rpm".into(),
                value,
                low: Some(2_700.0),
                high: Some(3_000.0),
                within,
            });
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        };
        assert_eq!(
            line(Some(3_140.0), Some(false)),
            "idle speed, rpm 3,140 OUTSIDE by 140 (2,700 to 3,000)"
        );
        assert_eq!(
            line(Some(2_800.0), Some(true)),
            "idle speed, rpm 2,800 within (2,700 to 3,000)"
        );
        assert_eq!(
            line(None, None),
            "idle speed, rpm - not checked (2,700 to 3,000)"
        );
    }
}
