//! Small tables: found in a text file or on a sheet, with what stands around them.

use std::collections::BTreeMap;

use crate::tables::column::Table;
use crate::tables::origin::{
    InputNote, NO_HEADER, NoteKind, Origin, STYLE_OF_FILE, Source, TITLE_LIKE_LINE, column_letter,
};
use crate::tables::policy::Policy;

use super::cell::{Cells, GridRow, SheetCell, clean, shortened};
use super::collector::SheetForm;
use super::delimited::delimiter_name;
use super::error::ReadError;
use super::header::{Layout, TOTAL};
use super::names::Names;
use super::note::{row_note, rows_in_words};
use super::number::{ColumnStyle, Evidence, Style};
use super::open_document::Merged;
use super::shown_unit::take_shown_units;
use super::text_file::{CIRCUIT_ROOM, Dialect, HEADER_ROWS, ROW_ROOM, TextFile, TextHead, grid};
use super::totals::mark;

/// A table's rows with their layout; title, units and total rows are left out.
#[derive(Clone, Debug)]
pub(crate) struct Grid {
    pub layout: Layout,
    pub rows: Vec<GridRow>,
}

/// What was made of one file or sheet: its source, its notes (whose source is still to be
/// numbered) and the table.
#[derive(Debug)]
pub(crate) struct Loaded<T> {
    pub source: Source,
    pub notes: Vec<InputNote>,
    pub body: Option<T>,
}

/// A source that says nothing yet but its place.
pub(crate) fn bare_source(file: &str, sheet: &str, table: Option<Table>) -> Source {
    Source {
        file: file.to_owned(),
        sheet: sheet.to_owned(),
        table,
        header: Vec::new(),
        unknown_headers: Vec::new(),
        sha256: String::new(),
        rows_read: 0,
        rows_set_aside: 0,
        rows_skipped: 0,
        remarks: Vec::new(),
        hidden: Vec::new(),
        is_left_out: false,
    }
}

const fn in_row(row: u32) -> Origin {
    Origin { source: 0, row }
}

/// Notes a row that is read and not checked.
pub(crate) fn skip<T>(loaded: &mut Loaded<T>, row: u32, shown: String, what: &str) {
    loaded.source.rows_read += 1;
    loaded.source.rows_skipped += 1;
    loaded.notes.push(row_note(NoteKind::Skipped, in_row(row), shown, format!("{what} It was read and not checked.")));
}

pub(crate) const TITLE: &str = "A title line above the header.";
pub(crate) const UNITS_ABOVE: &str = "A row of units above the header; the units were taken.";
pub(crate) const UNITS: &str = "A row of units under the header; the units were taken.";
pub(crate) const SEPARATOR: &str = "A line that names the separator.";

/// Notes the lines above a header; the last of them may be a row of units.
fn skip_titles<T>(
    loaded: &mut Loaded<T>,
    titles: &[GridRow],
    head: &GridRow,
    layout: &mut Layout,
    names: &Names,
    place: &str,
) {
    for (index, title) in titles.iter().enumerate() {
        let is_last = index + 1 == titles.len() && title.number + 1 == head.number;
        if is_last && layout.take_units_above(title, place, title.number) {
            skip(loaded, title.number, title.shown(), UNITS_ABOVE);
            continue;
        }
        // The names of columns right above those of the header are the same in another language.
        let is_header = !is_last && names.names_columns(title);
        skip(loaded, title.number, title.shown(), TITLE);
        if let Some(note) = loaded.notes.last_mut().filter(|_| is_header || layout.looks_like_line(title)) {
            note.kind = NoteKind::Suspected;
            TITLE_LIKE_LINE.clone_into(&mut note.message);
        }
    }
}

/// Marks the lines above headers that hold a part number of the component table: they are no titles.
pub(crate) fn doubt_titles(notes: &mut [InputNote], is_part: impl Fn(&str) -> bool) {
    for note in notes.iter_mut().filter(|note| note.message.starts_with(TITLE)) {
        if note.found.split(" | ").any(|text| is_part(&clean(text))) {
            note.kind = NoteKind::Suspected;
            TITLE_LIKE_LINE.clone_into(&mut note.message);
        }
    }
}

