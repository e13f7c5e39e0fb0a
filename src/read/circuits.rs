//! The circuits table: service data per circuit.

use std::hash::{BuildHasher, Hash, Hasher};
use std::sync::Arc;

use hashbrown::{DefaultHashBuilder, HashMap};
use rayon::prelude::*;

use crate::tables::circuit::Service;
use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId};
use crate::tables::place_names::{PlaceNames, Ranks, SeenKey, SeenNames};
use crate::tables::services::{ServiceRow, Services};

use super::cell::{Cells, GridRow};
use super::header::Layout;
use super::lists::keys::SeenKeys;
use crate::tables::origin::FIRST_COUNTS;
use crate::tables::words::PLACE;

use super::note::{repeated_with, row_note};
use super::record::Record;

/// Rows that a thread reads at a time.
const ROWS: usize = 1024;
/// Rows that are read before what they say is put with the rest.
const WAVE: usize = 64 * ROWS;

/// The table as it is read: what it says, before the names of all tables are put in order.
#[derive(Debug, Default)]
pub(crate) struct ReadCircuits {
    pub source: SourceId,
    pub names: SeenNames,
    /// The circuits, in the order in which they come up.
    keys: Vec<SeenKey>,
    /// The first row of each.
    rows: Vec<RowRead>,
    said: Vec<Service>,
    pub set_aside: u64,
}

/// A row: its number, and the place of what it says.
#[derive(Clone, Copy, Debug)]
struct RowRead {
    row: u32,
    says: u32,
}

impl ReadCircuits {
    /// The same, read from this source.
    pub(crate) fn of_source(self, source: SourceId) -> Self {
        Self { source, ..self }
    }

    /// The rows in key order.
    ///
    /// * `numbers` – of the names, as they are ranked
    pub(crate) fn ranked(self, numbers: &[u32], ranks: &Ranks, names: Arc<PlaceNames>) -> Services {
        let ranked = |(key, RowRead { row, says }): (SeenKey, RowRead)| ServiceRow {
            key: ranks.of(key.renumbered(numbers)),
            row,
            says,
        };
        let mut rows: Vec<ServiceRow> = self.keys.into_iter().zip(self.rows).map(ranked).collect();
        rows.par_sort_unstable();
        Services::of(self.source, names, rows, self.said)
    }
}

/// What rows say, each with the hash of its cells; rows, one for each, with their names; notes.
#[derive(Default)]
struct ChunkRead {
    said: Vec<(u64, Service)>,
    names: SeenNames,
    keys: Vec<SeenKey>,
    rows: Vec<RowRead>,
    notes: Vec<InputNote>,
}

/// A row that others may say the same as.
struct Example<'a> {
    row: &'a GridRow,
    says: u32,
}

/// Reads the table; `source` is that of the notes.
pub(crate) fn read(
    layout: &Layout,
    mut rows: Vec<GridRow>,
    source: SourceId,
    notes: &mut Vec<InputNote>,
) -> ReadCircuits {
    let places = PLACE.map(|name| layout.slot(name));
    let hasher = DefaultHashBuilder::default();
    let mut said = Said::default();
    let mut keys = SeenKeys::with_room(rows.len());
    let mut kept: Vec<RowRead> = Vec::with_capacity(rows.len());
    let mut set_aside = 0;
    // Taken from the end, in reverse: the room of rows that are read is given back while what they say needs some.
    rows.reverse();
    while !rows.is_empty() {
        let mut wave = rows.split_off(rows.len().saturating_sub(WAVE));
        wave.reverse();
        rows.shrink_to_fit();
        let chunks: Vec<ChunkRead> =
            wave.par_chunks(ROWS).map(|rows| read_chunk(layout, &places, rows, source, &hasher)).collect();
        for (given, chunk) in wave.chunks(ROWS).zip(chunks) {
            notes.extend(chunk.notes);
            let says: Vec<u32> = chunk.said.into_iter().map(|(hash, service)| said.number_of(hash, service)).collect();
            let names = keys.names.take_in(&chunk.names);
            for ((given, key), row) in given.iter().zip(chunk.keys).zip(chunk.rows) {
                let row = RowRead { says: says.get(row.says as usize).copied().unwrap_or_default(), ..row };
                let (number, is_new) = keys.number_of(key.renumbered(&names));
                match kept.get(number as usize) {
                    Some(first) if !is_new => {
                        notes.push(repeated(given, Origin { source, row: row.row }, *first, row, &said.all));
                        set_aside += 1;
                    }
                    _ => kept.push(row),
                }
            }
        }
    }
    let (names, keys) = keys.into_parts();
    ReadCircuits { source, names, keys, rows: kept, said: said.all, set_aside }
}

