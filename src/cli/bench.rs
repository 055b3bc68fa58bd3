//! The engine on the bench under a learner's keys.
use std::thread;
use std::time::{Duration, Instant};

use ratatui::crossterm::event::{KeyCode, KeyEvent};

use crate::capture::Piece;
use crate::guide::Screw;
use crate::synth::{Controls, Live, Settings, Specimen, Surroundings};
use crate::units::Seconds;

/// Samples a second.
pub const RATE: u32 = 16_000;
/// Samples of a piece: 10 ms.
const PIECE: usize = 160;
/// How long a snap is held open, in seconds.
const SNAP: f64 = 1.5;
/// Throttle for warming up.
const PART: f64 = 0.4;
/// Small and large turn of a key.
const TURNS: (f64, f64) = (1.0 / 16.0, 1.0 / 4.0);
/// Moves of the same screw this close together, in seconds, are one.
const ONE_MOVE: f64 = 2.5;

/// Whoever hears the engine: a loudspeaker.
pub type Ear = Box<dyn FnMut(&[f32])>;

/// A learner's bench.
pub struct Bench {
    engine: Live,
    controls: Controls,
    screw: Screw,
    /// Moves: screw, direction out, when it was turned last.
    moves: Vec<(Screw, bool, f64)>,
    snapped: Option<f64>,
    pulling: Option<f64>,
    began: Option<Instant>,
    samples: u64,
    hear: Option<Ear>,
}

impl Bench {
    /// Puts an engine on the bench, cold and stopped; `hear` takes its sound.
    pub fn new(specimen: &Specimen, around: &Surroundings, seed: u64, hear: Option<Ear>) -> Bench {
        Bench {
            engine: Live::sounding(specimen, around, seed, RATE, 0.0, false),
            controls: Controls {
                settings: specimen.found,
                throttle: 0.0,
                ignition: true,
                pulling: false,
            },
            screw: Screw::High,
            moves: vec![],
            snapped: None,
            pulling: None,
            began: None,
            samples: 0,
            hear,
        }
    }

    /// Where the screws stand.
    pub fn settings(&self) -> Settings {
        self.controls.settings
    }

    /// How often a screw was moved; strokes of a key in a row are one move.
    pub fn moves(&self) -> usize {
        self.moves.len()
    }

    /// How long the engine has been on the bench.
    pub fn time(&self) -> Seconds {
        self.engine.time()
    }

    /// The next 10 ms of sound when they are due.
    pub fn next(&mut self, wait: Duration, block: &mut Vec<f32>) -> Piece {
        let began = *self.began.get_or_insert_with(Instant::now);
        let end = self.samples + PIECE as u64;
        let due = began + Duration::from_secs_f64(end as f64 / f64::from(RATE));
        let left = due.saturating_duration_since(Instant::now());
        if left > wait {
            thread::sleep(wait);
            block.clear();
            return Piece::Nothing;
        }
        thread::sleep(left);
        self.samples = end;
        self.pull(block);
        if let Some(hear) = &mut self.hear {
            hear(block);
        }
        Piece::Sound
    }

    fn pull(&mut self, block: &mut Vec<f32>) {
        let now = self.engine.time().0;
        if self.snapped.is_some_and(|since| now - since > SNAP) {
            self.snapped = None;
            self.controls.throttle = 0.0;
        }
        let started = self.engine.runs();
        self.controls.pulling = self
            .pulling
            .is_some_and(|since| now - since < 6.0 && !started);
        if !self.controls.pulling {
            self.pulling = None;
        }
        block.clear();
        block.resize(PIECE, 0.0);
        self.engine.pull(&self.controls, block);
    }

    /// Takes a key; `false` where it is none of the bench's.
    pub fn key(&mut self, key: &KeyEvent) -> bool {
        let now = self.engine.time().0;
        match key.code {
            KeyCode::Char('1') => self.screw = Screw::High,
            KeyCode::Char('2') => self.screw = Screw::Low,
            KeyCode::Char('3') => self.screw = Screw::Idle,
            KeyCode::Left => self.turn(TURNS.0),
            KeyCode::Right => self.turn(-TURNS.0),
            KeyCode::Up => self.turn(TURNS.1),
            KeyCode::Down => self.turn(-TURNS.1),
            KeyCode::Char('0') => self.seat(),
            KeyCode::Char(' ') => {
                self.snapped = None;
                self.controls.throttle = if self.controls.throttle > 0.0 {
                    0.0
                } else {
                    1.0
                };
            }
            KeyCode::Char('v') => {
                self.snapped = None;
                self.controls.throttle = PART;
            }
            KeyCode::Char('z') => {
                self.snapped = Some(now);
                self.controls.throttle = 1.0;
            }
            KeyCode::Char('k') => {
                self.controls.ignition = true;
                self.controls.throttle = 0.0;
                self.pulling = Some(now);
            }
            KeyCode::Char('o') => self.controls.ignition = false,
            _ => return false,
        }
        true
    }

    /// Turns the screw that is held, out positive; no further in than seated.
    fn turn(&mut self, out: f64) {
        let settings = &mut self.controls.settings;
        match self.screw {
            Screw::High => settings.high = (settings.high + out).max(0.0),
            Screw::Low => settings.low = (settings.low + out).max(0.0),
            // The idle-speed screw counts from its first touch, in positive.
            Screw::Idle => settings.idle -= out,
        }
        self.moved(out > 0.0);
    }

    /// The screw that is held goes lightly to its seat, the idle-speed screw to its first touch.
    fn seat(&mut self) {
        match self.screw {
            Screw::High => self.controls.settings.high = 0.0,
            Screw::Low => self.controls.settings.low = 0.0,
            Screw::Idle => self.controls.settings.idle = 0.0,
        }
        self.moved(false);
    }

    fn moved(&mut self, out: bool) {
        let now = self.engine.time().0;
        match self.moves.last_mut() {
            Some((screw, way, at))
                if *screw == self.screw && *way == out && now - *at < ONE_MOVE =>
            {
                *at = now;
            }
            _ => self.moves.push((self.screw, out, now)),
        }
    }

    /// What the hands do, and the keys for it.
    pub fn lines(&self) -> Vec<String> {
        let settings = &self.controls.settings;
        let held = |screw: Screw, name: &str, turns: f64| {
            if screw == self.screw {
                format!("[{name} {turns:.2}]")
            } else {
                format!(" {name} {turns:.2} ")
            }
        };
        let engine = match (self.engine.runs(), self.engine.attachment_turns()) {
            (false, _) if self.controls.pulling => "starter is pulled",
            (false, _) => "engine stands",
            (true, false) => "attachment still",
            (true, true) => "ATTACHMENT TURNS",
        };
        let throttle = match self.controls.throttle {
            t if t <= 0.0 => "closed",
            t if t >= 1.0 => "FULL",
            _ => "part",
        };
        vec![
            format!(
                "{engine}, throttle {throttle} {}{}{}",
                held(Screw::High, "1 high", settings.high),
                held(Screw::Low, "2 low", settings.low),
                held(Screw::Idle, "3 idle in", settings.idle),
            ),
            "123 screw  ←→ 1/16  ↑↓ 1/4  0 seat  space full  v part  z snap  k start  o off".into(),
        ]
    }
}
