//! The sweep over all circuits: audit, remedies, rows, on all cores.

use std::ops::Range;
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::audit::Wanted;
use crate::audit::causes::Causes;
use crate::audit::previous::Previous;
use crate::audit::sure_counts::SureCounts;
use crate::audit::sweep::{RunError, sweep};
use crate::audit::swept::{Swept, mark_states};
use crate::audit::usage_book::UsageBook;
use crate::circuit::audited::CircuitAudit;
use crate::circuit::fixture::load_fixture;
use crate::circuit::sureness::add_sureness;
use crate::remedy::row_of::rows_of;
use crate::remedy::search::Searching;
use crate::tables::circuit::CircuitKey;
use crate::tables::plant::Plant;

/// What becomes of circuits as they come: rows of them are made on the workers' threads and taken in key order.
pub struct Rows<'a, R> {
    /// Adds a circuit to the rows.
    pub add: fn(&Plant, &CircuitAudit, &mut R),
    /// Takes the rows of some circuits, and gives them back empty, to be filled again.
    pub take: &'a mut dyn FnMut(R) -> Result<R, RunError>,
}

/// Values that are filled again and again, by whichever worker is free.
struct Spares<T>(Mutex<Vec<T>>);

impl<T: Default> Spares<T> {
    fn held(&self) -> MutexGuard<'_, Vec<T>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn take(&self) -> T {
        self.held().pop().unwrap_or_default()
    }

    fn put_back(&self, spare: T) {
        self.held().push(spare);
    }
}

/// What the workers of a sweep share.
struct Sweeping<'a, R> {
    searching: &'a Searching<'a>,
    previous: Option<&'a Previous>,
    wanted: &'a Wanted<'a>,
    add_rows: fn(&Plant, &CircuitAudit, &mut R),
    /// One a worker, since a book has a page for every part: the sums are exact in any order.
    books: Spares<UsageBook>,
    /// The same: a cause that many circuits have is put in words once a worker.
    causes: Spares<Causes>,
    rows: Spares<R>,
}

impl<R: Default + Send> Sweeping<'_, R> {
    /// Audits some fixtures.
    fn sweep(&self, fixtures: &[Range<usize>]) -> Result<(Swept, R), RunError> {
        let mut swept = Swept { usage: self.books.take(), ..Swept::default() };
        swept.counts.causes = self.causes.take();
        let mut rows = self.rows.take();
        let all = &self.searching.roster.fixtures;
        let first = fixtures.first().map_or(0, |range| range.start);
        let mut index = all.partition_point(|other| other.start < first);
        for range in fixtures {
            // A part of a plant leaves fixtures out.
            index += all[index..].iter().take_while(|other| other.start < range.start).count();
            if (self.wanted.pace.is_interrupted)() {
                return Err(RunError::Interrupted);
            }
            self.add(index, range, &mut swept, &mut rows)?;
        }
        self.books.put_back(std::mem::take(&mut swept.usage));
        self.causes.put_back(std::mem::take(&mut swept.counts.causes));
        Ok((swept, rows))
    }

    fn add(&self, fixture: usize, range: &Range<usize>, swept: &mut Swept, rows: &mut R) -> Result<(), RunError> {
        let Searching { roster, ground, .. } = self.searching;
        let plant = ground.plant;
        let mut audit = load_fixture(roster, ground, range.clone())?;
        if self.wanted.sure {
            add_sureness(ground, &mut audit.audits, &mut audit.matches, self.wanted.circuits);
        }
        let mut proved = self.searching.complete(&mut audit.audits);
        if let Some(station) = self.searching.asked_beyond() {
            return Err(RunError::Beyond(station.to_owned()));
        }
        if !self.wanted.remedies {
            proved.clear();
        }
        let is_asked = |key: &CircuitKey| self.wanted.limit.is_none_or(|limit| limit.has(key));
        let remedies = rows_of(plant, &audit.audits, proved);
        swept.remedies.extend(remedies.into_iter().filter(|row| is_asked(&row.place)));
        audit.audits.retain(|audit| is_asked(&audit.circuit.key));
        for circuit in &mut audit.audits {
            mark_states(&mut circuit.findings, self.previous);
            if let Some(previous) = self.previous {
                swept.counts.softened.add_circuit(plant, circuit, previous);
            }
            (self.add_rows)(plant, circuit, rows);
        }
        swept.add_fixture(plant, fixture, audit, self.wanted.circuits);
        Ok(())
    }
}

/// Audits every circuit that is wanted, hands rows on as they come, and gathers the rest.
///
/// # Errors
/// Where a list or what takes the rows fails, or the run is interrupted.
pub fn circuits_swept<R: Default + Send>(
    searching: &Searching,
    previous: Option<&Previous>,
    wanted: &Wanted,
    rows: Rows<R>,
) -> Result<Swept, RunError> {
    let roster = searching.roster;
    let sweeping = Sweeping {
        searching,
        previous,
        wanted,
        add_rows: rows.add,
        books: Spares(Mutex::default()),
        causes: Spares(Mutex::default()),
        rows: Spares(Mutex::default()),
    };
    let is_wanted = |range: &&Range<usize>| {
        let key = || roster.entry(range.start).key;
        wanted.pallets.is_none_or(|is_wanted| is_wanted(&key()))
            && wanted.limit.is_none_or(|limit| limit.has_pallet(&key()))
    };
    let fixtures: Vec<Range<usize>> = roster.fixtures.iter().filter(is_wanted).cloned().collect();
    let total = fixtures.iter().map(|range| range.len() as u64).sum();
    let mut all = Swept::default();
    all.counts.sure = wanted.sure.then(|| SureCounts::from(searching.ground.plant.policy.limits.sure));
    let take_rows = rows.take;
    let mut take = |(swept, rows): (Swept, R)| -> Result<(), RunError> {
        sweeping.rows.put_back(take_rows(rows)?);
        (wanted.progress)(swept.counts.circuits.total, total);
        all.add(swept);
        Ok(())
    };
    sweep(&fixtures, wanted.pace, &|fixtures| sweeping.sweep(fixtures), &mut take)?;
    sweeping.books.held().drain(..).for_each(|book| all.usage.add(book));
    sweeping.causes.held().drain(..).for_each(|causes| all.counts.causes.add(causes));
    Ok(all)
}
