//! The first pass over a list: its rows are counted and grouped into runs, nothing of them is
//! kept.

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use crate::read::bounds::at_most;
use crate::read::cell::{GridRow, shown};
use crate::read::column_sums::ColumnSums;
use crate::read::delimited::{RowSplit, TextRow, each_row, row_end, whole_rows};
use crate::read::error::ReadError;
use crate::read::number::Evidence;
use crate::read::table::set_styles;
use crate::read::text_file::{TextFile, hexadecimal};

use crate::tables::packed::{Packed, push, push_step};
use crate::tables::packed_rows::PackedRow;

use super::keys::RawKeys;
use super::runs::{ChunkRow, ChunkScan, ChunkStop, Neighbours, ScannedList, TAIL};

/// A stretch of rows of one circuit: a range of bytes of a text, or of rows of a sheet.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct ListRun {
    /// Of the keys of the scan, then the rank of the circuit; where runs are packed by circuit it is not kept.
    pub key: u32,
    /// Of the lists.
    pub list: u32,
    pub offset: u64,
    pub length: u32,
    pub first_row: u32,
    /// Rows that hold something.
    pub rows: u32,
}

/// One mostly goes on where the one before ends.
impl PackedRow for ListRun {
    fn pack(self, before: Self, bytes: &mut Vec<u8>) {
        push_step(bytes, before.list.into(), self.list.into());
        push_step(bytes, before.end(), self.offset);
        push(bytes, self.length.into());
        push_step(bytes, before.next_row(), self.first_row.into());
        push(bytes, self.rows.into());
    }

    #[inline]
    fn unpack(before: Self, packed: &mut Packed) -> Self {
        Self {
            key: 0,
            list: packed.small_step(before.list),
            offset: packed.step(before.end()),
            length: packed.small(),
            first_row: u32::try_from(packed.step(before.next_row())).unwrap_or(u32::MAX),
            rows: packed.small(),
        }
    }
}

impl ListRun {
    fn end(self) -> u64 {
        self.offset + u64::from(self.length)
    }

    fn next_row(self) -> u64 {
        u64::from(self.first_row) + u64::from(self.rows)
    }
}

/// A row with more or fewer cells than the header.
#[derive(Clone, Debug)]
pub(crate) struct RaggedRow {
    pub offset: u64,
    pub length: u32,
    pub row: u32,
    /// The circuit that its cells name by their places, of the keys of the scan.
    pub key: u32,
    pub shown: Box<str>,
    pub neighbours: Neighbours,
}

/// A row that is no line, and why.
#[derive(Clone, Debug)]
pub(crate) struct NoLine {
    pub offset: u64,
    pub length: u32,
    pub row: u32,
    pub shown: Box<str>,
    pub why: &'static str,
    /// The places that a heading names, as raw keys hold them.
    pub key: Vec<u8>,
}

/// A row at the end of a list.
#[derive(Clone, Copy, Debug)]
struct TailRow {
    offset: u64,
    length: u32,
    row: u32,
    is_ragged: bool,
}

/// What the first pass finds.
#[derive(Debug, Default)]
pub(crate) struct ListScan {
    pub runs: Vec<ListRun>,
    pub keys: RawKeys,
    pub ragged: Vec<RaggedRow>,
    pub evidence: Vec<Evidence>,
    /// Cells that hold something under each header that names no known column.
    pub unknown: Vec<u64>,
    /// The first of them.
    pub first_unknown: Vec<Option<Box<str>>>,
    /// Row and hash, where rows are compared.
    pub hashes: Vec<(u32, u64)>,
    /// Rows below the header that hold something, totals too.
    pub held: u64,
    /// Empty where it was known before.
    pub sha256: String,
    /// Rows that are no lines among the others.
    pub no_lines: Vec<NoLine>,
    /// The fewest and the most cells of a row that is not too short.
    pub cells: (usize, usize),
    /// Cells ahead of the part number of the last row that fits.
    ahead: Option<Vec<u8>>,
    /// Total rows at the end: row number and text.
    pub totals: Vec<(u32, String)>,
    tail: Vec<TailRow>,
}

/// Why a scan stops.
#[derive(Debug)]
pub(crate) enum Stop {
    /// The file must be decoded as a whole.
    NotUtf8,
    Refused(ReadError),
}

impl From<ReadError> for Stop {
    fn from(error: ReadError) -> Self {
        Self::Refused(error)
    }
}

