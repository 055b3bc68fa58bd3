//! The screens of `tune` and `practice` in a real terminal (a pseudo terminal, with an emulator that
//! knows what stands on it).
#![cfg(unix)]
use std::io::{Read, Write};
use std::num::NonZero;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use tempfile::TempDir;

/// Longer than anything takes; a wait that gets here has failed.
const PATIENCE: Duration = Duration::from_secs(60);

/// A program on a terminal.
struct Terminal {
    screen: Arc<Mutex<vt100::Parser>>,
    all: Arc<Mutex<Vec<u8>>>,
    keys: Box<dyn Write + Send>,
    child: Box<dyn Child + Send + Sync>,
    master: Box<dyn MasterPty + Send>,
    _folder: TempDir,
}

fn size(columns: u16, rows: u16) -> PtySize {
    PtySize {
        rows,
        cols: columns,
        pixel_width: 0,
        pixel_height: 0,
    }
}

fn some(count: u16) -> NonZero<u16> {
    NonZero::new(count).unwrap()
}

fn demo(name: &str) -> String {
    format!("{}/fixtures/demo/{name}", env!("CARGO_MANIFEST_DIR"))
}

impl Terminal {
    fn start(columns: u16, rows: u16, arguments: &[&str], no_colour: bool) -> Terminal {
        let pair = native_pty_system().openpty(size(columns, rows)).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_engine-note"));
        command.args(arguments);
        command.cwd(folder.path());
        command.env("TERM", "xterm-256color");
        command.env("LANG", "C.UTF-8");
        command.env_remove("LC_ALL");
        command.env_remove("NO_COLOR");
        command.env("XDG_DATA_HOME", folder.path());
        command.env("HOME", folder.path());
        if no_colour {
            command.env("NO_COLOR", "1");
        }
        let child = pair.slave.spawn_command(command).unwrap();
        drop(pair.slave);
        let screen = Arc::new(Mutex::new(vt100::Parser::new(some(rows), some(columns), 0)));
        let all = Arc::new(Mutex::new(vec![]));
        let mut out = pair.master.try_clone_reader().unwrap();
        let (seen, kept) = (Arc::clone(&screen), Arc::clone(&all));
        thread::spawn(move || {
            let mut bytes = [0; 4_096];
            while let Ok(count) = out.read(&mut bytes) {
                if count == 0 {
                    break;
                }
                seen.lock().unwrap().process(&bytes[..count]);
                kept.lock().unwrap().extend_from_slice(&bytes[..count]);
            }
        });
        Terminal {
            screen,
            all,
            keys: pair.master.take_writer().unwrap(),
            child,
            master: pair.master,
            _folder: folder,
        }
    }

    fn text(&self) -> String {
        self.screen.lock().unwrap().screen().contents()
    }

    /// Waits until the screen satisfies; gives what stood there.
    fn until(&self, what: &str, wanted: impl Fn(&str) -> bool) -> String {
        let began = Instant::now();
        loop {
            let text = self.text();
            if wanted(&text) {
                return text;
            }
            assert!(began.elapsed() < PATIENCE, "no {what}:\n{text}");
            thread::sleep(Duration::from_millis(20));
        }
    }

    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
        self.keys.flush().unwrap();
    }

    /// Waits for the end; gives the code.
    fn end(&mut self) -> u32 {
        let code = self.child.wait().unwrap().exit_code();
        // The last of its output.
        thread::sleep(Duration::from_millis(100));
        code
    }
}

const WARM: [&str; 4] = ["--as-found", "warm", "--skip-checks", "--no-base"];

fn tune<'a>(clip: &'a str, machine: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    let mut arguments = vec!["tune", "--machine", machine, "--from", clip];
    arguments.extend(WARM);
    arguments.extend(more);
    arguments
}

