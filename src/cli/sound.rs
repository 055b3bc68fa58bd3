//! Sound on its way from its source to whoever hears it: a thread that only reads.
//!
//! Reading and hearing are apart, so that keys and answers are looked at while no sound comes, and
//! so that a slow reader of the output does not hold up the source at once.
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

use super::exit::Outcome;
use super::trouble::Trouble;
use crate::capture::{self, Fault, Source};

/// Blocks that may wait: a block is what the source has ready, a third of a second at most where
/// that is a pipe.
const WAITING: usize = 64;

/// What comes from the source.
pub enum Piece {
    /// Interleaved samples.
    Block(Vec<f32>),
    /// The source has ended; with what is to be said about it.
    End(Option<Trouble>),
}

/// A source that is being read.
pub struct Sound {
    /// Samples a second.
    pub rate: u32,
    /// Channels.
    pub channels: usize,
    /// What comes.
    pub pieces: Receiver<Piece>,
}

/// Opens a source and reads it on a thread of its own, which ends when nobody listens any more.
///
/// # Errors
/// Where the source cannot be read.
pub fn open(source: Source) -> Result<Sound, Trouble> {
    let name = match &source {
        Source::File(path) => path.to_string_lossy().into_owned(),
        Source::Stdin | Source::Raw(_) => "-".into(),
    };
    let mut clip = capture::open(&source).map_err(|fault| trouble(&name, &fault))?;
    let (rate, channels) = (clip.facts().sample_rate, clip.facts().channels);
    let (sender, pieces) = sync_channel(WAITING);
    thread::spawn(move || {
        let mut block = vec![];
        let end = loop {
            match clip.next_block(&mut block) {
                Ok(true) => {
                    let full = std::mem::take(&mut block);
                    if sender.send(Piece::Block(full)).is_err() {
                        return;
                    }
                }
                Ok(false) => break None,
                Err(fault) => break Some(trouble(&name, &fault)),
            }
        };
        tell(&sender, end);
    });
    Ok(Sound {
        rate,
        channels,
        pieces,
    })
}

fn tell(sender: &SyncSender<Piece>, end: Option<Trouble>) {
    // Nobody is left to tell where the session ended first.
    let _ = sender.send(Piece::End(end));
}

fn trouble(name: &str, fault: &Fault) -> Trouble {
    Trouble::input(
        format!("{name}: {fault}"),
        fault.hint(),
        Outcome::from(fault),
    )
}
