//! What is known of a hop before it is known whether an engine runs.
use super::base::Base;
use super::counts::Counts;
use super::evidence::RHYTHMS;
use super::fit::TwoKinds;
use super::refine::Refined;
use crate::units::Rpm;

/// What the tachometer says of one hop, before it is known whether an engine runs at all.
#[derive(Clone, Copy, Debug)]
pub struct Moment {
    /// Number of the hop; its centre is `hop * HOP` samples from the start.
    pub hop: usize,
    /// Crank speed.
    pub rpm: Rpm,
    /// The same with the base that was decided without regard to jumps of the path: no engine's sound
    /// jumps much, while a chord's lines have no common crank.
    pub heard: Rpm,
    /// What the phases of the lines make of the path's speed where it is steady; `rpm` comes from it.
    pub exact: Option<Rpm>,
    /// How the crank stands to the path.
    pub base: Base,
    /// What the turns up to it show of two kinds: revolutions, or firings of an engine that fires less
    /// often than once in one.
    pub kinds: TwoKinds,
    /// Firings in each of these turns, 1 or more.
    pub firings: f64,
    /// Standard error of the speed as a ratio.
    pub error: f64,
    /// Probability of the base given that an engine runs, 0 to 1.
    pub probability: f64,
    /// Probability of a full firing every turn, every 2nd, 3rd, 4th.
    pub rhythm: [f32; RHYTHMS],
    /// The next most probable speed.
    pub runner_up: (Rpm, f64),
    /// Change of speed as a ratio a second.
    pub change: f64,
    /// The fine reading.
    pub refined: Refined,
    /// Slips counted so far.
    pub counts: Counts,
    /// Whether the sound was cut anew for this hop. Where the speed is steady every second hop
    /// shares the cut of the hop before it.
    pub fresh: bool,
}
