//! Lists joined one after the other: circuits numbered, their runs in order.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};

use rayon::prelude::*;

use crate::read::bounds::grouped;
use crate::read::cell::shortened;
use crate::read::circuits::ReadCircuits;
use crate::read::edited::EditedCells;
use crate::read::error::{Problems, ReadError};
use crate::read::note::row_note;
use crate::read::part_number::PartIndex;
use crate::read::repeats::{Hashes, Repeats};
use crate::tables::cell_edit::CellEdit;
use crate::tables::circuit::CircuitKey;
use crate::tables::origin::{InputNote, NoteKind, Origin, PARTS_UNDER_UNKNOWN, SourceId};
use crate::tables::packed_rows::PackedRows;
use crate::tables::place_names::RankedKey;
use crate::tables::plant::Plant;
use crate::tables::policy::Bounds;
use crate::tables::services::Services;
use crate::tables::words::PLACE;

use super::headings::{self, Heading, Headings};
use super::keys::SeenKeys;
use super::line::LineSlots;
use super::scan::{ListRun, ListScan, NoLine};
use super::table::ListTable;
use super::{Body, List, ListedRuns, Lists, Scanned, Whole};

const STRAY: &str = "Expected as many cells as in the header, and nothing after the quote that ends a cell. The circuit of the row can't be told: it was set aside, and the volumes of every circuit of the file are unknown.";
/// Stray rows of a list that are noted one by one.
const MOST_STRAY_NOTES: usize = 10_000;

/// Refuses a circuit of very many lines: the columns that tell circuits apart are not understood.
fn endless(circuit: &CircuitKey, lines: u64, most: u64) -> String {
    format!(
        "The circuit {circuit} has {} lines, more than the {} that [bounds] circuit_lines of the policy allows; see whether the lists have columns for fixture and circuit.",
        grouped(lines),
        grouped(most)
    )
}

/// What is said of a row that was taken for a heading and is none.
const LOST_LINE: &str = "Expected a place alone, or a line; a part number or names of columns stand under columns of places. The circuit of the row can't be told: it was set aside, and the volumes of every circuit of the file are unknown.";

impl List {
    /// Adds a row with places and nothing else.
    fn add_heading(&mut self, row: &NoLine, list: u32, kind: Heading, plant: &mut Plant) {
        let origin = Origin { source: self.source, row: row.row };
        let shown = row.shown.clone().into_string();
        match kind {
            Heading::Heading(said) => {
                let kind = if said.is_empty() { NoteKind::Skipped } else { NoteKind::Suspected };
                plant.notes.push(row_note(kind, origin, shown, headings::message(said)));
                if let Some(source) = plant.sources.get_mut(self.source as usize) {
                    source.rows_skipped += 1;
                }
            }
            Heading::Line => {
                plant.notes.push(row_note(NoteKind::SetAside, origin, shown, LOST_LINE));
                let run = ListRun { key: 0, list, offset: row.offset, length: row.length, first_row: row.row, rows: 1 };
                self.strays.push((origin, run));
            }
        }
    }
}

/// That lines of another list may stand beside those of this one.
fn parts_beside(list: &List, first: &[Option<Box<str>>], parts: &PartIndex) -> Option<InputNote> {
    let slot = headings::parts_under_unknown(&list.layout, first, parts)?;
    let origin = Origin { source: list.source, row: list.layout.header_row };
    let header = list.layout.columns.get(slot).map_or("", |column| column.text.as_str());
    let note = row_note(NoteKind::Suspected, origin, shortened(header), PARTS_UNDER_UNKNOWN);
    Some(InputNote { letter: list.layout.letter(slot), ..note })
}

/// Lists that are joined one after the other.
#[derive(Default)]
pub(super) struct Joined {
    lists: Vec<List>,
    runs: Vec<ListRun>,
    keys: SeenKeys,
    hashes: Vec<Hashes>,
}