/// Notes what stands above the rows of a text table, and makes its layout.
pub(crate) fn take_head<T>(
    loaded: &mut Loaded<T>,
    head: &TextHead,
    names: &Names,
) -> Result<(Layout, usize, u32), ReadError> {
    let place = loaded.source.place();
    if head.dialect.rows_before > 0 {
        skip(loaded, 1, format!("sep={}", char::from(head.dialect.delimiter)), SEPARATOR);
    }
    let mut layout = names.layout(&head.header, &place, head.header.number).map_err(ReadError::new)?;
    skip_titles(loaded, &head.titles, &head.header, &mut layout, names, &place);
    loaded.source.header = layout.header_cells();
    loaded.source.unknown_headers = layout.unknown_headers(head.header.number);
    if head.dialect.delimiter != b',' {
        loaded.source.remarks.push(format!("Cells are separated by {}.", delimiter_name(head.dialect.delimiter)));
    }
    if let Some((below, next)) = &head.below
        && layout.take_units(below, &place, below.number).map_err(ReadError::new)?
    {
        skip(loaded, below.number, below.shown(), UNITS);
        return Ok((layout, *next, below.number));
    }
    Ok((layout, head.body, head.header.number))
}

/// Gives each column the style by which its unclear numbers are read.
pub(crate) fn set_styles(layout: &mut Layout, evidence: &[Evidence], point_is_doubtful: bool) {
    let mut of_file = Evidence::default();
    for column in evidence {
        of_file.join(*column);
    }
    for (column, own) in layout.columns.iter_mut().zip(evidence) {
        let style = if own.is_mixed() { None } else { own.style().or(of_file.style()) };
        let is_doubtful = own.is_mixed() || of_file.is_mixed() || point_is_doubtful;
        let has_blanks = of_file.has_blanks();
        column.numbers = ColumnStyle { style, point_is_doubtful: is_doubtful, has_blanks };
    }
}

/// Says of which columns numbers such as `9.000` are read as those of other columns are written.
pub(crate) fn note_styles_of_file<T>(loaded: &mut Loaded<T>, layout: &Layout, evidence: &[Evidence]) {
    for (slot, (column, own)) in layout.columns.iter().zip(evidence).enumerate() {
        let Some(style) = column.numbers.style.filter(|_| own.hangs_on_others()) else { continue };
        let (sign, means) = if style == Style::Point { ('.', "9.000 is 9") } else { (',', "9,000 is 9") };
        let name = column.known.or(column.spread).map_or("", |known| known.name);
        loaded.notes.push(InputNote {
            letter: layout.letter(slot),
            column: name.to_owned(),
            ..row_note(
                NoteKind::Suspected,
                in_row(layout.header_row),
                shortened(&column.text),
                format!(
                    "Numbers such as 9.000 or 9,000 stand under it and none that says what their sign means; other columns of the file have a '{sign}' before decimals, by which {means}. {STYLE_OF_FILE}"
                ),
            )
        });
    }
}

/// What the rows of a table tell of how they are to be read, stretch by stretch.
pub(crate) struct RowsSeen {
    rows: u64,
    /// The fewest cells of a row that is not too short.
    least: Option<usize>,
    evidence: Vec<Evidence>,
    /// Cells that hold something under each header that names no known column.
    unknown: Vec<u64>,
}

impl RowsSeen {
    /// None yet.
    pub(crate) fn of(layout: &Layout) -> Self {
        let evidence = vec![Evidence::default(); layout.width()];
        Self { rows: 0, least: None, evidence, unknown: vec![0; layout.unknown_slots().len()] }
    }

    /// Looks at more rows.
    pub(crate) fn add(&mut self, layout: &Layout, rows: &[GridRow]) {
        self.rows += rows.len() as u64;
        let whole = rows.iter().map(Cells::count).filter(|count| *count >= layout.end());
        self.least = self.least.into_iter().chain(whole).min();
        for (slot, (column, evidence)) in layout.columns.iter().zip(&mut self.evidence).enumerate() {
            if column.is_numeric() {
                for row in rows {
                    let cell = row.cell(layout.first + slot);
                    if cell.is == super::cell::Is::Text {
                        evidence.look_at(cell.text);
                    }
                }
            }
        }
        for (slot, cells) in layout.unknown_slots().into_iter().zip(&mut self.unknown) {
            *cells += rows.iter().filter(|row| !row.cell(layout.first + slot).is_blank()).count() as u64;
        }
    }

    /// The layout by which they are to be read.
    pub(crate) fn layout(&self, of: &Layout, point_is_doubtful: bool) -> Layout {
        let mut layout = of.clone();
        self.least.into_iter().for_each(|least| layout.let_all_have(least));
        set_styles(&mut layout, &self.evidence, point_is_doubtful);
        layout
    }

    /// Says which columns are read by the style of others.
    pub(crate) fn note_styles<T>(&self, loaded: &mut Loaded<T>, layout: &Layout) {
        note_styles_of_file(loaded, layout, &self.evidence);
    }

