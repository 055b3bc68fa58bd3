//! Schedules drawn by lot: what the technician does and how the engine fires.
use super::draw::round;
use super::engine_scene::{Bog, Course, Engine, Hang, Hunting, Limiter, Segment};
use super::plan::Plan;
use super::random::Random;
use crate::machine::Cycle;
use crate::units::{Hertz, Rpm, Seconds};

/// Gives the engine its schedule and limiter; says in words what happens.
pub(super) fn schedule(r: &mut Random, engine: &mut Engine, seconds: f64) -> &'static str {
    // Several cylinders skip each for itself, which hardly leaves a rhythm.
    let plain = engine.cycle == Cycle::FourStroke || engine.cylinders > 1;
    let (idle, full) = (engine.idle, engine.full);
    let at = |r: &mut Random, rpm: Rpm, by: f64| Rpm((rpm.0 * (1.0 + r.between(-by, by))).round());
    let part = Rpm(r.between(idle.0 * 1.3, full.0 * 0.9).round());
    let step = |course, rpm: Rpm, s: f64, firing| {
        Segment::new(course, rpm, Seconds(round(s, 100.0)), firing)
    };
    let mut list = Vec::new();
    let kind = r.unit();
    let story = if kind < 0.22 {
        list.push(step(
            Course::Hold,
            at(r, full, 0.05),
            seconds,
            full_plan(r, plain),
        ));
        "steady at full throttle"
    } else if kind < 0.30 {
        list.push(step(Course::Hold, at(r, idle, 0.08), seconds, idle_plan(r)));
        "steady at idle"
    } else if kind < 0.38 {
        list.push(step(Course::Hold, part, seconds, full_plan(r, plain)));
        "steady at part throttle"
    } else if kind < 0.56 {
        list.push(step(Course::Hold, idle, r.between(0.6, 2.0), idle_plan(r)));
        let plan = full_plan(r, plain);
        let mut t = 2.0;
        while t < seconds {
            let mut snap = step(
                Course::Snap,
                at(r, full, 0.04),
                r.between(0.8, 3.0),
                plan.clone(),
            );
            snap.rise = Some(Seconds(round(r.between_log(0.2, 0.9), 100.0)));
            if r.chance(0.2) {
                let bog = Bog {
                    depth_percent: round(r.between(5.0, 30.0), 1.0),
                    seconds: Seconds(round(r.between(0.15, 0.8), 100.0)),
                };
                snap.bog = Some(bog);
            }
            t += snap.seconds.0;
            list.push(snap);
            let mut fall = step(
                Course::Fall,
                at(r, idle, 0.03),
                r.between(0.8, 2.5),
                idle_plan(r),
            );
            fall.rise = Some(Seconds(round(r.between_log(0.15, 0.7), 100.0)));
            if r.chance(0.2) {
                let rpm = Rpm((idle.0 * r.between(1.2, 1.7)).round());
                fall.hang = Some(Hang {
                    rpm,
                    seconds: Seconds(round(r.between(0.5, 2.0), 10.0)),
                });
            }
            t += fall.seconds.0;
            list.push(fall);
        }
        "snaps"
    } else if kind < 0.70 {
        // Cleaner and faster with each turn of a screw, as at the end of a job, or the reverse.
        let mut plans = [
            Plan::Rich {
                excess: 1.1,
                spread: 0.4,
            },
            Plan::Rich {
                excess: 0.3,
                spread: 0.5,
            },
            Plan::Clean,
        ];
        if r.chance(0.3) {
            plans = [
                Plan::Every {
                    turns: r.one_of(&[2, 2, 3]),
                    slips: round(r.between_log(0.02, 0.2), 1000.0),
                },
                Plan::Random {
                    skip: round(r.between(0.05, 0.3), 100.0),
                },
                Plan::Clean,
            ];
        }
        if r.chance(0.3) {
            plans.reverse();
        }
        if plain {
            plans = [Plan::Clean, Plan::Random { skip: 0.15 }, Plan::Clean];
        }
        let mut rpm = full.0 * r.between(0.85, 0.95);
        list.push(step(
            Course::Hold,
            Rpm(rpm.round()),
            seconds / 3.0,
            plans[0].clone(),
        ));
        for plan in &plans[1..] {
            rpm += r.between(200.0, 600.0)
                * if *plan == Plan::Clean || r.chance(0.8) {
                    1.0
                } else {
                    -1.0
                };
            let mut change = step(Course::Snap, Rpm(rpm.round()), seconds / 3.0, plan.clone());
            change.rise = Some(Seconds(round(r.between(0.3, 1.2), 10.0)));
            list.push(change);
        }
        "mixture changed on the way"
    } else if kind < 0.76 {
        let top = at(r, full, 0.05);
        list.push(step(Course::Hold, idle, 0.5, idle_plan(r)));
        list.push(step(
            Course::Ramp,
            top,
            r.between(2.0, 5.0),
            full_plan(r, plain),
        ));
        list.push(step(
            Course::Hold,
            top,
            r.between(1.0, 2.0),
            full_plan(r, plain),
        ));
        list.push(step(
            Course::Ramp,
            at(r, idle, 0.1),
            r.between(2.0, 4.0),
            full_plan(r, plain),
        ));
        list.push(step(Course::Hold, idle, 2.0, idle_plan(r)));
        "ramps"
    } else if kind < 0.80 {
        let mut hold = step(Course::Hold, at(r, idle, 0.05), seconds, idle_plan(r));
        let hertz = Hertz(round(r.between_log(0.3, 3.0), 100.0));
        hold.hunting = Some(Hunting {
            hertz,
            depth_percent: round(r.between(2.0, 12.0), 10.0),
        });
        list.push(hold);
        "hunting at idle"
    } else if kind < 0.89 {
        let ceiling = Rpm((full.0 * r.between(0.92, 1.02)).round());
        engine.limiter = Some(Limiter {
            ceiling,
            depth_percent: round(r.between_log(0.5, 4.0), 100.0),
            per_second: round(r.between_log(3.0, 25.0), 10.0),
            cut_share: round(r.between(0.2, 0.6), 100.0),
        });
        list.push(step(Course::Hold, idle, r.between(0.5, 2.0), idle_plan(r)));
        let mut snap = step(
            Course::Snap,
            Rpm((ceiling.0 * 1.06).round()),
            seconds * 0.6,
            Plan::Clean,
        );
        snap.rise = Some(Seconds(round(r.between_log(0.3, 0.8), 100.0)));
        list.push(snap);
        let below = Rpm((ceiling.0 * r.between(0.93, 0.985)).round());
        list.push(step(Course::Snap, below, seconds, full_plan(r, plain)));
        "limiter"
    } else if kind < 0.97 {
        // Work: the load pulls the speed about.
        let mut t = 0.0;
        let mut course = Course::Hold;
        let plan = full_plan(r, plain);
        while t < seconds {
            let cut = r.chance(0.6);
            let rpm = Rpm((full.0
                * if cut {
                    r.between(0.65, 0.95)
                } else {
                    r.between(0.95, 1.02)
                })
            .round());
            // It cleans up under load.
            let firing = if cut && r.chance(0.7) {
                Plan::Clean
            } else {
                plan.clone()
            };
            let step = step(course, rpm, r.between_log(0.2, 1.5), firing);
            t += step.seconds.0;
            list.push(step);
            course = Course::Ramp;
        }
        "at work"
    } else {
        list.push(step(Course::Off, idle, r.between(0.5, 2.0), Plan::Clean));
        list.push(step(Course::Hold, idle, r.between(2.0, 4.0), idle_plan(r)));
        list.push(step(
            Course::Snap,
            full,
            r.between(2.0, 4.0),
            full_plan(r, plain),
        ));
        list.push(step(Course::Fall, idle, r.between(1.0, 2.0), idle_plan(r)));
        list.push(step(Course::Off, idle, 5.0, Plan::Clean));
        "started and stopped"
    };
    engine.schedule = list;
    story
}

