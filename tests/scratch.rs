use engine_note::firing::{Firing, FiringKind};
use engine_note::machine::{Class,Profile};
use engine_note::reading::Frame;
use engine_note::report::*;
use engine_note::tach::{Speed, Unreadable};
use engine_note::units::{Decibels, Rpm, Seconds};
fn show(name:&str, secs: f64, machine: &Profile, f: impl Fn(f64)->(Option<f64>,FiringKind,Option<f64>,f64)) {
    let mut g = Gatherer::new(machine, Format::Text);
    let n=(secs/0.016) as usize;
    for i in 0..n { let t=(i as f64+0.5)*0.016; let (rpm,kind,other,conf)=f(t);
        g.push(&Frame{t:Seconds(t),speed:rpm.ok_or(Unreadable::TooMuchNoise).map(|r|Speed{rpm:Rpm(r),low:Rpm(r-5.0),high:Rpm(r+5.0),confidence:conf,other:other.map(Rpm)}),
        firing:Firing{kind:if rpm.is_some(){kind}else{FiringKind::None},skip_ratio:rpm.map(|_|if kind==FiringKind::FourStroking{0.45}else{0.0}),pattern:None,sub_order:None,variation:None},level:Decibels(-20.0),clipped:0.0}).unwrap(); }
    let r=g.finish(ClipFacts{path:name.into(),seconds:secs,sample_rate:48000,channels:1},vec![]).unwrap();
    let mut out=vec![]; let mut ren=Renderer::new(&mut out,Format::Text,true,Look{colour:std::env::var("C").is_ok(),..Look::default()}); ren.write(&r).unwrap(); ren.finish().unwrap();
    println!("{}",String::from_utf8(out).unwrap().split("Cautions").next().unwrap());
}
#[test] fn scratch(){
    let m=Profile::default();
    show("steady idle", 3.0,&m,|t|(Some(2800.0+15.0*(t*40.0).sin()),FiringKind::Clean,None,0.95));
    show("short", 0.6,&m,|t|(Some(2800.0+500.0*t),FiringKind::Clean,None,0.95));
    for secs in [200.0,600.0,1200.0,2400.0,3600.0] { show("hour", secs,&Class::Saw.profile(),|t|(if t%100.0<10.0{None}else if t%100.0<60.0{Some(2700.0+30.0*t.sin())}else{Some(12000.0+ 800.0*(t*3.0).sin())},if t%100.0>60.0{FiringKind::FourStroking}else{FiringKind::Clean},None,0.9)); }
    show("doubt", 6.0,&m,|t|(Some(4700.0+40.0*(t*5.0).sin()),FiringKind::FourStroking,Some(9400.0),0.5));
    show("mostly noise", 6.0,&m,|t|(if t>4.0 && t<4.8 {Some(9000.0)} else {None},FiringKind::Unclear,None,0.8));
}
