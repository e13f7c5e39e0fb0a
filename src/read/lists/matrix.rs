//! Quantities by part and circuit: part numbers down, circuits across. Each circuit's column becomes a
//! list of its own, so that a finding names the very cell.

use std::cmp::Ordering;
use std::collections::BTreeSet;
use std::sync::Arc;

use crate::tables::column::Table;
use crate::tables::origin::{InputNote, NoteKind, Origin, Source, column_letter};
use crate::tables::policy::{Matrix, Policy};

use crate::read::cell::{CellRef, Cells, GridRow, Is, SheetCell, clean, shortened, trimmed};
use crate::read::collector::SheetForm;
use crate::read::column_sums::ColumnSums;
use crate::read::delimited::DELIMITERS;
use crate::read::error::{Problems, ReadError};
use crate::read::header::{TOTAL, holds_number, is_sum_row};
use crate::read::names::Names;
use crate::read::note::row_note;
use crate::read::number::{ColumnStyle, Numeral};
use crate::read::open_document::Merged;
use crate::read::place_form::PlaceForm;
use crate::read::plant_words::PlantWords;
use crate::read::quantity::pieces;
use crate::read::table::{Grid, Loaded, below_header, skip};
use crate::read::text_file::{Dialect, ROW_ROOM, TextFile, grid, separator_line};

use super::table::{ListTable, of_rows};

