//! tmp
use engine_note::reading::{Listener, Look};
use engine_note::synth::{draw_specimen, Live, Controls};
fn main() {
    let (mut stand, mut standn, mut idle, mut idlen, mut full, mut fulln) = (0, 0, 0, 0, 0, 0);
    let mut wrong = 0;
    let mut confs = [vec![], vec![]];
    for seed in 0..6u64 {
        let (sp, around) = draw_specimen(seed, None);
        let rate = 16000;
        let run = |runs: bool, throttle: f64| {
            let mut e = Live::sounding(&sp, &around, seed, rate, 1.0, runs);
            let c = Controls { settings: sp.found, throttle, ignition: true, pulling: false };
            let mut l = Listener::new(rate, 1, &sp.profile, Look::Beside).unwrap();
            let mut f = vec![];
            let mut speeds = vec![];
            let mut b = [0f32; 160];
            for _ in 0..400 { e.pull(&c, &mut b); speeds.push(e.speed().0); l.push(&b, &mut f); }
            (f, speeds, e.runs())
        };
        let (f, ..) = run(false, 0.0);
        for x in &f { standn += 1; if let Ok(s) = x.speed { stand += 1; confs[0].push(s.confidence); } }
        for t in [0.0, 1.0] {
            let (f, sp, runs) = run(true, t);
            if !runs { continue }
            for x in f.iter().filter(|x| x.t.0 > 1.5) {
                let ok = x.speed.is_ok();
                if let Ok(s) = x.speed { confs[1].push(s.confidence); let i = ((x.t.0 + 0.1) * 100.0) as usize; let tr = sp[i.min(sp.len() - 1)]; if (s.rpm.0 / tr - 1.0).abs() > 0.03 { wrong += 1; } }
                if t == 0.0 { idlen += 1; idle += usize::from(ok); } else { fulln += 1; full += usize::from(ok); }
            }
        }
    }
    let q = |v: &mut Vec<f64>| { v.sort_by(f64::total_cmp); if v.is_empty() { return String::new() } format!("{:.2} {:.2} {:.2} {:.2}", v[v.len()/20], v[v.len()/4], v[v.len()/2], v[v.len()*9/10]) };
    println!("standing read {:.3}, idle read {:.3}, full read {:.3}, wrong {}; conf standing {} running {}", stand as f64 / standn as f64, idle as f64 / idlen as f64, full as f64 / fulln as f64, wrong, q(&mut confs[0]), q(&mut confs[1]));
}
