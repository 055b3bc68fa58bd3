//! What the sound server says of this program's recording: which source it hears, and whether that
//! is muted.
//!
//! Servers move a recording to another source without a word to the program (seen where a source
//! was removed, and where the default changed), and a muted source is silence like any other. So
//! the server is asked, in its native protocol, on a thread of its own.
use std::ffi::CString;
use std::io::BufReader;
use std::os::unix::net::UnixStream;
use std::sync::{Arc, Mutex, PoisonError, Weak};
use std::thread;
use std::time::Duration;

use pulseaudio::protocol::{
    AuthParams, AuthReply, ClientInfoList, Command, CommandReply, MAX_VERSION, Prop, Props,
    ProtocolError, SetClientNameReply, SourceInfoList, SourceOutputInfoList, read_reply_message,
    write_command_message,
};

/// How often the server is asked.
const EVERY: Duration = Duration::from_millis(400);
/// How long it may take to answer.
const PATIENCE: Duration = Duration::from_secs(2);

/// What is heard according to the server.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Seen {
    /// Name of the source for people.
    pub name: String,
    /// Muted, or turned down to nothing.
    pub muted: bool,
}

/// Asks the server as long as it lives.
pub(super) struct Server(Arc<Mutex<Option<Seen>>>);

impl Server {
    pub(super) fn watch() -> Server {
        let seen = Arc::new(Mutex::new(None));
        let told = Arc::downgrade(&seen);
        thread::spawn(move || {
            // A machine without a server is asked again, since one may be started.
            while told.strong_count() > 0 {
                if let Ok(mut line) = Line::open() {
                    while let (Ok(new), true) = (line.ask(), told.strong_count() > 0) {
                        tell(&told, new);
                        thread::sleep(EVERY);
                    }
                }
                tell(&told, None);
                thread::sleep(EVERY);
            }
        });
        Server(seen)
    }

    /// What was seen last; none without a server, or while it records nothing for this program.
    pub(super) fn seen(&self) -> Option<Seen> {
        self.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }
}

fn tell(told: &Weak<Mutex<Option<Seen>>>, new: Option<Seen>) {
    if let Some(seen) = told.upgrade() {
        *seen.lock().unwrap_or_else(PoisonError::into_inner) = new;
    }
}

/// A connection.
struct Line {
    write: UnixStream,
    read: BufReader<UnixStream>,
    version: u16,
    count: u32,
    me: Vec<u8>,
}

impl Line {
    fn open() -> Result<Line, ProtocolError> {
        let nowhere = || ProtocolError::Io(std::io::ErrorKind::NotFound.into());
        let path = pulseaudio::socket_path_from_env().ok_or_else(nowhere)?;
        let write = UnixStream::connect(path)?;
        write.set_read_timeout(Some(PATIENCE))?;
        write.set_write_timeout(Some(PATIENCE))?;
        let read = BufReader::new(write.try_clone()?);
        let me = std::process::id().to_string().into_bytes();
        let mut line = Line {
            write,
            read,
            version: MAX_VERSION,
            count: 0,
            me,
        };
        let cookie = pulseaudio::cookie_path_from_env().and_then(|path| std::fs::read(path).ok());
        let auth: AuthReply = line.call(&Command::Auth(AuthParams {
            version: MAX_VERSION,
            supports_shm: false,
            supports_memfd: false,
            cookie: cookie.unwrap_or_default(),
        }))?;
        line.version = auth.version.min(MAX_VERSION);
        let mut props = Props::new();
        let name = CString::new("engine-note, watching its microphone").unwrap_or_default();
        props.set(Prop::ApplicationName, name);
        let _: SetClientNameReply = line.call(&Command::SetClientName(props))?;
        Ok(line)
    }

    fn call<T: CommandReply>(&mut self, command: &Command) -> Result<T, ProtocolError> {
        write_command_message(&mut self.write, self.count, command, self.version)?;
        self.count += 1;
        read_reply_message(&mut self.read, self.version).map(|(_, reply)| reply)
    }

    /// Finds the recording of this process and its source.
    fn ask(&mut self) -> Result<Option<Seen>, ProtocolError> {
        let clients: ClientInfoList = self.call(&Command::GetClientInfoList)?;
        let recordings: SourceOutputInfoList = self.call(&Command::GetSourceOutputInfoList)?;
        let sources: SourceInfoList = self.call(&Command::GetSourceInfoList)?;
        let mine = |props: &Props| {
            props
                .get(Prop::ApplicationProcessId)
                .is_some_and(|id| id.trim_ascii().strip_suffix(&[0]).unwrap_or(id) == self.me)
        };
        let own = recordings.iter().find(|recording| {
            mine(&recording.props)
                || clients.iter().any(|client| {
                    Some(client.index) == recording.client_index && mine(&client.props)
                })
        });
        Ok(own.and_then(|recording| {
            let source = sources
                .iter()
                .find(|source| source.index == recording.source_index)?;
            let name = source.description.as_ref().unwrap_or(&source.name);
            Some(Seen {
                name: name.to_string_lossy().into_owned(),
                muted: source.muted || recording.muted,
            })
        }))
    }
}
