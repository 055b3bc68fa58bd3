//! Prints what the tachometer says of a clip hop by hop, for plots and fits.
//!
//! `cargo run --release --example trace -- OUT CLIP.f32…` where a clip is mono 32-bit floats at the
//! working rate. `CLIP.f32@2` says that its engine fires twice a revolution.
use std::io::Write;

use engine_note::firing::Judge;
use engine_note::machine::Profile;
use engine_note::reading::presence::{FEATURES, Presence};
use engine_note::reading::standing;
use engine_note::tach::angle::Turns;
use engine_note::tach::{LookAhead, Moment, Tachometer};

fn main() -> std::io::Result<()> {
    let mut args = std::env::args().skip(1);
    let out = args.next().expect("OUT");
    for clip in args {
        let (clip, firings) = clip
            .split_once('@')
            .map_or((clip.as_str(), 1.0), |(clip, n)| {
                (clip, n.parse().expect("firings in a revolution"))
            });
        let bytes = std::fs::read(clip)?;
        let x: Vec<f32> = bytes
            .chunks_exact(4)
            .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
            .collect();
        let name = std::path::Path::new(clip)
            .file_stem()
            .expect("a file name")
            .to_string_lossy()
            .into_owned();
        let mut file = std::io::BufWriter::new(std::fs::File::create(format!("{out}/{name}.csv"))?);
        let mut tach = Tachometer::new(
            if std::env::var_os("LIVE").is_some() {
                LookAhead::LIVE
            } else {
                LookAhead::CLIP
            },
            Profile::default().search_band(),
            firings,
        );
        let (mut judge, mut presence) = (Judge::new(), Presence::new());
        let mut each = |m: &Moment, look: &Turns| {
            let firing = judge.features(m, look);
            let d = judge.differences;
            let seen = presence.seen(m, &judge, look);
            let c = &m.counts;
            let mut values = vec![
                m.hop as f64,
                m.rpm.0,
                m.error,
                m.probability,
                m.rhythm[0].into(),
                m.rhythm[1].into(),
                m.rhythm[2].into(),
                m.rhythm[3].into(),
                m.runner_up.0.0,
                m.runner_up.1,
                m.change,
                c.double,
                c.triple,
                c.half,
                d.weak_share,
                d.weak_run,
                d.strong_run,
                d.two_kinds,
                c.halves.alternation,
                c.thirds.alternation,
                c.third,
                c.thirds.thirds + 10.0 * f64::from(u8::from(c.thirds.third_slip)),
            ];
            values.extend(firing);
            values.extend([judge.glide.strength(), judge.glide.one_way()]);
            values.extend(&seen[..FEATURES]);
            let k = &m.kinds;
            values.extend([k.share, k.distance, k.gain, k.power, k.again]);
            values.extend(k.unlike.iter().flatten());
            values.push(k.repeats);
            values.extend(standing::features(m));
            let line: Vec<String> = values.iter().map(f64::to_string).collect();
            writeln!(file, "{}", line.join(",")).expect("written");
        };
        tach.push(&x, &mut each);
        tach.finish(&mut each);
    }
    Ok(())
}
