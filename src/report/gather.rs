//! From frames as they come to the result of a clip.
use std::io;

use super::frames::FrameKeeper;
use super::render::Format;
use super::result::{ClipFacts, Layout, Notice, Report};
use super::trace::Trace;
use crate::guide::advise;
use crate::machine::Profile;
use crate::reading::{Frame, Spans};

/// Takes the frames of one clip in order and gives its [`Report`]. Memory does not grow with the
/// length of the clip.
pub struct Gatherer {
    machine: Profile,
    frames: FrameKeeper,
    trace: Trace,
    spans: Spans,
}

impl Gatherer {
    /// A gatherer for one clip of a machine, for a format that shows each frame or does not.
    pub fn new(machine: &Profile, format: Format) -> Self {
        Gatherer {
            machine: machine.clone(),
            frames: if format.shows_frames() {
                FrameKeeper::keeping()
            } else {
                FrameKeeper::forgetting()
            },
            trace: Trace::default(),
            spans: Spans::new(machine),
        }
    }

    /// Takes the next frame.
    ///
    /// # Errors
    /// Where the temporary folder is full or cannot be written.
    pub fn push(&mut self, frame: &Frame) -> io::Result<()> {
        self.trace.push(frame);
        self.spans.push(frame);
        self.frames.push(frame)
    }

    /// Ends the clip.
    ///
    /// # Errors
    /// As for [`Gatherer::push`].
    pub fn finish(self, clip: ClipFacts, warnings: Vec<Notice>) -> io::Result<Report> {
        let reading = self.spans.finish();
        let advice = advise(&reading, &self.machine);
        Ok(Report {
            schema: Layout::Reading1,
            clip,
            machine: self.machine,
            frames: self.frames.finish()?,
            reading,
            advice,
            warnings,
            trace: self.trace,
        })
    }
}
