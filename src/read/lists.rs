//! The store of list lines, made for lists of any length: the first pass groups rows into runs
//! of one circuit, the second reads a circuit's lines again when they are asked for.

pub(crate) mod given;
mod joined;
pub(crate) mod keys;
pub(crate) mod line;
pub(crate) mod runs;
pub(crate) mod scan;
pub(crate) mod table;

use std::cell::RefCell;
use std::ops::Range;

use crate::tables::circuit::CircuitKey;
use crate::tables::line::Line;
use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId};
use crate::tables::plant::Plant;
use crate::tables::policy::Bounds;

use super::cell::{Cells, GridRow, is_blank_row};
use super::delimited::{RowSplit, TextRow, each_row};
use super::error::{Problems, ReadError};
use super::header::{Layout, LayoutColumn};
use super::note::row_note;
use super::part_number::PartIndex;
use super::repeats::{Repeats, seeds};
use super::table::{Loaded, TOTAL, set_rules};
use super::text_file::{Store, TextFile};
use joined::Joined;
use line::{Slots, read_line};
use runs::Spec;
use scan::{ListRun, ListScan, Stop};
use table::{Body, ListTable};

/// A circuit that a list names.
#[derive(Clone, Debug)]
pub struct ListedCircuit {
    pub key: CircuitKey,
    runs: Range<usize>,
    /// Rows of the lists that hold something for it.
    pub rows: u64,
}

/// A circuit's lines, in the order of the files, with what is worth knowing of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Parsed {
    pub lines: Vec<Line>,
    pub notes: Vec<InputNote>,
}

/// A row of a list as given.
#[derive(Clone, Debug, PartialEq)]
pub struct RawRow {
    pub origin: Origin,
    /// One for each header cell of the source, and what stands beyond them.
    pub cells: Vec<String>,
}

/// One list.
#[derive(Debug)]
struct List {
    source: SourceId,
    layout: Layout,
    slots: Slots,
    body: Body,
    /// Rows whose circuit can't be told: origin and place.
    strays: Vec<(Origin, ListRun)>,
}

/// All lists of a plant. Circuits can be read from many threads at once.
#[derive(Debug)]
pub struct Lists {
    id: u64,
    all: Vec<List>,
    runs: Vec<ListRun>,
    circuits: Vec<ListedCircuit>,
    parts: PartIndex,
    repeats: Repeats,
}

/// What the first pass over one list gives.
#[derive(Debug)]
pub(crate) struct Scanned {
    loaded: Loaded<ListTable>,
    scan: ListScan,
}

/// Bytes that a thread has read, for the circuits that follow in the file.
#[derive(Default)]
struct ReadAhead {
    lists: u64,
    list: u32,
    from: u64,
    bytes: Vec<u8>,
    split: RowSplit,
}

thread_local! {
    static AHEAD: RefCell<ReadAhead> = RefCell::new(ReadAhead::default());
}

/// How far a thread reads ahead where circuits follow each other.
const AHEAD_BYTES: usize = 256 << 10;

/// The first pass over one list.
fn first_pass(mut loaded: Loaded<ListTable>, bounds: &Bounds, compare: bool) -> Result<Scanned, ReadError> {
    let place = loaded.source.place();
    let Some(list) = &mut loaded.body else { return Ok(Scanned { loaded, scan: ListScan::default() }) };
    let seeds = compare.then(|| seeds(list.layout.columns.iter().map(LayoutColumn::identity)));
    let delimiter = if let Body::Text { delimiter, .. } = &list.body { *delimiter } else { b',' };
    let spec = Spec::new(&place, &list.layout, delimiter, bounds, seeds);
    let scan = match &list.body {
        Body::Sheet(rows) => scan::scan_sheet(rows, &spec, &list.stem),
        Body::Text { file, from, row, .. } => scan::scan_text(file, *from, *row, &spec, &list.stem),
    };
    let mut scan = scan.map_err(|stop| match stop {
        Stop::Refused(error) => error,
        Stop::NotUtf8 => ReadError::new(NOT_UTF8),
    })?;
    // A sheet's own numbers are no evidence; its text cells were looked at before.
    if matches!(list.body, Body::Text { .. }) {
        set_rules(&mut list.layout, &scan.evidence, delimiter == b';');
    }
    loaded.source.rows_read += scan.held;
    if !scan.sha256.is_empty() {
        loaded.source.sha256 = std::mem::take(&mut scan.sha256);
    }
    for (row, text) in std::mem::take(&mut scan.totals) {
        loaded.source.rows_skipped += 1;
        let origin = Origin { source: 0, row };
        loaded.notes.push(row_note(NoteKind::Skipped, origin, text, format!("{TOTAL} It was read and not checked.")));
    }
    Ok(Scanned { loaded, scan })
}