/// A circuit's column.
struct Across {
    column: usize,
    place: Vec<(&'static str, String)>,
}

/// What the header of a matrix says.
struct Head {
    /// Columns besides those of circuits, with the texts of their headers.
    kept: Vec<(usize, String)>,
    /// The column of the part numbers.
    part: usize,
    circuits: Vec<Across>,
    notes: Vec<InputNote>,
}

fn letter(column: usize) -> String {
    u32::try_from(column).map(column_letter).unwrap_or_default()
}

/// The lists of a matrix in a text file.
pub(crate) fn of_text(
    file: &TextFile,
    source: &Source,
    matrix: &Matrix,
    stem: &str,
    policy: &Policy,
) -> Result<Vec<Loaded<ListTable>>, ReadError> {
    let dialects = separator_line(&file.sample()?).map_or_else(
        || DELIMITERS.map(|delimiter| Dialect { delimiter, first: 0, rows_before: 0 }).to_vec(),
        |named| vec![named],
    );
    let width =
        |rows: &Vec<GridRow>| rows.iter().find(|row| Some(&row.number) == matrix.rows.last()).map_or(0, Cells::count);
    let grids = dialects.into_iter().map(|dialect| grid(file, dialect, &policy.bounds, ROW_ROOM));
    let grids: Vec<Vec<GridRow>> = grids.collect::<Result<_, _>>()?;
    let rows = grids.into_iter().max_by_key(width).unwrap_or_default();
    let cells = width(&rows);
    let body = rows.iter().filter(|row| Some(&row.number) > matrix.rows.last());
    if let Some(row) = body.into_iter().find(|row| row.count() != cells || row.has_stray_text()) {
        return Err(ReadError::new(format!(
            "{}, row {}: it has {} cells where the header has {cells}, so that its quantities may stand under other circuits.",
            file.name,
            row.number,
            row.count()
        )));
    }
    let as_sheet = |row: &GridRow| {
        let mut own = GridRow::on_sheet(row.number);
        (0..row.count()).for_each(|index| own.put(index, held(row, index)));
        own
    };
    on_sheet(source, rows.iter().map(as_sheet).collect(), &SheetForm::default(), matrix, stem, policy)
}

/// The lists of a matrix on a sheet.
pub(crate) fn on_sheet(
    source: &Source,
    mut rows: Vec<GridRow>,
    form: &SheetForm,
    matrix: &Matrix,
    stem: &str,
    policy: &Policy,
) -> Result<Vec<Loaded<ListTable>>, ReadError> {
    let names = Names::new(Table::Lists, policy);
    let place = source.place();
    let last = matrix.rows.last().copied().unwrap_or_default();
    let from = rows.iter().position(|row| row.number > last).unwrap_or(rows.len());
    let mut body = rows.split_off(from);
    let own = PlantWords::of(policy);
    let head = head(&rows, &body, matrix, &names, &own, &place)?;
    let sums = take_sums(&mut body, head.part, &own);
    rows.retain(|row| !matrix.rows.contains(&row.number));
    let titles = rows;
    let mut lists = Vec::new();
    let mut used = BTreeSet::new();
    for (index, across) in head.circuits.iter().enumerate() {
        let mut source = source.clone();
        source.remarks.push(format!("Column {} of a matrix: {}.", letter(across.column), in_words(&across.place)));
        let columns: Vec<usize> = head.kept.iter().map(|(column, _)| *column).chain([across.column]).collect();
        let header = header_row(last, &head, across);
        let compact = body.iter().map(|row| compact_row(row, &columns, across)).collect();
        // A part number stands in each row; what no quantity stands beside is left out below.
        let merged = form.merged.iter().filter_map(|cells| moved(*cells, &columns, last)).collect();
        let form = SheetForm { merged, formats: Arc::clone(&form.formats) };
        let places = std::iter::repeat_n(across.column, across.place.len());
        let on_sheet = columns.iter().copied().chain(places).map(|column| u32::try_from(column).unwrap_or(u32::MAX));
        let titles = if index == 0 { titles.as_slice() } else { &[] };
        let mut loaded = below_header(source, titles, &header, compact, &form, on_sheet.collect(), &names)?;
        let letter = letter(across.column);
        if index == 0 {
            loaded.notes.extend(head.notes.iter().cloned());
            sums.iter().for_each(|row| skip(&mut loaded, row.number, row.shown(), TOTAL));
        } else {
            // What is worth knowing of the other columns was said with the first circuit.
            loaded.notes.retain(|note| note.letter == letter);
            loaded.source.rows_skipped = 0;
            loaded.source.unknown_headers.clear();
        }
        let slot = columns.len() - 1;
        note_none(&mut loaded, slot, &letter);
        if let Some(grid) = &mut loaded.body {
            grid.rows.retain(|row| !says_none(row, slot));
            used.extend(grid.rows.iter().map(|row| row.number));
        }
        lists.push(of_rows(loaded, stem));
    }
    if let Some(list) = lists.first_mut() {
        note_unused(list, &body, &used, head.part);
    }
    Ok(lists)
}

/// Takes out the rows that are sums, and a last one whose numbers alone are those of its columns.
fn take_sums(body: &mut Vec<GridRow>, part: usize, own: &PlantWords) -> Vec<GridRow> {
    let mut sums: Vec<GridRow> = body.extract_if(.., |row| is_sum_row(row, part, own)).collect();
    let Some((last, above)) = body.split_last() else { return sums };
    let holds_numbers =
        (0..last.count()).map(|index| last.cell(index)).all(|cell| cell.is_blank() || holds_number(cell));
    let cells = (0..last.count()).map(|index| (index, ColumnStyle::default()));
    let of_columns = if last.cell(part).is_blank() && holds_numbers { ColumnSums::of(last, cells) } else { None };
    if let Some(mut of_columns) = of_columns {
        above.iter().for_each(|row| of_columns.add(row));
        if of_columns.agree() {
            sums.extend(body.pop());
        }
    }
    sums
}

fn in_words(place: &[(&'static str, String)]) -> String {
    place.iter().map(|(name, text)| format!("{name} {text}")).collect::<Vec<_>>().join(", ")
}

fn held(row: &GridRow, index: usize) -> SheetCell {
    let cell = row.cell(index);
    SheetCell { text: cell.text.into(), is: cell.is }
}

/// Reads the rows that name the circuits.
fn head(
    rows: &[GridRow],
    body: &[GridRow],
    matrix: &Matrix,
    names: &Names,
    own: &PlantWords,
    place: &str,
) -> Result<Head, ReadError> {
    let forms: Vec<PlaceForm> = matrix.places.iter().filter_map(|form| PlaceForm::of(form).ok()).collect();
    let row_of = |number: u32| rows.iter().find(|row| row.number == number);
    let heads: Vec<Option<&GridRow>> = matrix.rows.iter().map(|number| row_of(*number)).collect();
    let last = matrix.rows.last().copied().unwrap_or_default();
    let Some(Some(header)) = heads.last().copied() else {
        return Err(ReadError::new(format!(
            "{place}: [files.matrix] row of the policy names row {last}, which holds nothing."
        )));
    };
    let mut found = Head { kept: Vec::new(), part: 0, circuits: Vec::new(), notes: Vec::new() };
    let mut problems = Problems::default();
    // In the rows above the header a blank cell says what the filled one left of it says.
    let mut above: Vec<(String, Option<usize>)> = vec![(String::new(), None); heads.len()];
    // A circuit whose header is blank may stand right of all headers.
    let width = heads.iter().flatten().copied().chain(body).map(Cells::count).max().unwrap_or_default();
    let mut filled: Vec<String> = Vec::new();
    for column in 0..width {
        let texts: Vec<&str> = heads.iter().map(|row| row.map_or("", |row| trimmed(row.cell(column).text))).collect();
        for (text, above) in texts.iter().zip(&mut above) {
            if !text.is_empty() {
                *above = (clean(text).into_owned(), Some(column));
            }
        }
        let text = trimmed(header.cell(column).text);
        let is_known = |text: &&&str| names.read(text).0.is_some();
        if let Some(known) = texts.iter().rev().find(is_known) {
            let known = names.read(known).0.map(|column| column.name);
            if known == Some("qty") {
                found.notes.push(skipped(
                    last,
                    column,
                    text,
                    "Quantities of a matrix stand under its circuits. The column was read and not checked.",
                ));
            } else {
                let known = texts.iter().rev().find(is_known).copied().unwrap_or_default();
                found.kept.push((column, known.to_owned()));
            }
            // What stands left of the circuits is no circuit's.
            above.iter_mut().for_each(|above| *above = (String::new(), None));
            continue;
        }
        let named = if text.is_empty() { texts.iter().rev().find(|text| !text.is_empty()) } else { Some(&text) };
        if let Some(text) = named.filter(|text| own.says_total(text)) {
            found.notes.push(skipped(last, column, text, "A column of totals. It was read and not checked."));
            continue;
        }
        let quantities = quantities(body, column, own);
        let lowest = heads.len() - 1;
        if text.is_empty() {
            if quantities != Quantities::Few {
                problems.add(lost(place, column, last, text, matrix));
            }
            continue;
        }
        let parts: Option<Vec<_>> = forms
            .iter()
            .zip(&above)
            .enumerate()
            .map(|(row, (form, (above, _)))| form.parts(if row == lowest { text } else { above }))
            .collect();
        match parts {
            Some(parts) if quantities != Quantities::Few || forms.iter().any(|form| form.names.len() > 1) => {
                let taken = above.iter().take(lowest).any(|(_, from)| from.is_some_and(|from| from != column));
                if taken {
                    filled.push(letter(column));
                }
                let own = Across { column, place: parts.concat() };
                if let Some(other) = found.circuits.iter().find(|other| other.place == own.place) {
                    problems.add(format!(
                        "{place}: {} stands over two columns, {} and {}.",
                        in_words(&own.place),
                        letter(other.column),
                        letter(column)
                    ));
                }
                found.circuits.push(own);
            }
            _ if quantities == Quantities::Most => problems.add(lost(place, column, last, text, matrix)),
            _ => found.kept.push((column, text.to_owned())),
        }
    }
    match found.kept.iter().find(|(_, text)| names.read(text).0.is_some_and(|own| own.name == "part_no")) {
        Some((column, _)) => found.part = *column,
        None => problems
            .add(format!("{place}: the required column part_no is missing in row {last}, the header of a matrix.")),
    }
    if found.circuits.is_empty() {
        problems.add(format!(
            "{place}: no cell of row {last} names a circuit as [files.matrix] place = \"{}\" of the policy says.",
            matrix.places.join("\", \"")
        ));
    }
    problems.finish()?;
    found.notes.extend(note_filled(&filled, matrix));
    Ok(found)
}

/// Says that a circuit would be lost: quantities under a header that names none.
fn lost(place: &str, column: usize, row: u32, header: &str, matrix: &Matrix) -> String {
    let (letter, form) = (letter(column), matrix.places.join("\", \""));
    if header.is_empty() {
        return format!(
            "{place}, cell {letter}{row}: it is blank, and whole numbers stand under it: a circuit would be lost. Name the circuit there as [files.matrix] place = \"{form}\" of the policy says, or give the column a header and a column in [columns.lists]."
        );
    }
    format!(
        "{place}, cell {letter}{row} ('{}'): whole numbers stand under it, and it names no circuit as [files.matrix] place = \"{form}\" of the policy says; correct it, or give it a column in [columns.lists].",
        shortened(header)
    )
}

/// Says which columns took a part of their place from the left.
fn note_filled(filled: &[String], matrix: &Matrix) -> Option<InputNote> {
    let columns = match filled {
        [] => return None,
        [only] => format!("in column {only}"),
        [first, .., last] => format!("in {} columns from {first} to {last}", filled.len()),
    };
    let message = format!("Blank cells above the header took what stands left of them, {columns}.");
    let row = matrix.rows.first().copied().unwrap_or_default();
    Some(row_note(NoteKind::Repaired, Origin { source: 0, row }, String::new(), message))
}

fn skipped(row: u32, column: usize, text: &str, message: &str) -> InputNote {
    let note = row_note(NoteKind::Skipped, Origin { source: 0, row }, shortened(text), message);
    InputNote { letter: letter(column), ..note }
}

/// How many of a column's cells are quantities.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Quantities {
    /// Fewer than half, or none.
    Few,
    /// Half of them.
    Half,
    /// More than half: one that can't be read makes no other column of it.
    Most,
}

/// How many of a column's cells are whole numbers from 0 on, with or without a word that counts pieces, or say that
/// none is there.
fn quantities(body: &[GridRow], column: usize, own: &PlantWords) -> Quantities {
    let cells: Vec<_> = body.iter().map(|row| row.cell(column)).filter(|cell| !cell.is_blank()).collect();
    let is_count = |cell: CellRef| {
        let pieces = pieces(cell, ColumnStyle::default(), own);
        pieces.is_ok_and(|number| number.is_some_and(|number| number >= 0.0 && number.fract() == 0.0))
    };
    let is_quantity = |cell: &&CellRef| {
        matches!(cell.is, Is::Number(_) | Is::Shown(..) | Is::Text) && (is_none(cell.text) || is_count(**cell))
    };
    match (cells.iter().filter(is_quantity).count() * 2).cmp(&cells.len()) {
        _ if cells.is_empty() => Quantities::Few,
        Ordering::Less => Quantities::Few,
        Ordering::Equal => Quantities::Half,
        Ordering::Greater => Quantities::Most,
    }
}

/// Signs that say that none is there.
fn is_none(text: &str) -> bool {
    matches!(trimmed(text), "" | "-" | "–" | "—" | "0")
}

fn says_none(row: &GridRow, slot: usize) -> bool {
    let text = row.cell(slot).text;
    is_none(text) || Numeral::scan(text).is_some_and(|numeral| numeral.rest.is_empty()) && text.parse() == Ok(0.0_f64)
}

/// The header of one circuit's list: the columns besides the circuits, quantity and place.
fn header_row(number: u32, head: &Head, across: &Across) -> GridRow {
    let mut header = GridRow::on_sheet(number);
    let places = across.place.iter().map(|(name, _)| *name);
    for (slot, text) in head.kept.iter().map(|(_, text)| text.as_str()).chain(["qty"]).chain(places).enumerate() {
        header.put(slot, SheetCell { text: text.into(), is: Is::Text });
    }
    header
}

/// A row as one circuit's list has it.
fn compact_row(row: &GridRow, columns: &[usize], across: &Across) -> GridRow {
    let mut own = GridRow::on_sheet(row.number);
    for (slot, column) in columns.iter().enumerate() {
        own.put(slot, held(row, *column));
    }
    if columns.iter().any(|column| !row.cell(*column).is_blank()) {
        for (slot, (_, text)) in across.place.iter().enumerate() {
            own.put(columns.len() + slot, SheetCell { text: text.as_str().into(), is: Is::Text });
        }
    }
    own
}

/// Merged cells below the header where a circuit's list has them.
fn moved(cells: Merged, columns: &[usize], header: u32) -> Option<Merged> {
    let slot = columns.iter().position(|column| *column == cells.column as usize)?;
    (cells.rows.0 > header).then_some(Merged { column: u32::try_from(slot).ok()?, ..cells })
}

/// Says which cells under a circuit say that none is there.
fn note_none(loaded: &mut Loaded<Grid>, slot: usize, letter: &str) {
    let Some(grid) = &loaded.body else { return };
    let mut none = grid.rows.iter().filter(|row| !row.cell(slot).is_blank() && says_none(row, slot));
    let Some(first) = none.next() else { return };
    let more = match none.count() {
        0 => String::new(),
        1 => " So was 1 more cell of the column.".to_owned(),
        more => format!(" So were {more} more cells of the column."),
    };
    let origin = Origin { source: 0, row: first.number };
    let message = format!("It says that none is there; it was read as blank.{more}");
    let note = row_note(NoteKind::Repaired, origin, shortened(first.cell(slot).text), message);
    loaded.notes.push(InputNote { letter: letter.to_owned(), ..note });
}

/// Says which rows hold a part number and no quantity under any circuit.
fn note_unused(list: &mut Loaded<ListTable>, body: &[GridRow], used: &BTreeSet<u32>, part: usize) {
    let mut unused = body.iter().filter(|row| !row.cell(part).is_blank() && !used.contains(&row.number));
    let Some(first) = unused.next() else { return };
    let more = match unused.count() {
        0 => String::new(),
        1 => " So does 1 more row.".to_owned(),
        more => format!(" So do {more} more rows."),
    };
    let origin = Origin { source: 0, row: first.number };
    let message = format!("It has no quantity under any circuit; it was read and not checked.{more}");
    list.notes.push(row_note(NoteKind::Skipped, origin, first.shown(), message));
}
