//! The stepwise procedure: against a plain engine model of its own, for any sequence of readings and
//! answers, and case by case.
mod always;
mod bench;
mod card;
mod closed_loop;
mod engine;
mod hearing;
mod lot;
mod scenarios;
mod technician;
mod too_fast;
