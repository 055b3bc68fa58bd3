//! A microphone that is held on to: lost, waited for and picked up again.
use std::collections::VecDeque;
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::thread;
use std::time::{Duration, Instant};

use super::live::{Condition, Notice, Piece};
use super::microphone::Microphone;
use super::refit::Refit;
#[cfg(target_os = "linux")]
use super::watch::Watch;
use super::{Facts, Fault, Warning};
use crate::units::Seconds;

/// How long a sound system may take to open a microphone.
const OPENING: Duration = Duration::from_secs(8);
/// How long after an attempt to get a lost microphone back the next one begins.
const AGAIN: Duration = Duration::from_millis(500);
/// Length of the silence that stands for a lost microphone, at a time.
const SILENCE: Duration = Duration::from_millis(10);
/// Exact zeros for so long are told.
const ZEROS: Seconds = Seconds(2.0);

/// A microphone, there or not.
pub(super) struct Held {
    wanted: Option<String>,
    /// As first opened.
    facts: Facts,
    state: State,
    refit: Refit,
    /// When the last sample or its stand-in was given.
    given: Instant,
    notices: VecDeque<Notice>,
    #[cfg(target_os = "linux")]
    watch: Watch,
    /// The source that is heard and whether it is muted, as last told.
    heard: Option<(String, bool)>,
    zeros: u64,
    dropped: Seconds,
}

enum State {
    Open(Box<Microphone>),
    Lost {
        since: Instant,
        next: Instant,
        /// An attempt under way.
        opening: Option<Receiver<Result<Microphone, Fault>>>,
        /// Opened again, but silent so far.
        trial: Option<Box<Microphone>>,
    },
}

/// Opens on a thread of its own, since a sound system that hangs would hang whoever asks it.
fn opening(wanted: Option<String>) -> Receiver<Result<Microphone, Fault>> {
    let (sender, receiver) = channel();
    // Whoever has given up waiting lets the microphone go with the message.
    thread::spawn(move || sender.send(Microphone::open(wanted.as_deref())).is_ok());
    receiver
}

/// Closing may hang as well.
fn close(microphone: Box<Microphone>) {
    thread::spawn(move || drop(microphone));
}

impl Held {
    pub(super) fn open(wanted: Option<&str>) -> Result<Self, Fault> {
        let wanted = wanted.map(str::to_owned);
        let microphone = opening(wanted.clone())
            .recv_timeout(OPENING)
            .map_err(|_| Fault::MicrophoneMute {
                waited: Seconds(OPENING.as_secs_f64()),
            })??;
        let facts = microphone.facts().clone();
        Ok(Held {
            wanted,
            refit: Refit::new(&facts, &facts),
            facts,
            state: State::Open(Box::new(microphone)),
            given: Instant::now(),
            notices: VecDeque::new(),
            #[cfg(target_os = "linux")]
            watch: Watch::start(),
            heard: None,
            zeros: 0,
            dropped: Seconds(0.0),
        })
    }

    pub(super) fn facts(&self) -> &Facts {
        &self.facts
    }

    pub(super) fn dropped(&self) -> Seconds {
        self.dropped
    }

    pub(super) fn condition(&self) -> Condition {
        match &self.state {
            State::Lost { .. } => Condition::Waiting,
            State::Open(_) if self.heard.as_ref().is_some_and(|(_, muted)| *muted) => {
                Condition::Muted
            }
            State::Open(_) if self.silent_for().0 >= ZEROS.0 => Condition::Muted,
            State::Open(_) => Condition::Fine,
        }
    }

    pub(super) fn next(&mut self, wait: Duration, out: &mut Vec<f32>) -> Result<Piece, Fault> {
        self.ask_server();
        if let Some(notice) = self.notices.pop_front() {
            return Ok(Piece::Told(notice));
        }
        let State::Open(microphone) = &mut self.state else {
            return Ok(self.wait_for_it(wait, out));
        };
        match microphone.next_block(wait, out) {
            Ok(true) => {
                self.refit.apply(out);
                self.given = Instant::now();
                let lost = microphone.dropped();
                if lost.0 > 0.0 {
                    self.dropped.0 += lost.0;
                    let warning = Warning::Dropped { length: lost };
                    self.notices.push_back(Notice::Less(warning));
                }
                if microphone.overrun() {
                    self.notices.push_back(Notice::Overrun);
                }
                self.count_zeros(out);
                Ok(Piece::Sound)
            }
            Ok(false) => Ok(Piece::Nothing),
            Err(fault @ Fault::MicrophoneTooFast { .. }) => Err(fault),
            Err(fault) => Ok(Piece::Told(self.lose(fault))),
        }
    }

