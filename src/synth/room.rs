//! The way of the sound: direct, one strong reflection, early reflections and a decaying tail.
use super::random::Random;
use super::scene::Room;

/// A delay line.
#[derive(Clone, Debug)]
struct Delay {
    line: Vec<f64>,
    at: usize,
}

impl Delay {
    fn new(samples: usize) -> Self {
        Delay { line: vec![0.0; samples.max(1)], at: 0 }
    }

    /// What went in `line.len()` samples ago.
    fn oldest(&self) -> f64 {
        self.line[self.at]
    }

    /// What went in `ago` samples ago, 1 to the length.
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
                (((seconds * rate) as usize).max(1), if random.chance(0.5) { gain } else { -gain })
            })
            .collect();
        let damping = random.between(0.15, 0.6);
        Tail { lines, damping, early: Delay::new((size * 0.05 * rate) as usize + 2), taps }
    }

    fn run(&mut self, x: f64) -> f64 {
        let mut out: f64 = self.taps.iter().map(|&(ago, gain)| gain * self.early.ago(ago)).sum();
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

/// From the source to the microphone.
#[derive(Clone, Debug)]
pub(super) struct Path {
    ground: Option<(Delay, f64, f64)>,
    tail: Option<(Tail, f64)>,
}

impl Path {
    pub(super) fn new(room: &Room, seed: u64, channel: u64, rate: f64) -> Self {
        let mut random = Random::new(seed, 20 + channel);
        let ground = room.ground.map(|ground| {
            // The second microphone stands a little elsewhere.
            let shift = if channel == 0 { 1.0 } else { random.between(0.8, 1.25) };
            let samples = (ground.delay_ms * 1e-3 * rate * shift).max(1.0);
            let whole = samples.floor();
            (Delay::new(whole as usize + 1), samples - whole, ground.gain)
        });
        let tail = (room.reverberation.0 > 0.0).then(|| {
            let tail = Tail::new(room.reverberation.0, rate, &mut random);
            // The energy of its answer to a single sample sets the level.
            let mut trial = tail.clone();
            let n = (1.5 * room.reverberation.0.min(2.0) * rate) as usize + 64;
            let energy: f64 = (0..n).map(|i| trial.run(if i == 0 { 1.0 } else { 0.0 }).powi(2)).sum();
            (tail, room.level.amplitude() / energy.max(1e-30).sqrt())
        });
        Path { ground, tail }
    }

    pub(super) fn run(&mut self, x: f64) -> f64 {
        let mut y = x;
        if let Some((delay, fraction, gain)) = &mut self.ground {
            let whole = delay.line.len() - 1;
            let near = if whole == 0 { x } else { delay.ago(whole) };
            let reflected = near + *fraction * (delay.oldest() - near);
            delay.push(x);
            y += *gain * reflected;
        }
        if let Some((tail, gain)) = &mut self.tail {
            y += *gain * tail.run(x);
        }
        y
    }
}
