//! The circuits table: service data per circuit.

use std::hash::{BuildHasher, Hash, Hasher};
use std::sync::Arc;

use hashbrown::{DefaultHashBuilder, HashMap};
use rayon::prelude::*;

use crate::tables::circuit::Service;
use crate::tables::column::Table;
use crate::tables::origin::{InputNote, NoteKind, Origin, Source, SourceId};
use crate::tables::place_names::{PlaceNames, Ranks, SeenKey, SeenNames};
use crate::tables::policy::Policy;
use crate::tables::services::{ServiceRow, Services};

use super::cell::{Cells, GridRow};
use super::error::ReadError;
use super::header::Layout;
use super::lists::keys::SeenKeys;
use crate::tables::origin::FIRST_COUNTS;
use crate::tables::words::PLACE;

use super::note::{repeated_with, row_note};
use super::record::Record;
use super::table::{Loaded, RowsSeen, TextTable, set_headers_aside};
use super::text_file::{CIRCUIT_ROOM, TextFile, each_wave, each_wave_on_disk};

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
    let mut reader = Reader { source, ..Reader::default() };
    // Taken from the end, in reverse: the room of rows that are read is given back while what they say needs some.
    rows.reverse();
    while !rows.is_empty() {
        let mut wave = rows.split_off(rows.len().saturating_sub(WAVE));
        wave.reverse();
        rows.shrink_to_fit();
        reader.add(layout, &wave);
    }
    notes.append(&mut reader.notes);
    reader.finish()
}

/// Reads a table that is a text file, in stretches: nothing is held of rows that are read, nor of the text where it
/// is on disk. `None` where the rows must be held, or the text: what a row says may hang on those above it, and of a
/// file on disk it is not told here what is amiss.
pub(crate) fn in_stretches(file: &TextFile, policy: &Policy) -> Result<Option<Loaded<ReadCircuits>>, ReadError> {
    let table = TextTable::of(file, Table::Circuits, policy);
    let TextTable { source, notes, layout, dialect, last } = match table {
        Err(_) if !file.is_in_memory() => return Ok(None),
        other => other?,
    };
    if layout.own.rules.fill_down.iter().any(|name| layout.slot(name).is_some()) {
        return Ok(None);
    }
    let (mut guess, mut sha256) = (None, file.sha256.clone());
    loop {
        let mut stretches = Stretches::of(&source, &layout, dialect.has_semicolons(), guess);
        let take = |mut rows: Vec<GridRow>| {
            rows.retain(|row| row.number > last);
            stretches.add(rows);
        };
        if file.is_in_memory() {
            each_wave(file, dialect, &policy.bounds, CIRCUIT_ROOM, take)?;
        } else {
            let read = each_wave_on_disk(file, dialect, &policy.bounds, CIRCUIT_ROOM, take);
            let Some(read) = read.filter(|read| sha256.is_empty() || sha256 == *read) else { return Ok(None) };
            sha256 = read;
        }
        std::mem::replace(&mut stretches.stop, Ok(()))?;
        match stretches.finish() {
            Ok(mut read) => {
                read.source.sha256 = sha256;
                let notes = notes.into_iter().chain(read.notes).collect();
                return Ok(Some(Loaded { notes, ..read }));
            }
            // Seldom: rows far below have shown how those above are to be read.
            Err(layout) => guess = Some(layout),
        }
    }
}

/// A table of which a stretch of rows is held at a time.
struct Stretches<'a> {
    /// As the header has it.
    layout: &'a Layout,
    has_semicolons: bool,
    seen: RowsSeen,
    /// How rows are read: as those of the first stretch ask, unless it is known.
    reads: Option<Box<Layout>>,
    loaded: Loaded<ReadCircuits>,
    reader: Reader,
    /// What ends the run.
    stop: Result<(), ReadError>,
}

impl<'a> Stretches<'a> {
    fn of(source: &Source, layout: &'a Layout, has_semicolons: bool, reads: Option<Box<Layout>>) -> Self {
        let loaded = Loaded { source: source.clone(), notes: Vec::new(), body: None };
        let seen = RowsSeen::of(layout);
        Self { layout, has_semicolons, seen, reads, loaded, reader: Reader::default(), stop: Ok(()) }
    }

    fn add(&mut self, mut rows: Vec<GridRow>) {
        let stop = set_headers_aside(&mut self.loaded, self.layout, &mut rows, |_| None);
        self.stop = std::mem::replace(&mut self.stop, Ok(())).and(stop);
        self.seen.add(self.layout, &rows);
        let reads = self.reads.get_or_insert_with(|| Box::new(self.seen.layout(self.layout, self.has_semicolons)));
        self.reader.add(reads, &rows);
    }

    /// What was read; the layout by which rows are to be read, where it was not this one.
    fn finish(self) -> Result<Loaded<ReadCircuits>, Box<Layout>> {
        let Self { layout, has_semicolons, seen, reads, mut loaded, mut reader, .. } = self;
        let asked = seen.layout(layout, has_semicolons);
        if reads.is_some_and(|reads| !reads.reads_as(&asked)) {
            return Err(Box::new(asked));
        }
        seen.note(&mut loaded, layout);
        seen.note_styles(&mut loaded, &asked);
        loaded.notes.append(&mut reader.notes);
        loaded.body = Some(reader.finish());
        Ok(loaded)
    }
}

/// The table under way.
#[derive(Default)]
struct Reader {
    source: SourceId,
    hasher: DefaultHashBuilder,
    said: Said,
    keys: SeenKeys,
    kept: Vec<RowRead>,
    set_aside: u64,
    notes: Vec<InputNote>,
}

impl Reader {
    /// Reads rows that come next.
    fn add(&mut self, layout: &Layout, rows: &[GridRow]) {
        let Self { source, hasher, said, keys, kept, set_aside, notes } = self;
        let source = *source;
        let places = PLACE.map(|name| layout.slot(name));
        let read = |rows: &[GridRow]| read_chunk(layout, &places, rows, source, hasher);
        let chunks: Vec<ChunkRead> = rows.par_chunks(ROWS).map(read).collect();
        for (given, chunk) in rows.chunks(ROWS).zip(chunks) {
            notes.extend(chunk.notes);
            let says: Vec<u32> = chunk.said.into_iter().map(|(hash, service)| said.number_of(hash, service)).collect();
            let names = keys.names.take_in(&chunk.names);
            for ((given, key), row) in given.iter().zip(chunk.keys).zip(chunk.rows) {
                let row = RowRead { says: says.get(row.says as usize).copied().unwrap_or_default(), ..row };
                let (number, is_new) = keys.number_of(key.renumbered(&names));
                match kept.get(number as usize) {
                    Some(first) if !is_new => {
                        notes.push(repeated(given, Origin { source, row: row.row }, *first, row, &said.all));
                        *set_aside += 1;
                    }
                    _ => kept.push(row),
                }
            }
        }
    }

    fn finish(self) -> ReadCircuits {
        let (names, keys) = self.keys.into_parts();
        let Self { source, said, kept, set_aside, .. } = self;
        ReadCircuits { source, names, keys, rows: kept, said: said.all, set_aside }
    }
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
                // The text of a whole row may be a fault's: those of one hash are compared one by one.
                service.faults.iter().for_each(|fault| fault.found.hash(&mut state));
                let hash = state.finish();
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

#[cfg(test)]
mod tests;
