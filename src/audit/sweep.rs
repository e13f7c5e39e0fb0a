//! Audits all fixtures on all cores and hands the results on in key order, with a bounded number
//! of them in memory.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

use crate::audit::previous::PreviousError;
use crate::read::ReadError;

/// Circuits that a worker takes at a time; fewer of a small plant, so that all have some.
const CHUNK_CIRCUITS: usize = 1024;
const CHUNKS_PER_WORKER: usize = 16;
/// Chunks per worker that may wait for their turn.
const CHUNKS_AHEAD: usize = 4;

/// Why a run ended early.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    #[error(transparent)]
    Read(#[from] ReadError),
    /// Stopped from outside.
    #[error("The run was interrupted.")]
    Interrupted,
    /// A fault of this program, not of the plant.
    #[error("The audit of a circuit failed by a fault of the program; nothing was written.")]
    Fault,
    /// What takes the results failed.
    #[error("{0}")]
    Output(String),
    #[error(transparent)]
    Previous(#[from] PreviousError),
    /// A part of a run that reads its own lists alone needs others: the load station whose circuits stand in them.
    #[error("Circuits of load station {0} stand in lists that were not read.")]
    Beyond(String),
}

/// How a run goes about its work; results don't depend on it.
#[derive(Clone, Copy)]
pub struct Pace<'a> {
    /// Worker threads, at least 1.
    pub threads: usize,
    /// Asked often; true stops the run.
    pub is_interrupted: &'a (dyn Fn() -> bool + Sync),
}

impl Pace<'_> {
    /// All cores, and no interruption.
    #[must_use]
    pub fn all_cores() -> Self {
        Self { threads: std::thread::available_parallelism().map_or(1, usize::from), is_interrupted: &|| false }
    }
}

struct Queue<T> {
    next: usize,
    taken: usize,
    done: BTreeMap<usize, Result<T, RunError>>,
    is_over: bool,
}

fn held<T>(queue: &Mutex<Queue<T>>) -> MutexGuard<'_, Queue<T>> {
    queue.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Runs `work` on chunks of fixtures on all cores, and `take` on its results in key order.
///
/// # Errors
/// The first of: a list that can't be read, an interruption, what `take` returns.
pub fn sweep<T: Send>(
    fixtures: &[Range<usize>],
    pace: Pace,
    work: &(dyn Fn(&[Range<usize>]) -> Result<T, RunError> + Sync),
    take: &mut dyn FnMut(T) -> Result<(), RunError>,
) -> Result<(), RunError> {
    let chunks = chunks(fixtures, pace.threads);
    let queue = Mutex::new(Queue { next: 0, taken: 0, done: BTreeMap::new(), is_over: false });
    let changed = Condvar::new();
    let ahead = pace.threads.max(1) * CHUNKS_AHEAD;
    std::thread::scope(|scope| {
        for _ in 0..pace.threads.max(1) {
            scope.spawn(|| serve(&queue, &changed, &chunks, ahead, pace, work));
        }
        let result = collect(&queue, &changed, chunks.len(), take);
        held(&queue).is_over = true;
        changed.notify_all();
        result
    })
}

fn serve<T: Send>(
    queue: &Mutex<Queue<T>>,
    changed: &Condvar,
    chunks: &[&[Range<usize>]],
    ahead: usize,
    pace: Pace,
    work: &(dyn Fn(&[Range<usize>]) -> Result<T, RunError> + Sync),
) {
    loop {
        let index = {
            let mut state = held(queue);
            while !state.is_over && state.next < chunks.len() && state.next >= state.taken + ahead {
                state = changed.wait(state).unwrap_or_else(PoisonError::into_inner);
            }
            if state.is_over || state.next >= chunks.len() {
                return;
            }
            state.next += 1;
            state.next - 1
        };
        let result = if (pace.is_interrupted)() { Err(RunError::Interrupted) } else { guarded(work, chunks[index]) };
        held(queue).done.insert(index, result);
        changed.notify_all();
    }
}

/// Does the work of a chunk; a panic in it becomes the chunk's result, since whoever waits for the
/// chunk would wait for ever.
fn guarded<T>(
    work: &(dyn Fn(&[Range<usize>]) -> Result<T, RunError> + Sync),
    chunk: &[Range<usize>],
) -> Result<T, RunError> {
    std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| work(chunk))).unwrap_or(Err(RunError::Fault))
}

fn collect<T>(
    queue: &Mutex<Queue<T>>,
    changed: &Condvar,
    count: usize,
    take: &mut dyn FnMut(T) -> Result<(), RunError>,
) -> Result<(), RunError> {
    for index in 0..count {
        let result = {
            let mut state = held(queue);
            loop {
                if let Some(result) = state.done.remove(&index) {
                    state.taken = index + 1;
                    break result;
                }
                state = changed.wait(state).unwrap_or_else(PoisonError::into_inner);
            }
        };
        changed.notify_all();
        take(result?)?;
    }
    Ok(())
}

/// Stretches of fixtures with about the same number of circuits.
fn chunks(fixtures: &[Range<usize>], threads: usize) -> Vec<&[Range<usize>]> {
    let total: usize = fixtures.iter().map(ExactSizeIterator::len).sum();
    let most = (total / (threads.max(1) * CHUNKS_PER_WORKER)).clamp(16, CHUNK_CIRCUITS);
    let mut chunks = Vec::new();
    let mut start = 0;
    for index in 0..fixtures.len() {
        let circuits = fixtures[index].end - fixtures[start].start;
        if circuits >= most || index + 1 == fixtures.len() {
            chunks.push(&fixtures[start..=index]);
            start = index + 1;
        }
    }
    chunks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_in_a_worker_ends_the_run_and_does_not_hang_it() {
        let fixtures: Vec<Range<usize>> = (0..2000).map(|index| index..index + 1).collect();
        let work = |chunk: &[Range<usize>]| {
            assert!(chunk.iter().all(|range| range.start < 1500), "planted");
            Ok(chunk.len())
        };
        let pace = Pace { threads: 2, is_interrupted: &|| false };
        let result = sweep(&fixtures, pace, &work, &mut |_| Ok(()));
        assert!(matches!(result, Err(RunError::Fault)));
    }
}
