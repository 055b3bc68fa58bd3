//! A plain engine that answers to its screws; invented, and written for this bench alone.
use engine_note::guide::FaultId;
use engine_note::machine::{Carburetor, Coil, Profile, SpeedRange, Use};
use engine_note::units::Rpm;

use crate::lot::Lot;

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Throttle {
    Idle,
    Part,
    Full,
}

#[derive(Clone, Debug)]
pub struct Engine {
    pub carburetor: Carburetor,
    pub limited: bool,
    pub limiter: f64,
    pub maximum: f64,
    pub clutch_in: Option<f64>,
    bite: Option<f64>,
    pub idle_range: (f64, f64),
    /// Turns out, and turns in of the idle-speed screw from its touch.
    pub high: f64,
    pub low: f64,
    pub idle: f64,
    /// Where four-stroking begins, with the low-speed screw at its peak.
    onset: f64,
    peak_low: f64,
    low_on_high: f64,
    high_on_low: f64,
    fastest: f64,
    /// How far lean of the onset the speed has its peak, in turns.
    peak_at: f64,
    curve: f64,
    skip_slope: f64,
    skip_power: f64,
    idle_mid: f64,
    idle_at_mid: f64,
    idle_a_turn: f64,
    idle_curve: f64,
    warm_up: f64,
    leak: f64,
    starved: f64,
    hang: bool,
    // state
    pub running: bool,
    pub throttle: Throttle,
    pub speed: f64,
    warmth: f64,
    mixture_full: f64,
    mixture_idle: f64,
    t: f64,
    hanging: f64,
    pub skip: f64,
    pub on_limiter: bool,
}

pub fn profile(engine: &Engine, used_for: Use, coil: Coil) -> Profile {
    let mut profile = Profile {
        used_for: Some(used_for),
        carburetor: Some(engine.carburetor),
        coil,
        ..Profile::default()
    };
    let range = |a: f64, b: f64| Some(SpeedRange(Rpm(a), Rpm(b)));
    profile.speeds.idle = range(engine.idle_range.0, engine.idle_range.1);
    profile.speeds.clutch_in = engine.clutch_in.map(Rpm);
    profile.speeds.full_throttle = range(0.9 * engine.maximum, engine.maximum);
    if coil == Coil::Limited {
        profile.speeds.limiter = Some(Rpm(engine.limiter));
    }
    profile
}

impl Engine {
    pub fn drawn(lot: &mut Lot, fault: Option<FaultId>) -> (Engine, Profile) {
        let used_for = lot.one(&[
            Use::TrimmerHead,
            Use::BrushBlade,
            Use::Saw,
            Use::Blower,
            Use::Hedge,
        ]);
        let used_for = if fault == Some(FaultId::Clutch) && used_for == Use::Blower {
            Use::Saw
        } else {
            used_for
        };
        let top = match used_for {
            Use::TrimmerHead => lot.between(8_500.0, 10_500.0),
            Use::BrushBlade => lot.between(10_500.0, 12_500.0),
            Use::Saw => lot.between(12_000.0, 14_000.0),
            Use::Blower => lot.between(7_200.0, 8_500.0),
            Use::Hedge => lot.between(9_000.0, 11_000.0),
        };
        let carburetor = lot.one(&[Carburetor::Butterfly, Carburetor::BarrelValve]);
        let coil = lot.one(&[Coil::Plain, Coil::Limited, Coil::Unknown]);
        let limited = match coil {
            Coil::Plain => false,
            Coil::Limited => true,
            Coil::Unknown => lot.chance(0.5),
        };
        let idle_mid = lot.between(2_500.0, 3_000.0);
        let curve = top * lot.between(0.12, 0.28);
        let peak_at = lot.between(0.15, 0.4);
        let at_onset = top - curve * peak_at * peak_at;
        let maximum = (at_onset * lot.between(0.99, 1.035)).round();
        let clutch = (used_for != Use::Blower).then(|| idle_mid * lot.between(1.32, 1.5));
        let barrel = carburetor == Carburetor::BarrelValve;
        let mut engine = Engine {
            carburetor,
            limited,
            limiter: maximum * lot.between(1.005, 1.05),
            maximum,
            clutch_in: clutch,
            bite: clutch,
            idle_range: (idle_mid - 150.0, idle_mid + 150.0),
            high: lot.between(0.6, 2.4),
            low: lot.between(0.6, 2.2),
            idle: lot.between(0.6, 2.2),
            onset: lot.between(0.95, 1.6),
            peak_low: lot.between(0.95, 1.5),
            low_on_high: lot.between(0.03, 0.15),
            high_on_low: if barrel {
                lot.between(0.3, 0.7)
            } else {
                lot.between(0.03, 0.15)
            },
            fastest: top,
            peak_at,
            curve,
            skip_slope: lot.between(1.5, 6.0),
            skip_power: lot.between(0.9, 1.3),
            idle_mid,
            idle_at_mid: lot.between(0.9, 1.6),
            idle_a_turn: lot.between(900.0, 2_200.0),
            idle_curve: lot.between(2_000.0, 5_000.0),
            warm_up: lot.between(30.0, 90.0),
            leak: 0.0,
            starved: f64::INFINITY,
            hang: false,
            running: false,
            throttle: Throttle::Idle,
            speed: 0.0,
            warmth: 0.0,
            mixture_full: 0.0,
            mixture_idle: 0.0,
            t: 0.0,
            hanging: 0.0,
            skip: 0.0,
            on_limiter: false,
        };
        let profile = profile(&engine, used_for, coil);
        match fault {
            Some(FaultId::AirLeak) => {
                engine.leak = lot.between(0.5, 1.3);
                engine.hang = true;
            }
            Some(FaultId::FuelStarvation) => engine.starved = lot.between(-0.6, -0.2),
            Some(FaultId::Clutch) => engine.bite = Some(idle_mid * lot.between(0.9, 1.12)),
            Some(FaultId::MufflerScreen) => {
                let less = lot.between(0.7, 0.86);
                engine.fastest *= less;
                engine.curve *= less;
            }
            Some(FaultId::Attachment) => {
                let factor = if lot.chance(0.5) {
                    lot.between(1.12, 1.25)
                } else {
                    lot.between(0.72, 0.86)
                };
                engine.fastest *= factor;
                engine.curve *= factor;
            }
            _ => {}
        }
        (engine, profile)
    }

