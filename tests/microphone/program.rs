//! The real program at a virtual microphone: what it writes, as it comes, with the time at which it
//! came.
use std::io::{BufRead, BufReader, Read};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::server::{Server, wait_for};

/// `engine-note listen` as it runs.
pub struct Program {
    child: Child,
    lines: Arc<Mutex<Vec<(Instant, String)>>>,
    said: Arc<Mutex<Vec<String>>>,
}

/// A reading of the event stream, with the moment at which its line came.
#[derive(Clone, Copy, Debug)]
pub struct Reading {
    pub came: Instant,
    pub t: f64,
    pub rpm: Option<f64>,
}

pub fn command(server: &Server, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_engine-note"));
    command.arg("listen").args(arguments);
    server.environment(&mut command);
    command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// A recording in the repository.
pub fn clip(name: &str) -> PathBuf {
    PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo")).join(name)
}

fn gather<T: Send + 'static>(
    from: impl Read + Send + 'static,
    line: impl Fn(String) -> T + Send + 'static,
) -> Arc<Mutex<Vec<T>>> {
    let all = Arc::new(Mutex::new(vec![]));
    let into = Arc::clone(&all);
    thread::spawn(move || {
        for text in BufReader::new(from).lines().map_while(Result::ok) {
            into.lock().unwrap().push(line(text));
        }
    });
    all
}

impl Program {
    /// Starts it and waits for its first reading.
    pub fn start(server: &Server, arguments: &[&str]) -> Program {
        let all = [&["--events", "ndjson"], arguments].concat();
        let mut child = command(server, &all).spawn().unwrap();
        let lines = gather(child.stdout.take().unwrap(), |line| (Instant::now(), line));
        let said = gather(child.stderr.take().unwrap(), |line| line);
        let program = Program { child, lines, said };
        wait_for("the first reading", || {
            program.lines.lock().unwrap().len() > 1
        });
        program
    }

    /// What it has said on standard error so far.
    pub fn said(&self) -> String {
        self.said.lock().unwrap().join("\n")
    }

    /// Waits until it has said something.
    pub fn wait_to_say(&self, words: &str) {
        let began = Instant::now();
        while !self.said().contains(words) {
            let late = began.elapsed() > Duration::from_secs(20);
            assert!(!late, "it never said `{words}`, but:\n{}", self.said());
            thread::sleep(Duration::from_millis(20));
        }
    }

    pub fn readings(&self) -> Vec<Reading> {
        let lines = self.lines.lock().unwrap().clone();
        let readings = lines.into_iter().filter_map(|(came, line)| {
            let event: Value = serde_json::from_str(&line).unwrap();
            (event["event"] == "reading").then(|| Reading {
                came,
                t: event["t_s"].as_f64().unwrap(),
                rpm: event["rpm"].as_f64(),
            })
        });
        readings.collect()
    }

    /// Waits until the latest second has a speed in most readings, or in none.
    pub fn wait_to_read(&self, speed: bool) {
        let began = Instant::now();
        loop {
            let last = self.readings();
            let last: Vec<_> = last.iter().rev().take(60).collect();
            let read = last.iter().filter(|reading| reading.rpm.is_some()).count();
            if last.len() == 60 && (speed && read > 50 || !speed && read == 0) {
                return;
            }
            let late = began.elapsed() > Duration::from_secs(20);
            assert!(
                !late,
                "{read} of 60 with a speed; it said:\n{}",
                self.said()
            );
            thread::sleep(Duration::from_millis(50));
        }
    }

    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Waits for its end and gives its exit code.
    pub fn end(&mut self) -> i32 {
        self.child.wait().unwrap().code().unwrap()
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
