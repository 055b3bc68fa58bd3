//! Prints what the tachometer says of a clip hop by hop, for plots and fits.
//!
//! `cargo run --release --example trace -- OUT CLIP.f32…` where a clip is mono 32-bit floats at the
//! working rate.
use std::io::Write;

use engine_note::machine::Profile;
use engine_note::tach::{LookAhead, Moment, Tachometer};
use engine_note::tach::angle::Turns;

fn main() -> std::io::Result<()> {
    let mut args = std::env::args().skip(1);
    let out = args.next().expect("OUT");
    for clip in args {
        let bytes = std::fs::read(&clip)?;
        let x: Vec<f32> = bytes.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect();
        let name = std::path::Path::new(&clip).file_stem().expect("a file name").to_string_lossy().into_owned();
        let mut file = std::io::BufWriter::new(std::fs::File::create(format!("{out}/{name}.csv"))?);
        let mut tach = Tachometer::new(LookAhead { hops: 100, batch: 50 }, Profile::default().search);
        let mut each = |m: &Moment, _: &Turns| {
            writeln!(
                file,
                "{},{},{},{},{},{},{},{},{},{},{},{},{}",
                m.hop, m.rpm.0, m.error, m.probability, m.rhythm[0], m.rhythm[1], m.rhythm[2], m.rhythm[3],
                m.runner_up.0.0, m.runner_up.1, m.change, m.refined.height, m.refined.lines
            )
            .expect("written");
        };
        tach.push(&x, &mut each);
        tach.finish(&mut each);
    }
    Ok(())
}