fn full_plan(r: &mut Random, plain: bool) -> Plan {
    let x = r.unit();
    if plain {
        return if x < 0.8 {
            Plan::Clean
        } else {
            Plan::Random {
                skip: round(r.between(0.05, 0.3), 100.0),
            }
        };
    }
    let slips = round(r.between_log(0.005, 0.3), 1000.0);
    if x < 0.36 {
        Plan::Clean
    } else if x < 0.54 {
        Plan::Every { turns: 2, slips }
    } else if x < 0.62 {
        Plan::Every { turns: 3, slips }
    } else if x < 0.66 {
        Plan::Every { turns: 4, slips }
    } else if x < 0.76 {
        Plan::Changing {
            dwell: Seconds(round(r.between_log(0.15, 1.5), 100.0)),
            slips,
        }
    } else if x < 0.88 {
        Plan::Rich {
            excess: round(r.between(-0.2, 2.1), 100.0),
            spread: round(r.between_log(0.15, 1.2), 100.0),
        }
    } else if x < 0.96 {
        Plan::Random {
            skip: round(r.between(0.05, 0.3), 100.0),
        }
    } else {
        Plan::Bursts {
            per_second: round(r.between_log(2.0, 8.0), 10.0),
            share: round(r.between(0.1, 0.5), 100.0),
        }
    }
}

fn idle_plan(r: &mut Random) -> Plan {
    let x = r.unit();
    if x < 0.5 {
        Plan::Clean
    } else if x < 0.9 {
        Plan::Uneven {
            variation: round(r.between(0.2, 0.6), 100.0),
        }
    } else {
        Plan::Rich {
            excess: round(r.between(0.0, 1.2), 100.0),
            spread: round(r.between(0.4, 1.2), 100.0),
        }
    }
}
