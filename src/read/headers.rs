//! What the files of a folder seem to hold, whatever they are called: which sheet is which table,
//! which header which column, which words and units need an entry in the policy. Nothing is taken
//! that could be two things: it is said with what it may be.

mod across;
mod proposal;
mod seen;
mod sheet_rows;
pub(crate) mod trade_words;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use chrono::NaiveDate;

use crate::tables::column::{Column, Holds, Table};
use crate::tables::origin::{column_letter, place_in_words};
use crate::tables::policy::{Policy, WORD_SETS};
use crate::tables::words::{PLACE, folded};

use super::cell::{Cells, GridRow, Is, SheetCell, clean, trimmed};
use super::delimited::DELIMITERS;
use super::error::ReadError;
use super::folder::{Entry, Role, TEXT_ENDINGS, assigned, entries, files_in, is_table};
use super::header::dimension_of;
use super::header_text::fold;
use super::load::read_policy;
use super::names::{Names, is_own_output};
use super::number::Numeral;
use super::open_document::Merged;
use super::parquet_file::{PARQUET_ENDING, read_parquet};
use super::plant_words::PlantWords;
use super::sheet::read_workbook;
use super::text_file::{Dialect, HEADER_ROWS, ROW_ROOM, Room, TextFile, grid, separator_line, whole_file};

use sheet_rows::{Found, MOST_ARE_PARTS, Rows, columns_of, share_of_kinds, share_of_parts, sums_below};

pub use proposal::Proposal;
pub use seen::{SeenHeader, SeenSheet};

/// What a folder seems to hold, and what its policy should say.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    pub sheets: Vec<SeenSheet>,
    pub proposal: Proposal,
}

/// Looks at every file of a folder.
///
/// # Errors
/// Where the folder or its policy can't be read. A file that can't be read is said in the proposal.
pub fn look(plant: &Path, today: NaiveDate) -> Result<Seen, ReadError> {
    let named = entries(plant)?;
    let own = named.iter().find(|entry| entry.role == Role::Policy);
    let policy = match own {
        Some(entry) => read_policy(&entry.name, &entry.path, today)?.0,
        None => Policy::at(today),
    };
    // A plant that is not complete yet has what its names say.
    let mut files = assigned(plant, named.clone(), &policy).unwrap_or(named);
    let others: Vec<Entry> =
        files.iter().filter(|entry| matches!(entry.role, Role::PassedOver { .. })).cloned().collect();
    for folder in others {
        // Its files are lists only where their headers say so.
        let own = files_in(&folder)?
            .into_iter()
            .map(|entry| Entry { role: Role::PassedOver { why: String::new(), may_belong: false }, ..entry });
        files.extend(own);
    }
    let mut proposal = Proposal::default();
    let mut all = Vec::new();
    for entry in files.iter().filter(|entry| is_table(&entry.ending()) && entry.role != Role::Policy) {
        match rows_of(entry, &policy) {
            // What the program wrote is no table of a plant.
            Ok(rows) => all.extend(rows.into_iter().filter(|rows| !rows.rows.first().is_some_and(is_own_output))),
            Err(error) => proposal.open.extend(error.sentences),
        }
    }
    let by_name: Vec<Found> = all.iter().filter_map(|rows| table_of(rows, &policy, &BTreeSet::new())).collect();
    let parts = part_numbers(&by_name, &policy);
    let mut found: Vec<Found> = all.iter().filter_map(|rows| table_of(rows, &policy, &parts)).collect();
    found.sort_by_key(|found| found.table != Some(Table::Components));
    let keys = across::keys(&found, &policy);
    let mut sheets = Vec::new();
    for found in &found {
        sheets.push(seen(found, &parts, &policy, &mut proposal));
    }
    for (sheet, found) in sheets.iter().zip(&found) {
        // A workbook whose tables are all lists is named as a whole.
        let of_file = || sheets.iter().filter(|other| other.file == sheet.file);
        let is_all_lists = of_file().all(|other| other.table == Some(Table::Lists));
        let needs_sheet = found.rows.has_others && !is_all_lists;
        proposal.name_file(sheet, found.rows.role, needs_sheet, found.rows.has_others);
    }
    proposal.name_folders(&files.iter().map(|entry| entry.name.as_str()).collect::<Vec<_>>());
    let is_found = |rows: &&Rows| found.iter().any(|found| std::ptr::eq(found.rows, *rows));
    // What the policy names a matrix needs no proposal.
    for rows in all.iter().filter(|rows| !is_found(rows) && !rows.is_matrix) {
        match across::look(rows, &parts, &keys, &policy, &mut proposal) {
            Some(sheet) => sheets.push(sheet),
            None => proposal.open.extend(unrecognised(rows)),
        }
    }
    Ok(Seen { sheets, proposal })
}

