//! Size and times of a file: whether it is still the one that was read.
use std::fs;
use std::io;
use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

/// Younger times are not trusted: a file that changes twice within one tick of its file system
/// (two seconds at most, on FAT) keeps its time.
const TICK_NS: i64 = 3_000_000_000;

/// Size and times of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Bytes.
    pub size: i64,
    /// When its content was changed, in nanoseconds since 1970.
    pub modified_ns: i64,
    /// When anything of it was changed, in nanoseconds since 1970. No program can set this time,
    /// so that a content that was changed behind an old modification time is noticed. 0 where the
    /// system does not keep it.
    pub changed_ns: i64,
    /// Whether the times were old enough to be trusted when they were taken.
    pub settled: bool,
}

impl Stamp {
    /// Of a file.
    ///
    /// # Errors
    /// Where the system does not say.
    pub fn of(path: &Path) -> io::Result<Stamp> {
        let facts = fs::metadata(path)?;
        let modified_ns = nanoseconds(facts.modified()?);
        #[cfg(unix)]
        let changed_ns = {
            use std::os::unix::fs::MetadataExt;
            facts
                .ctime()
                .saturating_mul(1_000_000_000)
                .saturating_add(facts.ctime_nsec())
        };
        #[cfg(not(unix))]
        let changed_ns = 0;
        let youngest = modified_ns.max(changed_ns);
        Ok(Stamp {
            size: i64::try_from(facts.len()).unwrap_or(i64::MAX),
            modified_ns,
            changed_ns,
            settled: youngest.saturating_add(TICK_NS) < nanoseconds(SystemTime::now()),
        })
    }

    /// Whether size and times are the same.
    pub fn agrees(&self, other: &Stamp) -> bool {
        (self.size, self.modified_ns, self.changed_ns)
            == (other.size, other.modified_ns, other.changed_ns)
    }
}

pub(super) fn nanoseconds(time: SystemTime) -> i64 {
    let clamp = |nanoseconds: u128| i64::try_from(nanoseconds).unwrap_or(i64::MAX);
    match time.duration_since(UNIX_EPOCH) {
        Ok(since) => clamp(since.as_nanos()),
        Err(before) => -clamp(before.duration().as_nanos()),
    }
}
