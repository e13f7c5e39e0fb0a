//! The store of list lines, made for lists of any length: the first pass groups rows into runs
//! of one circuit, the second reads a circuit's lines again when they are asked for.

mod headings;
mod joined;
pub(crate) mod keys;
pub(crate) mod line;
pub(crate) mod matrix;
pub(crate) mod runs;
pub(crate) mod scan;
mod sums;
pub(crate) mod table;

use std::cell::RefCell;
use std::sync::{Arc, OnceLock};

use rayon::prelude::*;

use crate::tables::circuit::CircuitKey;
use crate::tables::line::Line;
use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId, TOTAL_THAT_IS_NONE};
use crate::tables::packed::{Packed, push_step};
use crate::tables::packed_rows::{PackedRow, PackedRows};
use crate::tables::place_names::{PlaceNames, RankedKey};
use crate::tables::policy::Bounds;

use super::as_given::{CellText, GivenRow, GivenTable, given_row};
use super::cell::{Cells, is_blank_row};
use super::delimited::{RowSplit, each_row};
use super::edited::{EditedCells, EditedRow};
use super::error::{Problems, ReadError};
use super::header::{HEADING, Layout, TOTAL};
use super::note::row_note;
use super::part_number::PartIndex;
use super::repeats::Repeats;
use super::table::{Loaded, note_styles_of_file, note_unknown_headers, set_styles};
use super::text_file::{Store, TextFile};
use line::{LineSlots, read_line};
use runs::ScannedList;
use scan::{ListRun, ListScan, Stop};
use table::{Body, ListTable};

/// A circuit that a list names.
#[derive(Clone, Debug)]
pub struct ListedCircuit {
    pub key: CircuitKey,
    /// Rows of the lists that hold something for it.
    pub rows: u64,
}

/// A circuit's lines, in the order of the files, with what is worth knowing of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Parsed {
    pub lines: Vec<Line>,
    pub notes: Vec<InputNote>,
}

/// One list.
#[derive(Debug)]
struct List {
    source: SourceId,
    layout: Layout,
    slots: LineSlots,
    body: Body,
    /// Of the bytes that the first pass read.
    sha256: String,
    /// Rows whose circuit can't be told: origin and place.
    strays: Vec<(Origin, ListRun)>,
    /// Cells that are taken to hold another text.
    edited: EditedCells,
    /// The whole text, once it is asked for, of a list whose circuits come back again and again: each of their runs
    /// would be a reading of its own.
    whole: Whole,
}

/// The bytes of a list that is read as a whole.
#[derive(Debug, Default)]
enum Whole {
    #[default]
    No,
    Asked(OnceLock<Option<Vec<u8>>>),
}

impl Whole {
    /// The bytes, read where they are asked for first; nothing where that fails, which the single readings then tell.
    fn bytes(&self, file: &TextFile) -> Option<&[u8]> {
        let Self::Asked(bytes) = self else { return None };
        let read = || {
            let mut bytes = Vec::new();
            file.read(0, usize::try_from(file.length).ok()?, &mut bytes).ok().map(|()| bytes)
        };
        bytes.get_or_init(read).as_deref()
    }
}

/// All lists of a plant. Circuits can be read from many threads at once.
#[derive(Debug)]
pub struct Lists {
    id: u64,
    all: Vec<List>,
    /// In the order of the keys.
    runs: PackedRows<ListRun>,
    /// Of the circuits table too.
    names: Arc<PlaceNames>,
    /// The circuits that lists name, in order.
    circuits: PackedRows<ListedRuns>,
    parts: PartIndex,
    repeats: Repeats,
    /// Whether they are those of one part of a run, and the plant has others.
    pub are_a_share: bool,
}

/// A circuit that a list names.
#[derive(Clone, Copy, Debug, Default)]
struct ListedRuns {
    key: RankedKey,
    /// The first of its runs.
    run: u32,
}

impl PackedRow for ListedRuns {
    fn pack(self, before: Self, bytes: &mut Vec<u8>) {
        self.key.pack(before.key, bytes);
        push_step(bytes, before.run.into(), self.run.into());
    }

