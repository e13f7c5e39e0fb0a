//! The circuits table: service data per circuit.

use std::hash::{BuildHasher, Hash, Hasher};

use hashbrown::{DefaultHashBuilder, HashMap};
use rayon::prelude::*;

use crate::tables::circuit::{CircuitKey, Service};
use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId};
use crate::tables::services::{ServiceRow, Services};

use super::cell::{Cells, GridRow};
use crate::tables::origin::FIRST_COUNTS;

use super::note::{repeated_with, row_note};
use super::record::Record;
use super::table::Grid;

/// Rows that a thread reads at a time.
const ROWS: usize = 1024;

/// What rows say, each with the hash of its cells; rows; notes.
#[derive(Default)]
struct ChunkRead {
    said: Vec<(u64, Service)>,
    rows: Vec<ServiceRow>,
    notes: Vec<InputNote>,
}

/// A row that others may say the same as.
struct Example<'a> {
    row: &'a GridRow,
    says: u32,
}

/// The rows of the table, the first of each circuit, and how many rows were set aside.
pub(crate) fn read(grid: &Grid, source: SourceId, notes: &mut Vec<InputNote>) -> (Services, u64) {
    let places = ["plant", "pallet", "fixture", "circuit"].map(|name| grid.layout.slot(name));
    let hasher = DefaultHashBuilder::default();
    let chunks: Vec<ChunkRead> =
        grid.rows.par_chunks(ROWS).map(|rows| read_chunk(grid, &places, rows, source, &hasher)).collect();
    let mut said: Vec<Service> = Vec::new();
    let mut known: HashMap<u64, Vec<u32>> = HashMap::new();
    let mut rows: Vec<ServiceRow> = Vec::with_capacity(grid.rows.len());
    for chunk in chunks {
        let numbers: Vec<u32> = chunk
            .said
            .into_iter()
            .map(|(hash, service)| {
                let alike = known.entry(hash).or_default();
                let same = alike.iter().find(|says| said.get(**says as usize) == Some(&service));
                same.copied().unwrap_or_else(|| {
                    let says = u32::try_from(said.len()).unwrap_or(u32::MAX);
                    said.push(service);
                    alike.push(says);
                    says
                })
            })
            .collect();
        let number = |says: u32| numbers.get(says as usize).copied().unwrap_or_default();
        rows.extend(chunk.rows.into_iter().map(|row| ServiceRow { says: number(row.says), ..row }));
        notes.extend(chunk.notes);
    }
    // The first row of a circuit comes first.
    rows.par_sort_unstable();
    let mut set_aside = 0;
    rows.dedup_by(|again, first| {
        let is_repeated = again.key == first.key;
        if is_repeated {
            let at = grid.rows.binary_search_by_key(&again.row, |row| row.number).ok();
            let shown = at.and_then(|at| grid.rows.get(at)).map(GridRow::shown).unwrap_or_default();
            let both = said.get(first.says as usize).zip(said.get(again.says as usize));
            let same = repeated_with(&both.map(|(first, again)| first.differing(again)).unwrap_or_default());
            let message = format!("Row {} has this circuit already, with {same}. {FIRST_COUNTS}", first.row);
            notes.push(row_note(NoteKind::SetAside, Origin { source, row: again.row }, shown, message));
            set_aside += 1;
        }
        is_repeated
    });
    (Services::of(source, rows, said), set_aside)
}

/// Reads rows that stand together; one that says the same as an earlier one, cell for cell, is not read again.
fn read_chunk(
    grid: &Grid,
    places: &[Option<usize>; 4],
    rows: &[GridRow],
    source: SourceId,
    hasher: &DefaultHashBuilder,
) -> ChunkRead {
    let mut chunk = ChunkRead { rows: Vec::with_capacity(rows.len()), ..ChunkRead::default() };
    let mut examples: HashMap<u64, Example> = HashMap::new();
    let width = grid.layout.end();
    let is_key = |index: usize| places.iter().flatten().any(|slot| grid.layout.first + slot == index);
    for row in rows {
        let others = || (0..row.count().max(width)).filter(|index| !is_key(*index));
        let mut state = hasher.build_hasher();
        others().for_each(|index| row.cell(index).text.hash(&mut state));
        let hash = state.finish();
        let is_same = |example: &&Example| {
            example.row.count() == row.count()
                && others().all(|index| example.row.cell(index).text == row.cell(index).text)
        };
        // What is odd about a row is noted for each.
        let may_be_known = row.is_plain() && !row.has_stray_text();
        let says = match examples.get(&hash).filter(|_| may_be_known).filter(is_same) {
            Some(example) => example.says,
            None => {
                let before = chunk.notes.len();
                let service = read_row(grid, places, row, source, &mut chunk.notes);
                let says = u32::try_from(chunk.said.len()).unwrap_or(u32::MAX);
                chunk.said.push((hash, Service { origin: Origin::default(), ..service }));
                if may_be_known && chunk.notes.len() == before {
                    examples.insert(hash, Example { row, says });
                }
                says
            }
        };
        chunk.rows.push(ServiceRow { key: key_of(grid, places, row), row: row.number, says });
    }
    chunk
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
    if service.cutting_force.is_some()
        && service.friction.is_none()
        && !record.faults.iter().any(|fault| fault.column == "friction")
    {
        // The rule asks for both: without a word a cut that nothing holds would go by.
        let message =
            "A cutting force without friction: whether the clamps hold against it is not looked at. State friction.";
        record.note(cutting, NoteKind::Suspected, message);
    }
    let spreads = record.spreads();
    Service { origin, faults: record.faults, spreads, ..service }
}
