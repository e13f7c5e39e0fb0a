//! Lists joined one after the other: circuits numbered, their runs in order.

use std::ops::Range;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use crate::read::bounds::grouped;
use crate::read::edited::EditedCells;
use crate::read::error::{Problems, ReadError};
use crate::read::note::row_note;
use crate::read::part_number::PartIndex;
use crate::read::repeats::{Hashes, Repeats};
use crate::tables::cell_edit::CellEdit;
use crate::tables::circuit::CircuitKey;
use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId};
use crate::tables::plant::Plant;

use super::keys::Keys;
use super::line::LineSlots;
use super::scan::{ListRun, ListScan};
use super::table::ListTable;
use super::{Body, List, ListedCircuit, Lists, Scanned, Whole};

const STRAY: &str = "Expected as many cells as in the header, and nothing after the quote that ends a cell. The circuit of the row can't be told: it was set aside, and the volumes of every circuit of the file are unknown.";
/// Stray rows of a list that are noted one by one.
const MOST_STRAY_NOTES: usize = 10_000;

/// Lists that are joined one after the other.
#[derive(Default)]
pub(super) struct Joined {
    lists: Vec<List>,
    runs: Vec<ListRun>,
    keys: Keys,
    hashes: Vec<Hashes>,
}

impl Lists {
    /// Joins scanned lists. What is worth knowing goes to the plant's notes and sources, what ends
    /// the run to `problems`.
    pub(crate) fn build(
        scanned: Vec<(SourceId, Result<Scanned, ReadError>)>,
        parts: PartIndex,
        plant: &mut Plant,
        problems: &mut Problems,
        edits: &[CellEdit],
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
                let Some(set_aside) = problems.take(joined.add(source, table, scan, plant, edits)) else { continue };
                if let Some(place) = plant.sources.get_mut(source as usize) {
                    place.rows_set_aside += set_aside;
                }
            }
        }
        let mut lists = joined.finish(parts);
        lists.ask_for_whole(plant.policy.bounds.memory_mib << 20);
        lists.refuse_endless(plant.policy.bounds.circuit_lines, problems);
        lists
    }

    /// Has lists read as a whole whose circuits come back again and again, as far as the bound allows.
    fn ask_for_whole(&mut self, most: u64) {
        /// Runs of a circuit, on average, from which its list is scattered.
        const SCATTERED: u64 = 3;
        // By list: runs, and circuits.
        let mut counts: Vec<(u64, u64)> = vec![(0, 0); self.all.len()];
        let mut before = (u32::MAX, u32::MAX);
        for run in &self.runs {
            if let Some((runs, circuits)) = counts.get_mut(run.list as usize) {
                *runs += 1;
                *circuits += u64::from(before != (run.key, run.list));
            }
            before = (run.key, run.list);
        }
        let mut held = 0;
        for (list, (runs, circuits)) in self.all.iter_mut().zip(counts) {
            let Body::Text { file, .. } = &list.body else { continue };
            if runs >= circuits * SCATTERED && runs > 0 && held + file.length <= most {
                held += file.length;
                list.whole = Whole::Asked(OnceLock::new());
            }
        }
    }

    /// Refuses circuits of very many lines: the columns that tell them apart are not understood.
    fn refuse_endless(&self, most: u64, problems: &mut Problems) {
        for circuit in self.circuits.iter().filter(|circuit| circuit.rows > most) {
            problems.add(format!(
                "The circuit {} has {} lines, more than the {} that [bounds] circuit_lines of the policy allows; see whether the lists have columns for fixture and circuit.",
                circuit.key,
                grouped(circuit.rows),
                grouped(most)
            ));
        }
    }
}

impl Joined {
    /// Adds a list; gives how many rows belong to no circuit.
    pub(super) fn add(
        &mut self,
        source: SourceId,
        mut table: ListTable,
        mut scan: ListScan,
        plant: &mut Plant,
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
        let has_no_place = ["plant", "pallet", "fixture", "circuit"].iter().all(|name| !table.layout.has(name));
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
        let mut unsaid = 0;
        for ragged in std::mem::take(&mut scan.ragged) {
            let mut run = ListRun {
                key: 0,
                list: index,
                offset: ragged.offset,
                length: ragged.length,
                first_row: ragged.row,
                rows: 1,
            };
            if has_no_place || ragged.neighbours.is_told {
                run.key = self.keys.intern(ragged.key);
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
        let count = u32::try_from(scan.keys.len()).unwrap_or(u32::MAX);
        let ranks: Vec<u32> = if self.keys.is_empty() {
            self.keys = std::mem::take(&mut scan.keys);
            (0..count).collect()
        } else {
            std::mem::take(&mut scan.keys).into_vec().into_iter().map(|key| self.keys.intern(key)).collect()
        };
        self.runs.reserve(scan.runs.len());
        self.runs.extend(scan.runs.iter().map(|run| {
            let key = ranks.get(run.key as usize).copied().unwrap_or_default();
            ListRun { key, list: index, ..*run }
        }));
        let strays = list.strays.len() as u64;
        self.lists.push(list);
        Ok(strays)
    }

    pub(super) fn finish(mut self, parts: PartIndex) -> Lists {
        static NEXT: AtomicU64 = AtomicU64::new(1);
        let repeats = Repeats::find(&std::mem::take(&mut self.hashes));
        let numbered = |(number, key): (usize, CircuitKey)| (key, u32::try_from(number).unwrap_or(u32::MAX));
        let mut keys: Vec<(CircuitKey, u32)> = self.keys.into_vec().into_par_iter().enumerate().map(numbered).collect();
        keys.par_sort_unstable();
        let mut rank_of: Vec<u32> = vec![0; keys.len()];
        for (rank, (_, first)) in (0_u32..).zip(&keys) {
            if let Some(place) = rank_of.get_mut(*first as usize) {
                *place = rank;
            }
        }
        let mut runs = self.runs;
        for run in &mut runs {
            run.key = rank_of.get(run.key as usize).copied().unwrap_or_default();
        }
        runs.par_sort_unstable_by_key(|run| (run.key, run.list, run.first_row));
        let mut from = 0;
        let mut places: Vec<(Range<usize>, u64)> = vec![(0..0, 0); keys.len()];
        for own in runs.chunk_by(|one, next| one.key == next.key) {
            let place = own.first().and_then(|run| places.get_mut(run.key as usize));
            if let Some(place) = place {
                *place = (from..from + own.len(), own.iter().map(|run| u64::from(run.rows)).sum());
            }
            from += own.len();
        }
        let placed = keys.into_par_iter().zip(places);
        let listed = placed.map(|((key, _), (runs, rows))| ListedCircuit { key, runs, rows });
        let mut circuits: Vec<ListedCircuit> = listed.collect();
        // A total row may have been the only one that named a circuit.
        circuits.retain(|circuit| circuit.rows > 0);
        Lists {
            id: NEXT.fetch_add(1, Ordering::Relaxed),
            all: self.lists,
            runs,
            circuits,
            parts,
            repeats,
            are_a_share: false,
        }
    }
}