/// Bytes that are scanned at once by one thread.
const CHUNK: usize = 1 << 20;
/// Chunks that are in memory at once, twice over.
const WAVE: usize = 16;
/// A row that is longer is none.
const LONGEST_ROW: usize = 64 << 20;
/// A run is read at once; a longer one is split.
const LONGEST_RUN: u64 = 32 << 20;

/// Reads whole rows, chunk after chunk.
pub(super) struct Waves<'a> {
    file: &'a TextFile,
    delimiter: u8,
    at: u64,
    carry: Vec<u8>,
    /// Chunks that are done with.
    spare: Vec<Vec<u8>>,
}

impl<'a> Waves<'a> {
    /// Those of a text from a place on.
    pub(super) const fn of(file: &'a TextFile, delimiter: u8, at: u64) -> Self {
        Self { file, delimiter, at, carry: Vec::new(), spare: Vec::new() }
    }

    /// Gives back the room of chunks that are done with.
    pub(super) fn give_back(&mut self, wave: Vec<Vec<u8>>) {
        self.spare.extend(wave);
    }

    pub(super) fn next(&mut self) -> Result<Vec<Vec<u8>>, ReadError> {
        let mut wave = Vec::new();
        while wave.len() < WAVE {
            let left = usize::try_from(self.file.length - self.at).unwrap_or(usize::MAX);
            if left == 0 {
                if !self.carry.is_empty() {
                    wave.push(std::mem::take(&mut self.carry));
                }
                break;
            }
            let length = left.min(CHUNK);
            let mut chunk = self.spare.pop().unwrap_or_default();
            chunk.resize(self.carry.len() + length, 0);
            let (carried, fresh) = chunk.split_at_mut(self.carry.len());
            carried.copy_from_slice(&self.carry);
            self.file.read_over(self.at, fresh)?;
            self.at += length as u64;
            let whole = if length == left { chunk.len() } else { whole_rows(&chunk, self.delimiter) };
            self.carry.clear();
            self.carry.extend_from_slice(chunk.get(whole..).unwrap_or_default());
            chunk.truncate(whole);
            if chunk.is_empty() {
                self.spare.push(chunk);
            } else {
                wave.push(chunk);
            }
            if self.carry.len() > LONGEST_ROW {
                return Err(ReadError::new(format!(
                    "{}: a row is longer than 64 MiB; a quoted cell seems to start there and not to end.",
                    self.file.name
                )));
            }
        }
        Ok(wave)
    }
}

/// A chunk's length and what it holds.
type FoundChunk = (usize, Result<ChunkScan, ChunkStop>);

/// How far a text is joined: bytes, and the row before them.
struct Place {
    base: u64,
    row: u32,
}

/// Scans a text from a place on; `row` is the row before it.
pub(crate) fn scan_text(file: &TextFile, from: u64, row: u32, list: &ScannedList) -> Result<ListScan, Stop> {
    let mut scan = ListScan { evidence: vec![Evidence::default(); list.layout.width()], ..ListScan::default() };
    let mut hasher = file.sha256.is_empty().then(Sha256::new);
    if let Some(hasher) = &mut hasher {
        let mut head = Vec::new();
        file.read(0, usize::try_from(from).unwrap_or(usize::MAX), &mut head)?;
        hasher.update(&head);
    }
    let mut place = Place { base: from, row };
    scan.join_text(file, &mut hasher, &mut place, list)?;
    // Gives back the room that only the scan needs.
    scan.runs.shrink_to_fit();
    scan.sha256 = hasher.map(|hasher| hexadecimal(&hasher.finalize())).unwrap_or_default();
    let mut bytes = Vec::new();
    let mut layout = list.layout.clone();
    set_styles(&mut layout, &scan.evidence, list.delimiter == b';');
    scan.drop_totals(|tail, is_last| {
        file.read(tail.offset, tail.length as usize, &mut bytes)?;
        let text = String::from_utf8_lossy(&bytes);
        let end = row_end(text.as_bytes(), 0, list.delimiter).map_or(text.len(), |(end, _)| end);
        let mut split = RowSplit::default();
        split.split(&text, 0, end, list.delimiter);
        let row = TextRow { split: &split, text: &text, is_plain: false, repeats_head: false };
        let is_sum = |sums| is_sum_of(sums, file, from, tail.offset, list);
        let is_total = list.layout.is_total(&row) || is_last && layout.sums_of(&row).map_or(Ok(false), is_sum)?;
        Ok(is_total.then(|| shown(&row)))
    })?;
    Ok(scan)
}

