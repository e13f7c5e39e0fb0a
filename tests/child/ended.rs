//! Waiting for a run, and no longer than it may take.

use std::process::{Child, ExitStatus};
use std::thread;
use std::time::{Duration, Instant};

/// How a run ended; `None` where it took more than `most` and was ended.
pub fn ended(child: &mut Child, most: Duration) -> Option<ExitStatus> {
    let begun = Instant::now();
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            return Some(status);
        }
        if begun.elapsed() > most {
            child.kill().unwrap();
            child.wait().unwrap();
            return None;
        }
        thread::sleep(Duration::from_millis(2));
    }
}
