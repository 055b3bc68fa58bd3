//! Readings and machines, written by hand; the machines and their maker are invented.
use engine_note::firing::FiringKind;
use engine_note::guide::{Advice, Direction, FaultId, ReasonId, Screw, Turn};
use engine_note::machine::{Carburetor, Coil, Profile, SpeedRange, Speeds, Use};
use engine_note::reading::{Acceleration, Bog, Hang, Plateau, Reading, Return};
use engine_note::units::{Decibels, Rpm, Seconds};

pub fn plateau(rpm: f64, firing: FiringKind, skips: f64) -> Plateau {
    Plateau {
        held: Seconds(3.0),
        rpm: Rpm(rpm),
        rpm_low: Rpm(rpm - 10.0),
        rpm_high: Rpm(rpm + 10.0),
        spread_rpm: Rpm(15.0),
        spread_pct: 0.2,
        firing,
        firing_share: 0.95,
        skip_ratio: Some(skips),
        confidence: 0.95,
        other_rpm: None,
        clipped_pct: 0.0,
    }
}

pub fn heard(idle: Option<f64>, full: Option<Plateau>) -> Reading {
    Reading {
        heard: Seconds(10.0),
        readable: Seconds(9.0),
        idle: idle.map(|rpm| plateau(rpm, FiringKind::Clean, 0.0)),
        peak_rpm: full.map(|full| full.rpm),
        full_throttle: full,
        level_dbfs: Some(Decibels(-18.0)),
        ..Reading::default()
    }
}

/// A trimmer of an invented maker: idle 2,800 to 3,000, clutch 3,800, full throttle 9,000 to
/// 10,500 rpm.
pub fn trimmer(carburetor: Carburetor, coil: Coil) -> Profile {
    Profile {
        used_for: Some(Use::TrimmerHead),
        carburetor: Some(carburetor),
        coil,
        speeds: Speeds {
            idle: Some(SpeedRange(Rpm(2_800.0), Rpm(3_000.0))),
            clutch_in: Some(Rpm(3_800.0)),
            full_throttle: Some(SpeedRange(Rpm(9_000.0), Rpm(10_500.0))),
            limiter: None,
        },
        ..Profile::default()
    }
}

pub fn moves(advice: &Advice) -> Vec<(Screw, Direction, Turn)> {
    advice
        .moves
        .iter()
        .map(|m| (m.screw, m.direction, m.turns))
        .collect()
}

pub fn suspects(advice: &Advice) -> Vec<FaultId> {
    advice.faults.iter().map(|fault| fault.id).collect()
}

pub fn notes(advice: &Advice, id: ReasonId) -> bool {
    advice.notes.iter().any(|note| note.id == id)
}

pub fn asks(advice: &Advice, key: &str) -> bool {
    advice.questions.iter().any(|question| question.key == key)
}

pub const IDLE: Option<f64> = Some(2_900.0);

pub fn bogged() -> Acceleration {
    Acceleration {
        start: Seconds(3.0),
        from_rpm: Rpm(2_900.0),
        to_rpm: Rpm(9_800.0),
        rise: Seconds(1.6),
        bog: Some(Bog {
            dip_rpm: Rpm(500.0),
            lasts: Seconds(0.7),
        }),
        confidence: 0.9,
    }
}

pub fn hung(plateau: f64) -> Return {
    Return {
        start: Seconds(6.0),
        from_rpm: Rpm(9_800.0),
        idle_rpm: Rpm(2_900.0),
        time: Seconds(3.4),
        hang: Some(Hang {
            plateau_rpm: Rpm(plateau),
            above_idle_rpm: Rpm(plateau - 2_900.0),
            lasts: Seconds(2.0),
            to_the_end: false,
        }),
        confidence: 0.9,
    }
}