#[test]
fn the_screen_shows_what_to_do_how_fast_and_where_and_gives_the_terminal_back() {
    let (clip, machine) = (demo("cutter-fast-idle.wav"), demo("cutter.toml"));
    let mut terminal = Terminal::start(80, 24, &tune(&clip, &machine, &[]), false);
    let text = terminal.until("cautions", |text| text.contains("Read first"));
    assert!(
        text.contains("carbon monoxide") && text.contains("[Enter] go on"),
        "{text}"
    );
    terminal.press("\r");
    // Large letters, a speed, the step in brackets, the keys.
    let text = terminal.until("speed", |text| {
        text.contains("rpm") && text.contains("clutch-in")
    });
    assert!(text.contains('█') || text.contains('▀'), "{text}");
    assert!(text.contains('['), "{text}");
    for key in [
        "[t] ",
        "[s] ",
        "[p] pause",
        "[b] back",
        "[n] note",
        "[q] quit",
    ] {
        assert!(text.contains(key), "{key}:\n{text}");
    }
    // The blade turns at idle: told in words and not by colour alone.
    terminal.until("danger", |text| text.contains("CLUTCH-IN"));
    terminal.press("n");
    terminal.until("note", |text| text.contains("note: _"));
    // Letters of a note are no answers.
    terminal.press("plug is new q\r");
    terminal.until("noted", |text| text.contains("noted: plug is new q"));
    terminal.press("p");
    terminal.until("pause", |text| text.contains("[p] go on"));
    terminal.press("p");
    terminal.until("going on", |text| text.contains("[p] pause"));
    terminal.press("q");
    assert_eq!(terminal.end(), 1);
    assert!(!terminal.screen.lock().unwrap().screen().alternate_screen());
    let text = terminal.text();
    assert!(
        text.contains("Unfinished") && text.contains("--resume"),
        "{text}"
    );
}

#[test]
fn colour_is_left_out_where_it_is_not_wanted_and_nothing_else_with_it() {
    let (clip, machine) = (demo("cutter-fast-idle.wav"), demo("cutter.toml"));
    for (no_colour, wanted) in [(false, true), (true, false)] {
        let mut terminal = Terminal::start(80, 24, &tune(&clip, &machine, &[]), no_colour);
        terminal.until("cautions", |text| text.contains("Read first"));
        terminal.press("\r");
        terminal.until("danger", |text| text.contains("OVER CLUTCH-IN"));
        let screen = terminal.screen.lock().unwrap();
        let coloured = (0..24)
            .flat_map(|row| (0..80).map(move |column| (row, column)))
            .any(|(row, column)| {
                let cell = screen.screen().cell(row, column).unwrap();
                cell.fgcolor() != vt100::Color::Default || cell.bgcolor() != vt100::Color::Default
            });
        assert_eq!(coloured, wanted, "no colour: {no_colour}");
        drop(screen);
        terminal.press("q");
        terminal.end();
    }
}

#[test]
fn any_size_of_the_terminal_is_survived() {
    let (clip, machine) = (demo("trimmer-set.wav"), demo("trimmer.toml"));
    let mut terminal = Terminal::start(120, 45, &tune(&clip, &machine, &[]), false);
    terminal.until("cautions", |text| text.contains("Read first"));
    terminal.press("\r");
    terminal.until("speed", |text| text.contains("rpm"));
    for (columns, rows) in [(20, 5), (1, 1), (200, 60), (80, 24)] {
        terminal
            .screen
            .lock()
            .unwrap()
            .screen_mut()
            .set_size(some(rows), some(columns));
        terminal.master.resize(size(columns, rows)).unwrap();
        thread::sleep(Duration::from_millis(200));
    }
    terminal.until("speed after all sizes", |text| text.contains("[q] quit"));
    terminal.press("q");
    assert_eq!(terminal.end(), 1);
}

#[test]
fn a_small_terminal_gets_lines_of_text_with_typed_answers() {
    let (clip, machine) = (demo("trimmer-set.wav"), demo("trimmer.toml"));
    let mut terminal = Terminal::start(50, 15, &tune(&clip, &machine, &[]), false);
    terminal.until("a step", |text| text.contains("step 1 of"));
    terminal.press("sing\n");
    terminal.until("refusal", |text| text.contains("is no answer"));
    terminal.press("quit\n");
    assert_eq!(terminal.end(), 1);
    let all = String::from_utf8_lossy(&terminal.all.lock().unwrap()).into_owned();
    assert!(
        all.contains("smaller than") && all.contains("Read first"),
        "{all}"
    );
    assert!(
        all.contains("Unfinished") && !all.contains("\x1b[?1049h"),
        "{all}"
    );
}

