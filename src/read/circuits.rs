//! The circuits table: service data per circuit.

use std::sync::{Mutex, PoisonError};

use rayon::prelude::*;

use crate::tables::circuit::{CircuitKey, Service};
use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId};

use super::cell::{Cells, GridRow};
use super::note::{repeated_with, row_note};
use super::record::Record;
use super::table::Grid;

/// Rows that a thread reads at a time, at least.
const ROWS: usize = 1024;

/// Services in key order, the first row of each circuit, and how many rows were set aside.
pub(crate) fn read(grid: &Grid, source: SourceId, notes: &mut Vec<InputNote>) -> (Vec<(CircuitKey, Service)>, u64) {
    let places = ["plant", "pallet", "fixture", "circuit"].map(|name| grid.layout.slot(name));
    // Sorted before they are read, since a service is large. The first row of a circuit comes first.
    let keys = grid.rows.par_iter().with_min_len(ROWS).enumerate();
    let mut keys: Vec<(CircuitKey, usize)> = keys.map(|(at, row)| (key_of(grid, &places, row), at)).collect();
    keys.par_sort_unstable();
    let noted: Mutex<Vec<InputNote>> = Mutex::default();
    let read = |(key, at): (CircuitKey, usize)| {
        let mut of_row = Vec::new();
        let service = grid.rows.get(at).map(|row| read_row(grid, &places, row, source, &mut of_row));
        if !of_row.is_empty() {
            noted.lock().unwrap_or_else(PoisonError::into_inner).append(&mut of_row);
        }
        (key, service.unwrap_or_default())
    };
    let mut services: Vec<(CircuitKey, Service)> = keys.into_par_iter().with_min_len(ROWS).map(read).collect();
    let mut noted = noted.into_inner().unwrap_or_else(PoisonError::into_inner);
    noted.sort_by_key(|note| note.origin.row);
    notes.append(&mut noted);
    let mut set_aside = 0;
    services.dedup_by(|(key, again), (first_key, first)| {
        let is_repeated = key == first_key;
        if is_repeated {
            let at = grid.rows.binary_search_by_key(&again.origin.row, |row| row.number).ok();
            let shown = at.and_then(|at| grid.rows.get(at)).map(GridRow::shown).unwrap_or_default();
            let same = repeated_with(&first.differing(again));
            let message =
                format!("Row {} has this circuit already, with {same}. The first row counts.", first.origin.row);
            notes.push(row_note(NoteKind::SetAside, again.origin, shown, message));
            set_aside += 1;
        }
        is_repeated
    });
    (services, set_aside)
}

/// The circuit of a row; what is odd about its cells is noted where the row is read.
fn key_of(grid: &Grid, places: &[Option<usize>; 4], row: &GridRow) -> CircuitKey {
    let mut unsaid = Vec::new();
    let mut record = Record::new(&grid.layout, row, Origin::default(), "", &mut unsaid);
    let mut key = CircuitKey {
        plant: record.key(places[0]).into(),
        pallet: record.key(places[1]).into(),
        fixture: record.key(places[2]).into(),
        circuit: record.key(places[3]).into(),
    };
    if key.circuit.is_empty() {
        key.circuit = "1".into();
    }
    key
}

fn read_row(
    grid: &Grid,
    places: &[Option<usize>; 4],
    row: &GridRow,
    source: SourceId,
    notes: &mut Vec<InputNote>,
) -> Service {
    let origin = Origin { source, row: row.number };
    let mut record = Record::new(&grid.layout, row, origin, "The rules that need it are not assessed.", notes);
    if !row.is_plain() {
        for slot in places {
            record.text(*slot);
        }
    }
    let mut service = Service::read(&mut record);
    if service.temp_min > service.temp_max && service.temp_max.is_some() {
        // One of the two is wrong, and either would let a circuit pass by the other.
        let slot = |name: &str| grid.layout.slot(name);
        for (name, expected) in [("temp_min", "not above temp_max"), ("temp_max", "not below temp_min")] {
            let found = record.cell(slot(name)).text.to_owned();
            record.fault(slot(name), found, format!("a temperature {expected}"));
        }
        (service.temp_min, service.temp_max) = (None, None);
    }
    let cutting = grid.layout.slot("cutting_force");
    if service.cutting_force.is_some() && record.cell(grid.layout.slot("friction")).is_blank() {
        // The rule asks for both: without a word a cut that nothing holds would go by.
        let message =
            "A cutting force without friction: whether the clamps hold against it is not looked at. State friction.";
        record.note(cutting, NoteKind::Suspected, message);
    }
    let spreads = record.spreads();
    Service { origin, faults: record.faults, spreads, ..service }
}
