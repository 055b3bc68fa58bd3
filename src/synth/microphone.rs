//! The recorder: filters (linear, so that each layer may pass on its own), then gain and clipping.
use super::filter::Chain;
use super::scene::{Clipping, GainControl, Microphone};

/// The linear part.
#[derive(Clone, Debug)]
pub(super) struct Response {
    high_pass: Chain,
    low_pass: Chain,
}

impl Response {
    pub(super) fn new(microphone: &Microphone, rate: f64) -> Self {
        Response {
            high_pass: microphone.roll_off.map_or_else(Chain::default, |r| {
                Chain::high_pass(r.hertz.0, usize::from(r.order), rate)
            }),
            low_pass: microphone
                .low_pass
                .map_or_else(Chain::default, |f| Chain::low_pass(f.0, 4, rate)),
        }
    }

    pub(super) fn run(&mut self, x: f64) -> f64 {
        self.low_pass.run(self.high_pass.run(x))
    }
}

/// The part that bends the sound: automatic gain, clipping.
#[derive(Clone, Debug)]
pub(super) struct Recorder {
    control: Option<GainControl>,
    clipping: Clipping,
    attack: f64,
    release: f64,
    power: f64,
}

impl Recorder {
    pub(super) fn new(microphone: &Microphone, rate: f64) -> Self {
        let pull = |seconds: f64| 1.0 - (-1.0 / (seconds * rate)).exp();
        let control = microphone.gain_control;
        Recorder {
            control,
            clipping: microphone.clipping,
            attack: control.map_or(1.0, |c| pull(c.attack.0)),
            release: control.map_or(1.0, |c| pull(c.release.0)),
            power: microphone.level_dbfs.amplitude().powi(2),
        }
    }

    pub(super) fn run(&mut self, x: f64) -> f32 {
        let mut y = x;
        if let Some(control) = self.control {
            let pull = if x * x > self.power {
                self.attack
            } else {
                self.release
            };
            self.power += pull * (x * x - self.power);
            let wanted = control.target_dbfs.amplitude() / self.power.max(1e-12).sqrt();
            y *= wanted.min(control.most.amplitude());
        }
        match self.clipping {
            Clipping::Hard => y.clamp(-1.0, 1.0) as f32,
            Clipping::Soft => y.tanh() as f32,
        }
    }
}