impl Lists {
    /// Joins scanned lists. What is worth knowing goes to the plant's notes and sources, what ends
    /// the run to `problems`. The names of the circuits table and of the lists are put in one order.
    pub(crate) fn build(
        scanned: Vec<(SourceId, Result<Scanned, ReadError>)>,
        parts: PartIndex,
        plant: &mut Plant,
        problems: &mut Problems,
        edits: &[CellEdit],
        circuits: Option<ReadCircuits>,
    ) -> Self {
        let mut joined = Joined::default();
        for (source, scanned) in scanned {
            let Some(Scanned { loaded, scan }) = problems.take(scanned) else { continue };
            let here = |note: InputNote| InputNote { origin: Origin { source, ..note.origin }, ..note };
            plant.notes.extend(loaded.notes.into_iter().map(here));
            if let Some(place) = plant.sources.get_mut(source as usize) {
                *place = loaded.source;
            }
            if let Some(table) = loaded.body {
                let Some(set_aside) = problems.take(joined.add(source, table, scan, plant, &parts, edits)) else {
                    continue;
                };
                if let Some(place) = plant.sources.get_mut(source as usize) {
                    place.rows_set_aside += set_aside;
                }
            }
        }
        let lists;
        (lists, plant.services) = joined.finish(parts, circuits.unwrap_or_default(), &plant.policy.bounds, problems);
        lists
    }
}

impl Joined {
    /// Has lists read as a whole whose circuits come back again and again, as far as the bound allows.
    fn ask_for_whole(&mut self, most: u64) {
        /// Runs of a circuit, on average, from which its list is scattered.
        const SCATTERED: u64 = 3;
        // By list: runs, and circuits.
        let mut counts: Vec<(u64, u64)> = vec![(0, 0); self.lists.len()];
        let mut before = (u32::MAX, u32::MAX);
        for run in &self.runs {
            if let Some((runs, circuits)) = counts.get_mut(run.list as usize) {
                *runs += 1;
                *circuits += u64::from(before != (run.key, run.list));
            }
            before = (run.key, run.list);
        }
        let mut held = 0;
        for (list, (runs, circuits)) in self.lists.iter_mut().zip(counts) {
            let Body::Text { file, .. } = &list.body else { continue };
            if runs >= circuits * SCATTERED && runs > 0 && held + file.length <= most {
                held += file.length;
                list.whole = Whole::Asked(OnceLock::new());
            }
        }
    }

    /// Adds a list; gives how many rows belong to no circuit.
    pub(super) fn add(
        &mut self,
        source: SourceId,
        mut table: ListTable,
        mut scan: ListScan,
        plant: &mut Plant,
        parts: &PartIndex,
        edits: &[CellEdit],
    ) -> Result<u64, ReadError> {
        let edited = EditedCells::of(source, &mut table.layout, edits, &plant.policy)?;
        if !edited.is_empty() {
            if let Some(own) = plant.sources.get_mut(source as usize) {
                own.header = table.layout.header_cells();
            }
            for (row, hash) in &mut scan.hashes {
                *hash = EditedCells::rehashed(&table.layout, Origin { source, row: *row }, *hash, edits);
            }
        }
        let index = u32::try_from(self.lists.len()).unwrap_or(u32::MAX);
        let has_no_place = PLACE.iter().all(|name| !table.layout.has(name));
        let mut list = List {
            source,
            slots: LineSlots::new(&table.layout),
            layout: table.layout,
            body: table.body,
            sha256: plant.sources.get(source as usize).map(|own| own.sha256.clone()).unwrap_or_default(),
            strays: Vec::new(),
            edited,
            whole: Whole::No,
        };
        let no_lines = std::mem::take(&mut scan.no_lines);
        let headings = Headings::of(&scan.keys.seen, &no_lines);
        for row in &no_lines {
            list.add_heading(row, index, headings.kind(row, parts), plant);
        }
        plant.notes.extend(parts_beside(&list, &scan.first_unknown, parts));
        let numbers: Vec<u32> = if self.keys.is_empty() {
            self.keys = std::mem::take(&mut scan.keys.seen);
            (0..).take(self.keys.len()).collect()
        } else {
            self.keys.take_in(&scan.keys.seen)
        };
        let number_of = |key: u32| numbers.get(key as usize).copied().unwrap_or_default();
        let mut unsaid = 0;
        for ragged in std::mem::take(&mut scan.ragged) {
            let run = ListRun {
                key: number_of(ragged.key),
                list: index,
                offset: ragged.offset,
                length: ragged.length,
                first_row: ragged.row,
                rows: 1,
            };
            if has_no_place || ragged.neighbours.is_told {
                self.runs.push(run);
            } else {
                let origin = Origin { source, row: ragged.row };
                if list.strays.len() < MOST_STRAY_NOTES {
                    plant.notes.push(row_note(NoteKind::SetAside, origin, ragged.shown.into_string(), STRAY));
                } else {
                    unsaid += 1;
                }
                list.strays.push((origin, run));
            }
        }
        if unsaid > 0 {
            let origin = list.strays.last().map(|(origin, _)| *origin).unwrap_or_default();
            plant.notes.push(row_note(
                NoteKind::SetAside,
                origin,
                String::new(),
                format!("{} more rows up to this one are as the one before. {STRAY}", grouped(unsaid)),
            ));
        }
        if !scan.hashes.is_empty() {
            self.hashes.push(Hashes { source, rows: std::mem::take(&mut scan.hashes) });
        }
        let runs = scan.runs.into_iter().map(|run| ListRun { key: number_of(run.key), list: index, ..run });
        if self.runs.is_empty() {
            // In the room of the scan's own.
            self.runs = runs.collect();
        } else {
            self.runs.extend(runs);
        }
        let strays = list.strays.len() as u64;
        self.lists.push(list);
        Ok(strays)
    }