    #[inline]
    fn unpack(before: Self, packed: &mut Packed) -> Self {
        Self { key: RankedKey::unpack(before.key, packed), run: packed.small_step(before.run) }
    }
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
    let delimiter = if let Body::Text { delimiter, .. } = &list.body { *delimiter } else { b',' };
    let scan = |layout: &Layout| {
        let of = ScannedList::new(&place, layout, &list.stem, delimiter, bounds, compare);
        match &list.body {
            Body::Sheet(rows) => scan::scan_sheet(rows, &of),
            Body::Text { file, from, row, .. } => scan::scan_text(file, *from, *row, &of),
        }
    };
    let header_cells = std::mem::replace(&mut list.layout.most_cells, usize::MAX);
    let mut found = scan(&list.layout);
    if let Ok(first) = &found {
        list.layout.most_cells = header_cells;
        list.layout.let_all_have(first.cells.0);
        // Some rows end with more blank cells than others: seldom, and worth a second look.
        if first.cells.1 > list.layout.most_cells {
            found = scan(&list.layout);
        }
    }
    let mut scan = found.map_err(|stop| match stop {
        Stop::Refused(error) => error,
        Stop::NotUtf8 => ReadError::new(NOT_UTF8),
    })?;
    // A sheet's own numbers are no evidence; its text cells were looked at before.
    if matches!(list.body, Body::Text { .. }) {
        set_styles(&mut list.layout, &scan.evidence, delimiter == b';');
    }
    let totals = scan.no_lines.iter().filter(|no_line| no_line.why == TOTAL).map(|no_line| no_line.row);
    let totals = totals.chain(scan.totals.iter().map(|(row, _)| *row)).collect();
    let of_nothing = sums::of_nothing(&list.body, &list.layout, totals)?;
    let is_text = matches!(list.body, Body::Text { .. });
    let hangs_on_others = is_text && scan.evidence.iter().any(|own| own.hangs_on_others());
    if let Some(layout) = hangs_on_others.then(|| list.layout.clone()) {
        note_styles_of_file(&mut loaded, &layout, &scan.evidence);
    }
    loaded.source.rows_read += scan.held;
    scan.unknown.resize(loaded.source.unknown_headers.len(), 0);
    note_unknown_headers(&mut loaded, &scan.unknown);
    if !scan.sha256.is_empty() {
        loaded.source.sha256 = std::mem::take(&mut scan.sha256);
    }
    let skipped = |row: u32, text: String, why: &str| {
        let origin = Origin { source: 0, row };
        if of_nothing.contains(&row) {
            return row_note(NoteKind::Suspected, origin, text, TOTAL_THAT_IS_NONE);
        }
        row_note(NoteKind::Skipped, origin, text, format!("{why} It was read and not checked."))
    };
    // Whether a heading is one is known where the part numbers are.
    for no_line in scan.no_lines.extract_if(.., |no_line| no_line.why != HEADING) {
        loaded.source.rows_skipped += 1;
        loaded.notes.push(skipped(no_line.row, no_line.shown.into_string(), no_line.why));
    }
    for (row, text) in std::mem::take(&mut scan.totals) {
        loaded.source.rows_skipped += 1;
        loaded.notes.push(skipped(row, text, TOTAL));
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
    /// Whether a list has a column.
    #[must_use]
    pub fn have_column(&self, name: &str) -> bool {
        self.all.iter().any(|list| list.layout.has(name))
    }

    /// The circuits that lists name, in key order.
    #[must_use]
    pub fn circuits(&self) -> impl ExactSizeIterator<Item = ListedCircuit> {
        (0..self.circuits.len()).map(|index| self.circuit(index))
    }

    pub(crate) fn circuit(&self, index: usize) -> ListedCircuit {
        let key = self.key(index).map(|key| self.names.key(key)).unwrap_or_default();
        ListedCircuit { key, rows: self.rows_of(index) }
    }

    /// The keys of the circuits, by the ranks of their names.
    pub fn keys(&self) -> impl Iterator<Item = RankedKey> {
        self.circuits.iter().map(|circuit| circuit.key)
    }

    /// The key of a circuit.
    #[must_use]
    pub fn key(&self, index: usize) -> Option<RankedKey> {
        self.circuits.get(index).map(|circuit| circuit.key)
    }

    /// How many circuits stand before a place in key order.
    #[must_use]
    pub fn count_before(&self, is_before: impl Fn(RankedKey) -> bool) -> usize {
        self.circuits.find(|circuit| is_before(circuit.key)).map_or(self.circuits.len(), |(index, _)| index)
    }

    /// The names of all circuits, those of the circuits table too.
    #[must_use]
    pub fn names(&self) -> &PlaceNames {
        &self.names
    }

    /// Rows of the lists that hold something for a circuit.
    #[must_use]
    pub fn rows_of(&self, index: usize) -> u64 {
        self.runs_of(index).map(|run| u64::from(run.rows)).sum()
    }

    /// The index of a circuit, where a list names it.
    #[must_use]
    pub fn find(&self, key: &CircuitKey) -> Option<usize> {
        let key = self.names.find(key)?;
        self.circuits.find(|circuit| circuit.key < key).filter(|(_, found)| found.key == key).map(|(index, _)| index)
    }

    /// The circuits of the first and of the last row, files in their order.
    #[must_use]
    pub fn outermost(&self) -> Option<(usize, usize)> {
        let runs = || (0..self.circuits.len()).flat_map(|index| self.runs_of(index).map(move |run| (run, index)));
        let place = |(run, _): &(ListRun, usize)| (run.list, run.offset);
        let first = runs().min_by_key(place)?;
        runs().max_by_key(place).map(|last| (first.1, last.1))
    }

    /// The sources that name a circuit, in their order.
    #[must_use]
    pub fn sources_of(&self, index: usize) -> Vec<SourceId> {
        let mut lists: Vec<u32> = self.runs_of(index).map(|run| run.list).collect();
        lists.dedup();
        lists.into_iter().filter_map(|list| self.all.get(list as usize)).map(|list| list.source).collect()
    }

    /// Reads the lines of a circuit.
    ///
    /// # Errors
    /// Where the file has changed or gone since it was opened.
    pub fn lines(&self, index: usize) -> Result<Parsed, ReadError> {
        let runs: Vec<ListRun> = self.runs_of(index).collect();
        let rows = runs.iter().map(|run| run.rows as usize).sum();
        let mut reader = LineReader { of: self, parsed: Parsed { lines: Vec::with_capacity(rows), notes: Vec::new() } };
        self.visit(runs, &mut reader)?;
        Ok(reader.parsed)
    }

    /// Whether every list still is what was read from it, to be asked after the last reading.
    ///
    /// # Errors
    /// All lists that have changed since they were opened.
    pub fn unchanged(&self) -> Result<(), ReadError> {
        let check = |list: &List| match &list.body {
            Body::Text { file, .. } => file.unchanged(&list.sha256),
            Body::Sheet(_) => Ok(()),
        };
        let results: Vec<Result<(), ReadError>> = self.all.par_iter().map(check).collect();
        let mut problems = Problems::default();
        for result in results {
            problems.take(result);
        }
        problems.finish()
    }

    /// Reads the rows of a circuit as given.
    ///
    /// # Errors
    /// Where the file has changed or gone since it was opened.
    pub fn rows(&self, index: usize) -> Result<Vec<GivenRow>, ReadError> {
        let mut rows = GivenRows { text: CellText::AsItStands, rows: Vec::new() };
        self.visit(self.runs_of(index), &mut rows)?;
        Ok(rows.rows)
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
        let mut lists: Vec<u32> = self.runs_of(index).map(|run| run.list).collect();
        lists.sort_unstable();
        lists.dedup();
        let strays = lists.iter().filter_map(|list| self.all.get(*list as usize)).flat_map(|list| &list.strays);
        strays.map(|(origin, _)| *origin).collect()
    }

    /// Stray rows of all lists as given.
    ///
    /// # Errors
    /// Where a file has changed or gone since it was opened.
    pub fn stray_rows_as_given(&self) -> Result<Vec<GivenRow>, ReadError> {
        let mut rows = GivenRows { text: CellText::AsItStands, rows: Vec::new() };
        self.visit(self.all.iter().flat_map(|list| &list.strays).map(|(_, run)| *run), &mut rows)?;
        Ok(rows.rows)
    }

    /// The list of a source, all its rows in their order, those whose circuit can't be told included;
    /// `None` where the source is no list.
    ///
    /// # Errors
    /// Where the file has changed or gone since it was opened.
    pub fn given(&self, source: SourceId, file: &str, sheet: &str) -> Result<Option<GivenTable>, ReadError> {
        let Some((index, list)) = (0_u32..).zip(&self.all).find(|(_, list)| list.source == source) else {
            return Ok(None);
        };
        let mut table = GivenTable::of(file, sheet, &list.layout);
        let mut rows = GivenRows { text: CellText::ClearByItself, rows: Vec::new() };
        let strays = list.strays.iter().map(|(_, run)| *run);
        self.visit(self.runs.iter().filter(|run| run.list == index).chain(strays), &mut rows)?;
        table.rows = rows.rows;
        table.rows.sort_by_key(|row| row.origin);
        Ok(Some(table))
    }

    fn runs_of(&self, index: usize) -> impl Iterator<Item = ListRun> {
        let mut circuits = self.circuits.rows_from(index).map(|circuit| circuit.run as usize);
        let start = circuits.next().unwrap_or(self.runs.len());
        let end = circuits.next().unwrap_or(self.runs.len());
        self.runs.rows_from(start).take(end - start)
    }

    /// Shows a visitor every row of some runs that holds something.
    fn visit(&self, runs: impl IntoIterator<Item = ListRun>, visitor: &mut impl RowVisitor) -> Result<(), ReadError> {
        runs.into_iter().try_for_each(|run| self.visit_run(&run, visitor))
    }

    fn visit_run(&self, run: &ListRun, visitor: &mut impl RowVisitor) -> Result<(), ReadError> {
        let Some(list) = self.all.get(run.list as usize) else { return Ok(()) };
        let origin = |row: u32| Origin { source: list.source, row };
        match &list.body {
            Body::Sheet(rows) => {
                let start = usize::try_from(run.offset).unwrap_or(usize::MAX);
                for row in rows.get(start..start.saturating_add(run.length as usize)).unwrap_or_default() {
                    visitor.row(list, row, origin(row.number));
                }
                Ok(())
            }
            Body::Text { file, delimiter, .. } => self.with_text(run, list, file, |text, split| {
                let mut number = run.first_row;
                // A quote that does not end was refused in the first pass.
                let _ = each_row::<()>(text, split, *delimiter, list.slots.head, |row, _, _| {
                    if row.repeats_head || !is_blank_row(row) {
                        visitor.row(list, row, origin(number));
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
        list: &List,
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
        } else if let Some(bytes) = list.whole.bytes(file) {
            let start = usize::try_from(run.offset).unwrap_or(usize::MAX);
            as_read(bytes.get(start..start.saturating_add(length)), file).map(|text| work(text, &mut ahead.split))
        } else {
            self.fill(&mut ahead, run, file).and_then(|start| {
                let text = as_read(ahead.bytes.get(start..start + length), file)?;
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

/// Bytes of a list as the text that the first pass found there.
fn as_read<'a>(bytes: Option<&'a [u8]>, file: &TextFile) -> Result<&'a str, ReadError> {
    let text = std::str::from_utf8(bytes.unwrap_or_default());
    text.map_err(|_| ReadError::new(format!("{}: the file changed while it was read.", file.name)))
}

/// What is done with each row of a list, be it of a text or of a sheet.
trait RowVisitor {
    fn row(&mut self, list: &List, row: &impl Cells, origin: Origin);
}

/// Makes lines of rows.
struct LineReader<'a> {
    of: &'a Lists,
    parsed: Parsed,
}

impl RowVisitor for LineReader<'_> {
    fn row(&mut self, list: &List, row: &impl Cells, origin: Origin) {
        // A line is large: it is made where it stays.
        let blank = Line { origin, repeats: self.of.repeats.of(origin), ..Line::of_part(0) };
        let line = self.parsed.lines.push_mut(blank);
        let (layout, slots, notes) = (&list.layout, &list.slots, &mut self.parsed.notes);
        match list.edited.of_row(origin.row) {
            None => read_line(line, layout, slots, row, &self.of.parts, notes),
            Some(cells) => {
                let row = EditedRow { row, first: layout.first, cells };
                read_line(line, layout, slots, &row, &self.of.parts, notes);
            }
        }
    }
}

/// Keeps rows as given.
struct GivenRows {
    text: CellText,
    rows: Vec<GivenRow>,
}

impl RowVisitor for GivenRows {
    fn row(&mut self, list: &List, row: &impl Cells, origin: Origin) {
        self.rows.push(given_row(&list.layout, row, origin, self.text));
    }
}
