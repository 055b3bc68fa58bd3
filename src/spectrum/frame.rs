//! Cuts the stream of samples into overlapping frames.

/// Samples between frames: 16 ms at the working rate.
pub const HOP: usize = 128;

/// Hands out frames of `length` samples around each multiple of [`HOP`], zeros beyond both ends.
#[derive(Debug)]
pub struct Framer {
    length: usize,
    buffer: Vec<f32>,
    /// Index in the stream of `buffer[0]`, counted with the leading zeros.
    start: usize,
    /// Frames handed out.
    next: usize,
    /// Samples of sound taken.
    samples: usize,
}

impl Framer {
    /// Frames of `length` samples (even).
    pub fn new(length: usize) -> Self {
        Framer {
            length,
            buffer: vec![0.0; length / 2],
            start: 0,
            next: 0,
            samples: 0,
        }
    }

    /// Samples that a frame reaches beyond its centre.
    pub fn delay(&self) -> usize {
        self.length / 2
    }

    /// Takes samples of any number and calls `each` for every frame that is now complete.
    pub fn push(&mut self, samples: &[f32], mut each: impl FnMut(&[f32])) {
        self.samples += samples.len();
        self.buffer.extend_from_slice(samples);
        self.drain(usize::MAX, &mut each);
    }

    /// Ends the stream: the frames whose centre lies inside it, completed with zeros.
    pub fn finish(&mut self, mut each: impl FnMut(&[f32])) {
        let frames = self.samples.div_ceil(HOP);
        self.buffer.extend(std::iter::repeat_n(0.0, self.length));
        self.drain(frames, &mut each);
    }

    fn drain(&mut self, limit: usize, each: &mut impl FnMut(&[f32])) {
        while self.next < limit {
            let from = self.next * HOP - self.start;
            if from + self.length > self.buffer.len() {
                break;
            }
            each(&self.buffer[from..from + self.length]);
            self.next += 1;
        }
        // Move only when half of the buffer is spent, so that a sample is copied once on average.
        let spent = (self.next * HOP - self.start).min(self.buffer.len());
        if spent > 4 * self.length {
            self.buffer.drain(..spent);
            self.start += spent;
        }
    }
}
