//! Progress on the terminal, for work that takes over a second.

use std::io::IsTerminal;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Work of less than this shows nothing.
const PATIENCE: Duration = Duration::from_secs(1);

/// A phase; how many things there are to do is known with the first that are done.
pub struct Progress {
    bar: ProgressBar,
    since: Instant,
}

impl Progress {
    /// Starts a phase; silent where it is asked to be, or nobody looks.
    #[must_use]
    pub fn start(phase: &'static str, quiet: bool) -> Self {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
        if !quiet && std::io::stderr().is_terminal() {
            let template = "{msg}: {pos} of {len} ({per_sec}), {eta} left";
            if let Ok(style) = ProgressStyle::with_template(template) {
                bar.set_style(style);
            }
            bar.set_message(phase);
        } else {
            bar.set_message("");
        }
        Self { bar, since: Instant::now() }
    }

    /// So many more are done, of so many in all.
    pub fn advance(&self, count: u64, total: u64) {
        self.bar.set_length(total);
        self.bar.inc(count);
        let shows = !self.bar.message().is_empty();
        if shows && self.bar.is_hidden() && self.since.elapsed() > PATIENCE {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
    }

    /// Takes the line away.
    pub fn finish(&self) {
        self.bar.finish_and_clear();
    }
}