    /// Says how many there are, and what stands under headers that name no known column.
    pub(crate) fn note<T>(&self, loaded: &mut Loaded<T>, layout: &Layout) {
        loaded.source.rows_read += self.rows;
        // The rows of a list are counted where it is scanned.
        if layout.table != Table::Lists {
            note_unknown_headers(loaded, &self.unknown);
        }
    }
}

/// Leaves out the rows of a table that repeat its header, and those that `is_none` has a reason for.
///
/// # Errors
/// Where one says something else than the header.
pub(crate) fn set_headers_aside<T>(
    loaded: &mut Loaded<T>,
    layout: &Layout,
    rows: &mut Vec<GridRow>,
    is_none: impl Fn(&GridRow) -> Option<&'static str>,
) -> Result<(), ReadError> {
    let mut result = Ok(());
    rows.retain(|row| {
        let what = is_none(row).map_or_else(|| layout.head_again(row), |what| Ok(Some(what)));
        let what = what.unwrap_or_else(|clash| {
            let sentence = || ReadError::new(format!("{}, row {}: {clash}", loaded.source.place(), row.number));
            if result.is_ok() {
                result = Err(sentence());
            }
            None
        });
        if let Some(what) = what {
            skip(loaded, row.number, row.shown(), what);
        }
        what.is_none()
    });
    result
}

/// Drops what is no line at the end of a table.
fn drop_totals<T>(loaded: &mut Loaded<T>, layout: &Layout, rows: &mut Vec<GridRow>) {
    if let Some(mut sums) = rows.last().and_then(|last| layout.sums_of(last)) {
        rows.iter().rev().skip(1).for_each(|row| layout.add_to(&mut sums, row));
        if sums.agree() {
            drop_last(loaded, rows);
        }
    }
    while rows.last().is_some_and(|row| layout.is_total(row)) {
        drop_last(loaded, rows);
    }
}

fn drop_last<T>(loaded: &mut Loaded<T>, rows: &mut Vec<GridRow>) {
    if let Some(row) = rows.pop() {
        skip(loaded, row.number, row.shown(), TOTAL);
    }
}

fn held(row: &GridRow, index: usize) -> SheetCell {
    let cell = row.cell(index);
    SheetCell { text: cell.text.into(), is: cell.is }
}

/// Has a cell that is merged over rows in each of them; those that start in the header or above it
/// are none of the table's.
fn fill_merged<T>(loaded: &mut Loaded<T>, layout: &Layout, rows: &mut [GridRow], merged: &[Merged]) {
    /// Rows that were filled, and the first merged cell: its row and text.
    type Filled = (Vec<u32>, (u32, String));
    let mut filled: BTreeMap<usize, Filled> = BTreeMap::new();
    for cells in merged.iter().filter(|cells| (layout.first..layout.end()).contains(&(cells.column as usize))) {
        let column = cells.column as usize;
        let Ok(first) = rows.binary_search_by_key(&cells.rows.0, |row| row.number) else { continue };
        let Some(cell) = rows.get(first).map(|row| held(row, column)).filter(|cell| !cell.text.is_empty()) else {
            continue;
        };
        let (own, _) = filled.entry(column).or_insert_with(|| (Vec::new(), (cells.rows.0, shortened(&cell.text))));
        for row in rows.iter_mut().skip(first + 1).take_while(|row| row.number <= cells.rows.1) {
            if row.cell(column).is_blank() {
                row.put(column, cell.clone());
                own.push(row.number);
            }
        }
    }
    for (column, (mut rows, first)) in filled.into_iter().filter(|(_, (rows, _))| !rows.is_empty()) {
        rows.sort_unstable();
        let message =
            format!("Cells merged over rows; what the first row of each says was read in {}.", rows_in_words(&rows));
        note_filled(loaded, layout, column - layout.first, first, message);
    }
}

/// Has a blank cell say what the filled one above it says, in the columns that the policy names.
fn fill_down<T>(loaded: &mut Loaded<T>, layout: &Layout, rows: &mut [GridRow]) {
    for name in &layout.own.rules.fill_down {
        let Some(slot) = layout.slot(name) else { continue };
        let column = layout.first + slot;
        let (mut above, mut filled) = (None, Vec::new());
        for row in rows.iter_mut().filter(|row| layout.fits(*row)) {
            if !row.cell(column).is_blank() {
                above = Some(held(row, column));
            } else if let Some(cell) = &above {
                filled.push(row.number);
                row.put(column, cell.clone());
            }
        }
        if !filled.is_empty() {
            let message = format!(
                "Blank cells; what stands above was read in them, as [reading] fill_down says, in {}.",
                rows_in_words(&filled)
            );
            note_filled(loaded, layout, slot, (filled.first().copied().unwrap_or_default(), String::new()), message);
        }
    }
}

