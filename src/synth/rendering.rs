//! Rendering: the layers of a scene, measured once, then mixed block by block.
use super::engine_mix::EngineMix;
use super::error::SceneError;
use super::microphone::{Recorder, Response};
use super::room::Path;
use super::scene::{Colour, Scene};
use super::sound_scene::Sound;
use super::source::{BLOCK, Source, power, source};
use super::truth::{ROW, Truth, TurnTruth};
use super::weather::{Brown, Hiss};

/// A scene on its way into samples. Memory does not grow with the length of the clip, apart from the
/// truth (one entry for each turn and each 10 ms: about 50 MB for the longest clip, an hour).
pub struct Rendering {
    scene: Scene,
    layers: Layers,
    gain: f64,
    recorders: Vec<Recorder>,
    /// Rendered, not yet taken; interleaved.
    ready: Vec<f32>,
    taken: usize,
    /// Samples of each channel rendered so far.
    done: u64,
    length: u64,
    turns: Vec<TurnTruth>,
    powers: Vec<(f64, f64)>,
    clipped: u64,
}

/// Everything up to the recorder: linear, so that each layer can be measured on its own.
struct Layers {
    engine: Option<EngineMix>,
    /// Sounds with their gain; the flag marks those that arise at the microphone itself.
    sounds: Vec<(Box<dyn Source>, f64, bool)>,
    channels: Vec<Channel>,
    noise_gain: f64,
    emitted: Vec<f64>,
    other: Vec<f64>,
    at_microphone: Vec<f64>,
    scratch: Vec<f64>,
}

struct Channel {
    engine_path: Path,
    sound_path: Path,
    engine_response: Response,
    sound_response: Response,
    noise_response: Response,
    noise: Option<Box<dyn Source>>,
    /// What arrives: engine, other sounds, noise at the gain 1.
    engine: Vec<f64>,
    sound: Vec<f64>,
    hiss: Vec<f64>,
}

impl Layers {
    fn new(scene: &Scene) -> Self {
        let rate = f64::from(scene.sample_rate);
        let engine = scene
            .engine
            .as_ref()
            .map(|e| EngineMix::new(e, scene.seed, rate, scene.seconds));
        let sounds = scene
            .sounds
            .iter()
            .enumerate()
            .map(|(i, background)| {
                let seed = scene.seed.wrapping_add(1_000 + i as u64);
                let build = || source(&background.sound, seed, rate, scene.seconds);
                let measured = power(&mut *build(), rate, scene.seconds);
                let gain = if measured > 1e-30 {
                    background.level.amplitude() / measured.sqrt()
                } else {
                    0.0
                };
                (
                    build(),
                    gain,
                    matches!(background.sound, Sound::Wind { .. }),
                )
            })
            .collect();
        let channels = (0..u64::from(scene.channels))
            .map(|c| Channel::new(scene, c))
            .collect();
        let block = || vec![0.0; BLOCK];
        Layers {
            engine,
            sounds,
            channels,
            noise_gain: 0.0,
            emitted: block(),
            other: block(),
            at_microphone: block(),
            scratch: block(),
        }
    }

    fn advance(&mut self, mut turn: impl FnMut(TurnTruth)) {
        match &mut self.engine {
            Some(engine) => engine.fill_with(&mut self.emitted, |t| turn(TurnTruth::new(t))),
            None => self.emitted.fill(0.0),
        }
        self.other.fill(0.0);
        self.at_microphone.fill(0.0);
        for (source, gain, direct) in &mut self.sounds {
            source.fill(&mut self.scratch);
            let sum = if *direct {
                &mut self.at_microphone
            } else {
                &mut self.other
            };
            for (y, x) in sum.iter_mut().zip(&self.scratch) {
                *y += *gain * x;
            }
        }
        for channel in &mut self.channels {
            match &mut channel.noise {
                Some(noise) => noise.fill(&mut channel.hiss),
                None => channel.hiss.fill(0.0),
            }
            for i in 0..BLOCK {
                channel.engine[i] = channel
                    .engine_response
                    .run(channel.engine_path.run(self.emitted[i]));
                let sound = channel.sound_path.run(self.other[i]) + self.at_microphone[i];
                channel.sound[i] = channel.sound_response.run(sound);
                channel.hiss[i] = self.noise_gain * channel.noise_response.run(channel.hiss[i]);
            }
        }
    }
}

impl Channel {
    fn new(scene: &Scene, channel: u64) -> Self {
        let rate = f64::from(scene.sample_rate);
        let response = || Response::new(&scene.microphone, rate);
        let seed = scene.seed.wrapping_add(77 + 13 * channel);
        let noise = scene.noise.map(|noise| -> Box<dyn Source> {
            match noise.colour {
                Colour::White => Box::new(Hiss::white(seed)),
                Colour::Pink => Box::new(Hiss::pink(seed)),
                Colour::Brown => Box::new(Brown::new(seed, rate)),
            }
        });
        Channel {
            engine_path: Path::new(&scene.room, scene.seed, channel, rate),
            sound_path: Path::new(&scene.room, scene.seed.wrapping_add(5), channel, rate),
            engine_response: response(),
            sound_response: response(),
            noise_response: response(),
            noise,
            engine: vec![0.0; BLOCK],
            sound: vec![0.0; BLOCK],
            hiss: vec![0.0; BLOCK],
        }
    }
}