/// A sheet that holds something, and no header by which it could be told.
fn unrecognised(rows: &Rows) -> Option<String> {
    let first = rows.rows.first()?;
    let texts: Vec<&str> = (0..first.count()).map(|cell| trimmed(first.cell(cell).text)).collect();
    let texts: Vec<&str> = texts.into_iter().filter(|text| !text.is_empty()).take(5).collect();
    Some(format!(
        "{}: no table is recognised; row {} holds {}. [columns] of the policy takes other names of columns.",
        place_in_words(&rows.file, &rows.sheet),
        first.number,
        texts.join(", ")
    ))
}

fn rows_of(entry: &Entry, policy: &Policy) -> Result<Vec<Rows>, ReadError> {
    let role = if let Role::Table(table) = entry.role { Some(table) } else { None };
    let is_matrix = entry.role == Role::Matrix;
    let ending = entry.ending();
    let sheets: Vec<(String, Vec<GridRow>)> = if TEXT_ENDINGS.contains(&ending.as_str()) {
        let file = TextFile::open(&entry.name, &entry.path, &policy.bounds, &Room::default(), true)?;
        let dialects = separator_line(&file.sample()?).map_or_else(
            || DELIMITERS.map(|delimiter| Dialect { delimiter, first: 0, rows_before: 0 }).to_vec(),
            |named| vec![named],
        );
        let read = |dialect: Dialect| grid(&file, dialect, &policy.bounds, ROW_ROOM).unwrap_or_default();
        let widest = |rows: &Vec<GridRow>| best_header(rows, policy, &BTreeSet::new()).map_or(0, |(_, score, _)| score);
        let best = dialects.into_iter().map(read).max_by_key(widest).unwrap_or_default();
        vec![(String::new(), best)]
    } else {
        let bytes = whole_file(&entry.name, &entry.path, policy.bounds.workbook_mib, "workbook_mib")?;
        let sheets = if ending == PARQUET_ENDING {
            read_parquet(&entry.name, &bytes, &policy.bounds)?
        } else {
            read_workbook(&entry.name, &ending, bytes, &policy.bounds)?
        };
        sheets.into_iter().map(|sheet| (sheet.name, with_merged(sheet.rows, &sheet.form.merged))).collect()
    };
    let has_others = sheets.len() > 1;
    let rows = sheets.into_iter().map(|(sheet, rows)| Rows {
        file: entry.name.clone(),
        sheet,
        rows,
        role,
        is_matrix,
        has_others,
    });
    Ok(rows.collect())
}

/// Rows in which a cell that is merged over some stands in each.
fn with_merged(mut rows: Vec<GridRow>, merged: &[Merged]) -> Vec<GridRow> {
    for cells in merged {
        let column = cells.column as usize;
        let Ok(first) = rows.binary_search_by_key(&cells.rows.0, |row| row.number) else { continue };
        let Some(row) = rows.get(first) else { continue };
        let cell = SheetCell { text: row.cell(column).text.into(), is: row.cell(column).is };
        for row in rows.iter_mut().skip(first + 1).take_while(|row| row.number <= cells.rows.1) {
            if row.cell(column).is_blank() {
                row.put(column, cell.clone());
            }
        }
    }
    rows
}

