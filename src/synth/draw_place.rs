//! Surroundings drawn by lot: noise, room, other sounds, recorder.
use super::draw::round;
use super::draw_timbre::timbre;
use super::engine_scene::{Course, Engine, Segment};
use super::plan::Plan;
use super::random::Random;
use super::scene::{Clipping, Colour, GainControl, Microphone, Noise, Reflection, RollOff, Room};
use super::sound_scene::{Background, Sound};
use crate::units::{Decibels, Hertz, Rpm, Seconds};

/// Broadband noise by lot.
pub(super) fn noise(r: &mut Random) -> Option<Noise> {
    let colour = r.one_of(&[
        Colour::White,
        Colour::White,
        Colour::Pink,
        Colour::Pink,
        Colour::Brown,
    ]);
    let snr = Decibels(r.one_of(&[40.0, 20.0, 20.0, 10.0, 10.0, 10.0, 0.0, 0.0]));
    Some(Noise { colour, snr })
}

/// A place by lot.
pub(super) fn room(r: &mut Random) -> Room {
    let ground = r.chance(0.65).then(|| Reflection {
        delay_ms: round(r.between_log(0.4, 12.0), 100.0),
        gain: round(
            r.between(0.2, 0.9) * if r.chance(0.8) { 1.0 } else { -1.0 },
            100.0,
        ),
        sway_percent: if r.chance(0.5) {
            round(r.between_log(0.3, 5.0), 10.0)
        } else {
            0.0
        },
    });
    if r.chance(0.35) {
        return Room {
            ground,
            ..Room::default()
        };
    }
    let reverberation = Seconds(round(r.between_log(0.05, 0.6), 100.0));
    Room {
        reverberation,
        level: Decibels(round(r.between(-20.0, 0.0), 1.0)),
        ground,
    }
}

/// A recorder by lot.
pub(super) fn microphone(r: &mut Random) -> Microphone {
    let corners = [
        0.0, 0.0, 0.0, 0.0, 20.0, 40.0, 40.0, 60.0, 60.0, 80.0, 80.0, 100.0, 100.0, 150.0, 150.0,
    ];
    let hertz = if r.chance(0.05) {
        r.one_of(&[200.0, 300.0])
    } else {
        r.one_of(&corners)
    };
    let roll_off = (hertz > 0.0).then(|| RollOff {
        hertz: Hertz(hertz),
        order: r.one_of(&[1, 1, 2, 2, 2, 3, 4]),
    });
    let clipped = r.chance(0.1);
    Microphone {
        roll_off,
        low_pass: r
            .chance(0.2)
            .then(|| Hertz(r.between_log(3_000.0, 7_500.0).round())),
        level_dbfs: Decibels(
            if clipped {
                r.between(-9.0, 0.0)
            } else {
                r.between(-34.0, -20.0)
            }
            .round(),
        ),
        gain_control: (!clipped && r.chance(0.25)).then(|| GainControl {
            target_dbfs: Decibels(r.between(-26.0, -16.0).round()),
            attack: Seconds(round(r.between_log(0.005, 0.2), 1000.0)),
            release: Seconds(round(r.between_log(0.1, 2.0), 100.0)),
            most: Decibels(20.0),
        }),
        clipping: if r.chance(0.3) {
            Clipping::Soft
        } else {
            Clipping::Hard
        },
    }
}

/// Other sounds by lot, in two clips of five.
pub(super) fn backgrounds(r: &mut Random) -> Vec<Background> {
    if r.chance(0.6) {
        return Vec::new();
    }
    let count = 1 + r.below(2);
    (0..count)
        .map(|_| {
            let (sound, low, high) = match r.below(8) {
                0 => {
                    let hertz = Hertz(r.one_of(&[50.0, 60.0]));
                    (
                        Sound::Hum {
                            hertz,
                            harmonics: 12,
                            tilt: 6.0,
                            drift_percent: 0.02,
                        },
                        -35.0,
                        -12.0,
                    )
                }
                1 => {
                    // Machines somewhere else: steady lines.
                    let hertz = Hertz(r.one_of(&[40.0, 60.0, 65.0, 78.0, 80.0, 160.0]));
                    let harmonics = 1 + r.below(4) as u8;
                    (
                        Sound::Hum {
                            hertz,
                            harmonics,
                            tilt: 3.0,
                            drift_percent: 0.3,
                        },
                        -30.0,
                        -8.0,
                    )
                }
                2 => (
                    Sound::Voice {
                        hertz: Hertz(r.between_log(90.0, 260.0).round()),
                        held: false,
                    },
                    -28.0,
                    -10.0,
                ),
                3 => (Sound::SecondEngine(Box::new(far_engine(r))), -26.0, -12.0),
                4 | 5 => {
                    let gust = Seconds(round(r.between(0.3, 3.0), 10.0));
                    (
                        Sound::Wind {
                            hertz: Hertz(r.between(15.0, 60.0).round()),
                            gust,
                        },
                        -20.0,
                        3.0,
                    )
                }
                6 => (
                    Sound::Birds {
                        hertz: Hertz(r.between_log(1_800.0, 5_000.0).round()),
                    },
                    -35.0,
                    -18.0,
                ),
                _ => {
                    let hertz = Hertz(r.between_log(300.0, 3_000.0).round());
                    (
                        Sound::Knocks {
                            per_second: round(r.between(0.5, 4.0), 10.0),
                            scatter: 0.6,
                            hertz,
                        },
                        -30.0,
                        -12.0,
                    )
                }
            };
            Background {
                sound,
                level: Decibels(r.between(low, high).round()),
            }
        })
        .collect()
}

fn far_engine(r: &mut Random) -> Engine {
    let mut engine = Engine {
        idle: Rpm(2_400.0),
        full: Rpm(r.between(3_500.0, 9_000.0).round()),
        wander_percent: r.between(0.05, 0.5),
        ..Engine::default()
    };
    engine.timbre = timbre(r, &engine);
    engine.schedule = vec![Segment::new(
        Course::Hold,
        engine.full,
        Seconds(60.0),
        Plan::Clean,
    )];
    engine
}