/// Notes cells of a column that got the content of another one, at the row and with the text given.
fn note_filled<T>(loaded: &mut Loaded<T>, layout: &Layout, slot: usize, (row, text): (u32, String), message: String) {
    let column = layout.columns.get(slot).and_then(|column| column.known).map_or("", |known| known.name);
    loaded.notes.push(InputNote {
        letter: layout.letter(slot),
        column: column.to_owned(),
        ..row_note(NoteKind::Repaired, in_row(row), text, message)
    });
}

/// The rows of a table below its header, ready to be read.
fn finish<T>(
    loaded: &mut Loaded<T>,
    mut layout: Layout,
    mut rows: Vec<GridRow>,
    form: &SheetForm,
    point_is_doubtful: bool,
) -> Result<Grid, ReadError> {
    /// Rows at the end among which totals are dropped whatever they say.
    const END: usize = 8;
    let is_list = layout.table == Table::Lists;
    let near_end = rows.iter().rev().nth(END).map_or(0, |row| row.number);
    let is_total = |row: &&GridRow| is_list && (layout.is_sum(*row) || row.number > near_end && layout.is_total(*row));
    let totals: Vec<GridRow> = rows.iter().filter(is_total).cloned().collect();
    drop_totals(loaded, &layout, &mut rows);
    set_headers_aside(loaded, &layout, &mut rows, |row| layout.is_sum(row).then_some(TOTAL))?;
    mark(&mut loaded.notes, &rows, &totals, &layout);
    let whole = rows.iter().map(Cells::count).filter(|count| *count >= layout.end());
    if let Some(least) = whole.min() {
        layout.let_all_have(least);
    }
    fill_merged(loaded, &layout, &mut rows, &form.merged);
    fill_down(loaded, &layout, &mut rows);
    let mut seen = RowsSeen::of(&layout);
    seen.add(&layout, &rows);
    seen.note(loaded, &layout);
    let layout = seen.layout(&layout, point_is_doubtful);
    seen.note_styles(loaded, &layout);
    loaded.notes.extend(take_shown_units(&layout, &mut rows, &form.formats));
    Ok(Grid { layout, rows })
}

/// A table that is a text file, before its rows are read.
pub(crate) struct TextTable {
    pub source: Source,
    pub notes: Vec<InputNote>,
    pub layout: Layout,
    pub dialect: Dialect,
    /// The row before the first of its own.
    pub last: u32,
}

impl TextTable {
    pub(crate) fn of(file: &TextFile, table: Table, policy: &Policy) -> Result<Self, ReadError> {
        let names = Names::new(table, policy);
        let source = bare_source(&file.name, "", Some(table));
        let mut loaded: Loaded<Grid> = Loaded { source, notes: Vec::new(), body: None };
        loaded.source.sha256.clone_from(&file.sha256);
        loaded.source.remarks.clone_from(&file.remarks);
        let head = TextHead::find(&file.name, &file.sample()?, &names)?;
        let (layout, _, last) = take_head(&mut loaded, &head, &names)?;
        Ok(Self { source: loaded.source, notes: loaded.notes, layout, dialect: head.dialect, last })
    }
}

/// A table that is a text file.
pub(crate) fn of_text(file: &TextFile, table: Table, policy: &Policy) -> Result<Loaded<Grid>, ReadError> {
    let TextTable { source, notes, layout, dialect, last } = TextTable::of(file, table, policy)?;
    let mut loaded = Loaded { source, notes, body: None };
    let row_room = if table == Table::Circuits { CIRCUIT_ROOM } else { ROW_ROOM };
    let mut rows = grid(file, dialect, &policy.bounds, row_room)?;
    rows.retain(|row| row.number > last);
    let grid = finish(&mut loaded, layout, rows, &SheetForm::default(), dialect.has_semicolons())?;
    loaded.body = Some(grid);
    Ok(loaded)
}

/// Whether a sheet has the header of a table, and in which of its rows.
pub(crate) fn header_on(rows: &[GridRow], names: &Names) -> Option<usize> {
    names.find(rows.get(..HEADER_ROWS.min(rows.len())).unwrap_or_default()).map(|(index, _)| index)
}

/// A table on a sheet whose header is in `rows[header]`.
pub(crate) fn of_sheet(
    source: Source,
    mut rows: Vec<GridRow>,
    form: &SheetForm,
    header: usize,
    names: &Names,
) -> Result<Loaded<Grid>, ReadError> {
    let body = rows.split_off((header + 1).min(rows.len()));
    let Some(head) = rows.pop() else { return Ok(Loaded { source, notes: Vec::new(), body: None }) };
    below_header(source, &rows, &head, body, form, Vec::new(), names)
}

