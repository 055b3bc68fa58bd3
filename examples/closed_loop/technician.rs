//! A technician with a screwdriver: reads the event stream line by line, moves throttle and screws,
//! and answers. Knows the fields of a prompt and nothing of what is behind it.
use engine_note::synth::{Controls, Random, Settings};
use serde_json::{Value, json};

/// Reaction to a prompt, in seconds.
const REACTION: (f64, f64) = (1.0, 3.0);
/// Error of every turn, as a share of it.
const TURN_ERROR: f64 = 0.2;
/// Where a mixture screw ends: seated, and out of its thread.
const TRAVEL: (f64, f64) = (0.0, 4.0);
/// Where the idle-speed screw ends, in turns in from its first touch.
const IDLE_TRAVEL: (f64, f64) = (-1.0, 5.0);
/// A pull of the starter that brings nothing for so long is given up.
const GIVES_UP: f64 = 20.0;

/// What can be seen and heard without a program.
#[derive(Clone, Copy, Debug)]
pub struct View {
    /// The engine runs.
    pub runs: bool,
    /// The attachment turns.
    pub attachment_turns: bool,
}

/// Something that is done at its time.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Act {
    Throttle(f64),
    Vary,
    Pull,
    Switch(bool),
    Turn(Turning),
    Say(&'static str),
    Look,
}

/// A screw on its way.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Turning {
    screw: Screw,
    from: f64,
    to: f64,
    begin: f64,
    end: f64,
    clipped: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Screw {
    High,
    Low,
    Idle,
}

/// The technician.
pub struct Technician {
    random: Random,
    controls: Controls,
    id: Option<u64>,
    ask: Vec<String>,
    acts: Vec<(f64, Act)>,
    turning: Option<Turning>,
    varying: Option<f64>,
    pulling_since: Option<f64>,
    ran: bool,
    stalled_at: Option<f64>,
    looks: Option<(bool, f64)>,
    /// Screw prompts obeyed.
    pub moves: u32,
    mute: bool,
}

impl Technician {
    /// Hands on an engine whose screws stand at `found`; `mute` gives no answers.
    pub fn new(seed: u64, found: Settings, runs: bool, mute: bool) -> Self {
        Technician {
            random: Random::new(seed, 400),
            controls: Controls {
                settings: found,
                throttle: 0.0,
                ignition: true,
                pulling: false,
            },
            id: None,
            ask: vec![],
            acts: vec![],
            turning: None,
            varying: None,
            pulling_since: None,
            ran: runs,
            stalled_at: None,
            looks: None,
            moves: 0,
            mute,
        }
    }

    /// Where the hands are.
    pub fn controls(&self) -> &Controls {
        &self.controls
    }

    /// A line of the stream, at the time `t`.
    pub fn hear(&mut self, line: &str, t: f64) {
        if !line.contains("\"event\":\"prompt\"") {
            return;
        }
        let Ok(prompt) = serde_json::from_str::<Value>(line) else {
            return;
        };
        let id = prompt["id"].as_u64();
        if id == self.id {
            return;
        }
        self.id = id;
        self.ask = prompt["ask"]
            .as_array()
            .map(|words| {
                words
                    .iter()
                    .filter_map(Value::as_str)
                    .map(String::from)
                    .collect()
            })
            .unwrap_or_default();
        // What was not begun is dropped; a screw on its way stops where it is.
        self.acts.clear();
        self.turning = None;
        self.looks = None;
        let mut at = t + self.random.between(REACTION.0, REACTION.1);
        let throttle = prompt["throttle"].as_str();
        at = self.throttle(throttle, at);
        let screw = self.screw(&prompt, at);
        if let Some(end) = screw {
            at = end;
        }
        if screw.is_none() && throttle.is_none() {
            // Something to look after.
            at += self.random.between(1.0, 4.0);
        }
        if throttle != Some("start") {
            self.acts.push((at + 0.3, Act::Say("done")));
        }
        let look = at + self.random.between(0.7, 2.0);
        self.acts.push((look, Act::Look));
    }

    fn throttle(&mut self, throttle: Option<&str>, at: f64) -> f64 {
        match throttle {
            Some("idle") => self.acts.push((at, Act::Throttle(0.0))),
            Some("full") => self.acts.push((at, Act::Throttle(1.0))),
            Some("part") => self.acts.push((at, Act::Vary)),
            Some("snap") => {
                self.acts.push((at, Act::Throttle(1.0)));
                let closes = at + self.random.between(1.3, 1.7);
                self.acts.push((closes, Act::Throttle(0.0)));
                return closes + 0.3;
            }
            Some("start") => self.acts.push((at, Act::Pull)),
            Some("stop") => self.acts.push((at, Act::Switch(false))),
            _ => return at,
        }
        at + 0.4
    }

