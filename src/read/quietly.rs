//! Readers of untrusted bytes, whose panics are failures like others.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Once;

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// Runs a reader of untrusted bytes; where it panics there is nothing, and nothing on stderr.
pub(super) fn quietly<T>(work: impl FnOnce() -> T) -> Option<T> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if !QUIET.get() {
                before(info);
            }
        }));
    });
    QUIET.set(true);
    let result = catch_unwind(AssertUnwindSafe(work)).ok();
    QUIET.set(false);
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_of_a_reader_is_nothing() {
        assert_eq!(quietly(|| -> u8 { panic!("broken file") }), None);
        assert_eq!(quietly(|| 3), Some(3));
    }
}
