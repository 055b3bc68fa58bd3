//! Advice: what must hold for any reading of any machine (`always`), and one scenario for each rule
//! of the trade (`scenarios`).
mod always;
mod build;
mod scenarios;