impl Rendering {
    fn new(scene: &Scene) -> Result<Self, SceneError> {
        scene.check()?;
        let rate = f64::from(scene.sample_rate);
        let length = (scene.seconds.0 * rate).round() as u64;
        let mut trial = Layers::new(scene);
        trial.noise_gain = 1.0;
        let [engine, sound, noise] = measure(&mut trial, length);
        let reference = if scene.engine.is_some() {
            engine
        } else {
            sound
        };
        let wanted = scene.noise.map_or(0.0, |n| {
            if reference > 0.0 {
                reference / n.snr.amplitude().powi(2)
            } else {
                1.0
            }
        });
        let mut layers = Layers::new(scene);
        layers.noise_gain = if noise > 0.0 {
            (wanted / noise).sqrt()
        } else {
            0.0
        };
        let total = engine + sound + if noise > 0.0 { wanted } else { 0.0 };
        let gain = if total > 0.0 {
            scene.microphone.level_dbfs.amplitude() / total.sqrt()
        } else {
            0.0
        };
        let recorders = (0..scene.channels)
            .map(|_| Recorder::new(&scene.microphone, rate))
            .collect();
        Ok(Rendering {
            scene: scene.clone(),
            layers,
            gain,
            recorders,
            ready: Vec::new(),
            taken: 0,
            done: 0,
            length,
            turns: Vec::new(),
            powers: Vec::new(),
            clipped: 0,
        })
    }

    /// Samples of each channel in the whole clip.
    pub fn length(&self) -> u64 {
        self.length
    }

    /// Fills `out` with the next samples (channels interleaved) and says how many there were; fewer
    /// than asked for only at the end. The size of `out` never changes a sample.
    pub fn fill(&mut self, out: &mut [f32]) -> usize {
        let mut filled = 0;
        while filled < out.len() {
            if self.taken == self.ready.len() && !self.render_block() {
                break;
            }
            let n = (out.len() - filled).min(self.ready.len() - self.taken);
            out[filled..filled + n].copy_from_slice(&self.ready[self.taken..self.taken + n]);
            filled += n;
            self.taken += n;
        }
        filled
    }

    /// Renders the rest and hands over all samples (channels interleaved) with the truth.
    pub fn finish(mut self) -> (Vec<f32>, Truth) {
        let mut samples = Vec::new();
        let mut block = vec![0.0; 4_096];
        loop {
            let n = self.fill(&mut block);
            if n == 0 {
                break;
            }
            samples.extend_from_slice(&block[..n]);
        }
        (samples, self.truth())
    }

    /// The truth of what has been rendered so far; complete once [`Rendering::fill`] gave nothing.
    pub fn truth(&self) -> Truth {
        let all = self.done * u64::from(self.scene.channels);
        let clipped = if all > 0 {
            self.clipped as f64 / all as f64
        } else {
            0.0
        };
        let mut turns = self.turns.clone();
        turns.retain(|t| t.start_s < self.scene.seconds.0);
        Truth::new(&self.scene, turns, &self.powers, clipped, self.scene.seed)
    }

    fn render_block(&mut self) -> bool {
        let n = (self.length - self.done).min(BLOCK as u64) as usize;
        self.ready.clear();
        self.taken = 0;
        if n == 0 {
            return false;
        }
        let turns = &mut self.turns;
        self.layers.advance(|t| turns.push(t));
        let rate = f64::from(self.scene.sample_rate);
        for i in 0..n {
            for (channel, recorder) in self.layers.channels.iter().zip(&mut self.recorders) {
                let x = channel.engine[i] + channel.sound[i] + channel.hiss[i];
                let y = recorder.run(self.gain * x);
                self.clipped += u64::from(y.abs() >= 1.0);
                self.ready.push(y);
            }
            let row = ((self.done + i as u64) as f64 / (ROW * rate)) as usize;
            if self.powers.len() <= row {
                self.powers.resize(row + 1, (0.0, 0.0));
            }
            if let Some(channel) = self.layers.channels.first() {
                self.powers[row].0 += channel.engine[i].powi(2);
                self.powers[row].1 += channel.hiss[i].powi(2);
            }
        }
        self.done += n as u64;
        true
    }
}

/// Begins to render a scene: checks it and measures its layers, for which it runs through the clip
/// beforehand (three times with an engine).
///
/// # Errors
/// Those of [`Scene::check`].
pub fn render(scene: &Scene) -> Result<Rendering, SceneError> {
    Rendering::new(scene)
}

/// Mean powers of engine, other sounds and noise (at the gain 1) at the first microphone.
fn measure(layers: &mut Layers, length: u64) -> [f64; 3] {
    let mut sums = [0.0; 3];
    let mut done = 0;
    while done < length {
        layers.advance(|_| {});
        let n = (length - done).min(BLOCK as u64) as usize;
        if let Some(channel) = layers.channels.first() {
            for (sum, part) in sums
                .iter_mut()
                .zip([&channel.engine, &channel.sound, &channel.hiss])
            {
                *sum += part[..n].iter().map(|x| x * x).sum::<f64>();
            }
        }
        done += n as u64;
    }
    sums.map(|sum| sum / done.max(1) as f64)
}
