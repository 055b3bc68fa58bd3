//! Decoders are other people's code and read hostile bytes: a panic in one is a broken clip, not the
//! end of the program.
use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    static GUARDED: Cell<bool> = const { Cell::new(false) };
}
static HOOK: Once = Once::new();

/// The guarded work panicked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Panicked;

/// Runs `work` and catches its panic without a word on standard error. A panic anywhere else is
/// reported as before.
///
/// What `work` changed must not be used after a panic.
pub(super) fn guarded<T>(work: impl FnOnce() -> T) -> Result<T, Panicked> {
    HOOK.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |what| {
            if !GUARDED.get() {
                before(what);
            }
        }));
    });
    let outer = GUARDED.replace(true);
    let result = panic::catch_unwind(AssertUnwindSafe(work));
    GUARDED.set(outer);
    result.map_err(|_| Panicked)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_inside_is_caught_and_one_outside_is_not() {
        assert_eq!(guarded(|| 7), Ok(7));
        assert_eq!(guarded(|| panic!("inside")), Err::<(), _>(Panicked));
        assert!(!GUARDED.get());
        assert!(panic::catch_unwind(|| panic!("outside")).is_err());
    }
}
