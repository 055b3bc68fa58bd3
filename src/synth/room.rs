//! The way of the sound: direct, one strong reflection, early reflections and a decaying tail.
use super::random::Random;
use super::scene::{Reflection, Room};

/// A delay line.
#[derive(Clone, Debug)]
struct Delay {
    line: Vec<f64>,
    at: usize,
}

impl Delay {
    fn new(samples: usize) -> Self {
        Delay {
            line: vec![0.0; samples.max(1)],
            at: 0,
        }
    }

    /// What went in `line.len()` pushes ago.
    fn oldest(&self) -> f64 {
        self.line[self.at]
    }

    /// What went in at the push `ago` pushes back, 1 (the last) to the length.
    fn ago(&self, ago: usize) -> f64 {
        let n = self.line.len();
        self.line[(self.at + n - ago.clamp(1, n)) % n]
    }

    fn push(&mut self, x: f64) {
        self.line[self.at] = x;
        self.at = (self.at + 1) % self.line.len();
    }
}

const LINES: usize = 8;

/// The room as eight delay lines that feed one another (a feedback delay network with a Householder
/// matrix; Jot 1991, from memory), each with damping of the high frequencies.
#[derive(Clone, Debug)]
struct Tail {
    lines: Vec<(Delay, f64, f64)>,
    damping: f64,
    early: Delay,
    taps: Vec<(usize, f64)>,
}

impl Tail {
    fn new(reverberation: f64, rate: f64, random: &mut Random) -> Self {
        // Path lengths of a room that rings that long: 4 to 30 m.
        let size = reverberation.clamp(0.05, 1.5).sqrt();
        let lines = (0..LINES)
            .map(|_| {
                let seconds = size * random.between(0.015, 0.075);
                let delay = Delay::new((seconds * rate) as usize + 1);
                let gain = 10f64.powf(-3.0 * seconds / reverberation);
                (delay, gain, 0.0)
            })
            .collect();
        let taps = (0..8)
            .map(|_| {
                let seconds = size * random.between(0.002, 0.05);
                let gain = 10f64.powf(-3.0 * seconds / reverberation) * random.between(0.3, 1.0);
                (
                    ((seconds * rate) as usize).max(1),
                    if random.chance(0.5) { gain } else { -gain },
                )
            })
            .collect();
        let damping = random.between(0.15, 0.6);
        Tail {
            lines,
            damping,
            early: Delay::new((size * 0.05 * rate) as usize + 2),
            taps,
        }
    }

    fn run(&mut self, x: f64) -> f64 {
        let mut out: f64 = self
            .taps
            .iter()
            .map(|&(ago, gain)| gain * self.early.ago(ago))
            .sum();
        self.early.push(x);
        let mut ends = [0.0; LINES];
        for (end, (delay, gain, low)) in ends.iter_mut().zip(&mut self.lines) {
            // Half of the sound decays at the stated rate at every frequency, the rest loses its highs.
            *low += (1.0 - self.damping) * (delay.oldest() - *low);
            *end = *gain * *low;
        }
        let sum: f64 = ends.iter().sum();
        let back = 2.0 * sum / LINES as f64;
        for ((delay, ..), end) in self.lines.iter_mut().zip(ends) {
            delay.push(x + end - back);
        }
        for (i, end) in ends.iter().enumerate() {
            out += if i % 2 == 0 { *end } else { -*end };
        }
        out
    }
}

/// One strong reflection whose delay may sway.
#[derive(Clone, Debug)]
struct Ground {
    delay: Delay,
    samples: f64,
    gain: f64,
    sway: f64,
    size: f64,
    speed: f64,
    pull: f64,
    random: Random,
}

impl Ground {
    fn new(ground: &Reflection, mut random: Random, channel: u64, rate: f64) -> Self {
        // The second microphone stands a little elsewhere.
        let shift = if channel == 0 {
            1.0
        } else {
            random.between(0.8, 1.25)
        };
        let samples = (ground.delay_ms * 1e-3 * rate * shift).max(1.0);
        let size = 0.01 * ground.sway_percent;
        // It sways within half a second, at most by four standard deviations.
        let longest = (samples * (1.0 + 4.0 * size)) as usize + 3;
        Ground {
            delay: Delay::new(longest),
            samples,
            gain: ground.gain,
            sway: 0.0,
            size,
            speed: 0.0,
            pull: 1.0 / (0.5 * rate),
            random,
        }
    }

