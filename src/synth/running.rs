//! An engine on the bench as it runs: a millisecond at a time under the present throttle and screws.
use std::f64::consts::TAU;

use super::ailment::Ailment;
use super::ceiling::Ceiling;
use super::plan::Plan;
use super::random::Random;
use super::specimen::{Settings, Specimen};
use super::speed::{Point, STEP, Wander};
use crate::units::Rpm;

/// What the technician's hands do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Controls {
    /// Where the screws stand.
    pub settings: Settings,
    /// Where the finger holds the throttle, 0 (released) to 1 (full).
    pub throttle: f64,
    /// The stop switch is off.
    pub ignition: bool,
    /// The starter is being pulled, again and again.
    pub pulling: bool,
}

/// An opening beyond this asks more of a lean idle than it can give.
const WIDE: f64 = 0.6;
/// How fast a finger moves the throttle, in ways from end to end a second.
const FINGER: f64 = 5.0;
/// Seconds from one pull of the starter to the next.
const PULL: f64 = 1.1;
/// Seconds under the stalling speed until it stands.
const STALLS_AFTER: f64 = 0.25;

/// State of an engine that runs, or stands.
#[derive(Clone, Debug)]
pub(super) struct Running {
    specimen: Specimen,
    random: Random,
    runs: bool,
    rpm: f64,
    throttle: f64,
    heat: f64,
    idle_mixture: f64,
    full_mixture: f64,
    /// Fuel at hand at full throttle, 0 to 1.
    at_hand: f64,
    /// Extra idle speed that hangs, in rpm.
    hanging: f64,
    /// Seconds of bog left, and its depth.
    bog: (f64, f64),
    slow_for: f64,
    pulled: f64,
    pulls_needed: f64,
    hunting: f64,
    wander: Wander,
    restless: Wander,
    ceiling: Ceiling,
    plan: Plan,
}

impl Running {
    pub(super) fn new(specimen: &Specimen, seed: u64, heat: f64, runs: bool) -> Self {
        let mut random = Random::new(seed, 200);
        let mut wander = Wander::new(1.5, 0.3);
        for _ in 0..5_000 {
            wander.next(&mut random);
        }
        let idle_mixture = specimen.idle_mixture(&specimen.found, heat);
        let rpm = specimen.idle_speed(specimen.found.idle, idle_mixture).0;
        Running {
            specimen: specimen.clone(),
            random,
            runs,
            rpm: if runs { rpm } else { 0.0 },
            throttle: 0.0,
            heat,
            idle_mixture,
            full_mixture: specimen.full_mixture(&specimen.found, heat),
            at_hand: 1.0,
            hanging: 0.0,
            bog: (0.0, 0.0),
            slow_for: 0.0,
            pulled: 0.0,
            pulls_needed: 2.0,
            hunting: 0.0,
            wander,
            restless: Wander::new(0.2, 0.06),
            ceiling: Ceiling::default(),
            plan: Plan::Clean,
        }
    }

    pub(super) fn runs(&self) -> bool {
        self.runs
    }

    pub(super) fn rpm(&self) -> Rpm {
        Rpm(self.rpm)
    }

    pub(super) fn clutch(&self) -> Option<Rpm> {
        self.specimen.clutch()
    }

    pub(super) fn heat(&self) -> f64 {
        self.heat
    }

    pub(super) fn throttle(&self) -> f64 {
        self.throttle
    }

    /// Which turns that begin now fire.
    pub(super) fn plan(&self) -> &Plan {
        &self.plan
    }

    /// One [`STEP`] on.
    pub(super) fn step(&mut self, controls: &Controls) -> Point {
        let before = self.throttle;
        let way = controls.throttle.clamp(0.0, 1.0) - self.throttle;
        self.throttle += way.clamp(-FINGER * STEP, FINGER * STEP);
        let wander = self.wander.next(&mut self.random);
        let restless = self.restless.next(&mut self.random);
        self.warm();
        self.carburet(&controls.settings);
        if before < WIDE && self.throttle >= WIDE {
            self.open();
        }
        if !controls.ignition {
            self.runs = false;
        }
        if !self.runs {
            return self.stand(controls);
        }
        self.pulled = 0.0;
        let s = &self.specimen;
        let cold = 1.0 - s.cold_slow * (1.0 - self.heat);
        let idle = s.idle_speed(controls.settings.idle, self.idle_mixture).0 * cold + self.hanging;
        let mut full = s.full_speed(self.full_mixture).0;
        if let Some(Ailment::FuelStarvation { fades, .. }) = s.ailment {
            full *= 1.0 - fades * self.thin();
        }
        let filled = 1.0 - (1.0 - self.throttle).powf(s.throttle_curve);
        let mut goal = idle + (full - idle) * filled;
        if self.bog.0 > 0.0 {
            goal = goal.min(self.rpm * (1.0 - self.bog.1));
            self.bog.0 -= STEP;
        }
        let time = if goal > self.rpm {
            // A very rich idle takes the throttle slowly.
            s.inertia.0.0 * (1.0 + 3.0 * (self.idle_mixture - 0.5).max(0.0))
        } else {
            s.inertia.1.0
        };
        self.rpm += (goal - self.rpm) * STEP / time;
        let wander_percent =
            s.idle_wander_percent + (s.engine.wander_percent - s.idle_wander_percent) * filled;
        let mut factor = 1.0 + 0.01 * wander_percent * wander;
        if self.throttle < 0.12 {
            factor += 0.006 * s.engine.timbre.variation_idle * restless;
        }
        if let Some(Ailment::AirLeak {
            hunting,
            depth_percent,
            ..
        }) = s.ailment
        {
            self.hunting += STEP * hunting.0 * (1.0 + 0.15 * wander);
            factor += 0.01 * depth_percent * (1.0 - filled) * (TAU * self.hunting).sin();
        }
        let wanted = Rpm(self.rpm * factor.max(0.05)).hertz().0;
        let (hertz, cutting) = match &s.limiter {
            Some(limiter) => {
                let held = self.ceiling.hold(limiter, wanted, &mut self.random);
                self.rpm = self.rpm.min(1.01 * limiter.ceiling.0);
                held
            }
            None => (wanted, false),
        };
        self.slow_for = if self.rpm < s.stall.0 {
            self.slow_for + STEP
        } else {
            0.0
        };
        if self.slow_for > STALLS_AFTER {
            self.runs = false;
        }
        self.fire(idle);
        Point {
            hertz,
            segment: 0,
            cutting,
        }
    }

