//! Writes the features of clips as raw numbers, for the fit of the weights.
//!
//! `cargo run --release --example features -- OUT CLIP.f32…` where a clip is mono 32-bit floats at
//! the working rate.
use std::io::Write;

use engine_note::spectrum::{Framer, Lines, Spectrum, Still};
use engine_note::tach::LookAhead;
use engine_note::tach::evidence::{Evidence, SPEEDS};

fn main() -> std::io::Result<()> {
    let mut args = std::env::args().skip(1);
    let out = args.next().expect("OUT");
    for clip in args {
        let bytes = std::fs::read(&clip)?;
        let x: Vec<f32> = bytes
            .chunks_exact(4)
            .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
            .collect();
        let mut framer = Framer::new(Spectrum::FRAME);
        let (mut spectrum, mut lines, mut evidence) =
            (Spectrum::new(), Lines::default(), Evidence::new(1.0));
        let name = std::path::Path::new(&clip)
            .file_stem()
            .expect("a file name")
            .to_string_lossy()
            .into_owned();
        let mut file =
            std::io::BufWriter::new(std::fs::File::create(format!("{out}/{name}.feat"))?);
        let mut still = Still::new(LookAhead::CLIP.still);
        let mut write = |lines: &Lines, height: &[f32]| {
            for row in evidence.features(lines, height) {
                for v in &row[..SPEEDS] {
                    file.write_all(&v.to_le_bytes()).expect("written");
                }
            }
        };
        let mut each = |frame: &[f32]| {
            spectrum.lines(frame, &mut lines);
            if still.push(&mut lines) && still.next(&mut lines) {
                write(&lines, &still.height);
            }
        };
        framer.push(&x, &mut each);
        framer.finish(&mut each);
        while still.next(&mut lines) {
            write(&lines, &still.height);
        }
    }
    Ok(())
}
