//! A sound server of our own with a virtual microphone, for one test. It runs apart from the
//! system's and is gone when it is dropped.
//!
//! A null sink plays to nobody; what it plays is its monitor, the microphone. The first block of a null
//! sink lasts two seconds, and only a listener that wants it soon makes its blocks short, so one
//! listens all the time.
use std::fs::{self, File};
use std::io::Write;
use std::os::unix::net::UnixStream;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// Programs that a virtual microphone needs.
const NEEDED: [&str; 4] = ["pulseaudio", "pactl", "paplay", "parec"];

/// Whether a virtual microphone can be had here. Where not, it says so; on a CI machine, where
/// `.ci/need pulse` brings it, that is a failure.
pub fn can_run() -> bool {
    let missing: Vec<&str> = NEEDED.into_iter().filter(|name| !is_there(name)).collect();
    if missing.is_empty() {
        return true;
    }
    let words = format!(
        "NOT RUN: a virtual microphone needs {}; `.ci/need pulse` installs it",
        missing.join(", ")
    );
    assert!(std::env::var_os("CI").is_none(), "{words}");
    // Not captured as the output of a test that passes would be.
    let _ = writeln!(std::io::stderr().lock(), "\n{words}\n");
    false
}

fn is_there(name: &str) -> bool {
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path).any(|folder| folder.join(name).is_file())
}

/// A server.
pub struct Server {
    folder: TempDir,
    /// The user as whom it runs, if not this one.
    user: Option<u32>,
    process: Option<Child>,
    listener: Option<Child>,
}

impl Server {
    /// Starts one with the microphone `bench.monitor`.
    pub fn start() -> Server {
        let mut server = Server::none();
        server.run();
        server.shorten();
        server
    }

    /// One that runs as another user, and lets nobody else in.
    pub fn of_another_user() -> Server {
        let mut server = Server::none();
        server.user = Some(65_534);
        std::os::unix::fs::chown(server.folder.path(), server.user, server.user).unwrap();
        open_to_all(server.folder.path());
        server.run();
        server
    }

    /// The place for one that does not run yet.
    pub fn none() -> Server {
        Server {
            folder: tempfile::tempdir().unwrap(),
            user: None,
            process: None,
            listener: None,
        }
    }

    /// Starts it in its place.
    pub fn run(&mut self) {
        let folder = self.folder.path().to_path_buf();
        let socket = folder.join("native");
        let mut command = self.command("pulseaudio");
        command
            .args([
                "-n",
                "--daemonize=no",
                "--exit-idle-time=-1",
                "--disable-shm=yes",
                "--use-pid-file=no",
            ])
            .arg(format!(
                "--log-target=file:{}",
                folder.join("log").display()
            ))
            .arg(format!(
                "--load=module-native-protocol-unix socket={} auth-anonymous={}",
                socket.display(),
                u8::from(self.user.is_none())
            ))
            .arg("--load=module-null-sink sink_name=bench rate=48000 channels=2 format=s16le");
        if let Some(user) = self.user {
            command.uid(user).gid(user).env("HOME", &folder);
        }
        self.process = Some(
            command
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
                .unwrap(),
        );
        // The socket stands there a moment before anything listens at it.
        wait_for("the sound server", || UnixStream::connect(&socket).is_ok());
        if self.user.is_none() {
            wait_for("an answer of the sound server", || {
                self.control(&["info"]).is_some()
            });
            self.pactl(&["set-default-sink", "bench"]);
            self.pactl(&["set-default-source", "bench.monitor"]);
        }
    }

    /// Holds the blocks of the null sink short, and waits until they are.
    fn shorten(&mut self) {
        let mut command = self.command("parec");
        command
            .args(["-d", "bench.monitor", "--latency-msec=10"])
            .stdout(Stdio::null());
        self.listener = Some(command.spawn().unwrap());
        thread::sleep(Duration::from_millis(2_200));
    }

    /// The process, to be stopped and continued.
    pub fn id(&self) -> u32 {
        self.process.as_ref().unwrap().id()
    }

    /// Kills it, as a crash would.
    pub fn kill(&mut self) {
        for mut child in [self.listener.take(), self.process.take()]
            .into_iter()
            .flatten()
        {
            let _ = child.kill();
            let _ = child.wait();
        }
        let _ = fs::remove_file(self.folder.path().join("native"));
    }

    /// Makes a program find this server and no other.
    pub fn environment(&self, command: &mut Command) {
        let folder = self.folder.path();
        command
            .env("PULSE_RUNTIME_PATH", folder)
            .env("PULSE_STATE_PATH", folder)
            .env("PULSE_COOKIE", folder.join("cookie"))
            .env(
                "PULSE_SERVER",
                format!("unix:{}", folder.join("native").display()),
            )
            .env("XDG_RUNTIME_DIR", folder);
    }

    fn command(&self, name: &str) -> Command {
        let mut command = Command::new(name);
        self.environment(&mut command);
        command
    }

    fn control(&self, arguments: &[&str]) -> Option<String> {
        let output = self.command("pactl").args(arguments).output().unwrap();
        output
            .status
            .success()
            .then(|| String::from_utf8(output.stdout).unwrap())
    }

    /// Tells the server something.
    pub fn pactl(&self, arguments: &[&str]) -> String {
        self.control(arguments)
            .unwrap_or_else(|| panic!("pactl {arguments:?}"))
    }

    /// Plays a clip to a sink.
    pub fn play(&self, sink: &str, clip: &Path) -> Playing {
        let mut command = self.command("paplay");
        command.args(["--latency-msec=20", "-d", sink]).arg(clip);
        Playing(command.spawn().unwrap())
    }

    /// A second microphone, which a pipe feeds: what is written into the file is heard at once.
    pub fn piped(&self) -> File {
        let pipe = self.folder.path().join("pipe");
        self.pactl(&[
            "load-module",
            "module-pipe-source",
            "source_name=piped",
            &format!("file={}", pipe.display()),
            "format=s16le",
            "rate=48000",
            "channels=1",
        ]);
        self.pactl(&["set-default-source", "piped"]);
        File::options().write(true).open(pipe).unwrap()
    }

    /// A place in the server's folder.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.kill();
    }
}

/// A clip being played.
pub struct Playing(Child);

impl Drop for Playing {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn open_to_all(folder: &Path) {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(folder, fs::Permissions::from_mode(0o755)).unwrap();
}

/// Waits until something is so.
pub fn wait_for(what: &str, is_so: impl Fn() -> bool) {
    let began = Instant::now();
    while !is_so() {
        assert!(
            began.elapsed() < Duration::from_secs(20),
            "{what} did not come"
        );
        thread::sleep(Duration::from_millis(20));
    }
}

/// Sends a signal to a process by its number.
pub fn signal(name: &str, id: u32) {
    let sent = Command::new("kill")
        .args([&format!("-{name}"), &id.to_string()])
        .status();
    assert!(sent.unwrap().success(), "kill -{name} {id}");
}
