//! The session: listener, share of skips and procedure on one clock.
use super::event::{Event, SCHEMA};
use super::journal::Kept;
use super::skips::Skips;
use crate::capture::{Fault, WORKING_RATE};
use crate::machine::Profile;
use crate::procedure::{Answer, Begin, Heard, Procedure, Prompt};
use crate::reading::{Frame, Listener, Look};
use crate::spectrum::HOP;
use crate::units::Seconds;

/// How far the centre of a reading is behind the sound, at most: 200 ms for the listener, one hop
/// in which the sound is gathered.
pub const LAG: Seconds = Seconds(0.22);

/// One tuning.
pub struct Session {
    listener: Listener,
    skips: Skips,
    procedure: Procedure,
    rate: u64,
    channels: usize,
    /// Where the clock stood when this sound began.
    from: f64,
    /// Samples of a channel taken, and hops completed.
    taken: u64,
    hops: u64,
    /// The prompt that stood when the session was left; it is said again first.
    stood: Option<Prompt>,
    /// Answers whose time has not come.
    waiting: Vec<Answer>,
    ended: bool,
    frames: Vec<Frame>,
    heard: Vec<Heard>,
}

impl Session {
    /// Begins a tuning of `machine` with interleaved sound at `rate` samples a second (8,000 to
    /// 192,000) in 1 to 8 `channels`.
    ///
    /// # Errors
    /// A rate or channel count outside these ranges.
    pub fn new(
        rate: u32,
        channels: usize,
        machine: &Profile,
        begin: Begin,
    ) -> Result<Session, Fault> {
        let procedure = Procedure::new(machine, begin);
        Session::on(rate, channels, machine, procedure)
    }

    /// Goes on with a session that was left, with new sound. The clock goes on where it stopped, and
    /// the prompt that stood is said again.
    ///
    /// # Errors
    /// As [`Session::new`].
    pub fn resume(rate: u32, channels: usize, kept: Kept) -> Result<Session, Fault> {
        let procedure = kept
            .procedure
            .unwrap_or_else(|| Procedure::new(&kept.machine, kept.begin));
        let session = Session::on(rate, channels, &kept.machine, procedure)?;
        Ok(Session {
            from: kept.t.0,
            stood: kept.prompt,
            ..session
        })
    }

    fn on(
        rate: u32,
        channels: usize,
        machine: &Profile,
        procedure: Procedure,
    ) -> Result<Session, Fault> {
        Ok(Session {
            listener: Listener::new(rate, channels, machine, Look::Beside)?,
            skips: Skips::default(),
            procedure,
            rate: u64::from(rate),
            channels,
            from: 0.0,
            stood: None,
            taken: 0,
            hops: 0,
            waiting: vec![],
            ended: false,
            frames: vec![],
            heard: vec![],
        })
    }

    /// The first event.
    pub fn start() -> Event {
        Event::Start {
            schema: SCHEMA.into(),
            hop_s: Session::hop(),
            lag_s: LAG,
        }
    }

    /// Time between readings.
    pub fn hop() -> Seconds {
        Seconds(HOP as f64 / f64::from(WORKING_RATE))
    }

    /// Time of the latest sample received.
    pub fn now(&self) -> Seconds {
        Seconds(self.from + self.taken as f64 / self.rate as f64)
    }

    /// Whether the result was given.
    pub fn ended(&self) -> bool {
        self.ended
    }

    /// Where the procedure stands.
    pub fn procedure(&self) -> &Procedure {
        &self.procedure
    }

    /// Samples of all channels to the end of the hop under way: whoever hands over no more than
    /// these at a time can say something before every hop.
    pub fn to_next_hop(&self) -> usize {
        (self.hop_end() - self.taken) as usize * self.channels
    }

    /// Takes an answer; it counts from the first hop at or after its time.
    pub fn answer(&mut self, answer: Answer) {
        self.waiting.push(answer);
    }

    /// Takes interleaved samples and appends the events that are now due.
    pub fn push(&mut self, mut block: &[f32], events: &mut Vec<Event>) {
        while !block.is_empty() && !self.ended {
            let (now, later) = block.split_at(block.len().min(self.to_next_hop()));
            self.listener.push(now, &mut self.frames);
            self.taken += (now.len() / self.channels) as u64;
            if self.taken == self.hop_end() {
                self.hops += 1;
                self.step(events);
            }
            block = later;
        }
    }

    /// Ends the sound and appends what is left, the result last.
    pub fn finish(&mut self, events: &mut Vec<Event>) {
        if self.ended {
            return;
        }
        self.listener.finish(&mut self.frames);
        self.step(events);
        if !self.ended {
            self.ended = true;
            events.push(Event::Result {
                t_s: self.time(),
                outcome: self.procedure.end(self.now()),
            });
        }
    }

    /// The sample at which the hop under way ends.
    fn hop_end(&self) -> u64 {
        ((self.hops + 1) * HOP as u64 * self.rate).div_ceil(u64::from(WORKING_RATE))
    }

    /// What is decided at the end of a hop.
    fn step(&mut self, events: &mut Vec<Event>) {
        let now = self.now();
        let t_s = self.time();
        if let Some(prompt) = self.stood.take() {
            events.push(Event::Prompt { t_s, prompt });
        }
        self.heard.clear();
        for mut frame in self.frames.drain(..) {
            frame.t = Seconds(self.from + frame.t.0);
            let skip_ratio = self.skips.push(&frame);
            let heard = Heard { frame, skip_ratio };
            events.push(Event::reading(&heard));
            self.heard.push(heard);
        }
        let mut due = vec![];
        self.waiting.retain(|answer| {
            let later = answer.t_s > now;
            if !later {
                due.push(*answer);
            }
            later
        });
        let step = self.procedure.step(now, &self.heard, &due);
        self.listener.hold(self.procedure.throttle());
        let prompts = step.prompts.into_iter();
        events.extend(prompts.map(|prompt| Event::Prompt { t_s, prompt }));
        if let Some(outcome) = step.outcome {
            self.ended = true;
            events.push(Event::Result { t_s, outcome });
        }
    }

    /// The time as events tell it.
    fn time(&self) -> Seconds {
        Seconds(super::event::places(self.now().0, 4))
    }
}