/// The row that looks most like a header of some table: its index, how many columns it names at
/// best, and the tables that it names as many of.
fn best_header(rows: &[GridRow], policy: &Policy, parts: &BTreeSet<String>) -> Option<(usize, usize, Vec<Table>)> {
    let mut best: Option<(usize, usize, Vec<Table>)> = None;
    let names: Vec<(Table, Names)> = Table::ALL.iter().map(|table| (*table, Names::new(*table, policy))).collect();
    for (index, row) in rows.iter().take(HEADER_ROWS).enumerate() {
        let mut scores: Vec<(usize, Table)> = Vec::new();
        for (table, names) in &names {
            let mut columns = BTreeSet::new();
            for cell in (0..row.count()).map(|cell| row.cell(cell)).filter(|cell| !cell.is_blank()) {
                columns.extend(columns_of(cell.text, *table, names).0.first().map(|column| column.name));
            }
            // Cells that are part numbers are the column, whatever stands over them.
            let by_cells = matches!(table, Table::Lists | Table::Orders) && !columns.contains("part_no");
            if by_cells && (0..row.count()).any(|cell| share_of_parts(rows, index, cell, parts) >= MOST_ARE_PARTS) {
                columns.insert("part_no");
            }
            let by_kinds = *table == Table::Components && !columns.contains("kind");
            // A column of another name may speak of kinds, as descriptions do.
            let is_open = |cell: &usize| columns_of(row.cell(*cell).text, *table, names).0.is_empty();
            let mut open = (0..row.count()).filter(is_open);
            if by_kinds && open.any(|cell| share_of_kinds(rows, index, cell) >= MOST_ARE_PARTS) {
                columns.insert("kind");
            }
            let required = table.columns().iter().filter(|column| column.required);
            let lacks = required.filter(|column| !columns.contains(column.name)).count();
            if columns.len() >= 2 && lacks == 0 {
                scores.push((columns.len(), *table));
            }
        }
        let most = scores.iter().map(|(score, _)| *score).max().unwrap_or_default();
        if most > best.as_ref().map_or(0, |(_, score, _)| *score) {
            let tables = scores.iter().filter(|(score, _)| *score == most).map(|(_, table)| *table).collect();
            best = Some((index, most, tables));
        }
    }
    best
}

/// The table that a sheet seems to be: the one most of whose columns it has, among equals the one
/// that its file or sheet is named after.
fn table_of<'a>(rows: &'a Rows, policy: &Policy, parts: &BTreeSet<String>) -> Option<Found<'a>> {
    if rows.is_matrix {
        return None;
    }
    let (header, _, mut tables) = best_header(&rows.rows, policy, parts)?;
    let stem = rows.file.rsplit('/').next().unwrap_or_default();
    let names = [fold(stem), fold(&rows.sheet)];
    let is_named = |table: &Table| {
        let words = trade_words::TABLES.iter().find(|(other, _)| other == table).map_or(&[][..], |(_, words)| words);
        let mut words = words.iter().map(|word| folded(word)).chain([folded(&table.to_string())]);
        words.any(|word| names.iter().any(|name| name.contains(&word)))
    };
    let in_lists = rows.file.starts_with("lists/");
    if let Some(role) = rows.role.filter(|role| in_lists || tables.contains(role)) {
        tables = vec![role];
    }
    if tables.len() > 1 {
        let named: Vec<Table> = tables.iter().copied().filter(is_named).collect();
        if named.len() == 1 {
            tables = named;
        }
    }
    let table = if let [only] = tables.as_slice() { Some(*only) } else { None };
    let candidates = if table.is_some() { Vec::new() } else { tables };
    Some(Found { rows, table, candidates, header })
}

/// The cells below the header in one column.
fn below<'a>(found: &'a Found, index: usize) -> impl Iterator<Item = super::cell::CellRef<'a>> {
    found.rows.rows.iter().skip(found.header + 1).map(move |row| row.cell(index)).filter(|cell| !cell.is_blank())
}

/// The part numbers of the component tables.
fn part_numbers(found: &[Found], policy: &Policy) -> BTreeSet<String> {
    let mut parts = BTreeSet::new();
    for found in found.iter().filter(|found| found.table == Some(Table::Components)) {
        let names = Names::new(Table::Components, policy);
        let Some(row) = found.rows.rows.get(found.header) else { continue };
        let is_part = |index: &usize| {
            let (columns, _) = columns_of(row.cell(*index).text, Table::Components, &names);
            matches!(columns.as_slice(), [only] if only.name == "part_no")
        };
        for index in (0..row.count()).filter(is_part) {
            parts.extend(below(found, index).map(|cell| clean(cell.text).into_owned()));
        }
    }
    parts
}

