//! Runs: stretches of rows of one circuit, and the scan of a chunk of text for them.

use std::borrow::Cow;
use std::collections::VecDeque;

use crate::read::bounds::at_most;
use crate::read::cell::{Cells, clean, is_blank_row, shown};
use crate::read::delimited::{RowSplit, RowsStop, TextRow, each_row, row_end};
use crate::read::header::{HEADING, Layout, LayoutColumn};
use crate::read::number::Evidence;
use crate::read::repeats::{row_hash, seeds};
use crate::tables::policy::Bounds;

use super::keys::PART;

/// A list under the scan, with what the scan has to know of it.
pub(crate) struct ScannedList<'a> {
    pub place: &'a str,
    pub layout: &'a Layout,
    /// The fixture where no cell names one.
    pub stem: &'a str,
    pub delimiter: u8,
    pub bounds: &'a Bounds,
    /// Cells that name the circuit: plant, pallet, fixture, circuit.
    key_cells: [Option<usize>; 4],
    /// Cells up to the last of them.
    head: usize,
    /// Cells whose number style says something.
    numeric: Vec<usize>,
    /// Cells under headers that name no known column.
    unknown: Vec<usize>,
    /// For each column, where rows are compared with those of other lists.
    pub seeds: Option<Vec<u64>>,
    /// Cells ahead of the part number, where all cells that name the circuit are among them.
    ahead: Option<usize>,
}

impl<'a> ScannedList<'a> {
    pub(crate) fn new(
        place: &'a str,
        layout: &'a Layout,
        stem: &'a str,
        delimiter: u8,
        bounds: &'a Bounds,
        compare: bool,
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
        let head = head_of(key_cells);
        let ahead = cell("part_no").filter(|part_no| *part_no >= head);
        let mut seeds = compare.then(|| seeds(layout.columns.iter().map(LayoutColumn::identity)));
        // The place counts as it is read, not as it stands.
        for slot in key_cells.into_iter().flatten().map(|cell| cell - layout.first) {
            if let Some(seed) = seeds.as_mut().and_then(|seeds| seeds.get_mut(slot)) {
                *seed = 0;
            }
        }
        let unknown = layout.unknown_slots().into_iter().map(|slot| layout.first + slot).collect();
        Self { place, layout, stem, delimiter, bounds, key_cells, head, numeric, unknown, seeds, ahead }
    }

    /// The cells ahead of a row's part number; nothing where they can't tell its circuit.
    fn ahead_of(&self, row: &impl Cells) -> Option<Vec<u8>> {
        let count = self.ahead.filter(|ahead| *ahead < row.count())?;
        let mut cells = Vec::new();
        for index in 0..count {
            cells.extend_from_slice(row.cell(index).text.as_bytes());
            cells.push(PART);
        }
        Some(cells)
    }

