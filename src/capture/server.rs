//! The sound server of a Linux desktop, asked in its native protocol, which PipeWire speaks too.
//!
//! Sound itself comes through `cpal` and ALSA; the server is asked for what those do not tell: which
//! sources there are, which one this program hears, and whether that is muted. Servers move a
//! recording to another source without a word to the program.
use std::ffi::CString;
use std::io::{self, BufReader};
use std::os::unix::net::UnixStream;
use std::thread;
use std::time::{Duration, Instant};

use pulseaudio::protocol::{
    AuthParams, AuthReply, ClientInfoList, Command, CommandReply, MAX_VERSION, MoveStreamParams,
    Prop, Props, ProtocolError, PulseError, ServerInfo, SetClientNameReply, SourceInfo,
    SourceInfoList, SourceOutputInfoList, read_ack_message, read_reply_message,
    write_command_message,
};

use super::microphones::Listed;

/// How long the server may take to answer.
const PATIENCE: Duration = Duration::from_secs(2);
/// How long a recording that was just opened may take to show.
const SHOWING: Duration = Duration::from_secs(1);

/// What is heard according to the server.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Seen {
    /// Name of the source for people.
    pub name: String,
    /// Muted, or turned down to nothing.
    pub muted: bool,
    recording: u32,
    source: String,
}

/// The sources of the server; none where there is no server.
pub(super) fn sources() -> Option<Vec<Listed>> {
    let mut line = Line::open().ok()?;
    let info: ServerInfo = line.call(&Command::GetServerInfo).ok()?;
    let sources: SourceInfoList = line.call(&Command::GetSourceInfoList).ok()?;
    let listed = sources.iter().map(|source| Listed {
        id: source.name.to_string_lossy().into_owned(),
        name: name(source),
        default: Some(&source.name) == info.default_source_name.as_ref(),
    });
    Some(listed.collect())
}

/// Whether a server is there that does not want this program.
pub(super) fn refuses() -> bool {
    match Line::open() {
        Err(ProtocolError::ServerError(PulseError::AccessDenied | PulseError::AuthKey)) => true,
        // It may hang up before its word of refusal has been read.
        Err(ProtocolError::Io(error)) => matches!(
            error.kind(),
            io::ErrorKind::PermissionDenied
                | io::ErrorKind::ConnectionReset
                | io::ErrorKind::UnexpectedEof
                | io::ErrorKind::BrokenPipe
        ),
        _ => false,
    }
}

/// Waits until the recording of this process shows, puts it to `wanted` if that is given, and gives
/// the name of the source that is heard then.
pub(super) fn settle(wanted: Option<&str>) -> Option<String> {
    let mut line = Line::open().ok()?;
    let began = Instant::now();
    loop {
        match (line.ask().ok()?, wanted) {
            (Some(seen), None) => return Some(seen.name),
            (Some(seen), Some(wanted)) if seen.source == wanted => return Some(seen.name),
            (Some(seen), Some(wanted)) => line.put(seen.recording, wanted).ok()?,
            (None, _) if began.elapsed() > SHOWING => return None,
            (None, _) => thread::sleep(Duration::from_millis(20)),
        }
    }
}

fn name(source: &SourceInfo) -> String {
    let name = source.description.as_ref().unwrap_or(&source.name);
    name.to_string_lossy().into_owned()
}

/// A connection.
pub(super) struct Line {
    write: UnixStream,
    read: BufReader<UnixStream>,
    version: u16,
    count: u32,
    me: Vec<u8>,
}

impl Line {
    pub(super) fn open() -> Result<Line, ProtocolError> {
        let nowhere = || ProtocolError::Io(io::ErrorKind::NotFound.into());
        let path = pulseaudio::socket_path_from_env().ok_or_else(nowhere)?;
        let write = UnixStream::connect(path)?;
        write.set_read_timeout(Some(PATIENCE))?;
        write.set_write_timeout(Some(PATIENCE))?;
        let read = BufReader::new(write.try_clone()?);
        let mut line = Line {
            write,
            read,
            version: MAX_VERSION,
            count: 0,
            me: std::process::id().to_string().into_bytes(),
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
        props.set(
            Prop::ApplicationName,
            c"engine-note, watching its microphone",
        );
        let _: SetClientNameReply = line.call(&Command::SetClientName(props))?;
        Ok(line)
    }

    fn send(&mut self, command: &Command) -> Result<(), ProtocolError> {
        write_command_message(&mut self.write, self.count, command, self.version)?;
        self.count += 1;
        Ok(())
    }

    fn call<T: CommandReply>(&mut self, command: &Command) -> Result<T, ProtocolError> {
        self.send(command)?;
        read_reply_message(&mut self.read, self.version).map(|(_, reply)| reply)
    }

    /// Puts a recording to another source.
    fn put(&mut self, recording: u32, source: &str) -> Result<(), ProtocolError> {
        self.send(&Command::MoveSourceOutput(MoveStreamParams {
            index: Some(recording),
            device_index: None,
            device_name: CString::new(source).ok(),
        }))?;
        read_ack_message(&mut self.read).map(drop)
    }

    /// Finds the newest recording of this process and its source.
    pub(super) fn ask(&mut self) -> Result<Option<Seen>, ProtocolError> {
        let clients: ClientInfoList = self.call(&Command::GetClientInfoList)?;
        let recordings: SourceOutputInfoList = self.call(&Command::GetSourceOutputInfoList)?;
        let sources: SourceInfoList = self.call(&Command::GetSourceInfoList)?;
        let mine = |props: &Props| {
            let id = props.get(Prop::ApplicationProcessId).unwrap_or_default();
            id.strip_suffix(&[0]).unwrap_or(id) == self.me
        };
        let own = recordings.iter().filter(|recording| {
            let client = clients
                .iter()
                .find(|client| Some(client.index) == recording.client_index);
            mine(&recording.props) || client.is_some_and(|client| mine(&client.props))
        });
        let newest = own.max_by_key(|recording| recording.index);
        Ok(newest.and_then(|recording| {
            let source = sources
                .iter()
                .find(|source| source.index == recording.source_index)?;
            Some(Seen {
                name: name(source),
                muted: source.muted || recording.muted,
                recording: recording.index,
                source: source.name.to_string_lossy().into_owned(),
            })
        }))
    }
}