/// Whether a last row is the sums of the rows above it, which are read once more: seldom, where it holds bare numbers.
fn is_sum_of(
    mut sums: ColumnSums,
    file: &TextFile,
    from: u64,
    last: u64,
    list: &ScannedList,
) -> Result<bool, ReadError> {
    let mut waves = Waves::of(file, list.delimiter, from);
    let mut base = from;
    loop {
        let wave = waves.next()?;
        if wave.is_empty() {
            return Ok(sums.agree());
        }
        for chunk in &wave {
            let text = String::from_utf8_lossy(chunk);
            // What can't be parted into rows was refused in the first pass.
            let _ = each_row::<()>(&text, &mut RowSplit::default(), list.delimiter, 0, |row, start, _| {
                if base + (start as u64) < last {
                    list.layout.add_to(&mut sums, row);
                }
                Ok(())
            });
            base += chunk.len() as u64;
        }
        waves.give_back(wave);
    }
}

/// Scans the rows of a sheet.
pub(crate) fn scan_sheet(rows: &[GridRow], list: &ScannedList) -> Result<ListScan, Stop> {
    let mut scan = ListScan { evidence: vec![Evidence::default(); list.layout.width()], ..ListScan::default() };
    let number = |index: u32| rows.get(index as usize).map_or(0, |row| row.number);
    let found = ChunkScan::of_sheet(rows, list).map_err(|stop| stop_at(stop, 0, list))?;
    scan.join(found, 0, number, list.stem);
    Ok(scan)
}

fn stop_at(stop: ChunkStop, row: u32, list: &ScannedList) -> Stop {
    match stop {
        ChunkStop::NotUtf8 => Stop::NotUtf8,
        ChunkStop::Row(before, what) => {
            let what = what.trim_start_matches(": ");
            Stop::Refused(ReadError::new(format!(
                "{}, row {}: {what}",
                list.place,
                row.saturating_add(before).saturating_add(1)
            )))
        }
    }
}

impl ListScan {
    /// Scans wave after wave: while one is scanned the one before is joined and the next is read.
    fn join_text(
        &mut self,
        file: &TextFile,
        hasher: &mut Option<Sha256>,
        place: &mut Place,
        list: &ScannedList,
    ) -> Result<(), Stop> {
        let mut waves = Waves::of(file, list.delimiter, place.base);
        let mut wave = waves.next()?;
        let mut found: Vec<FoundChunk> = Vec::new();
        while !wave.is_empty() {
            let (scanned, (joined, next)) = rayon::join(
                || wave.par_iter().map(|chunk| (chunk.len(), ChunkScan::of_text(chunk, list))).collect(),
                || {
                    let joined = self.join_wave(std::mem::take(&mut found), place, list);
                    if let Some(hasher) = hasher {
                        for chunk in &wave {
                            hasher.update(chunk);
                        }
                    }
                    (joined, waves.next())
                },
            );
            joined?;
            found = scanned;
            match next {
                Ok(next) => waves.spare.extend(std::mem::replace(&mut wave, next)),
                Err(error) => {
                    self.join_wave(found, place, list)?;
                    return Err(error.into());
                }
            }
        }
        self.join_wave(found, place, list)
    }

    /// Adds what the chunks of a wave hold.
    fn join_wave(&mut self, found: Vec<FoundChunk>, place: &mut Place, list: &ScannedList) -> Result<(), Stop> {
        for (length, chunk) in found {
            let row = place.row;
            let chunk = chunk.map_err(|stop| stop_at(stop, row, list))?;
            place.row = row.saturating_add(chunk.rows);
            self.join(chunk, place.base, |before| row + before + 1, list.stem);
            place.base += length as u64;
            at_most(list.place, "the file has at least", u64::from(place.row), list.bounds.rows, " rows", "rows")?;
        }
        Ok(())
    }

