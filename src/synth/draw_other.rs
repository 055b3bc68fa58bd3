//! Scenes without an engine, drawn by lot.
use super::draw::round;
use super::draw_place::microphone;
use super::random::Random;
use super::scene::{Colour, Noise, Room, Scene};
use super::sound_scene::{Background, Sound};
use crate::units::{Decibels, Hertz, Rpm, Seconds};

/// Kinds of [`draw_other`], so that a corpus can hold each equally often.
pub const OTHER_KINDS: usize = 20;

/// Draws a scene without an engine; `kind` picks what is heard (modulo [`OTHER_KINDS`]).
pub fn draw_other(seed: u64, kind: usize) -> Scene {
    let mut random = Random::new(seed, 110);
    let r = &mut random;
    let (name, sound) = sound(r, kind % OTHER_KINDS);
    let mut scene = Scene {
        note: format!("synthetic, no engine: {name}"),
        seconds: Seconds(round(r.between(8.0, 12.0), 10.0)),
        sample_rate: r.one_of(&[48_000, 48_000, 44_100, 16_000]),
        seed,
        noise: Some(Noise {
            colour: r.one_of(&[Colour::White, Colour::Pink, Colour::Brown]),
            snr: Decibels(r.one_of(&[40.0, 30.0, 20.0, 10.0, 0.0])),
        }),
        microphone: microphone(r),
        ..Scene::default()
    };
    if r.chance(0.6) {
        let reverberation = Seconds(round(r.between_log(0.05, 0.6), 100.0));
        scene.room = Room {
            reverberation,
            level: Decibels(round(r.between(-20.0, 0.0), 1.0)),
            ground: None,
        };
    }
    if sound.is_empty() {
        // Digital silence, or the hiss of a recorder with nothing before it.
        scene.noise = scene.noise.filter(|_| r.chance(0.5));
        scene.microphone.level_dbfs = Decibels(r.between(-85.0, -60.0).round());
        scene.microphone.gain_control = None;
    }
    scene.sounds = sound
        .into_iter()
        .map(|sound| Background {
            sound,
            level: Decibels(0.0),
        })
        .collect();
    if r.chance(0.3) && !scene.sounds.is_empty() {
        let (more, sound) = self::sound(r, r.clone().below(OTHER_KINDS));
        scene.note = format!("{} and {more}", scene.note);
        let level = Decibels(r.between(-15.0, 0.0).round());
        scene
            .sounds
            .extend(sound.into_iter().map(|sound| Background { sound, level }));
    }
    scene
}

fn note(r: &mut Random, low: usize, count: usize) -> Hertz {
    // Equal temperament from A4 = 440 Hz; `low` counts semitones from A1 (55 Hz).
    Hertz(55.0 * 2f64.powf((low + r.below(count)) as f64 / 12.0))
}

