//! Runs: stretches of rows of one circuit, and the scan of a chunk of text for them.

use std::collections::VecDeque;

use crate::read::bounds::at_most;
use crate::read::cell::{Cells, clean, is_blank_row, shown};
use crate::read::delimited::{RowSplit, RowsStop, each_row};
use crate::read::header::Layout;
use crate::read::number::Evidence;
use crate::read::repeats::row_hash;
use crate::tables::circuit::{CircuitKey, Name};
use crate::tables::policy::Bounds;

/// What the scan has to know of a list.
pub(crate) struct Spec<'a> {
    pub place: &'a str,
    pub layout: &'a Layout,
    pub delimiter: u8,
    pub bounds: &'a Bounds,
    /// Cells that name the circuit: plant, pallet, fixture, circuit.
    key_cells: [Option<usize>; 4],
    /// Cells up to the last of them.
    head: usize,
    /// Cells whose number style says something.
    numeric: Vec<usize>,
    /// For each column, where rows are compared with those of other lists.
    pub seeds: Option<Vec<u64>>,
}

/// Parts the cells of a key while it is raw; no cell of a text file can hold it by accident and
/// two keys that differ by it alone would differ by nothing a reader can see.
const PART: u8 = 0x1f;

impl<'a> Spec<'a> {
    pub(crate) fn new(
        place: &'a str,
        layout: &'a Layout,
        delimiter: u8,
        bounds: &'a Bounds,
        seeds: Option<Vec<u64>>,
    ) -> Self {
        let cell = |name: &str| layout.slot(name).map(|slot| layout.first + slot);
        let numeric = layout
            .columns
            .iter()
            .enumerate()
            .filter(|(_, column)| column.is_numeric())
            .map(|(slot, _)| layout.first + slot)
            .collect();
        let key_cells = [cell("plant"), cell("pallet"), cell("fixture"), cell("circuit")];
        Self { place, layout, delimiter, bounds, key_cells, head: head_of(key_cells), numeric, seeds }
    }

    /// Adds the raw key of a row.
    fn push_key(&self, row: &impl Cells, into: &mut Vec<u8>) {
        for cell in self.key_cells {
            if let Some(index) = cell {
                into.extend_from_slice(row.cell(index).text.as_bytes());
            }
            into.push(PART);
        }
    }

    /// Whether a raw key is a row's.
    fn has_key(&self, row: &impl Cells, key: &[u8]) -> bool {
        let mut rest = key;
        for cell in self.key_cells {
            let text = cell.map_or("", |index| row.cell(index).text);
            match rest.strip_prefix(text.as_bytes()).and_then(|rest| rest.strip_prefix(&[PART])) {
                Some(after) => rest = after,
                None => return false,
            }
        }
        rest.is_empty()
    }

    /// The raw key of a row.
    pub(crate) fn raw_key(&self, row: &impl Cells) -> Vec<u8> {
        let mut key = Vec::new();
        self.push_key(row, &mut key);
        key
    }
}

/// How many cells stand at the start of a row up to the last of these.
pub(crate) fn head_of(cells: [Option<usize>; 4]) -> usize {
    cells.into_iter().flatten().max().map_or(0, |last| last + 1)
}

/// The four parts of a raw key, cleaned.
pub(crate) fn key_parts(raw: &[u8]) -> [Name; 4] {
    let mut parts = raw.split(|byte| *byte == PART).map(|part| clean(&String::from_utf8_lossy(part)).into());
    std::array::from_fn(|_| parts.next().unwrap_or_default())
}

/// The raw key of a row whose cells name the circuit as it is named.
pub(crate) fn raw_key_of(key: &CircuitKey) -> Vec<u8> {
    let parts = [&key.plant, &key.pallet, &key.fixture, &key.circuit];
    let mut raw = Vec::with_capacity(parts.iter().map(|part| part.len() + 1).sum());
    for part in parts {
        raw.extend_from_slice(part.as_bytes());
        raw.push(PART);
    }
    raw
}

/// A stretch of rows of one circuit within a chunk.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ChunkRun {
    /// Its raw key, a range of `keys`.
    pub key: (usize, usize),
    pub start: usize,
    pub end: usize,
    /// Rows before it in the chunk.
    pub rows_before: u32,
    pub rows: u32,
}

/// A row in a chunk.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ChunkRow {
    pub start: usize,
    pub end: usize,
    pub rows_before: u32,
    pub is_ragged: bool,
}

/// A row with more or fewer cells than the header.
#[derive(Clone, Debug)]
pub(crate) struct ChunkRagged {
    pub place: ChunkRow,
    /// What its cells would name by their places.
    pub key: Vec<u8>,
    pub shown: Box<str>,
}

/// How many rows at the end may be totals.
pub(crate) const TAIL: usize = 8;

