//! Values of the job book on the command line.
use jiff::civil::Date;

use crate::book::{Check, Finding, MoveMade, Screws};
use crate::guide::{Direction, Screw, Turn};
use crate::procedure::{ProofLine, Reference};

/// A day.
pub fn date(text: &str) -> Result<Date, String> {
    text.parse::<Date>()
        .map_err(|_| "give a day as year-month-day, for example 2026-05-04".into())
}

fn number(text: &str, low: f64, high: f64, example: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if (low..=high).contains(&value) => Ok(value),
        _ => Err(format!(
            "give a number from {low} to {high}, for example {example}"
        )),
    }
}

/// A share, given in percent.
pub fn percent(text: &str) -> Result<f64, String> {
    number(text, 0.0, 100.0, "38").map(|percent| percent / 100.0)
}

/// A temperature in °C.
pub fn celsius(text: &str) -> Result<f64, String> {
    number(text, -60.0, 60.0, "18")
}

/// A height in metres.
pub fn metres(text: &str) -> Result<f64, String> {
    number(text, -450.0, 9_000.0, "430")
}

/// Something checked, a colon, what was found.
pub fn check(text: &str) -> Result<Check, String> {
    let example =
        "give what was checked, a colon and what was found, for example `air filter: good`";
    let (what, found) = text.split_once(':').ok_or(example)?;
    let (what, found) = (what.trim(), found.trim());
    if what.is_empty() || found.is_empty() {
        return Err(example.into());
    }
    Ok(Check {
        what: what.into(),
        found: match found {
            "good" | "ok" => Finding::Good,
            "not checked" => Finding::NotChecked,
            words => Finding::Words(words.into()),
        },
    })
}

fn screw(word: &str) -> Option<Screw> {
    match word {
        "high" => Some(Screw::High),
        "low" => Some(Screw::Low),
        "idle" => Some(Screw::Idle),
        _ => None,
    }
}

/// A number of turns, as a decimal or a fraction: 1.25, 1/8, 1 1/4.
fn turns(text: &str) -> Option<f64> {
    let fraction = |text: &str| {
        let (over, under) = text.split_once('/')?;
        let (over, under) = (
            over.trim().parse::<u32>().ok()?,
            under.trim().parse::<u32>().ok()?,
        );
        (under > 0).then(|| f64::from(over) / f64::from(under))
    };
    let plain = |text: &str| text.parse::<f64>().ok().filter(|value| value.is_finite());
    match text.trim().split_once(' ') {
        Some((whole, part)) => Some(f64::from(whole.parse::<u32>().ok()?) + fraction(part)?),
        None => fraction(text).or_else(|| plain(text.trim())),
    }
}

/// Screws with their positions, with commas between.
pub fn positions(text: &str) -> Result<Screws, String> {
    let example = || "give screws and turns, for example high=1.25,low=1,idle=2".to_string();
    let mut screws = Screws::default();
    for part in text.split(',') {
        let (name, value) = part.split_once('=').ok_or_else(example)?;
        let name = screw(name.trim()).ok_or_else(example)?;
        let value = turns(value)
            .filter(|value| value.abs() <= 30.0)
            .ok_or_else(example)?;
        *screws.of(name) = Some(value);
    }
    Ok(screws)
}

/// A turn that was made: screw, way, how far, from where it stood.
pub fn turn(text: &str) -> Result<MoveMade, String> {
    let example = "give screw, way and turns in steps of 1/32, for example `high in 1/8`";
    let mut words = text.trim().splitn(3, ' ');
    let screw = words.next().and_then(screw).ok_or(example)?;
    let direction = match words.next() {
        Some("in") => Direction::In,
        Some("out") => Direction::Out,
        _ => return Err(example.into()),
    };
    let turns = words.next().and_then(turns).ok_or(example)?;
    Ok(MoveMade {
        screw,
        direction,
        turns: Turn::try_from(turns).map_err(|_| example)?,
        from: Reference::Here,
    })
}

