//! The sweep over all circuits: audit, remedies, rows, on all cores.

use std::ops::Range;
use std::sync::{Mutex, PoisonError};

use anyhow::Result;

use crate::assess::run::{Pace, RunError, load_fixture, sweep};
use crate::assess::usage_book::UsageBook;
use crate::model::finding::Finding;
use crate::remedy::search::Searching;
use crate::report::harvest::{Harvest, Wanted, mark_states};
use crate::report::previous::Previous;
use crate::report::remedy_rows::rows_of;

use super::CheckArgs;
use super::outputs::Outputs;
use crate::cli::interrupt;
use crate::cli::progress::Progress;

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
    let plant = searching.ground.plant;
    let roster = searching.roster;
    let wanted = Wanted { rows: outputs.has_data(), audits: outputs.keeps_audits() };
    let marker = previous.map(|previous| move |finding: &Finding| previous.state_of(finding));
    // One book a worker, since books have a page for every part: the sums are exact in any order.
    let books: Mutex<Vec<UsageBook>> = Mutex::default();
    let shelf = || books.lock().unwrap_or_else(PoisonError::into_inner);
    // Written out, and used again.
    let buffers: Mutex<Vec<Vec<u8>>> = Mutex::default();
    let buffers = || buffers.lock().unwrap_or_else(PoisonError::into_inner);
    let work = |fixtures: &[Range<usize>]| -> Result<Harvest, RunError> {
        let usage = shelf().pop().unwrap_or_default();
        let circuit_rows = buffers().pop().unwrap_or_default();
        let mut harvest = Harvest { usage, circuit_rows, ..Harvest::default() };
        for range in fixtures {
            if interrupt::interrupted() {
                return Err(RunError::Interrupted);
            }
            let fixture = roster.fixtures.partition_point(|other| other.start < range.start);
            let mut audit = load_fixture(roster, searching.ground, range.clone())?;
            let proved = searching.complete(fixture, &mut audit.audits);
            let proved = if args.no_remedies { Vec::new() } else { proved };
            let rows = rows_of(plant, &audit.audits, &proved);
            for circuit in &mut audit.audits {
                mark_states(
                    &mut circuit.findings,
                    marker.as_ref().map(|marker| marker as &(dyn Fn(&Finding) -> _ + Sync)),
                );
            }
            harvest.add_fixture(plant, fixture, audit, rows, wanted);
        }
        shelf().push(std::mem::take(&mut harvest.usage));
        Ok(harvest)
    };
    let of_shard = |range: &&Range<usize>| args.shard.is_none_or(|shard| shard.has(&roster.entries[range.start].key));
    let fixtures: Vec<Range<usize>> = roster.fixtures.iter().filter(of_shard).cloned().collect();
    let progress = Progress::start("Auditing circuits", roster.entries.len() as u64, args.quiet);
    let mut all = Harvest::default();
    let mut take = |mut harvest: Harvest| -> Result<(), RunError> {
        outputs.take_rows(&mut harvest).map_err(|error| RunError::Output(format!("{error:#}")))?;
        buffers().push(std::mem::take(&mut harvest.circuit_rows));
        progress.advance(harvest.counts.circuits.total);
        all.add(harvest);
        Ok(())
    };
    let pace = Pace { threads: args.thread_count(), is_interrupted: &interrupt::interrupted };
    sweep(&fixtures, pace, &work, &mut take)?;
    progress.finish();
    shelf().drain(..).for_each(|book| all.usage.add(book));
    Ok(all)
}