    pub(super) fn finish(
        mut self,
        parts: PartIndex,
        circuits: ReadCircuits,
        bounds: &Bounds,
        problems: &mut Problems,
    ) -> (Lists, Services) {
        static NEXT: AtomicU64 = AtomicU64::new(1);
        let repeats = Repeats::find(&std::mem::take(&mut self.hashes));
        let numbers = self.keys.names.take_in(&circuits.names);
        let (names, seen) = std::mem::take(&mut self.keys).into_parts();
        let (names, ranks) = names.in_order();
        let names = Arc::new(names);
        let services = circuits.ranked(&numbers, &ranks, Arc::clone(&names));
        let mut keys: Vec<(RankedKey, u32)> = seen.into_iter().map(|key| ranks.of(key)).zip(0..).collect();
        keys.par_sort_unstable();
        let mut rank_of: Vec<u32> = vec![0; keys.len()];
        for (rank, (_, number)) in (0_u32..).zip(&keys) {
            if let Some(place) = rank_of.get_mut(*number as usize) {
                *place = rank;
            }
        }
        let runs = &mut self.runs;
        for run in &mut *runs {
            run.key = rank_of.get(run.key as usize).copied().unwrap_or_default();
        }
        drop(rank_of);
        // A total row may have been the only one that named a circuit.
        runs.retain(|run| run.rows > 0);
        runs.par_sort_unstable_by_key(|run| (run.key, run.list, run.first_row));
        self.ask_for_whole(bounds.memory_mib << 20);
        let (mut packed, mut named) = (PackedRows::default(), PackedRows::default());
        for of_circuit in self.runs.chunk_by(|run, next| run.key == next.key) {
            let Some((key, _)) = of_circuit.first().and_then(|run| keys.get(run.key as usize)) else { continue };
            named.push(ListedRuns { key: *key, run: u32::try_from(packed.len()).unwrap_or(u32::MAX) });
            let rows = of_circuit.iter().map(|run| u64::from(run.rows)).sum();
            if rows > bounds.circuit_lines {
                problems.add(endless(&names.key(*key), rows, bounds.circuit_lines));
            }
            of_circuit.iter().for_each(|run| packed.push(*run));
        }
        packed.close();
        named.close();
        let lists = Lists {
            id: NEXT.fetch_add(1, Ordering::Relaxed),
            all: self.lists,
            runs: packed,
            names,
            circuits: named,
            parts,
            repeats,
            are_a_share: false,
        };
        (lists, services)
    }
}