/// A line of the proof.
pub fn proof(text: &str) -> Result<ProofLine, String> {
    let example = || {
        "give what was measured, its value and its limits, for example `back to idle, s=2.1::3`"
            .to_string()
    };
    let (line, rest) = match text.rsplit_once('=') {
        Some((line, rest)) => (line.trim(), Some(rest)),
        None => (text.trim(), None),
    };
    if line.is_empty() {
        return Err(example());
    }
    let mut proof = ProofLine {
        line: line.into(),
        value: None,
        low: None,
        high: None,
        within: None,
    };
    let Some(rest) = rest else { return Ok(proof) };
    let mut values = rest.split(':').map(|part| match part.trim() {
        "" => Ok(None),
        part => part
            .parse::<f64>()
            .ok()
            .filter(|value| value.abs() <= 1e9)
            .map(Some)
            .ok_or_else(example),
    });
    proof.value = values.next().transpose()?.flatten();
    proof.low = values.next().transpose()?.flatten();
    proof.high = values.next().transpose()?.flatten();
    let Some(value) = proof.value.filter(|_| values.next().is_none()) else {
        return Err(example());
    };
    let limited = proof.low.is_some() || proof.high.is_some();
    let within =
        proof.low.is_none_or(|low| value >= low) && proof.high.is_none_or(|high| value <= high);
    proof.within = limited.then_some(within);
    Ok(proof)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_are_decimals_or_fractions() {
        for (text, value) in [
            ("1.25", 1.25),
            ("1/8", 0.125),
            ("1 1/4", 1.25),
            ("0", 0.0),
            ("-0.5", -0.5),
        ] {
            assert_eq!(turns(text), Some(value), "{text}");
        }
        for text in ["", "a", "1/0", "inf", "nan", "1 2", "1/2/3", " "] {
            assert_eq!(turns(text), None, "{text}");
        }
    }

    #[test]
    fn screws_and_moves_are_read() {
        let screws = positions("high=1 1/4, low=1,idle=2").unwrap();
        assert_eq!(
            (screws.high, screws.low, screws.idle),
            (Some(1.25), Some(1.0), Some(2.0))
        );
        for wrong in ["", "high", "high=", "middle=1", "high=1,", "high=99"] {
            assert!(positions(wrong).is_err(), "{wrong}");
        }
        let made = turn("low out 1/16").unwrap();
        assert_eq!(
            (made.screw, made.direction, made.turns),
            (Screw::Low, Direction::Out, Turn::SIXTEENTH)
        );
        for wrong in [
            "",
            "high",
            "high in",
            "high up 1/8",
            "high in 1/7",
            "high in -1/8",
            "high  in 1/8",
        ] {
            assert!(turn(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_proof_line_says_whether_it_is_within() {
        let line =
            |text: &str| proof(text).map(|line| (line.value, line.low, line.high, line.within));
        assert_eq!(
            line("idle, rpm=2850:2700:3000"),
            Ok((Some(2_850.0), Some(2_700.0), Some(3_000.0), Some(true)))
        );
        assert_eq!(
            line("back to idle, s=3.5::3"),
            Ok((Some(3.5), None, Some(3.0), Some(false)))
        );
        assert_eq!(
            line("idle, rpm=2850"),
            Ok((Some(2_850.0), None, None, None))
        );
        assert_eq!(line("hot restart"), Ok((None, None, None, None)));
        for wrong in ["", "=1", "a=", "a=:1:2", "a=b", "a=1:2:3:4", "a=nan"] {
            assert!(line(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn checks_have_two_sides() {
        assert_eq!(check("air filter: good").unwrap().found, Finding::Good);
        assert_eq!(
            check("plug: not checked").unwrap().found,
            Finding::NotChecked
        );
        assert_eq!(
            check("line: cracked: replaced").unwrap().found,
            Finding::Words("cracked: replaced".into())
        );
        assert!(check("plug").is_err() && check(": good").is_err() && check("plug: ").is_err());
    }
}