/// The table that stands under a header; `sheet_columns` are its columns on the sheet where they don't
/// follow each other.
pub(crate) fn below_header(
    source: Source,
    titles: &[GridRow],
    head: &GridRow,
    mut body: Vec<GridRow>,
    form: &SheetForm,
    sheet_columns: Vec<u32>,
    names: &Names,
) -> Result<Loaded<Grid>, ReadError> {
    let mut loaded = Loaded { source, notes: Vec::new(), body: None };
    let place = loaded.source.place();
    let mut layout = names.layout(head, &place, head.number).map_err(ReadError::new)?;
    skip_titles(&mut loaded, titles, head, &mut layout, names, &place);
    layout.sheet_columns = sheet_columns;
    loaded.source.header = layout.header_cells();
    loaded.source.unknown_headers = layout.unknown_headers(head.number);
    if let Some(first) = body.first()
        && layout.take_units(first, &place, first.number).map_err(ReadError::new)?
    {
        skip(&mut loaded, first.number, first.shown(), UNITS);
        body.remove(0);
    }
    note_cells_beside(&mut loaded, &layout, &body);
    // A cell that a spreadsheet keeps as a text was typed in another style than the sheet's own numbers.
    let grid = finish(&mut loaded, layout, body, form, true)?;
    loaded.body = Some(grid);
    Ok(loaded)
}

/// Says which headers name no known column; `cells` are those under each that hold something.
pub(crate) fn note_unknown_headers<T>(loaded: &mut Loaded<T>, cells: &[u64]) {
    let Some(table) = loaded.source.table else { return };
    for (header, cells) in loaded.source.unknown_headers.iter_mut().zip(cells) {
        header.cells = *cells;
    }
    // A blank column is none.
    loaded.source.unknown_headers.retain(|header| header.text != NO_HEADER || header.cells > 0);
    for header in &loaded.source.unknown_headers {
        let cells = header.cells;
        if header.text == NO_HEADER {
            let counted =
                if cells == 1 { "1 cell under it was".to_owned() } else { format!("{cells} cells under it were") };
            loaded.notes.push(InputNote {
                letter: header.letter(),
                ..row_note(
                    NoteKind::Suspected,
                    in_row(header.row),
                    NO_HEADER.to_owned(),
                    format!("The header cell is blank. {counted} not checked; a header over them says what they are."),
                )
            });
            continue;
        }
        let (kind, near) = match (header.lacking, header.nearest) {
            (Some(column), _) => (
                NoteKind::Suspected,
                format!(
                    "The nearest is {column}, which is missing here; an alias in [columns] of the policy makes the header known."
                ),
            ),
            (None, Some(column)) => (NoteKind::Skipped, format!("The nearest is {column}, which stands here too.")),
            (None, None) => (
                NoteKind::Skipped,
                format!(
                    "None is near to it, the least far is {}; [columns.{table}] of the policy may name a column for it.",
                    header.least_far.unwrap_or_default()
                ),
            ),
        };
        let under = match cells {
            0 => "No cell under it holds anything.".to_owned(),
            1 => "1 cell under it was carried along and not checked.".to_owned(),
            more => format!("{more} cells under it were carried along and not checked."),
        };
        loaded.notes.push(InputNote {
            letter: header.letter(),
            ..row_note(
                kind,
                in_row(header.row),
                shortened(&header.text),
                format!("The header names no known column of {table}. {near} {under}"),
            )
        });
    }
}

/// Notes that cells stand left of a table, which are none of it: the first, and how many.
fn note_cells_beside<T>(loaded: &mut Loaded<T>, layout: &Layout, rows: &[GridRow]) {
    let mut beside = rows.iter().flat_map(|row| {
        let held = (0..layout.first.min(row.count())).filter(|index| !row.cell(*index).is_blank());
        held.map(move |index| (row, index))
    });
    let Some((row, index)) = beside.next() else { return };
    let letter_of = |index: usize| u32::try_from(index).map(column_letter).unwrap_or_default();
    let others = match beside.count() {
        0 => "It was".to_owned(),
        1 => "It and another cell there were".to_owned(),
        more => format!("It and {more} other cells there were"),
    };
    loaded.notes.push(InputNote {
        letter: letter_of(index),
        ..row_note(
            NoteKind::Skipped,
            in_row(row.number),
            shortened(row.cell(index).text),
            format!(
                "It stands left of the table, which starts in column {}. {others} read and not checked.",
                letter_of(layout.first)
            ),
        )
    });
}
