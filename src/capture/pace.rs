//! Sound against time: faster is no microphone, slower has holes.
use std::time::{Duration, Instant};

use super::Fault;
use crate::units::Seconds;

/// Sound may come ahead of time by this: servers hand over two seconds that they had stored.
const STORED: f64 = 3.0;
/// How far a clock may be off, as a ratio.
const CLOCK: f64 = 0.001;
/// Sound that falls behind by more, and for so long, is lost: the machine was suspended, or the
/// program was held up so long that the server gave up.
const BEHIND: f64 = 0.4;
const FOR: Duration = Duration::from_secs(1);

/// Compares the sound that came with the time that passed.
pub(super) struct Pace {
    rate: f64,
    began: Instant,
    /// The least that the sound was behind time so far, in seconds, and when that was looked at.
    least: f64,
    looked: Instant,
    behind_since: Option<Instant>,
}

impl Pace {
    pub(super) fn new(rate: u32, began: Instant) -> Self {
        Pace {
            rate: f64::from(rate),
            began,
            least: f64::INFINITY,
            looked: began,
            behind_since: None,
        }
    }

    /// Refuses what comes faster than time passes. Some devices that are none (a file, a bridge to
    /// nowhere) give hours of sound in seconds.
    pub(super) fn check(&self, frames: u64, now: Instant) -> Result<(), Fault> {
        let sound = frames as f64 / self.rate;
        let passed = now.duration_since(self.began).as_secs_f64();
        if sound > 1.1 * passed + STORED {
            let (sound, passed) = (Seconds(sound), Seconds(passed));
            return Err(Fault::MicrophoneTooFast { sound, passed });
        }
        Ok(())
    }

    /// Sound that is missing without anyone having told so; asked each time that sound comes.
    pub(super) fn missing(&mut self, frames: u64, now: Instant) -> Option<Seconds> {
        let passed = now.duration_since(self.began).as_secs_f64();
        let behind = passed - frames as f64 / self.rate;
        self.least += CLOCK * now.duration_since(self.looked).as_secs_f64();
        self.looked = now;
        self.least = self.least.min(behind);
        let missing = behind - self.least;
        if missing < BEHIND {
            self.behind_since = None;
            return None;
        }
        let since = *self.behind_since.get_or_insert(now);
        if now.duration_since(since) < FOR {
            return None;
        }
        self.least = behind;
        self.behind_since = None;
        Some(Seconds(missing))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: u32 = 48_000;

    fn frames(seconds: f64) -> u64 {
        (seconds * f64::from(RATE)) as u64
    }

    #[test]
    fn refuses_a_source_that_is_faster_than_time() {
        let began = Instant::now();
        let pace = Pace::new(RATE, began);
        let after = |seconds: f64| began + Duration::from_secs_f64(seconds);
        assert_eq!(pace.check(frames(2.0), after(0.1)), Ok(()));
        assert_eq!(pace.check(frames(602.0), after(600.0)), Ok(()));
        let (sound, passed) = (Seconds(120.0), Seconds(2.0));
        let fault = pace.check(frames(120.0), after(2.0));
        assert_eq!(fault, Err(Fault::MicrophoneTooFast { sound, passed }));
    }

    /// Blocks of 10 ms; `lost` tells how much sound is missing at a moment.
    fn told(seconds: f64, drift: f64, lost: impl Fn(f64) -> f64) -> Vec<f64> {
        let began = Instant::now();
        let mut pace = Pace::new(RATE, began);
        let times = (1..(seconds * 100.0) as u32).map(|n| f64::from(n) / 100.0);
        times
            .filter_map(|t| {
                let sound = frames(t * (1.0 - drift) - lost(t));
                let now = began + Duration::from_secs_f64(t + 0.05);
                Some(pace.missing(sound, now)?.0)
            })
            .collect()
    }

    #[test]
    fn a_hole_is_told_once_and_a_slow_clock_never() {
        let hole = told(20.0, 0.0, |t| if t < 5.0 { 0.0 } else { 2.5 });
        assert_eq!(hole.len(), 1);
        assert!((hole[0] - 2.5).abs() < 0.02, "{hole:?}");
        assert!(told(7_200.0, 500e-6, |_| 0.0).is_empty());
        // What is late but comes is not lost.
        let late = told(
            20.0,
            0.0,
            |t| if (5.0..5.9).contains(&t) { 0.8 } else { 0.0 },
        );
        assert!(late.is_empty(), "{late:?}");
    }
}