/// Matches the headers of a sheet, and adds to the proposal what the policy lacks for them.
fn seen(found: &Found, parts: &BTreeSet<String>, policy: &Policy, proposal: &mut Proposal) -> SeenSheet {
    let rows = found.rows;
    let mut sheet = SeenSheet {
        file: rows.file.clone(),
        sheet: rows.sheet.clone(),
        table: found.table,
        candidates: found.candidates.clone(),
        is_matrix: false,
        row: 0,
        headers: Vec::new(),
    };
    let (Some(table), Some(row)) = (found.table, rows.rows.get(found.header)) else { return sheet };
    sheet.row = row.number;
    let names = Names::new(table, policy);
    let own = PlantWords::of(policy);
    let held = |index: usize| !row.cell(index).is_blank();
    // Cells that are part numbers say more than a name.
    let share_of_parts = |index: usize| share_of_parts(&rows.rows, found.header, index, parts);
    let by_content: Option<usize> = if matches!(table, Table::Lists | Table::Orders) {
        let shares = (0..row.count()).filter(|index| held(*index)).map(|index| (index, share_of_parts(index)));
        shares
            .filter(|(_, share)| *share >= MOST_ARE_PARTS)
            .max_by(|one, other| one.1.total_cmp(&other.1))
            .map(|(index, _)| index)
    } else {
        None
    };
    let names_kind =
        |index: usize| columns_of(row.cell(index).text, table, &names).0.iter().any(|own| own.name == "kind");
    let by_kinds = if table == Table::Components && !(0..row.count()).any(names_kind) {
        let all = (0..row.count())
            .filter(|index| held(*index) && columns_of(row.cell(*index).text, table, &names).1 != "name");
        let shares = all.map(|index| (index, share_of_kinds(&rows.rows, found.header, index)));
        let most = shares.filter(|(_, share)| *share >= MOST_ARE_PARTS);
        most.max_by(|one, other| one.1.total_cmp(&other.1)).map(|(index, _)| index)
    } else {
        None
    };
    for index in (0..row.count()).filter(|index| held(*index)) {
        let text = trimmed(row.cell(index).text);
        let (mut columns, mut by) = columns_of(text, table, &names);
        if by_kinds == Some(index) {
            (columns, by) = (table.column("kind").into_iter().collect(), "its cells");
        }
        if by_content == Some(index) && by != "name" {
            (columns, by) = (table.column("part_no").into_iter().collect(), "its cells");
        } else if by_content.is_some() && by != "name" {
            columns.retain(|column| column.name != "part_no");
        }
        let column = if let [only] = columns.as_slice() { Some(only.name) } else { None };
        sheet.headers.push(SeenHeader {
            letter: u32::try_from(index).map(column_letter).unwrap_or_default(),
            text: text.to_owned(),
            column,
            by: if column.is_some() { by } else { "" },
            candidates: if column.is_some() { Vec::new() } else { columns.iter().map(|column| column.name).collect() },
            cells: below(found, index).count(),
        });
    }
    part_the_ambiguous(&mut sheet);
    let place = sheet.place();
    for header in &sheet.headers {
        proposal.add_header(table, &place, header);
    }
    let indices = (0..row.count()).filter(|index| held(*index));
    for (index, header) in indices.zip(&sheet.headers) {
        let Some(column) = header.column.and_then(|name| table.column(name)) else { continue };
        cells_of_column(found, index, column, &own, &place, proposal);
    }
    rows_of_sums(found, &sheet, &own, proposal);
    fill_down(found, &sheet, policy, proposal);
    sheet
}

/// Headers that would be the same column are none for certain, but one that has its very name.
fn part_the_ambiguous(sheet: &mut SeenSheet) {
    let mut of_column: BTreeMap<&'static str, Vec<usize>> = BTreeMap::new();
    for (index, header) in sheet.headers.iter().enumerate() {
        if let Some(column) = header.column {
            of_column.entry(column).or_default().push(index);
        }
    }
    for (column, indices) in of_column.into_iter().filter(|(_, indices)| indices.len() > 1) {
        let named = indices.iter().any(|index| sheet.headers.get(*index).is_some_and(|header| header.by == "name"));
        for index in indices {
            let Some(header) = sheet.headers.get_mut(index) else { continue };
            if header.by != "name" {
                header.column = None;
                header.by = "";
                header.candidates = if named { Vec::new() } else { vec![column] };
            }
        }
    }
}

