//! How to get a better or a fuller recording.
use super::case::{Case, Draft};
use crate::reading::SpanKind;
use crate::tach::Unreadable;

/// Less readable sound than this is not worth an advice, in seconds.
pub(super) const LEAST_READABLE: f64 = 0.5;
/// Quieter recordings drown in the recorder's own noise, in dB against full scale.
const QUIET: f64 = -50.0;
/// From here on clipping is worth a word, in percent of the samples.
const CLIPS: f64 = 1.0;

const PLACE: &str = "Hold the microphone 0.5 to 1 m to the side of the muffler outlet, out of the \
     exhaust stream and out of the wind, pointing at the outlet";
const RECORDER: &str = "Switch automatic gain and noise suppression off; record at 44.1 or 48 kHz";
const SEQUENCE: &str = "Record 10 s: 3 s idle, snap to full throttle and hold it for 3 to 4 s, then \
     back to idle to the end";

/// Tips for this clip; none where nothing is missing.
pub(super) fn tips(case: &Case<'_>, draft: &Draft) -> Vec<String> {
    let reading = case.reading;
    let mut tips: Vec<String> = Vec::new();
    let nothing = reading.readable.0 < LEAST_READABLE;
    if nothing || draft.unsure {
        tips.push(PLACE.into());
        tips.push(RECORDER.into());
    }
    if nothing {
        tips.extend(
            reading
                .unreadable
                .first()
                .map(|time| because_of(time.reason).to_owned()),
        );
        tips.push(SEQUENCE.into());
        return tips;
    }
    if reading.level_dbfs.is_some_and(|level| level.0 < QUIET) {
        tips.push("The recording is very quiet: go nearer or raise the gain".into());
    }
    if reading.clipped_pct > CLIPS {
        tips.push(format!(
            "{:.0} % of the samples clip: lower the gain or go back to 1 m; the speed survives \
             clipping, the depth of the burble does not",
            reading.clipped_pct
        ));
    }
    let (idle, full) = (case.idle().is_some(), case.full().is_some());
    if !full {
        tips.push("No full throttle was heard, so the high-speed screw is not judged".into());
    }
    if !idle {
        tips.push("No idle was heard, so idle speed and low-speed screw are not judged".into());
    }
    let snapped = !reading.accelerations.is_empty()
        || !reading
            .spans
            .iter()
            .any(|span| span.kind == SpanKind::Rising);
    if idle && full && !snapped {
        tips.push("No acceleration from idle was heard in full: snap the throttle open".into());
    }
    if !(idle && full) {
        tips.push(SEQUENCE.into());
    }
    tips
}

fn because_of(reason: Unreadable) -> &'static str {
    match reason {
        Unreadable::Silence => {
            "The recording is silent: check that the right microphone is used and not muted"
        }
        Unreadable::NoEngine => "No engine was heard: make sure that it runs, and go nearer",
        Unreadable::SteadyHum => {
            "Only a steady hum was heard: move away from mains-fed machines, or off the cable"
        }
        Unreadable::OtherPitch => {
            "A voice or a tone was heard, but no engine: keep quiet while recording"
        }
        Unreadable::TooMuchNoise => {
            "Noise hides the engine: out of the wind, away from other machines, nearer"
        }
        Unreadable::TwoEngines => "Two engines were heard: stop the other one",
        Unreadable::Unsteady => {
            "The speed changed too fast to follow: hold idle and full throttle for 3 s each"
        }
    }
}
