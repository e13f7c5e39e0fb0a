//! Small tables: found in a text file or on a sheet, with what stands around them.

use crate::tables::column::Table;
use crate::tables::origin::{InputNote, NoteKind, Origin, Source, column_letter};
use crate::tables::policy::Policy;

use super::cell::{Cells, GridRow, shortened};
use super::delimited::delimiter_name;
use super::error::ReadError;
use super::header::Layout;
use super::names::Names;
use super::note::row_note;
use super::number::{Evidence, Rule};
use super::text_file::{HEADER_ROWS, TextFile, TextHead, grid};

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
        sha256: String::new(),
        rows_read: 0,
        rows_set_aside: 0,
        rows_skipped: 0,
        remarks: Vec::new(),
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
pub(crate) const UNITS: &str = "A row of units under the header; the units were taken.";
pub(crate) const TOTAL: &str = "A row of totals at the end.";
pub(crate) const SEPARATOR: &str = "A line that names the separator.";

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
    for title in &head.titles {
        skip(loaded, title.number, title.shown(), TITLE);
    }
    let mut layout = names.layout(&head.header, &place, head.header.number).map_err(ReadError::new)?;
    loaded.source.header = layout.header_cells();
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

/// Gives each column the rule by which its unclear numbers are read.
pub(crate) fn set_rules(layout: &mut Layout, evidence: &[Evidence], has_semicolons: bool) {
    let mut of_file = Evidence::default();
    for column in evidence {
        of_file.join(*column);
    }
    for (column, own) in layout.columns.iter_mut().zip(evidence) {
        let style = if own.is_mixed() { None } else { own.style().or(of_file.style()) };
        column.rule = Rule { style, point_is_doubtful: own.is_mixed() || of_file.is_mixed() || has_semicolons };
    }
}

fn evidence_of(layout: &Layout, rows: &[GridRow]) -> Vec<Evidence> {
    let mut evidence = vec![Evidence::default(); layout.width()];
    for (slot, (column, evidence)) in layout.columns.iter().zip(&mut evidence).enumerate() {
        if column.is_numeric() {
            for row in rows {
                let cell = row.cell(layout.first + slot);
                if cell.is == super::cell::Is::Text {
                    evidence.look_at(cell.text);
                }
            }
        }
    }
    evidence
}

/// Drops what is no line at the end of a table.
fn drop_totals<T>(loaded: &mut Loaded<T>, layout: &Layout, rows: &mut Vec<GridRow>) {
    let mut is_last = true;
    while let Some(row) = rows.pop_if(|row| layout.is_total(row, is_last)) {
        is_last = false;
        skip(loaded, row.number, row.shown(), TOTAL);
    }
}

/// The rows of a table below its header, ready to be read.
fn finish<T>(loaded: &mut Loaded<T>, mut layout: Layout, mut rows: Vec<GridRow>, has_semicolons: bool) -> Grid {
    drop_totals(loaded, &layout, &mut rows);
    loaded.source.rows_read += rows.len() as u64;
    let evidence = evidence_of(&layout, &rows);
    set_rules(&mut layout, &evidence, has_semicolons);
    Grid { layout, rows }
}

/// A table that is a text file.
pub(crate) fn of_text(file: &TextFile, table: Table, policy: &Policy) -> Result<Loaded<Grid>, ReadError> {
    let names = Names::new(table, policy);
    let mut loaded = Loaded { source: bare_source(&file.name, "", Some(table)), notes: Vec::new(), body: None };
    loaded.source.sha256.clone_from(&file.sha256);
    loaded.source.remarks.clone_from(&file.remarks);
    let head = TextHead::find(&file.name, file.text(), &names)?;
    let (layout, _, last) = take_head(&mut loaded, &head, &names)?;
    let mut rows = grid(&file.name, file.text(), head.dialect, &policy.bounds)?;
    rows.retain(|row| row.number > last);
    let grid = finish(&mut loaded, layout, rows, head.dialect.delimiter == b';');
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
    header: usize,
    names: &Names,
) -> Result<Loaded<Grid>, ReadError> {
    let mut loaded = Loaded { source, notes: Vec::new(), body: None };
    let place = loaded.source.place();
    let mut body = rows.split_off((header + 1).min(rows.len()));
    let Some(head) = rows.pop() else { return Ok(loaded) };
    for title in &rows {
        skip(&mut loaded, title.number, title.shown(), TITLE);
    }
    let mut layout = names.layout(&head, &place, head.number).map_err(ReadError::new)?;
    loaded.source.header = layout.header_cells();
    if let Some(first) = body.first()
        && layout.take_units(first, &place, first.number).map_err(ReadError::new)?
    {
        skip(&mut loaded, first.number, first.shown(), UNITS);
        body.remove(0);
    }
    note_cells_beside(&mut loaded, &layout, &body);
    let grid = finish(&mut loaded, layout, body, false);
    loaded.body = Some(grid);
    Ok(loaded)
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