    fn warm(&mut self) {
        // Load heats faster; standing, it cools slowly.
        let pull = if self.runs {
            STEP / self.specimen.warm_up.0 * (1.0 + 2.0 * self.throttle) * (1.0 - self.heat)
        } else {
            -STEP / 900.0 * self.heat
        };
        self.heat += pull;
    }

    fn carburet(&mut self, at: &Settings) {
        let s = &self.specimen;
        let pull = STEP / s.mixture_lag.0;
        self.idle_mixture += pull * (s.idle_mixture(at, self.heat) - self.idle_mixture);
        let mut full = s.full_mixture(at, self.heat);
        if let Some(Ailment::FuelStarvation { lasts, lean, .. }) = s.ailment {
            let flow = if self.runs && self.throttle > 0.6 {
                -STEP / lasts.0
            } else {
                STEP / 4.0 * (1.0 - self.at_hand)
            };
            self.at_hand = (self.at_hand + flow).clamp(0.0, 1.0);
            // No screw gives more than arrives.
            full += self.thin() * (full.min(0.2) - lean - full);
        }
        self.full_mixture += pull * (full - self.full_mixture);
    }

    /// How thin the fuel at hand runs, 0 to 1: the last third of it does.
    fn thin(&self) -> f64 {
        (1.0 - 3.0 * self.at_hand).clamp(0.0, 1.0)
    }

    /// The throttle has just opened.
    fn open(&mut self) {
        let lean = ((self.specimen.bog_below - self.idle_mixture) / 0.25).clamp(0.0, 1.0);
        if lean > 0.05 && self.runs {
            self.bog = (0.25 + 0.7 * lean, 0.15 + 0.5 * lean);
        }
    }

    fn stand(&mut self, controls: &Controls) -> Point {
        self.hanging = 0.0;
        self.slow_for = 0.0;
        self.bog = (0.0, 0.0);
        self.ceiling = Ceiling::default();
        self.plan = Plan::Random { skip: 1.0 };
        self.rpm -= self.rpm * STEP / 0.15;
        if controls.pulling && controls.ignition {
            if self.pulled == 0.0 {
                self.pulls_needed =
                    1.0 + (self.random.below(3) as f64) + 2.0 * (1.0 - self.heat).round();
            }
            let into = self.pulled % PULL;
            self.pulled += STEP;
            if into < 0.35 {
                let pull = 750.0 * (TAU * into / 0.7).sin();
                self.rpm = self.rpm.max(pull);
            }
            let burns = (-0.7..1.6).contains(&self.idle_mixture);
            if self.pulled > PULL * self.pulls_needed && burns {
                self.runs = true;
                self.rpm = 1.15 * self.specimen.stall.0;
            }
        } else {
            self.pulled = 0.0;
        }
        let hertz = Rpm(if self.rpm < 90.0 { 0.0 } else { self.rpm });
        Point {
            hertz: hertz.hertz().0,
            segment: 0,
            cutting: false,
        }
    }

    /// Sets the firing plan and what hangs after full throttle.
    fn fire(&mut self, idle: f64) {
        let s = &self.specimen;
        let (amount, time) = match s.ailment {
            Some(Ailment::AirLeak { hang, .. }) => (0.35 * idle, hang.0),
            _ => {
                let lean = ((s.hang_below - self.idle_mixture) / 0.25).clamp(0.0, 1.0);
                (0.3 * lean * idle, 1.0 + 3.0 * lean)
            }
        };
        if self.throttle > 0.5 {
            self.hanging = amount;
        } else if self.throttle < 0.05 {
            self.hanging -= self.hanging * STEP / time;
        }
        self.plan = if self.throttle < 0.12 {
            if self.rpm > 1.6 * idle {
                Plan::Random { skip: 0.35 }
            } else {
                Plan::Uneven {
                    variation: s.engine.timbre.variation_idle,
                }
            }
        } else {
            let x = ((self.throttle - 0.15) / 0.45).clamp(0.0, 1.0);
            let share = x * x * (3.0 - 2.0 * x);
            let mixture = self.idle_mixture + share * (self.full_mixture - self.idle_mixture);
            Plan::Rich {
                excess: s.excess(mixture),
                spread: s.irregular,
            }
        };
    }
}