/// What rows say, each saying once.
#[derive(Default)]
struct Said {
    all: Vec<Service>,
    known: HashMap<u64, Vec<u32>>,
}

impl Said {
    /// The place of what a row says.
    fn number_of(&mut self, hash: u64, service: Service) -> u32 {
        let alike = self.known.entry(hash).or_default();
        let same = alike.iter().find(|says| self.all.get(**says as usize) == Some(&service));
        same.copied().unwrap_or_else(|| {
            let says = u32::try_from(self.all.len()).unwrap_or(u32::MAX);
            self.all.push(service);
            alike.push(says);
            says
        })
    }
}

/// That the circuit of a row has one already.
fn repeated(given: &GridRow, origin: Origin, first: RowRead, again: RowRead, said: &[Service]) -> InputNote {
    let both = said.get(first.says as usize).zip(said.get(again.says as usize));
    let same = repeated_with(&both.map(|(first, again)| first.differing(again)).unwrap_or_default());
    let message = format!("Row {} has this circuit already, with {same}. {FIRST_COUNTS}", first.row);
    row_note(NoteKind::SetAside, origin, given.shown(), message)
}

/// Reads rows that stand together; one that says the same as an earlier one, cell for cell, is not read again.
fn read_chunk(
    layout: &Layout,
    places: &[Option<usize>; 4],
    rows: &[GridRow],
    source: SourceId,
    hasher: &DefaultHashBuilder,
) -> ChunkRead {
    let mut chunk = ChunkRead { rows: Vec::with_capacity(rows.len()), ..ChunkRead::default() };
    let mut examples: HashMap<u64, Example> = HashMap::new();
    let width = layout.end();
    let is_key = |index: usize| places.iter().flatten().any(|slot| layout.first + slot == index);
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
                let service = read_row(layout, places, row, source, &mut chunk.notes);
                let says = u32::try_from(chunk.said.len()).unwrap_or(u32::MAX);
                chunk.said.push((hash, Service { origin: Origin::default(), ..service }));
                if may_be_known && chunk.notes.len() == before {
                    examples.insert(hash, Example { row, says });
                }
                says
            }
        };
        chunk.keys.push(key_of(layout, places, row, &mut chunk.names));
        chunk.rows.push(RowRead { row: row.number, says });
    }
    chunk
}

/// The circuit of a row; what is odd about its cells is noted where the row is read.
fn key_of(layout: &Layout, places: &[Option<usize>; 4], row: &GridRow, names: &mut SeenNames) -> SeenKey {
    let mut unsaid = Vec::new();
    let mut record = Record::new(layout, row, Origin::default(), "", &mut unsaid);
    let mut name = |slot: Option<usize>, or: &str| {
        let cell = record.key(slot);
        names.number_of(if cell.is_empty() { or } else { &cell })
    };
    let [plant, pallet, fixture, circuit] = *places;
    SeenKey([name(plant, ""), name(pallet, ""), name(fixture, ""), name(circuit, "1")])
}

fn read_row(
    layout: &Layout,
    places: &[Option<usize>; 4],
    row: &GridRow,
    source: SourceId,
    notes: &mut Vec<InputNote>,
) -> Service {
    let origin = Origin { source, row: row.number };
    let mut record = Record::new(layout, row, origin, "The rules that need it are not assessed.", notes);
    if !row.is_plain() {
        for slot in places {
            record.text(*slot);
        }
    }
    let mut service = Service::read(&mut record);
    if service.temp_min > service.temp_max && service.temp_max.is_some() {
        // One of the two is wrong, and either would let a circuit pass by the other.
        let slot = |name: &str| layout.slot(name);
        for (name, expected) in [("temp_min", "not above temp_max"), ("temp_max", "not below temp_min")] {
            let found = record.cell(slot(name)).text.to_owned();
            record.fault(slot(name), found, format!("a temperature {expected}"));
        }
        (service.temp_min, service.temp_max) = (None, None);
    }
    let cutting = layout.slot("cutting_force");
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