    fn run(&mut self, x: f64) -> f64 {
        let mut ago = self.samples;
        if self.size > 0.0 {
            // A random force on a damped spring: smooth, standard deviation 1.
            let noise = 2.0 * self.pull.sqrt() * self.random.normal();
            self.speed += self.pull * (-2.0 * self.speed - self.sway) + noise;
            self.sway += self.pull * self.speed;
            ago = (ago * (1.0 + self.size * self.sway.clamp(-4.0, 4.0))).max(1.0);
        }
        self.delay.push(x);
        let whole = ago.floor();
        // What went in just now is one push old.
        let near = self.delay.ago(whole as usize + 1);
        let far = self.delay.ago(whole as usize + 2);
        self.gain * (near + (ago - whole) * (far - near))
    }
}

/// From the source to the microphone.
#[derive(Clone, Debug)]
pub(super) struct Path {
    ground: Option<Ground>,
    tail: Option<(Tail, f64)>,
}

impl Path {
    pub(super) fn new(room: &Room, seed: u64, channel: u64, rate: f64) -> Self {
        let mut random = Random::new(seed, 20 + channel);
        let ground = room
            .ground
            .map(|g| Ground::new(&g, Random::new(seed, 24 + channel), channel, rate));
        let tail = (room.reverberation.0 > 0.0).then(|| {
            let tail = Tail::new(room.reverberation.0, rate, &mut random);
            // The energy of its answer to a single sample sets the level.
            let mut trial = tail.clone();
            let n = (1.5 * room.reverberation.0.min(2.0) * rate) as usize + 64;
            let energy: f64 = (0..n)
                .map(|i| trial.run(if i == 0 { 1.0 } else { 0.0 }).powi(2))
                .sum();
            (tail, room.level.amplitude() / energy.max(1e-30).sqrt())
        });
        Path { ground, tail }
    }

    pub(super) fn run(&mut self, x: f64) -> f64 {
        let mut y = x;
        if let Some(ground) = &mut self.ground {
            y += ground.run(x);
        }
        if let Some((tail, gain)) = &mut self.tail {
            y += *gain * tail.run(x);
        }
        y
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Decibels, Seconds};

    fn answer(room: &Room, rate: f64, n: usize) -> Vec<f64> {
        let mut path = Path::new(room, 1, 0, rate);
        (0..n)
            .map(|i| path.run(if i == 0 { 1.0 } else { 0.0 }))
            .collect()
    }

    #[test]
    fn reflection_comes_when_and_as_strong_as_asked() {
        let ground = Some(Reflection {
            delay_ms: 2.0,
            gain: -0.5,
            sway_percent: 0.0,
        });
        let x = answer(
            &Room {
                ground,
                ..Room::default()
            },
            48_000.0,
            200,
        );
        for (i, &x) in x.iter().enumerate() {
            let expected = [(0, 1.0), (96, -0.5)]
                .iter()
                .find(|p| p.0 == i)
                .map_or(0.0, |p| p.1);
            assert!((x - expected).abs() < 1e-9, "sample {i}: {x}");
        }
    }

    #[test]
    fn room_falls_by_sixty_decibels_in_its_time() {
        for seconds in [0.1, 0.3, 0.6] {
            let room = Room {
                reverberation: Seconds(seconds),
                level: Decibels(0.0),
                ground: None,
            };
            let rate = 16_000.0;
            let x = answer(&room, rate, (1.2 * seconds * rate) as usize);
            let energy = |from: f64, to: f64| -> f64 {
                x[(from * seconds * rate) as usize..(to * seconds * rate) as usize]
                    .iter()
                    .map(|x| x * x)
                    .sum()
            };
            // 24 dB between the middles of two stretches that lie 0.4 of the time apart.
            let fall = 10.0 * (energy(0.3, 0.6) / energy(0.7, 1.0)).log10();
            // The highs fall faster.
            assert!(
                (21.0..36.0).contains(&fall),
                "{fall} dB in a room of {seconds} s"
            );
            let all: f64 = x[1..].iter().map(|x| x * x).sum();
            assert!((all - 1.0).abs() < 0.02, "{all}");
        }
    }
}