    /// Where a row belongs as it is read.
    fn place_of<'b>(&'b self, row: &'b impl Cells) -> [Cow<'b, str>; 4] {
        let [plant, pallet, fixture, circuit] =
            self.key_cells.map(|cell| cell.map_or(Cow::Borrowed(""), |index| clean(row.cell(index).text)));
        let or = |text: Cow<'b, str>, default| if text.is_empty() { Cow::Borrowed(default) } else { text };
        [plant, pallet, or(fixture, self.stem), or(circuit, "1")]
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

/// A row that is no line, and why.
#[derive(Clone, Debug)]
pub(crate) struct ChunkNoLine {
    pub place: ChunkRow,
    pub shown: Box<str>,
    pub why: &'static str,
    /// The places that a heading names.
    pub key: Vec<u8>,
}

/// A row with more or fewer cells than the header.
#[derive(Clone, Debug)]
pub(crate) struct ChunkRagged {
    pub place: ChunkRow,
    /// What its cells would name by their places.
    pub key: Vec<u8>,
    pub shown: Box<str>,
    pub neighbours: Neighbours,
}

/// What the rows above and below a row of another width tell of its circuit: it is theirs where all
/// cells ahead of its part number are those of one of them.
#[derive(Clone, Debug)]
pub(crate) struct Neighbours {
    ahead: Option<Vec<u8>>,
    pub is_told: bool,
    has_above: bool,
    has_below: bool,
}

impl Neighbours {
    pub(crate) fn add_above(&mut self, ahead: Option<&[u8]>) {
        if !self.has_above && ahead.is_some() {
            self.has_above = true;
            self.is_told |= self.ahead.as_deref() == ahead;
        }
    }

    /// Whether the row was still to be seen.
    pub(crate) fn add_below(&mut self, ahead: Option<&[u8]>) -> bool {
        if self.has_below {
            return false;
        }
        self.has_below = true;
        self.is_told |= ahead.is_some() && self.ahead.as_deref() == ahead;
        true
    }
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
    /// Cells that hold something under each header that names no known column.
    pub unknown: Vec<u64>,
    /// The first of them.
    pub first_unknown: Vec<Option<Box<str>>>,
    /// One for each row, 0 for a blank or ragged one; empty where rows aren't compared.
    pub hashes: Vec<u64>,
    /// Rows that are no lines among the others.
    pub no_lines: Vec<ChunkNoLine>,
    /// The last rows that hold something.
    pub tail: VecDeque<ChunkRow>,
    /// The fewest and the most cells of a row that is not too short.
    pub cells: (usize, usize),
    /// Cells ahead of the part number of the first and of the last row that fits.
    pub ahead: (Option<Vec<u8>>, Option<Vec<u8>>),
    /// The last row that fits.
    fitting: Option<(usize, usize)>,
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
    pub(crate) fn of_text(bytes: &[u8], list: &ScannedList) -> Result<Self, ChunkStop> {
        let text = std::str::from_utf8(bytes).map_err(|_| ChunkStop::NotUtf8)?;
        let mut scan =
            Self { evidence: vec![Evidence::default(); list.layout.width()], is_broken: true, ..Self::default() };
        let seen = each_row(text, &mut RowSplit::default(), list.delimiter, list.head, |row, from, next| {
            scan.row(row, from, next, list, |from, end| {
                let mut split = RowSplit::default();
                let end = row_end(text.as_bytes(), from, list.delimiter).map_or(end, |(end, _)| end);
                split.split(text, from, end, list.delimiter);
                list.ahead_of(&TextRow { split: &split, text, is_plain: false, repeats_head: false })
            })
        });
        match seen {
            Ok(()) => {
                if let Some((from, end)) = scan.fitting {
                    let end = row_end(text.as_bytes(), from, list.delimiter).map_or(end, |(end, _)| end);
                    let mut split = RowSplit::default();
                    split.split(text, from, end, list.delimiter);
                    scan.ahead.1 =
                        list.ahead_of(&TextRow { split: &split, text, is_plain: false, repeats_head: false });
                }
                Ok(scan)
            }
            Err(RowsStop::Seen(stop)) => Err(stop),
            Err(RowsStop::Quote) => {
                Err(ChunkStop::Row(scan.rows, "a quoted cell starts there and does not end.".to_owned()))
            }
        }
    }

    /// Scans the rows of a sheet; their places are indices of the rows.
    pub(crate) fn of_sheet(rows: &[crate::read::cell::GridRow], list: &ScannedList) -> Result<Self, ChunkStop> {
        let mut scan =
            Self { evidence: vec![Evidence::default(); list.layout.width()], is_broken: true, ..Self::default() };
        for (index, row) in rows.iter().enumerate() {
            scan.row(row, index, index + 1, list, |from, _| rows.get(from).and_then(|row| list.ahead_of(row)))?;
        }
        Ok(scan)
    }

    /// Adds a row; `ahead_at` gives the cells ahead of the part number of another row.
    fn row(
        &mut self,
        row: &impl Cells,
        start: usize,
        end: usize,
        list: &ScannedList,
        ahead_at: impl Fn(usize, usize) -> Option<Vec<u8>>,
    ) -> Result<(), ChunkStop> {
        let rows_before = self.rows;
        self.rows += 1;
        let count = row.count();
        if !row.repeats_head() && is_blank_row(row) {
            if list.seeds.is_some() {
                self.hashes.push(0);
            }
            return Ok(());
        }
        self.held += 1;
        if end - start > 256 || count > 64 {
            bounded(row, end - start, rows_before, list)?;
        }
        let why = list.layout.no_line(row).map_err(|clash| ChunkStop::Row(rows_before, clash))?;
        if let Some(why) = why {
            let place = ChunkRow { start, end, rows_before, is_ragged: false };
            let key = if why == HEADING { list.raw_key(row) } else { Vec::new() };
            self.no_lines.push(ChunkNoLine { place, shown: shown(row).into(), why, key });
            // The rows around it are no one run: its bytes are not read again.
            self.is_broken = true;
            if list.seeds.is_some() {
                self.hashes.push(0);
            }
            return Ok(());
        }
        let is_ragged = !list.layout.fits(row);
        if count >= list.layout.end() {
            let (least, most) = self.cells;
            self.cells = (if least == 0 { count } else { least.min(count) }, most.max(count));
        }
        if self.tail.len() == TAIL {
            self.tail.pop_front();
        }
        let place = ChunkRow { start, end, rows_before, is_ragged };
        self.tail.push_back(place);
        if is_ragged {
            let mut neighbours =
                Neighbours { ahead: list.ahead_of(row), is_told: false, has_above: false, has_below: false };
            if let Some((start, end)) = self.fitting {
                neighbours.add_above(ahead_at(start, end).as_deref());
            }
            self.ragged.push(ChunkRagged { place, key: list.raw_key(row), shown: shown(row).into(), neighbours });
            self.is_broken = true;
        } else {
            if self.fitting.is_none() {
                self.ahead.0 = list.ahead_of(row);
            }
            if self.ragged.last().is_some_and(|last| !last.neighbours.has_below) {
                let ahead = list.ahead_of(row);
                let waiting = self.ragged.iter_mut().rev();
                waiting.map_while(|last| last.neighbours.add_below(ahead.as_deref()).then_some(())).for_each(drop);
            }
            self.fitting = Some((start, end));
            self.well_formed(row, place, list);
        }
        if let Some(seeds) = &list.seeds {
            self.hashes.push(if is_ragged {
                0
            } else {
                row_hash(row, list.layout.first, seeds, list.place_of(row).each_ref().map(AsRef::as_ref))
            });
        }
        Ok(())
    }

    fn well_formed(&mut self, row: &impl Cells, place: ChunkRow, list: &ScannedList) {
        if self.unknown.len() < list.unknown.len() {
            self.unknown.resize(list.unknown.len(), 0);
            self.first_unknown.resize(list.unknown.len(), None);
        }
        for ((index, cells), first) in list.unknown.iter().zip(&mut self.unknown).zip(&mut self.first_unknown) {
            let cell = row.cell(*index);
            if !cell.is_blank() {
                *cells += 1;
                if *cells == 1 {
                    *first = Some(cell.text.into());
                }
            }
        }
        for index in &list.numeric {
            let text = row.cell(*index).text;
            if text.len() > 1
                && let Some(evidence) = self.evidence.get_mut(*index - list.layout.first)
            {
                evidence.look_at(text);
            }
        }
        if !self.is_broken
            && let Some(last) = self.runs.last_mut()
            && (row.repeats_head() || list.has_key(row, self.keys.get(last.key.0..last.key.1).unwrap_or_default()))
        {
            last.end = place.end;
            last.rows += 1;
            return;
        }
        let mark = self.keys.len();
        list.push_key(row, &mut self.keys);
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

fn bounded(row: &impl Cells, length: usize, rows_before: u32, list: &ScannedList) -> Result<(), ChunkStop> {
    let refuse = |result: Result<(), crate::read::error::ReadError>| {
        // The row's number is known only when the chunks are joined.
        result.map_err(|error| ChunkStop::Row(rows_before, error.sentences.join(" ")))
    };
    refuse(at_most("", "the row has", row.count() as u64, list.bounds.columns, " cells", "columns"))?;
    if length as u64 > list.bounds.cell_chars {
        let longest =
            (0..row.count()).map(|index| row.cell(index).text.chars().count() as u64).max().unwrap_or_default();
        refuse(at_most("", "a cell has", longest, list.bounds.cell_chars, " characters", "cell_chars"))?;
    }
    Ok(())
}
