//! Test signals with a known truth. Imports units and machine only, never a stage under test.
//!
//! In: a [`Scene`] (TOML): an engine with its speed schedule and firing plan, other sounds, noise at
//! a stated ratio, room, microphone, seed. Out: a [`Rendering`] that gives samples (f32, full scale
//! ±1, channels interleaved) block by block, and a [`Truth`]: every turn of the crank with its times
//! in seconds and whether it fired, and for every 10 ms the crank speed in rpm, the firing, the share
//! of skipped turns (0 to 1), the ratio of engine to noise in dB.
//!
//! Method: a crank-angle model. The speed line (schedule, wander, hunting, limiter) is a polygon with
//! a corner each millisecond; its integral, solved exactly, gives the times of the turns. In each turn
//! the ignition decides what every cylinder does, and the turn leaves pulses of exhaust, intake, flow
//! noise and mechanics at their crank angles, as Gaussian bumps between the samples. Resonances of
//! muffler and intake shape them; ground, room, other sounds, noise and the recorder follow. It is our
//! own model for regression, built to be varied; it proves nothing about real engines.
//!
//! Beside the scenes stands an engine that answers to hands: a [`Specimen`] drawn by lot (or ill with an
//! [`Ailment`]) runs as [`Live`], a millisecond at a time under the present [`Controls`] (throttle 0 to
//! 1, screws in turns, switch, starter), and sounds through the same turns, pulses and recorder; its
//! speed is a peaked function of mixture, its skips grow with richness.
//!
//! Refuses: numbers outside their ranges ([`SceneError`]).
mod ailment;
mod animals;
mod band;
mod body;
mod ceiling;
mod crank;
mod draw;
mod draw_other;
mod draw_place;
mod draw_schedule;
mod draw_specimen;
mod draw_timbre;
mod engine;
mod engine_mix;
mod engine_scene;
mod error;
mod filter;
mod ignition;
mod live;
mod microphone;
mod motors;
mod music;
mod plan;
mod random;
mod rendering;
mod room;
mod running;
mod scene;
mod sound_scene;
mod sounding;
mod source;
mod specimen;
mod speed;
mod timbre;
mod truth;
mod voice;
mod weather;
mod whirl;

pub use ailment::Ailment;
pub use draw::draw_engine;
pub use draw_other::{OTHER_KINDS, draw_other};
pub use draw_specimen::{AILMENTS, draw_specimen};
pub use engine_scene::{Bog, Course, Engine, Hang, Hunting, Limiter, Segment};
pub use error::SceneError;
pub use live::Live;
pub use plan::Plan;
pub use random::Random;
pub use rendering::{Rendering, render};
pub use running::Controls;
pub use scene::{
    Clipping, Colour, GainControl, Microphone, Noise, Reflection, RollOff, Room, Scene,
};
pub use sound_scene::{Background, Sound};
pub use sounding::Surroundings;
pub use specimen::{Peak, Settings, Specimen};
pub use timbre::{Resonance, Rotor, Timbre};
pub use truth::{Label, Row, Truth, TurnTruth};
