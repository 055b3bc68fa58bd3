//! Memory of the test process, for tests that stand alone in it.
use std::fs;

/// The most memory that this process has had, in KiB (proc_pid_status(5), VmHWM).
pub fn peak() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap();
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))
        .unwrap();
    line.trim().trim_end_matches(" kB").parse().unwrap()
}