fn sound(r: &mut Random, kind: usize) -> (&'static str, Vec<Sound>) {
    let hum = |r: &mut Random, hertz: f64| {
        vec![Sound::Hum {
            hertz: Hertz(hertz),
            harmonics: 4 + r.below(30) as u8,
            tilt: round(r.between(0.0, 12.0), 10.0),
            drift_percent: 0.02,
        }]
    };
    match kind {
        0 => ("mains hum 50 Hz", hum(r, 50.0)),
        1 => ("mains hum 60 Hz", hum(r, 60.0)),
        2 => ("mains hum, rectified", {
            let hertz = r.one_of(&[100.0, 120.0]);
            hum(r, hertz)
        }),
        3 => (
            "voice",
            vec![Sound::Voice {
                hertz: Hertz(r.between_log(80.0, 160.0).round()),
                held: false,
            }],
        ),
        4 => (
            "high voice",
            vec![Sound::Voice {
                hertz: Hertz(r.between_log(160.0, 300.0).round()),
                held: false,
            }],
        ),
        5 => (
            "singing",
            vec![Sound::Voice {
                hertz: Hertz(r.between_log(90.0, 250.0).round()),
                held: true,
            }],
        ),
        6 => {
            let root = note(r, 0, 24);
            let third = r.one_of(&[3.0, 4.0]);
            let hertz = [0.0, third, 7.0]
                .map(|s| Hertz(root.0 * 2f64.powf(s / 12.0)))
                .to_vec();
            let seconds = Seconds(round(r.between(0.5, 10.0), 10.0));
            let plucked = r.chance(0.5);
            (
                "chord",
                vec![Sound::Notes {
                    hertz,
                    together: true,
                    seconds,
                    plucked,
                    vibrato_percent: 0.0,
                }],
            )
        }
        7 => {
            let hertz = vec![note(r, 0, 30)];
            let seconds = Seconds(round(r.between(1.0, 12.0), 10.0));
            let vibrato_percent = if r.chance(0.5) {
                round(r.between(0.1, 1.5), 10.0)
            } else {
                0.0
            };
            let plucked = r.chance(0.4);
            (
                "single note",
                vec![Sound::Notes {
                    hertz,
                    together: false,
                    seconds,
                    plucked,
                    vibrato_percent,
                }],
            )
        }
        8 => {
            let hertz = (0..5).map(|_| note(r, 0, 36)).collect();
            let seconds = Seconds(round(r.between(0.2, 1.0), 10.0));
            let plucked = r.chance(0.5);
            (
                "melody",
                vec![Sound::Notes {
                    hertz,
                    together: false,
                    seconds,
                    plucked,
                    vibrato_percent: 0.2,
                }],
            )
        }
        9 => {
            let rpm = Rpm(r.between(9_000.0, 28_000.0).round());
            (
                "drill",
                vec![Sound::Drill {
                    rpm,
                    presses_per_second: round(r.between_log(0.15, 1.0), 100.0),
                }],
            )
        }
        10 => (
            "vacuum cleaner",
            vec![Sound::Vacuum {
                rpm: Rpm(r.between(12_000.0, 36_000.0).round()),
            }],
        ),
        11 => {
            let gust = Seconds(round(r.between(0.2, 3.0), 10.0));
            (
                "wind",
                vec![Sound::Wind {
                    hertz: Hertz(r.between(15.0, 90.0).round()),
                    gust,
                }],
            )
        }
        12 => (
            "rain",
            vec![Sound::Rain {
                drops: r.between_log(20.0, 800.0).round(),
            }],
        ),
        13 => {
            let per_second = round(r.between(0.8, 3.0), 10.0);
            (
                "dog",
                vec![Sound::Barks {
                    hertz: Hertz(r.between_log(150.0, 600.0).round()),
                    per_second,
                }],
            )
        }
        14 => {
            let hertz = Hertz(r.between_log(2_500.0, 6_500.0).round());
            let crickets = Sound::Crickets {
                hertz,
                per_second: round(r.between(1.0, 4.0), 10.0),
            };
            (
                "crickets and birds",
                vec![
                    crickets,
                    Sound::Birds {
                        hertz: Hertz(3_000.0),
                    },
                ],
            )
        }
        15 => {
            let low = Hertz(r.between(350.0, 700.0).round());
            let high = Hertz((low.0 * r.between(1.3, 2.5)).round());
            let two_tone = r.chance(0.4);
            let per_second = round(r.between_log(0.2, 4.0), 100.0);
            (
                "siren",
                vec![Sound::Siren {
                    low,
                    high,
                    per_second,
                    two_tone,
                }],
            )
        }
        16 => {
            let regular = r.chance(0.5);
            let (per_second, scatter) = if regular {
                (r.one_of(&[1.0, 2.0, 4.0, 5.0]), 0.0)
            } else {
                (round(r.between(0.5, 6.0), 10.0), 0.8)
            };
            let hertz = Hertz(r.between_log(400.0, 4_000.0).round());
            (
                if regular { "clock" } else { "knocks" },
                vec![Sound::Knocks {
                    per_second,
                    scatter,
                    hertz,
                }],
            )
        }
        17 => {
            let per_minute = r.between(80.0, 180.0).round();
            (
                "beat",
                vec![Sound::Beat {
                    per_minute,
                    bass: note(r, 0, 12),
                }],
            )
        }
        18 => (
            "noise",
            vec![if r.chance(0.5) {
                Sound::WhiteNoise
            } else {
                Sound::PinkNoise
            }],
        ),
        _ => ("silence", Vec::new()),
    }
}
