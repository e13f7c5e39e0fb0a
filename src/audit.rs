//! The library's main path: a whole plant, audited.
//!
//! [`crate::read::open`] reads a plant, [`whole`] audits it on all cores, [`outcome::Audit`] is what it found. A plant
//! may also be audited in parts ([`part`]) that are joined later ([`joined`]).

pub mod at_once;
pub mod basis;
pub mod beside;
pub mod buying_doubts;
pub mod causes;
pub mod circuits_swept;
pub mod counts;
pub mod decided;
pub mod due;
pub mod flattering;
pub mod found;
pub mod input_causes;
pub mod limit;
pub mod listed;
pub mod mentions;
pub mod outcome;
pub mod pallet_book;
pub mod pallet_counts;
pub mod plant_wide;
pub mod previous;
pub mod purchase;
pub mod resting;
pub mod settling;
pub mod softened;
pub mod sure_counts;
pub mod sweep;
pub mod swept;
pub mod to_buy;
pub mod unsafe_circuit;
pub mod usage_book;
pub mod waiting;
pub mod what_if;

use crate::read::{Lists, Reading};
use crate::remedy::remedy_row::RemedyRow;
use crate::tables::circuit::CircuitKey;
use crate::tables::plant::Plant;

use basis::with_searching;
use circuits_swept::{Rows, circuits_swept};
use found::Found;
use limit::Limit;
use outcome::Audit;
use previous::Previous;
use sweep::{Pace, RunError};
use swept::Swept;

/// What an audit does and keeps.
#[derive(Clone, Copy)]
pub struct Wanted<'a> {
    /// Whether changes that put findings right are searched and proved.
    pub remedies: bool,
    /// Whether it is worked out how sure each verdict is.
    pub sure: bool,
    /// Whether every circuit is kept, with its pressure over time and the rows of the lists; else the counts, and the
    /// findings on no circuit.
    pub circuits: bool,
    /// Which pallets are audited, by any key on them; all where there is none.
    pub pallets: Option<&'a (dyn Fn(&CircuitKey) -> bool + Sync)>,
    /// The part of the plant that is looked at, where it is not all of it.
    pub limit: Option<&'a Limit>,
    pub pace: Pace<'a>,
    /// Told how many circuits more are done, and of how many.
    pub progress: &'a (dyn Fn(u64, u64) + Sync),
    /// Marks the remedies that are applied: what these need is needed. Where there is none, none is.
    pub apply: Option<&'a Applying<'a>>,
}

/// What marks the remedies of a plant that are applied.
pub type Applying<'a> = dyn Fn(&Plant, &mut [RemedyRow]) -> Result<(), RunError> + Sync + 'a;

impl Default for Wanted<'_> {
    fn default() -> Self {
        Self {
            remedies: true,
            sure: false,
            circuits: true,
            pallets: None,
            limit: None,
            pace: Pace::all_cores(),
            progress: &|_, _| (),
            apply: None,
        }
    }
}

/// Audits a plant; `rows` is given each circuit as it comes, in key order.
///
/// Of a part of it ([`Wanted::limit`]) nothing is said that only the whole can tell: needs and orders, and which
/// waivers match nothing.
///
/// # Errors
/// Where a list or the earlier run can't be read any more, the rows' taker fails, or the run is interrupted.
pub fn whole<R: Default + Send>(
    plant: Plant,
    lists: &Lists,
    previous: Option<&Previous>,
    wanted: &Wanted,
    rows: Rows<R>,
) -> Result<Audit, RunError> {
    let found = with_searching(&plant, lists, wanted.circuits, |searching| {
        searching.settles_only = !wanted.remedies;
        let swept = circuits_swept(searching, previous, wanted, rows)?;
        match wanted.limit {
            None => Found::of(searching, swept, previous, wanted.apply),
            Some(limit) => Found::of_limit(searching, swept, limit),
        }
    })?;
    found.into_audit(plant, lists, previous, wanted.circuits)
}

/// The same where nothing is compared and no rows are wanted.
///
/// # Errors
/// As [`whole`].
pub fn whole_without_rows(reading: Reading, wanted: &Wanted) -> Result<Audit, RunError> {
    let rows = Rows { add: |_, _, ()| (), take: &mut Ok };
    whole(reading.plant, &reading.lists, None, wanted, rows)
}

/// Audits the pallets that are wanted and leaves open what only the whole plant can tell.
///
/// # Errors
/// As [`whole`].
pub fn part<R: Default + Send>(
    plant: &Plant,
    lists: &Lists,
    previous: Option<&Previous>,
    wanted: &Wanted,
    rows: Rows<R>,
) -> Result<Swept, RunError> {
    with_searching(plant, lists, wanted.circuits, |searching| {
        searching.settles_only = !wanted.remedies;
        circuits_swept(searching, previous, wanted, rows)
    })
}

/// Completes the audit of a plant whose parts were audited before.
///
/// # Errors
/// As [`whole`].
pub fn joined(plant: Plant, lists: &Lists, previous: Option<&Previous>, parts: Swept) -> Result<Audit, RunError> {
    let found = with_searching(&plant, lists, false, |searching| Found::of(searching, parts, previous, None))?;
    found.into_audit(plant, lists, previous, false)
}
