//! A prompt in two short lines, to be read from afar.
use crate::guide::{Direction, Screw};
use crate::procedure::{Prompt, Reference, Throttle, Word};

/// The prompt in two short lines.
pub fn essence(prompt: &Prompt) -> [String; 2] {
    let two = |a: &str, b: &str| [a.to_string(), b.to_string()];
    let asks = |word| prompt.ask.as_ref().is_some_and(|ask| ask.contains(&word));
    if let (Some(screw), Some(direction), Some(turns)) =
        (prompt.screw, prompt.direction, prompt.turns)
    {
        let screw = match screw {
            Screw::High => "HIGH SCREW",
            Screw::Low => "LOW SCREW",
            Screw::Idle => "IDLE SCREW",
        };
        let direction = match direction {
            Direction::In => "IN",
            Direction::Out => "OUT",
        };
        let from = match prompt.from {
            Some(Reference::Seat) => " FROM SEAT",
            Some(Reference::Touch) => " FROM TOUCH",
            Some(Reference::RichStop) => " FROM RICH END",
            Some(Reference::Here) | None => "",
        };
        return two(
            screw,
            &format!("{direction} {}{from}", fraction(turns.turns())),
        );
    }
    match prompt.throttle {
        Some(Throttle::Idle) if prompt.urgent => two("CLOSE", "THROTTLE NOW"),
        Some(Throttle::Idle) => two("CLOSE", "THROTTLE"),
        Some(Throttle::Part) => two("THROTTLE", "UP AND DOWN"),
        Some(Throttle::Full) => two("FULL", "THROTTLE"),
        Some(Throttle::Snap) => two("SNAP", "OPEN, CLOSE"),
        Some(Throttle::Start) => two("START", "ENGINE"),
        Some(Throttle::Stop) => two("STOP", "ENGINE"),
        None if asks(Word::Resume) => two("PAUSED", "P GOES ON"),
        None if asks(Word::AttachmentStill) => two("ATTACHMENT", "TURNING?"),
        None if asks(Word::Stalled) => two("NOT HEARD", "RUNNING?"),
        None if asks(Word::Done) => two("CHECK", "THEN ENTER"),
        None => two("HANDS OFF", "LISTENING"),
    }
}

/// Thirty-seconds of a turn as a fraction.
fn fraction(turns: f64) -> String {
    let count = (turns * 32.0).round() as u32;
    let (whole, mut rest, mut of) = (count / 32, count % 32, 32);
    while rest > 0 && rest.is_multiple_of(2) {
        rest /= 2;
        of /= 2;
    }
    match (whole, rest) {
        (0, 0) => "0".into(),
        (_, 0) => whole.to_string(),
        (0, _) => format!("{rest}/{of}"),
        _ => format!("{whole} {rest}/{of}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::guide::Turn;

    fn prompt() -> Prompt {
        Prompt {
            id: 1,
            step: "high-speed".into(),
            say: "words".into(),
            throttle: None,
            screw: None,
            direction: None,
            turns: None,
            from: None,
            ask: None,
            urgent: false,
        }
    }

    #[test]
    fn fractions_are_as_a_technician_writes_them() {
        for (turns, wanted) in [
            (0.0, "0"),
            (0.125, "1/8"),
            (0.0625, "1/16"),
            (0.25, "1/4"),
            (1.25, "1 1/4"),
            (0.09375, "3/32"),
            (2.0, "2"),
        ] {
            assert_eq!(fraction(turns), wanted);
        }
    }

    #[test]
    fn a_move_is_screw_direction_fraction() {
        let turn = Prompt {
            screw: Some(Screw::Low),
            direction: Some(Direction::Out),
            turns: Some(Turn::EIGHTH),
            from: Some(Reference::Here),
            ..prompt()
        };
        assert_eq!(essence(&turn), ["LOW SCREW", "OUT 1/8"]);
        let base = Prompt {
            turns: Some(Turn::thirty_seconds(40)),
            from: Some(Reference::Seat),
            ..turn
        };
        assert_eq!(essence(&base), ["LOW SCREW", "OUT 1 1/4 FROM SEAT"]);
        let close = Prompt {
            throttle: Some(Throttle::Idle),
            urgent: true,
            ..prompt()
        };
        assert_eq!(essence(&close), ["CLOSE", "THROTTLE NOW"]);
    }
}