const NOT_UTF8: &str = "not UTF-8";

/// The first pass over a list, its rows hashed where `compare` asks for it; a text that turns out
/// not to be UTF-8 is decoded as a whole.
pub(crate) fn first_pass_decoded(
    loaded: Loaded<ListTable>,
    policy: &crate::tables::policy::Policy,
    compare: bool,
) -> Result<Scanned, ReadError> {
    let Some(Body::Text { file, .. }) = loaded.body.as_ref().map(|list| &list.body) else {
        return first_pass(loaded, &policy.bounds, compare);
    };
    let (name, path) = (file.name.clone(), file.path.clone());
    let stem = loaded.body.as_ref().map(|list| list.stem.clone()).unwrap_or_default();
    match first_pass(loaded, &policy.bounds, compare) {
        Err(error) if error.sentences == [NOT_UTF8] => {
            let file = TextFile::in_memory(&name, &path, &policy.bounds)?;
            first_pass(table::of_text(file, &stem, policy)?, &policy.bounds, compare)
        }
        other => other,
    }
}

impl Lists {
    /// Joins scanned lists. What is worth knowing goes to the plant's notes and sources, what ends
    /// the run to `problems`.
    pub(crate) fn build(
        scanned: Vec<(SourceId, Result<Scanned, ReadError>)>,
        parts: PartIndex,
        plant: &mut Plant,
        problems: &mut Problems,
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
                let set_aside = joined.add(source, table, scan, plant);
                if let Some(place) = plant.sources.get_mut(source as usize) {
                    place.rows_set_aside += set_aside;
                }
            }
        }
        joined.finish(parts)
    }

    /// The circuits that lists name, in key order.
    #[must_use]
    pub fn circuits(&self) -> &[ListedCircuit] {
        &self.circuits
    }

    /// The index of a circuit, where a list names it.
    #[must_use]
    pub fn find(&self, key: &CircuitKey) -> Option<usize> {
        self.circuits.binary_search_by(|circuit| circuit.key.cmp(key)).ok()
    }

    /// Reads the lines of a circuit.
    ///
    /// # Errors
    /// Where the file has changed or gone since it was opened.
    pub fn lines(&self, index: usize) -> Result<Parsed, ReadError> {
        let rows = self.circuits.get(index).map_or(0, |circuit| circuit.rows);
        let lines = Vec::with_capacity(usize::try_from(rows).unwrap_or_default());
        let mut parsed = Parsed { lines, notes: Vec::new() };
        self.each_row(index, |list, row, number| match row {
            AnyRow::Text(row) => self.push_line(list, row, number, &mut parsed),
            AnyRow::Sheet(row) => self.push_line(list, row, number, &mut parsed),
        })?;
        Ok(parsed)
    }

    fn push_line(&self, list: &List, row: &impl Cells, number: u32, parsed: &mut Parsed) {
        let origin = Origin { source: list.source, row: number };
        // A line is large: it is made where it stays.
        let line = parsed.lines.push_mut(Line { origin, repeats: self.repeats.of(origin), ..Line::of_part(0) });
        read_line(line, &list.layout, &list.slots, row, &self.parts, &mut parsed.notes);
    }

    /// Reads the rows of a circuit as given.
    ///
    /// # Errors
    /// Where the file has changed or gone since it was opened.
    pub fn rows(&self, index: usize) -> Result<Vec<RawRow>, ReadError> {
        let mut rows = Vec::new();
        self.each_row(index, |list, row, number| match row {
            AnyRow::Text(row) => rows.push(raw_row(list, row, number)),
            AnyRow::Sheet(row) => rows.push(raw_row(list, row, number)),
        })?;
        Ok(rows)
    }

    /// Rows of a source whose circuit can't be told.
    #[must_use]
    pub fn stray_rows(&self, source: SourceId) -> Vec<Origin> {
        let of_source = self.all.iter().filter(|list| list.source == source);
        of_source.flat_map(|list| list.strays.iter().map(|(origin, _)| *origin)).collect()
    }

    /// Stray rows of the files and sheets that a circuit has rows in.
    #[must_use]
    pub fn strays_beside(&self, index: usize) -> Vec<Origin> {
        if self.all.iter().all(|list| list.strays.is_empty()) {
            return Vec::new();
        }
        let runs = self.circuits.get(index).and_then(|circuit| self.runs.get(circuit.runs.clone())).unwrap_or_default();
        let mut lists: Vec<u32> = runs.iter().map(|run| run.list).collect();
        lists.sort_unstable();
        lists.dedup();
        let strays = lists.iter().filter_map(|list| self.all.get(*list as usize)).flat_map(|list| &list.strays);
        strays.map(|(origin, _)| *origin).collect()
    }

    /// Stray rows of all lists as given.
    ///
    /// # Errors
    /// Where a file has changed or gone since it was opened.
    pub fn stray_raw_rows(&self) -> Result<Vec<RawRow>, ReadError> {
        let mut rows = Vec::new();
        for (_, run) in self.all.iter().flat_map(|list| &list.strays) {
            self.rows_of_run(run, &mut |list, row, number| match row {
                AnyRow::Text(row) => rows.push(raw_row(list, row, number)),
                AnyRow::Sheet(row) => rows.push(raw_row(list, row, number)),
            })?;
        }
        Ok(rows)
    }

    fn each_row(&self, index: usize, mut see: impl FnMut(&List, AnyRow, u32)) -> Result<(), ReadError> {
        let runs = self.circuits.get(index).and_then(|circuit| self.runs.get(circuit.runs.clone())).unwrap_or_default();
        runs.iter().try_for_each(|run| self.rows_of_run(run, &mut see))
    }

    fn rows_of_run(&self, run: &ListRun, see: &mut impl FnMut(&List, AnyRow, u32)) -> Result<(), ReadError> {
        let Some(list) = self.all.get(run.list as usize) else { return Ok(()) };
        match &list.body {
            Body::Sheet(rows) => {
                let start = usize::try_from(run.offset).unwrap_or(usize::MAX);
                for row in rows.get(start..start.saturating_add(run.length as usize)).unwrap_or_default() {
                    see(list, AnyRow::Sheet(row), row.number);
                }
                Ok(())
            }
            Body::Text { file, delimiter, .. } => self.with_text(run, file, |text, split| {
                let mut number = run.first_row;
                // A quote that does not end was refused in the first pass.
                let _ = each_row::<()>(text, split, *delimiter, list.slots.head, |row, _, _| {
                    if row.repeats_head || !is_blank_row(row) {
                        see(list, AnyRow::Text(row), number);
                    }
                    number = number.saturating_add(1);
                    Ok(())
                });
            }),
        }
    }

    /// The text of a run, from memory or from the file.
    fn with_text(
        &self,
        run: &ListRun,
        file: &TextFile,
        work: impl FnOnce(&str, &mut RowSplit),
    ) -> Result<(), ReadError> {
        let length = run.length as usize;
        // Taken out while it is in use, so that `work` may read another circuit.
        let mut ahead = AHEAD.take();
        let result = if let Store::Memory(text) = &file.store {
            let start = usize::try_from(run.offset).unwrap_or(usize::MAX);
            work(text.get(start..start.saturating_add(length)).unwrap_or_default(), &mut ahead.split);
            Ok(())
        } else {
            self.fill(&mut ahead, run, file).and_then(|start| {
                let bytes = ahead.bytes.get(start..start + length).unwrap_or_default();
                let text = std::str::from_utf8(bytes)
                    .map_err(|_| ReadError::new(format!("{}: the file changed while it was read.", file.name)))?;
                work(text, &mut ahead.split);
                Ok(())
            })
        };
        AHEAD.set(ahead);
        result
    }

    /// Has the bytes of a run in `ahead`; where they start in it.
    fn fill(&self, ahead: &mut ReadAhead, run: &ListRun, file: &TextFile) -> Result<usize, ReadError> {
        let length = run.length as usize;
        let is_same = ahead.lists == self.id && ahead.list == run.list;
        let end = ahead.from + ahead.bytes.len() as u64;
        if is_same && run.offset >= ahead.from && run.offset + length as u64 <= end {
            return Ok(usize::try_from(run.offset - ahead.from).unwrap_or(usize::MAX));
        }
        let follows = is_same && run.offset >= ahead.from && run.offset <= end;
        let rest = usize::try_from(file.length - run.offset).unwrap_or(usize::MAX);
        let wanted = if follows { length.max(AHEAD_BYTES).min(rest) } else { length };
        file.read(run.offset, wanted, &mut ahead.bytes)?;
        (ahead.lists, ahead.list, ahead.from) = (self.id, run.list, run.offset);
        Ok(0)
    }
}

/// A row of either kind of list.
enum AnyRow<'a> {
    Text(&'a TextRow<'a>),
    Sheet(&'a GridRow),
}

fn raw_row(list: &List, row: &impl Cells, number: u32) -> RawRow {
    let (first, width) = (list.layout.first, list.layout.width());
    let end = row.count().max(first + width);
    let mut cells: Vec<String> = (first..end).map(|index| row.cell(index).text.to_owned()).collect();
    while cells.len() > width && cells.last().is_some_and(|text| super::cell::is_blank(text)) {
        cells.pop();
    }
    RawRow { origin: Origin { source: list.source, row: number }, cells }
}
