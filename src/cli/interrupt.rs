//! Ctrl-C and a polite request to end: stop soon, leave nothing half-written, exit 130.

use std::process;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

use anyhow::Context;

use crate::report::whole_file;

/// Exit status of an interrupted run.
pub const EXIT: u8 = 130;

/// What the run has to end by itself before it is ended.
const GRACE: Duration = Duration::from_millis(600);

static INTERRUPTED: AtomicBool = AtomicBool::new(false);

/// Whether the user wants the run to stop: long loops ask it every few milliseconds.
#[must_use]
pub fn interrupted() -> bool {
    INTERRUPTED.load(Ordering::Relaxed)
}

/// From now on an interrupt sets the flag; a run that has not ended shortly after is ended, its
/// temporary files removed.
///
/// # Errors
/// Where the system takes no handler, or there is one.
pub fn install() -> anyhow::Result<()> {
    ctrlc::set_handler(|| {
        if INTERRUPTED.swap(true, Ordering::Relaxed) {
            end();
        }
        // The handler's thread must stay free for a second interrupt.
        thread::spawn(|| {
            thread::sleep(GRACE);
            end();
        });
    })
    .context("the interrupt handler can't be installed")
}

fn end() {
    whole_file::abandon_all();
    process::exit(i32::from(EXIT));
}