/// What the cells of a matched column need: words, units, the order of dates.
fn cells_of_column(
    found: &Found,
    index: usize,
    column: &Column,
    own: &PlantWords,
    place: &str,
    proposal: &mut Proposal,
) {
    let mut unknown: BTreeMap<String, usize> = BTreeMap::new();
    match column.holds {
        Holds::Word(set) => {
            let Some((name, _)) = WORD_SETS.iter().find(|(_, words)| *words == set) else { return };
            let is_known =
                |text: &str| set.iter().any(|word| folded(word) == folded(text)) || own.word(text, set).is_some();
            for cell in below(found, index) {
                let text = clean(cell.text);
                if !is_known(&text) && !own.says_total(&text) {
                    *unknown.entry(text.into_owned()).or_default() += 1;
                }
            }
            for (word, count) in unknown {
                let stands = |(set, _, words): &&(&str, &str, &[&str])| {
                    set == name && words.iter().any(|other| folded(other) == folded(&word))
                };
                let meant: Vec<&str> = trade_words::VALUES.iter().filter(stands).map(|(_, word, _)| *word).collect();
                proposal.add_word(name, set, &word, &meant, count, place, column.name);
            }
        }
        Holds::Date => {
            for cell in below(found, index).filter(|cell| cell.is == Is::Text) {
                proposal.add_date(cell.text);
            }
        }
        _ => {
            let dimension = dimension_of(column);
            if dimension.is_none() && column.name != "qty" {
                return;
            }
            for cell in below(found, index).filter(|cell| cell.is == Is::Text) {
                let rest = Numeral::scan(cell.text).map_or("", |numeral| numeral.rest);
                let is_known = match dimension {
                    Some(dimension) => own.unit(rest, dimension).is_some() || rest.contains(['"', '\'', '/', '½', '¼']),
                    None => own.counts_pieces(rest),
                };
                if !rest.is_empty() && !is_known {
                    *unknown.entry(clean(rest).into_owned()).or_default() += 1;
                }
            }
            for (unit, count) in unknown {
                let stands =
                    |(_, words): &&(&str, &[&str])| words.iter().any(|other| other.eq_ignore_ascii_case(&unit));
                let meant = trade_words::UNITS.iter().find(stands).map(|(unit, _)| *unit);
                let fits = meant.is_some_and(|unit| (unit == "each") == dimension.is_none());
                proposal.add_unit(&unit, meant.filter(|_| fits), count, place, column.name);
            }
        }
    }
}

/// Words of rows that hold sums: in place of the part number stands nothing, or such a word.
fn rows_of_sums(found: &Found, sheet: &SeenSheet, own: &PlantWords, proposal: &mut Proposal) {
    let part = sheet.headers.iter().position(|header| header.column == Some("part_no"));
    let Some(row) = found.rows.rows.get(found.header) else { return };
    let Some(part) = part.and_then(|at| (0..row.count()).filter(|index| !row.cell(*index).is_blank()).nth(at)) else {
        return;
    };
    sums_below(&found.rows.rows, found.header, part, own, proposal);
}

/// Columns of the place whose first row is filled and others are blank.
fn fill_down(found: &Found, sheet: &SeenSheet, policy: &Policy, proposal: &mut Proposal) {
    let Some(header) = found.rows.rows.get(found.header) else { return };
    let indices: Vec<usize> = (0..header.count()).filter(|index| !header.cell(*index).is_blank()).collect();
    let index_of = |name: &str| {
        let at = sheet.headers.iter().position(|header| header.column == Some(name))?;
        indices.get(at).copied()
    };
    let Some(part) = index_of("part_no") else { return };
    for name in PLACE {
        let Some(index) = index_of(name).filter(|_| !policy.reading.fill_down.iter().any(|own| own == name)) else {
            continue;
        };
        let mut lines = found.rows.rows.iter().skip(found.header + 1).filter(|row| !row.cell(part).is_blank());
        let starts = lines.next().is_some_and(|first| !first.cell(index).is_blank());
        if starts && lines.any(|row| row.cell(index).is_blank()) {
            proposal.fill_down.insert(name);
        }
    }
}