    fn lose(&mut self, fault: Fault) -> Notice {
        let now = Instant::now();
        let lost = State::Lost {
            since: now,
            next: now,
            opening: None,
            trial: None,
        };
        if let State::Open(microphone) = std::mem::replace(&mut self.state, lost) {
            close(microphone);
        }
        self.heard = None;
        self.zeros = 0;
        Notice::Lost { fault }
    }

    /// Gives silence in place of a lost microphone, and looks whether it is back.
    fn wait_for_it(&mut self, wait: Duration, out: &mut Vec<f32>) -> Piece {
        let now = Instant::now();
        let State::Lost {
            since,
            next,
            opening: under_way,
            trial,
        } = &mut self.state
        else {
            return Piece::Nothing;
        };
        if let Some(attempt) = under_way {
            match attempt.try_recv() {
                Ok(Ok(microphone)) => {
                    *trial = Some(Box::new(microphone));
                    *under_way = None;
                }
                Ok(Err(_)) | Err(TryRecvError::Disconnected) => *under_way = None,
                Err(TryRecvError::Empty) => {}
            }
        } else if trial.is_none() && now >= *next {
            *next = now + AGAIN;
            *under_way = Some(opening(self.wanted.clone()));
        }
        if let Some(mut microphone) = trial.take() {
            let mut first = Vec::new();
            match microphone.next_block(Duration::ZERO, &mut first) {
                Ok(true) => {
                    let away = Seconds(now.duration_since(*since).as_secs_f64());
                    self.come_back(microphone, away);
                    self.silence(now, out);
                    self.refit.apply(&mut first);
                    out.append(&mut first);
                    return Piece::Sound;
                }
                Ok(false) => *trial = Some(microphone),
                Err(_) => {
                    *next = now + AGAIN;
                    close(microphone);
                }
            }
        }
        thread::sleep(SILENCE.min(wait));
        let now = Instant::now();
        if now.duration_since(self.given) < SILENCE {
            return Piece::Nothing;
        }
        self.silence(now, out);
        Piece::Sound
    }

    fn come_back(&mut self, microphone: Box<Microphone>, away: Seconds) {
        let facts = microphone.facts();
        self.notices.push_back(Notice::Back {
            name: facts.format.clone(),
            away,
        });
        if (facts.sample_rate, facts.channels) != (self.facts.sample_rate, self.facts.channels) {
            self.notices.push_back(Notice::Converted {
                rate: facts.sample_rate,
                channels: facts.channels,
            });
        }
        self.refit = Refit::new(facts, &self.facts);
        self.state = State::Open(microphone);
    }

    /// Silence up to now, so that the clock of the sound goes on.
    fn silence(&mut self, now: Instant, out: &mut Vec<f32>) {
        let passed = now.duration_since(self.given).as_secs_f64();
        let frames = (passed * f64::from(self.facts.sample_rate)) as usize;
        out.resize(out.len() + frames * self.facts.channels, 0.0);
        // What is less than a sample is not forgotten.
        self.given += Duration::from_secs_f64(frames as f64 / f64::from(self.facts.sample_rate));
    }

    fn count_zeros(&mut self, block: &[f32]) {
        let told = self.silent_for().0 >= ZEROS.0;
        if block.iter().any(|x| *x != 0.0) {
            self.zeros = 0;
            return;
        }
        self.zeros += (block.len() / self.facts.channels) as u64;
        let length = self.silent_for();
        let known = self.heard.as_ref().is_some_and(|(_, muted)| *muted);
        if length.0 >= ZEROS.0 && !told && !known {
            self.notices.push_back(Notice::Zeros { length });
        }
    }

    /// For how long there have been exact zeros only.
    fn silent_for(&self) -> Seconds {
        Seconds(self.zeros as f64 / f64::from(self.facts.sample_rate))
    }

    /// Tells what the server has changed by itself.
    #[cfg(target_os = "linux")]
    fn ask_server(&mut self) {
        let (State::Open(_), Some(seen)) = (&self.state, self.watch.seen()) else {
            return;
        };
        let before = self.heard.replace((seen.name.clone(), seen.muted));
        if let Some((from, _)) = &before
            && *from != seen.name
        {
            self.notices.push_back(Notice::Switched {
                from: from.clone(),
                to: seen.name.clone(),
            });
        }
        let was_muted = before.is_some_and(|(_, muted)| muted);
        if seen.muted != was_muted {
            let name = seen.name;
            self.notices.push_back(if seen.muted {
                Notice::Muted { name }
            } else {
                Notice::Unmuted { name }
            });
        }
    }

    /// Elsewhere the system tells the stream itself.
    #[cfg(not(target_os = "linux"))]
    fn ask_server(&mut self) {}
}