    /// Plans a turn and says when it ends.
    fn screw(&mut self, prompt: &Value, at: f64) -> Option<f64> {
        let screw = match prompt["screw"].as_str()? {
            "high" => Screw::High,
            "low" => Screw::Low,
            "idle" => Screw::Idle,
            _ => return None,
        };
        let turns = prompt["turns"].as_f64()?;
        let inwards = prompt["direction"].as_str() == Some("in");
        let made = turns * (1.0 + self.random.between(-TURN_ERROR, TURN_ERROR));
        let settings = self.controls.settings;
        let (here, travel) = match screw {
            Screw::High => (settings.high, TRAVEL),
            Screw::Low => (settings.low, TRAVEL),
            Screw::Idle => (settings.idle, IDLE_TRAVEL),
        };
        // Mixture screws are counted out, the idle-speed screw in.
        let out = if inwards == (screw == Screw::Idle) {
            made
        } else {
            -made
        };
        let (wanted, first) = match prompt["from"].as_str() {
            Some("seat") => (made, 4.0),
            Some("touch") => (out, 3.0),
            Some("rich-stop") => {
                // No caps on this one.
                self.acts.push((at + 1.0, Act::Say("cannot")));
                return Some(at + 1.0);
            }
            _ => (here + out, 0.5),
        };
        let to = wanted.clamp(travel.0, travel.1);
        let begin = at + first;
        let end = begin + 0.4 + 2.5 * turns;
        self.moves += 1;
        self.acts.push((
            begin,
            Act::Turn(Turning {
                screw,
                from: here,
                to,
                begin,
                end,
                clipped: (to - wanted).abs() > 1e-9,
            }),
        ));
        Some(end)
    }

    /// Lets time pass to `t` and gives the answers that are said now, a line each.
    pub fn tick(&mut self, t: f64, view: View) -> Vec<String> {
        let mut said = vec![];
        let mut due: Vec<(f64, Act)> = vec![];
        self.acts.retain(|act| {
            let now = act.0 <= t;
            if now {
                due.push(*act);
            }
            !now
        });
        due.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (_, act) in due {
            self.act(act, t, view, &mut said);
        }
        self.go_on(t, view, &mut said);
        if self.mute { vec![] } else { said }
    }

    fn act(&mut self, act: Act, t: f64, view: View, said: &mut Vec<String>) {
        match act {
            Act::Throttle(open) => {
                self.varying = None;
                self.controls.throttle = open;
            }
            Act::Vary => self.varying = Some(t),
            Act::Pull if !view.runs => {
                self.varying = None;
                self.controls.ignition = true;
                self.controls.pulling = true;
                self.controls.throttle = 0.15;
                self.pulling_since = Some(t);
            }
            Act::Pull => self.say("started", t, said),
            Act::Switch(on) => {
                self.varying = None;
                self.controls.ignition = on;
                self.controls.throttle = 0.0;
            }
            Act::Turn(turning) => self.turning = Some(turning),
            Act::Say(word) => self.say(word, t, said),
            Act::Look => {
                self.looks = Some((view.attachment_turns, t));
                self.report_attachment(view.attachment_turns, t, said);
            }
        }
    }

    fn go_on(&mut self, t: f64, view: View, said: &mut Vec<String>) {
        if let Some(turning) = self.turning {
            let share = ((t - turning.begin) / (turning.end - turning.begin)).clamp(0.0, 1.0);
            let at = turning.from + share * (turning.to - turning.from);
            let settings = &mut self.controls.settings;
            match turning.screw {
                Screw::High => settings.high = at,
                Screw::Low => settings.low = at,
                Screw::Idle => settings.idle = at,
            }
            if share >= 1.0 {
                self.turning = None;
                if turning.clipped {
                    self.say("at-stop", t, said);
                }
            }
        }
        if let Some(next) = self.varying
            && t >= next
        {
            self.controls.throttle = self.random.between(0.2, 0.5);
            self.varying = Some(t + self.random.between(1.0, 2.5));
        }
        if let Some(since) = self.pulling_since {
            if view.runs {
                // A little throttle keeps it alive for a moment.
                self.pulling_since = None;
                self.controls.pulling = false;
                self.controls.throttle = 0.3;
                self.acts.push((t + 2.0, Act::Throttle(0.0)));
                self.acts.push((t + 2.5, Act::Say("started")));
            } else if t - since > GIVES_UP {
                self.pulling_since = None;
                self.controls.pulling = false;
                let word = if self.asked("cannot") {
                    "cannot"
                } else {
                    "stalled"
                };
                self.say(word, t, said);
            }
        }
        if self.ran && !view.runs && self.controls.ignition && self.pulling_since.is_none() {
            self.stalled_at = Some(t + self.random.between(REACTION.0, REACTION.1));
            self.controls.throttle = 0.0;
            self.varying = None;
            self.acts
                .retain(|(_, act)| !matches!(act, Act::Say("started") | Act::Throttle(_)));
        }
        self.ran = view.runs;
        if view.runs {
            self.stalled_at = None;
        }
        if self.stalled_at.is_some_and(|at| t >= at) && self.asked("stalled") {
            self.say("stalled", t, said);
            self.stalled_at = None;
        }
        if let Some((turned, at)) = self.looks
            && turned != view.attachment_turns
            && t - at > 1.0
        {
            self.looks = Some((view.attachment_turns, t));
            self.report_attachment(view.attachment_turns, t, said);
        }
    }

    fn report_attachment(&mut self, turns: bool, t: f64, said: &mut Vec<String>) {
        // Only at idle it says anything.
        if self.controls.throttle < 0.05 {
            let word = if turns {
                "attachment-turning"
            } else {
                "attachment-still"
            };
            self.say(word, t, said);
        }
    }

    fn asked(&self, word: &str) -> bool {
        self.ask.iter().any(|asked| asked == word)
    }

    /// Says a word if the prompt asks for it.
    fn say(&mut self, word: &str, t: f64, said: &mut Vec<String>) {
        if self.asked(word) {
            said.push(json!({"t_s": t, "answer": word, "id": self.id}).to_string());
        }
    }
}
