//! The steps and their order.
use serde::{Deserialize, Serialize};

use super::base::Base;
use super::begin::{AsFound, Begin};
use super::book::Book;
use super::checks::Checks;
use super::edge::Edge;
use super::high::High;
use super::low::Low;
use super::proof::Proof;
use super::rescue::Rescue;
use super::settle::Settle;
use super::start::Start;
use super::stuck::{Stuck, Symptom};
use super::task::{Report, Task};
use super::warm::Warm;
use crate::machine::Carburetor;

/// A step of the procedure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub(super) enum StageKind {
    Checks,
    Base,
    Start,
    Warm,
    /// Idle-speed screw to the edge of the attachment turning and back.
    Edge,
    Low,
    /// Idle-speed screw into the range.
    Settle,
    High,
    Proof,
    Rescue,
    Stuck,
}

/// A step with what it remembers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) enum Stage {
    Checks(Checks),
    Base(Base),
    Start(Start),
    Warm(Warm),
    Edge(Edge),
    Low(Low),
    Settle(Settle),
    High(High),
    Proof(Proof),
    Rescue(Rescue),
    Stuck(Stuck),
}

/// What a step wants next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Next {
    Do(Task),
    /// The step is done.
    Done,
    /// It does not come right.
    Stuck(Symptom),
    /// Another step first; then the route goes on from there.
    Back(StageKind),
}

impl StageKind {
    pub(super) fn begin(self) -> Stage {
        match self {
            StageKind::Checks => Stage::Checks(Checks::default()),
            StageKind::Base => Stage::Base(Base::default()),
            StageKind::Start => Stage::Start(Start::default()),
            StageKind::Warm => Stage::Warm(Warm::default()),
            StageKind::Edge => Stage::Edge(Edge::default()),
            StageKind::Low => Stage::Low(Low::default()),
            StageKind::Settle => Stage::Settle(Settle::default()),
            StageKind::High => Stage::High(High::default()),
            StageKind::Proof => Stage::Proof(Proof::default()),
            StageKind::Rescue => Stage::Rescue(Rescue::default()),
            StageKind::Stuck => Stage::Stuck(Stuck::default()),
        }
    }
}

impl Stage {
    pub(super) fn kind(&self) -> StageKind {
        match self {
            Stage::Checks(_) => StageKind::Checks,
            Stage::Base(_) => StageKind::Base,
            Stage::Start(_) => StageKind::Start,
            Stage::Warm(_) => StageKind::Warm,
            Stage::Edge(_) => StageKind::Edge,
            Stage::Low(_) => StageKind::Low,
            Stage::Settle(_) => StageKind::Settle,
            Stage::High(_) => StageKind::High,
            Stage::Proof(_) => StageKind::Proof,
            Stage::Rescue(_) => StageKind::Rescue,
            Stage::Stuck(_) => StageKind::Stuck,
        }
    }

    pub(super) fn next(&mut self, book: &mut Book, report: Report) -> Next {
        match self {
            Stage::Checks(stage) => stage.next(report),
            Stage::Base(stage) => stage.next(book, report),
            Stage::Start(stage) => stage.next(book, report),
            Stage::Warm(stage) => stage.next(book, report),
            Stage::Edge(stage) => stage.next(book, report),
            Stage::Low(stage) => stage.next(book, report),
            Stage::Settle(stage) => stage.next(book, report),
            Stage::High(stage) => stage.next(book, report),
            Stage::Proof(stage) => stage.next(book, report),
            Stage::Rescue(stage) => stage.next(book, report),
            Stage::Stuck(stage) => stage.next(report),
        }
    }
}

/// The steps in their order. All fuel of a barrel-valve carburetor passes the high-speed screw, so
/// that it comes first there; what another screw has changed is judged again at the end.
pub(super) fn route(carburetor: Carburetor, begin: Begin) -> Vec<StageKind> {
    use StageKind as S;
    let mut route = vec![];
    if !begin.skip_checks {
        route.push(S::Checks);
    }
    if !begin.no_base {
        route.push(S::Base);
    }
    route.push(S::Start);
    if begin.as_found != AsFound::Warm {
        route.push(S::Warm);
    }
    route.extend(match carburetor {
        Carburetor::Butterfly | Carburetor::Automatic => {
            [S::Edge, S::Low, S::Settle, S::High, S::Settle, S::Proof].as_slice()
        }
        Carburetor::BarrelValve => [
            S::Settle,
            S::High,
            S::Edge,
            S::Low,
            S::Settle,
            S::High,
            S::Settle,
            S::Proof,
        ]
        .as_slice(),
    });
    route
}