    /// Adds what a chunk holds; `base` is its place, `number` the row number of a row in it.
    fn join(&mut self, chunk: ChunkScan, base: u64, number: impl Fn(u32) -> u32, stem: &str) {
        let place = |row: &ChunkRow| (base + row.start as u64, u32::try_from(row.end - row.start).unwrap_or(u32::MAX));
        let first_ragged = chunk.ragged.first().map(|ragged| base + ragged.place.start as u64);
        for (index, run) in chunk.runs.iter().enumerate() {
            let raw = chunk.keys.get(run.key.0..run.key.1).unwrap_or_default();
            let key = self.keys.number_of(raw, stem);
            let offset = base + run.start as u64;
            let may_extend = index == 0
                && self
                    .no_lines
                    .last()
                    .is_none_or(|no_line| self.runs.last().is_some_and(|last| last.first_row > no_line.row))
                && chunk.no_lines.first().is_none_or(|no_line| no_line.place.rows_before > run.rows_before)
                && first_ragged.is_none_or(|at| at > offset)
                && self.runs.last().is_some_and(|last| {
                    last.key == key && self.ragged.last().is_none_or(|ragged| ragged.offset < last.offset)
                });
            let end = base + run.end as u64;
            if may_extend
                && let Some(last) = self.runs.last_mut()
                && end - last.offset <= LONGEST_RUN
            {
                last.length = u32::try_from(end - last.offset).unwrap_or(u32::MAX);
                last.rows += run.rows;
                continue;
            }
            let length = u32::try_from(run.end - run.start).unwrap_or(u32::MAX);
            self.runs.push(ListRun {
                key,
                list: 0,
                offset,
                length,
                first_row: number(run.rows_before),
                rows: run.rows,
            });
        }
        if chunk.ahead.0.is_some() {
            let waiting = self.ragged.iter_mut().rev();
            waiting.map_while(|row| row.neighbours.add_below(chunk.ahead.0.as_deref()).then_some(())).for_each(drop);
        }
        for mut ragged in chunk.ragged {
            ragged.neighbours.add_above(self.ahead.as_deref());
            let (offset, length) = place(&ragged.place);
            let key = self.keys.number_of(&ragged.key, stem);
            self.ragged.push(RaggedRow {
                offset,
                length,
                row: number(ragged.place.rows_before),
                key,
                shown: ragged.shown,
                neighbours: ragged.neighbours,
            });
        }
        self.ahead = chunk.ahead.1.or(self.ahead.take());
        let (least, most) = chunk.cells;
        if least > 0 {
            self.cells = (if self.cells.0 == 0 { least } else { self.cells.0.min(least) }, self.cells.1.max(most));
        }
        self.unknown.resize(self.unknown.len().max(chunk.unknown.len()), 0);
        for (own, found) in self.unknown.iter_mut().zip(&chunk.unknown) {
            *own += found;
        }
        self.first_unknown.resize(self.first_unknown.len().max(chunk.first_unknown.len()), None);
        for (own, found) in self.first_unknown.iter_mut().zip(chunk.first_unknown) {
            *own = own.take().or(found);
        }
        for (own, found) in self.evidence.iter_mut().zip(&chunk.evidence) {
            own.join(*found);
        }
        self.hashes.extend(
            (0_u32..).zip(&chunk.hashes).filter(|(_, hash)| **hash != 0).map(|(before, hash)| (number(before), *hash)),
        );
        self.held += chunk.held;
        self.no_lines.extend(chunk.no_lines.into_iter().map(|no_line| {
            let (offset, length) = place(&no_line.place);
            let row = number(no_line.place.rows_before);
            NoLine { offset, length, row, shown: no_line.shown, why: no_line.why, key: no_line.key }
        }));
        self.tail.extend(chunk.tail.iter().map(|row| {
            let (offset, length) = place(row);
            TailRow { offset, length, row: number(row.rows_before), is_ragged: row.is_ragged }
        }));
        let surplus = self.tail.len().saturating_sub(TAIL);
        self.tail.drain(..surplus);
    }

    fn drop_totals(
        &mut self,
        mut total: impl FnMut(&TailRow, bool) -> Result<Option<String>, ReadError>,
    ) -> Result<(), ReadError> {
        while let Some(last) = self.tail.pop() {
            let Some(text) = total(&last, self.totals.is_empty())? else { break };
            self.totals.push((last.row, text));
            self.hashes.pop_if(|(row, _)| *row == last.row);
            if last.is_ragged {
                self.ragged.pop();
            } else if let Some(run) = self.runs.last_mut() {
                run.rows -= 1;
                run.length = u32::try_from(last.offset - run.offset).unwrap_or(u32::MAX);
                self.runs.pop_if(|run| run.rows == 0);
            }
        }
        Ok(())
    }
}