#[test]
fn a_beep_comes_with_a_prompt_only_where_it_is_asked_for() {
    let (clip, machine) = (demo("trimmer-set.wav"), demo("trimmer.toml"));
    for (more, wanted) in [(vec!["--cue", "beep"], true), (vec![], false)] {
        let mut terminal = Terminal::start(80, 24, &tune(&clip, &machine, &more), false);
        terminal.until("cautions", |text| text.contains("Read first"));
        terminal.press("\r");
        terminal.until("speed", |text| text.contains("rpm"));
        terminal.press("q");
        terminal.end();
        assert_eq!(terminal.all.lock().unwrap().contains(&7), wanted);
    }
}

#[test]
fn a_session_that_was_left_waits_for_the_technician_to_go_on() {
    let (clip, machine) = (demo("trimmer-set.wav"), demo("trimmer.toml"));
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("left.ndjson");
    let name = file.to_string_lossy().into_owned();
    let mut terminal =
        Terminal::start(80, 24, &tune(&clip, &machine, &["--session", &name]), false);
    terminal.until("cautions", |text| text.contains("Read first"));
    terminal.press("\r");
    terminal.until("speed", |text| text.contains("rpm"));
    terminal.press("q");
    terminal.end();
    assert!(Path::new(&name).exists());
    let mut terminal =
        Terminal::start(80, 24, &["tune", "--resume", &name, "--from", &clip], false);
    terminal.until("cautions", |text| text.contains("Read first"));
    terminal.press("\r");
    terminal.until("pause", |text| text.contains("[p] go on"));
    terminal.press("p");
    terminal.until("going on", |text| text.contains("[p] pause"));
    terminal.press("q");
    assert_eq!(terminal.end(), 1);
}

#[test]
fn the_cautions_can_be_declined_and_nothing_is_left_behind() {
    let (clip, machine) = (demo("trimmer-set.wav"), demo("trimmer.toml"));
    let mut terminal = Terminal::start(80, 24, &tune(&clip, &machine, &["--session", "s"]), false);
    terminal.until("cautions", |text| text.contains("Read first"));
    terminal.press("q");
    assert_eq!(terminal.end(), 1);
    assert!(!terminal._folder.path().join("s").exists());
}

#[test]
fn practice_turns_screws_with_keys_and_compares_at_the_end() {
    let mut terminal = Terminal::start(80, 26, &["practice", "--engine", "7"], false);
    terminal.until("cautions", |text| text.contains("Read first"));
    terminal.press("\r");
    terminal.until("bench", |text| text.contains("engine stands"));
    // The low-speed screw to its seat and one and a quarter out.
    terminal.press("20");
    terminal.until("seat", |text| text.contains("[2 low 0.00]"));
    terminal.press(&"\x1b[A".repeat(5));
    terminal.until("the base setting", |text| text.contains("[2 low 1.25]"));
    terminal.press("30");
    terminal.press(&"\x1b[B".repeat(5));
    terminal.until("the idle's", |text| text.contains("[3 idle in 1.25]"));
    terminal.press("k");
    terminal.until("start", |text| {
        text.contains("attachment still,") || text.contains("ATTACHMENT TURNS,")
    });
    terminal.press(" ");
    terminal.until("full throttle", |text| text.contains("throttle FULL"));
    terminal.press(" ");
    terminal.until("closed throttle", |text| text.contains("throttle closed"));
    terminal.press("q");
    assert_eq!(terminal.end(), 1);
    let text = terminal.text();
    assert!(text.contains("your moves              3 in"), "{text}");
    assert!(
        text.contains("the guide's") && text.contains("simulated"),
        "{text}"
    );
}