    /// Turns rich of the onset at full throttle.
    fn full_mixture(&self) -> f64 {
        let there = self.high - self.onset + self.low_on_high * (self.low - self.peak_low);
        (there - self.leak).min(self.starved)
    }

    fn idle_mixture(&self) -> f64 {
        self.low - self.peak_low + self.high_on_low * (self.high - self.onset) - 0.8 * self.leak
    }

    fn free_speed(&self, mixture: f64) -> f64 {
        let off = mixture + self.peak_at;
        let steep = if off < 0.0 { 2.5 } else { 1.0 };
        // Beyond a turn or so it falls no faster.
        let fall = if off > 0.9 {
            0.81 + 1.8 * (off - 0.9)
        } else {
            off * off
        };
        (self.fastest - steep * self.curve * fall).max(0.35 * self.fastest)
    }

    /// Where the high-speed screw belongs: just four-stroking, at most the maximum. This
    /// bench calls one turn in ten without a firing just four-stroking: our own choice, the same as
    /// that of the engine on the sounding bench; no published figure is known.
    pub fn ideal(&self) -> f64 {
        let shift = self.low_on_high * (self.low - self.peak_low) - self.leak;
        let mut mixture = 0.1f64.powf(1.0 / self.skip_power) / self.skip_slope;
        while self.free_speed(mixture) > self.maximum {
            mixture += 1.0 / 512.0;
        }
        self.onset - shift + mixture
    }

    pub fn idle_target(&self) -> f64 {
        let g = self.mixture_idle;
        // Far from the peak it falls no faster.
        let off = if g.abs() > 0.35 {
            0.1225 + 0.7 * (g.abs() - 0.35)
        } else {
            g * g
        };
        let fall = (self.idle_curve * off * if g < 0.0 { 1.3 } else { 1.0 }).min(1_500.0);
        let cold = 0.08 * (1.0 - self.warmth);
        let free = (self.idle_mid + self.idle_a_turn * (self.idle - self.idle_at_mid) - fall
            + 900.0 * self.leak)
            * (1.0 - cold);
        match self.bite {
            Some(bite) if free > bite => bite + 0.6 * (free - bite),
            _ => free,
        }
    }

    pub fn attachment_turns(&self) -> bool {
        self.running && self.bite.is_some_and(|bite| self.speed > bite)
    }

    pub fn start(&mut self) {
        self.mixture_idle = self.idle_mixture();
        self.mixture_full = self.full_mixture();
        self.running = true;
        self.throttle = Throttle::Idle;
        self.speed = 2_200.0;
    }

    pub fn warm(&mut self) {
        self.warmth = 1.0;
    }

    /// One hop of `dt` seconds.
    pub fn hop(&mut self, dt: f64) {
        self.t += dt;
        if !self.running {
            self.speed = 0.0;
            self.skip = 0.0;
            return;
        }
        self.warmth += (1.0 - self.warmth) * dt / self.warm_up;
        let lag = 1.0 - (-dt / 0.9f64).exp();
        self.mixture_full += lag * (self.full_mixture() - self.mixture_full);
        self.mixture_idle += lag * (self.idle_mixture() - self.mixture_idle);
        self.on_limiter = false;
        self.skip = 0.0;
        let idle = self.idle_target();
        let target = match self.throttle {
            Throttle::Full => {
                let m = self.mixture_full;
                self.hanging = if self.hang { 4.5 } else { 0.0 };
                self.skip = (self.skip_slope * m.max(0.0))
                    .powf(self.skip_power)
                    .min(0.75);
                self.free_speed(m)
            }
            Throttle::Part => {
                let wave = (self.t * 1.3).sin();
                idle + (0.25 + 0.15 * wave) * (self.fastest - idle)
            }
            Throttle::Idle => {
                self.hanging = (self.hanging - dt).max(0.0);
                if self.hanging > 0.0 { idle * 1.4 } else { idle }
            }
        };
        let time = if target > self.speed { 0.18 } else { 0.35 };
        self.speed += (target - self.speed) * (1.0 - (-dt / time).exp());
        if self.limited && self.speed >= self.limiter {
            self.speed = self.limiter * (1.0 - 0.012 * ((self.t * 12.0).fract()));
            self.on_limiter = true;
            self.skip = 0.25;
        }
        if self.throttle == Throttle::Idle && self.speed < 1_500.0 && idle < 1_500.0 {
            self.running = false;
        }
    }
}