/// What a chunk holds.
#[derive(Debug, Default)]
pub(crate) struct ChunkScan {
    /// All rows, blank ones too.
    pub rows: u32,
    /// Rows that hold something.
    pub held: u64,
    pub runs: Vec<ChunkRun>,
    pub keys: Vec<u8>,
    pub ragged: Vec<ChunkRagged>,
    pub evidence: Vec<Evidence>,
    /// One for each row, 0 for a blank or ragged one; empty where rows aren't compared.
    pub hashes: Vec<u64>,
    /// The last rows that hold something.
    pub tail: VecDeque<ChunkRow>,
    is_broken: bool,
}

/// Why a chunk can't be scanned.
#[derive(Debug)]
pub(crate) enum ChunkStop {
    NotUtf8,
    /// Rows before the one at fault, and the rest of the sentence.
    Row(u32, String),
}

impl ChunkScan {
    /// Scans whole rows of text.
    pub(crate) fn of_text(bytes: &[u8], spec: &Spec) -> Result<Self, ChunkStop> {
        let text = std::str::from_utf8(bytes).map_err(|_| ChunkStop::NotUtf8)?;
        let mut scan =
            Self { evidence: vec![Evidence::default(); spec.layout.width()], is_broken: true, ..Self::default() };
        let seen = each_row(text, &mut RowSplit::default(), spec.delimiter, spec.head, |row, from, next| {
            scan.row(row, from, next, spec)
        });
        match seen {
            Ok(()) => Ok(scan),
            Err(RowsStop::Seen(stop)) => Err(stop),
            Err(RowsStop::Quote) => {
                Err(ChunkStop::Row(scan.rows, "a quoted cell starts there and does not end.".to_owned()))
            }
        }
    }

    /// Scans the rows of a sheet; their places are indices of the rows.
    pub(crate) fn of_sheet(rows: &[crate::read::cell::GridRow], spec: &Spec) -> Result<Self, ChunkStop> {
        let mut scan =
            Self { evidence: vec![Evidence::default(); spec.layout.width()], is_broken: true, ..Self::default() };
        for (index, row) in rows.iter().enumerate() {
            scan.row(row, index, index + 1, spec)?;
        }
        Ok(scan)
    }

    fn row(&mut self, row: &impl Cells, start: usize, end: usize, spec: &Spec) -> Result<(), ChunkStop> {
        let rows_before = self.rows;
        self.rows += 1;
        let count = row.count();
        if !row.repeats_head() && is_blank_row(row) {
            if spec.seeds.is_some() {
                self.hashes.push(0);
            }
            return Ok(());
        }
        self.held += 1;
        if end - start > 256 || count > 64 {
            bounded(row, end - start, rows_before, spec)?;
        }
        let is_ragged = !spec.layout.fits(row);
        if self.tail.len() == TAIL {
            self.tail.pop_front();
        }
        let place = ChunkRow { start, end, rows_before, is_ragged };
        self.tail.push_back(place);
        if is_ragged {
            self.ragged.push(ChunkRagged { place, key: spec.raw_key(row), shown: shown(row).into() });
            self.is_broken = true;
        } else {
            self.well_formed(row, place, spec);
        }
        if let Some(seeds) = &spec.seeds {
            self.hashes.push(if is_ragged { 0 } else { row_hash(row, spec.layout.first, seeds) });
        }
        Ok(())
    }

    fn well_formed(&mut self, row: &impl Cells, place: ChunkRow, spec: &Spec) {
        for index in &spec.numeric {
            let text = row.cell(*index).text;
            if text.len() > 1
                && let Some(evidence) = self.evidence.get_mut(*index - spec.layout.first)
            {
                evidence.look_at(text);
            }
        }
        if !self.is_broken
            && let Some(last) = self.runs.last_mut()
            && (row.repeats_head() || spec.has_key(row, self.keys.get(last.key.0..last.key.1).unwrap_or_default()))
        {
            last.end = place.end;
            last.rows += 1;
            return;
        }
        let mark = self.keys.len();
        spec.push_key(row, &mut self.keys);
        self.is_broken = false;
        self.runs.push(ChunkRun {
            key: (mark, self.keys.len()),
            start: place.start,
            end: place.end,
            rows_before: place.rows_before,
            rows: 1,
        });
    }
}

fn bounded(row: &impl Cells, length: usize, rows_before: u32, spec: &Spec) -> Result<(), ChunkStop> {
    let refuse = |result: Result<(), crate::read::error::ReadError>| {
        // The row's number is known only when the chunks are joined.
        result.map_err(|error| ChunkStop::Row(rows_before, error.sentences.join(" ")))
    };
    refuse(at_most("", "the row has", row.count() as u64, spec.bounds.columns, " cells", "columns"))?;
    if length as u64 > spec.bounds.cell_chars {
        let longest =
            (0..row.count()).map(|index| row.cell(index).text.chars().count() as u64).max().unwrap_or_default();
        refuse(at_most("", "a cell has", longest, spec.bounds.cell_chars, " characters", "cell_chars"))?;
    }
    Ok(())
}
