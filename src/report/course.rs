//! The course of a clip in columns, for its picture: speed, firing, level, and the lines heard.
//!
//! A clip has no more than [`MOST`] columns, whatever its length: where more frames come, two columns
//! become one, then four, and so on. Heights of lines are then means over the time of a column.
use super::column::Column;
use crate::units::Seconds;

/// Most columns.
pub(super) const MOST: usize = 2_048;

/// The course of a clip.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    columns: Vec<Column>,
    /// Frames that a full column holds.
    each: u32,
    /// Time of the first frame and of the last one.
    ends: Option<(Seconds, Seconds)>,
    frames: u64,
}

impl Default for Course {
    fn default() -> Self {
        Course {
            columns: Vec::new(),
            each: 1,
            ends: None,
            frames: 0,
        }
    }
}

impl Course {
    /// Takes the column of the next frame.
    pub(super) fn push(&mut self, t: Seconds, frame: Column) {
        let first = self.ends.map_or(t, |(first, _)| first);
        self.ends = Some((first, t));
        self.frames += 1;
        match self.columns.last_mut() {
            Some(column) if column.frames < self.each => column.merge(&frame),
            _ => {
                if self.columns.len() == MOST {
                    self.halve();
                }
                self.columns.push(frame);
            }
        }
    }

    fn halve(&mut self) {
        let mut old = std::mem::take(&mut self.columns).into_iter();
        while let Some(mut column) = old.next() {
            if let Some(next) = old.next() {
                column.merge(&next);
            }
            self.columns.push(column);
        }
        self.each *= 2;
    }

    /// The columns in order, each of the same length but the last one.
    pub fn columns(&self) -> &[Column] {
        &self.columns
    }

    /// Length of a column.
    pub fn each(&self) -> Seconds {
        Seconds(self.hop() * f64::from(self.each))
    }

    /// Frames that a column holds.
    pub fn frames_each(&self) -> u32 {
        self.each
    }

    fn hop(&self) -> f64 {
        let Some((first, last)) = self.ends else {
            return 0.0;
        };
        (last.0 - first.0) / (self.frames.max(2) - 1) as f64
    }

    /// Where the course begins and ends: half a hop before the first frame and after the last one.
    pub fn extent(&self) -> Option<(Seconds, Seconds)> {
        let (first, last) = self.ends?;
        let half = self.hop() / 2.0;
        Some((Seconds(first.0 - half), Seconds(last.0 + half)))
    }

    /// The course in `count` cells of equal length. A cell holds the columns whose middle lies in it, or
    /// else the one that its own middle lies in.
    pub fn cells(&self, count: usize) -> Vec<Column> {
        let mut cells = Vec::with_capacity(count);
        let frames = self.frames as f64;
        let column = |place: f64| (place / f64::from(self.each)) as usize;
        let middle = |at: usize| {
            self.columns.get(at).map_or(f64::INFINITY, |c| {
                at as f64 * f64::from(self.each) + f64::from(c.frames) / 2.0
            })
        };
        let mut next = 0;
        for cell in 0..count {
            let end = (cell + 1) as f64 * frames / count as f64;
            let first = next;
            while middle(next) < end || (cell + 1 == count && next < self.columns.len()) {
                next += 1;
            }
            let run = if first < next {
                &self.columns[first..next]
            } else {
                let at = column((cell as f64 + 0.5) * frames / count as f64);
                &self.columns[at.min(self.columns.len())..(at + 1).min(self.columns.len())]
            };
            let mut one = Column::default();
            run.iter().for_each(|column| one.merge(column));
            cells.push(one);
        }
        cells
    }
}

#[cfg(test)]
mod tests {
    use super::super::column::tests::column;
    use super::*;
    use crate::units::Rpm;

    /// However many frames, the columns stay bounded, hold each frame once, and a ramp stays a ramp.
    #[test]
    fn columns_are_taken_together_by_halves() {
        for frames in [1u32, 2_047, 2_048, 2_049, 10_000, 70_000] {
            let mut course = Course::default();
            for at in 0..frames {
                course.push(
                    Seconds(f64::from(at) * 0.016),
                    column(at, Some(1_000.0 + f64::from(at))),
                );
            }
            let columns = course.columns();
            assert!(columns.len() <= MOST && columns.len() > MOST / 2 || frames < 2_048);
            assert_eq!(columns.iter().map(|c| c.frames).sum::<u32>(), frames);
            let each = course.frames_each();
            for (at, c) in columns.iter().enumerate() {
                let first = at as u32 * each;
                let middle = f64::from(first) + f64::from(c.frames - 1) / 2.0;
                assert_eq!(c.speed(), Some(Rpm(1_000.0 + middle)));
                let heard = c.by_frequency().next().map(f64::from);
                assert!((heard.unwrap_or(-1.0) - middle).abs() <= middle * 1e-4);
                assert_eq!(c.level().map(|l| l.0.round()), Some(-20.0));
                let ends = (
                    Rpm(990.0 + f64::from(first)),
                    Rpm(1_009.0 + f64::from(first + c.frames)),
                );
                assert_eq!(c.interval(), Some(ends));
            }
            for count in [1usize, 7, 100, 3_000] {
                let cells = course.cells(count);
                assert_eq!(cells.len(), count);
                for (at, cell) in cells.iter().enumerate() {
                    let truth =
                        1_000.0 + (at as f64 + 0.5) / count as f64 * f64::from(frames) - 0.5;
                    let rpm = cell.speed().map_or(0.0, |speed| speed.0);
                    // A cell takes whole columns.
                    assert!((rpm - truth).abs() <= f64::from(each), "{rpm} for {truth}");
                }
            }
        }
    }
}
