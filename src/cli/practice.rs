//! `practice`: the screens of a tuning beside an engine that is simulated.
use std::time::{SystemTime, UNIX_EPOCH};

use super::bench::{Bench, Ear, RATE};
use super::board::Board;
use super::desk::{Beside, Desk, Ended, View};
use super::exit::Outcome;
use super::feed::Feed;
use super::keeper::Keeper;
use super::practice_flags::Practice;
use super::rehearsal::{Needed, rehearse};
use super::terminal::print;
use super::trouble::Trouble;
use super::tune::{code, view};
use super::tune_flags::Cue;
use crate::machine::{Carburetor, Coil};
use crate::procedure::{AsFound, Begin, Verdict};
use crate::report::words;
use crate::session::Session;
use crate::synth::{Specimen, draw_specimen};
use crate::units::Seconds;

/// Engines to draw from where none is named.
const ENGINES: u64 = 10_000;

/// Runs the command.
pub fn practice(arguments: &Practice) -> Result<Outcome, Trouble> {
    let number = arguments.engine.unwrap_or_else(any);
    let (specimen, around) = draw_specimen(number, None);
    let begin = Begin {
        as_found: AsFound::Stopped,
        skip_checks: true,
        no_base: arguments.no_base,
    };
    let mut view = view(false, false)?;
    if !matches!(view, View::Screen(..)) {
        return Err(Trouble::usage(
            "practice needs a terminal of 64 columns and 23 rows or more: its keys are the screwdriver",
            "run it in a terminal window, larger if it has one",
        ));
    }
    if !view.cautions(&specimen.profile)? {
        return Ok(Outcome::Differs);
    }
    let session = Session::new(RATE, 1, &specimen.profile, begin)
        .map_err(|fault| Trouble::fault(None, &fault))?;
    let title = format!("practice, engine {number}");
    let board = Board::new(&specimen.profile, title, &session);
    let bench = Bench::new(&specimen, &around, number, hear(arguments.sound)?);
    let beside = Beside {
        beep: arguments.cue == Some(Cue::Beep),
        ..Beside::default()
    };
    let feed = Feed::Bench(Box::new(bench));
    let ended = Desk::new(session, Keeper::new(None), board, feed, view, beside).run()?;
    let needed = rehearse(&specimen, number, begin);
    print(&compared(number, &specimen, &ended, needed))?;
    Ok(code(ended.outcome.map(|outcome| outcome.verdict)))
}

/// A number that is another one each time.
fn any() -> u64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    since.map_or(1, |since| since.as_millis() as u64 % ENGINES)
}

#[cfg(feature = "mic")]
fn hear(sound: bool) -> Result<Option<Ear>, Trouble> {
    if !sound {
        return Ok(None);
    }
    let mut loudspeaker = super::loudspeaker::Loudspeaker::open()?;
    Ok(Some(Box::new(move |block| loudspeaker.play(block))))
}

#[cfg(not(feature = "mic"))]
fn hear(sound: bool) -> Result<Option<Ear>, Trouble> {
    if !sound {
        return Ok(None);
    }
    Err(Trouble::usage(
        "--sound: this build has no loudspeaker",
        "build with `--features mic`, or practise without --sound",
    ))
}

/// The learner's moves beside those of the guide, and the screws beside where they belong.
fn compared(number: u64, specimen: &Specimen, ended: &Ended, needed: Needed) -> String {
    let Feed::Bench(bench) = &ended.feed else {
        return String::new();
    };
    let carburetor = match specimen.carburetor {
        Carburetor::Butterfly => "butterfly carburetor",
        Carburetor::BarrelValve => "barrel-valve carburetor",
        Carburetor::Automatic => "automatic carburetor",
    };
    let coil = match specimen.profile.coil {
        Coil::Plain => "plain coil",
        Coil::Limited => "limited coil",
        Coil::Unknown => "coil not known",
    };
    let guide = match needed.verdict {
        Verdict::Tuned => String::new(),
        Verdict::Stopped | Verdict::Unfinished => ", and it did not come right".into(),
    };
    let time = |t: Seconds| words::moment(t).trim().to_owned();
    let settings = bench.settings();
    let (leanest, richest) = specimen.ideal_high(settings.low);
    let ideal = if richest - leanest < 0.01 {
        format!("{leanest:.2}")
    } else {
        format!("{leanest:.2} to {richest:.2}")
    };
    format!(
        "\nEngine {number}: {}, {carburetor}, {coil} (simulated)\n\
         your moves              {} in {}\n\
         the guide's             {} in {}, each prompt followed exactly{guide}\n\
         high-speed screw        {:.2} turns out; right is {ideal}\n\
         low-speed screw         {:.2} turns out; right is {:.2}\n",
        specimen.class.describes(),
        bench.moves(),
        time(bench.time()),
        needed.moves,
        time(needed.time),
        settings.high,
        settings.low,
        specimen.low_final,
    )
}
