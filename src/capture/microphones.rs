//! The microphones of this machine.
use super::Fault;

/// A microphone that can be opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Listed {
    /// What opens it, the same every time.
    pub id: String,
    /// For people; opens it too.
    pub name: String,
    /// Whether this one is opened if none is named.
    pub default: bool,
}

/// The microphones of this machine, the default first. Bridges and conversions that the system lists
/// beside them are left out.
///
/// # Errors
/// [`Fault::NoMicrophone`] if there are none, [`Fault::MicrophoneDenied`] if the system does not
/// let the program ask, [`Fault::NoMicrophoneBuilt`] in a build without them.
pub fn microphones() -> Result<Vec<Listed>, Fault> {
    #[cfg(feature = "mic")]
    return super::choice::list();
    #[cfg(not(feature = "mic"))]
    Err(Fault::NoMicrophoneBuilt)
}
