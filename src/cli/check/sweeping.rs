//! The sweep over all circuits: audit, remedies, rows, on all cores.

use std::ops::Range;
use std::sync::{Mutex, MutexGuard, PoisonError};

use anyhow::Result;

use crate::audit::harvest::{Harvest, Marker, Wanted, mark_states};
use crate::audit::previous::Previous;
use crate::audit::sweep::{Pace, RunError, sweep};
use crate::audit::usage_book::UsageBook;
use crate::circuit::fixture::load_fixture;
use crate::remedy::search::Searching;
use crate::report::remedy_rows::rows_of;
use crate::tables::finding::Finding;

use super::CheckArgs;
use super::outputs::Outputs;
use crate::cli::interrupt;
use crate::cli::progress::Progress;

/// Things that the next worker who wants one uses again.
struct Shelf<T>(Mutex<Vec<T>>);

impl<T: Default> Shelf<T> {
    fn held(&self) -> MutexGuard<'_, Vec<T>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn take(&self) -> T {
        self.held().pop().unwrap_or_default()
    }

    fn put_back(&self, thing: T) {
        self.held().push(thing);
    }
}

/// What the workers of a sweep share.
struct Sweeping<'a> {
    searching: &'a Searching<'a>,
    previous: Option<&'a Previous>,
    wanted: Wanted,
    without_remedies: bool,
    /// One a worker, since a book has a page for every part: the sums are exact in any order.
    books: Shelf<UsageBook>,
    row_buffers: Shelf<Vec<u8>>,
}

impl Sweeping<'_> {
    /// Audits some fixtures.
    fn harvest(&self, fixtures: &[Range<usize>]) -> Result<Harvest, RunError> {
        let (circuit_rows, usage) = (self.row_buffers.take(), self.books.take());
        let mut harvest = Harvest { circuit_rows, usage, ..Harvest::default() };
        let all = &self.searching.roster.fixtures;
        let first = fixtures.first().map_or(0, |range| range.start);
        let mut index = all.partition_point(|other| other.start < first);
        for range in fixtures {
            // A part of a plant leaves fixtures out.
            index += all[index..].iter().take_while(|other| other.start < range.start).count();
            if interrupt::interrupted() {
                return Err(RunError::Interrupted);
            }
            self.add(index, range, &mut harvest)?;
        }
        self.books.put_back(std::mem::take(&mut harvest.usage));
        Ok(harvest)
    }

    fn add(&self, fixture: usize, range: &Range<usize>, harvest: &mut Harvest) -> Result<(), RunError> {
        let Searching { roster, ground, .. } = self.searching;
        let mut audit = load_fixture(roster, ground, range.clone())?;
        let proved = self.searching.complete(fixture, &mut audit.audits);
        let proved = if self.without_remedies { Vec::new() } else { proved };
        let rows = rows_of(ground.plant, &audit.audits, &proved);
        let marker = self.previous.map(|previous| move |finding: &Finding| previous.state_of(finding));
        for circuit in &mut audit.audits {
            mark_states(&mut circuit.findings, marker.as_ref().map(|marker| marker as Marker));
        }
        harvest.add_fixture(ground.plant, fixture, audit, rows, self.wanted);
        Ok(())
    }
}

/// Audits every circuit, writes rows as they come, and gathers the rest.
///
/// # Errors
/// Where a list or an output fails, or the run is interrupted.
pub fn sweep_all(
    args: &CheckArgs,
    searching: &Searching,
    previous: Option<&Previous>,
    outputs: &mut Outputs,
) -> Result<Harvest> {
    let roster = searching.roster;
    let sweeping = Sweeping {
        searching,
        previous,
        wanted: Wanted { rows: outputs.has_data(), audits: outputs.keeps_audits() },
        without_remedies: args.no_remedies,
        books: Shelf(Mutex::default()),
        row_buffers: Shelf(Mutex::default()),
    };
    let of_shard = |range: &&Range<usize>| args.shard.is_none_or(|shard| shard.has(roster.entries[range.start].key));
    let fixtures: Vec<Range<usize>> = roster.fixtures.iter().filter(of_shard).cloned().collect();
    let progress = Progress::start("Auditing circuits", roster.entries.len() as u64, args.quiet);
    let mut all = Harvest::default();
    let mut take = |mut harvest: Harvest| -> Result<(), RunError> {
        outputs.take_rows(&mut harvest).map_err(|error| RunError::Output(format!("{error:#}")))?;
        sweeping.row_buffers.put_back(std::mem::take(&mut harvest.circuit_rows));
        progress.advance(harvest.counts.circuits.total);
        all.add(harvest);
        Ok(())
    };
    let pace = Pace { threads: args.thread_count(), is_interrupted: &interrupt::interrupted };
    sweep(&fixtures, pace, &|fixtures| sweeping.harvest(fixtures), &mut take)?;
    progress.finish();
    sweeping.books.held().drain(..).for_each(|book| all.usage.add(book));
    Ok(all)
}
