//! Tables as given, cell by cell, so that a copy of a plant can be written with some of them
//! changed.

use std::collections::BTreeMap;
use std::path::Path;

use crate::physics::unit::{Dimension, Unit, UnitSystem, UnitUse};
use crate::tables::column::Table;
use crate::tables::origin::Origin;
use crate::tables::policy::{Bounds, Policy};
use crate::tables::words::PLACE;

use super::cell::{CellRef, Cells, GridRow, Is, is_blank};
use super::delimited::{RowSplit, row_end};
use super::error::ReadError;
use super::header::{Layout, LayoutColumn, dimension_of};
use super::number::{ColumnStyle, Numeral};
use super::number_format::NumberFormat;
use super::plant_words::PlantWords;
use super::sheet::read_workbook;
use super::text_file::{TextFile, whole_file};

/// A column with what a reader needs to read it again by itself.
#[derive(Clone, Debug, PartialEq)]
pub struct GivenColumn {
    /// The header's text, its unit in brackets where the column is of a quantity.
    pub text: String,
    pub name: Option<&'static str>,
    /// Zero-based column on the sheet.
    pub index: u32,
    pub unit: Option<&'static Unit>,
}

impl GivenColumn {
    /// Whether it names a place.
    #[must_use]
    pub fn is_place(&self) -> bool {
        self.name.is_some_and(|name| PLACE.contains(&name))
    }
}

/// A row below the header.
#[derive(Clone, Debug, PartialEq)]
pub struct GivenRow {
    pub origin: Origin,
    /// As many as there are columns, unless the file itself has more or fewer.
    pub cells: Vec<String>,
}

/// How the text of a cell is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum CellText {
    /// To be shown beside its file; a row that is too short is filled up.
    AsItStands,
    /// To be read again by itself: a number that only its sheet or column made clear is written
    /// clearly, and a row that is too short stays so.
    ClearByItself,
}

/// A table of one file or sheet; title, units and total rows are left out.
#[derive(Clone, Debug, PartialEq)]
pub struct GivenTable {
    pub file: String,
    pub sheet: String,
    pub table: Table,
    pub columns: Vec<GivenColumn>,
    pub rows: Vec<GivenRow>,
    /// The row of the header, as a spreadsheet shows it.
    pub header_row: u32,
}

impl GivenTable {
    pub(crate) fn of(file: &str, sheet: &str, layout: &Layout) -> Self {
        let column = |(slot, column)| GivenColumn { index: layout.sheet_column(slot), ..given_column(column) };
        Self {
            file: file.to_owned(),
            sheet: sheet.to_owned(),
            table: layout.table,
            columns: layout.columns.iter().enumerate().map(column).collect(),
            rows: Vec::new(),
            header_row: layout.header_row,
        }
    }

    /// Whether it is one circuit's part of a matrix: its place stands over the column of its quantities.
    #[must_use]
    pub fn is_matrix(&self) -> bool {
        let index_of = |name: &str| self.columns.iter().find(|own| own.name == Some(name)).map(|own| own.index);
        let qty = index_of("qty");
        qty.is_some() && PLACE.iter().any(|name| index_of(name) == qty)
    }

    /// The place of a known column, which is added where the table lacks it.
    pub fn place_of(&mut self, name: &'static str, units: UnitSystem) -> usize {
        if let Some(place) = self.columns.iter().position(|column| column.name == Some(name)) {
            return place;
        }
        let dimension = self.table.column(name).and_then(dimension_of);
        let unit = dimension.map(|dimension| Unit::default_for(dimension, units, UnitUse::Usual));
        let text = unit.map_or_else(|| name.to_owned(), |unit| format!("{name} [{}]", unit.symbol));
        let width = self.columns.len();
        let index = self.columns.iter().map(|column| column.index + 1).max().unwrap_or_default();
        self.columns.push(GivenColumn { text, name: Some(name), index, unit });
        // A row of another width keeps its fault: what stands beyond the header stays beyond it.
        for row in self.rows.iter_mut().filter(|row| row.cells.len() >= width) {
            row.cells.insert(width, String::new());
        }
        width
    }
}

fn given_column(column: &LayoutColumn) -> GivenColumn {
    let name = column.known.map(|known| known.name);
    let names_unit = || {
        let inner = column.text.strip_suffix([']', ')']).and_then(|text| text.rsplit_once(['[', '(']));
        inner.and_then(|(_, unit)| Unit::find(unit)).is_some()
    };
    let text = match column.unit {
        Some(unit) if !names_unit() => format!("{} [{}]", column.text, unit.symbol),
        _ => column.text.clone(),
    };
    GivenColumn { text, name, index: 0, unit: column.unit }
}

pub(crate) fn given_row(layout: &Layout, row: &impl Cells, origin: Origin, text: CellText) -> GivenRow {
    let (first, width) = (layout.first, layout.width());
    let stays_short = row.is_text() && text == CellText::ClearByItself;
    let end = if stays_short { row.count() } else { row.count().max(first + width) };
    let cell = |index: usize| match text {
        CellText::AsItStands => row.cell(index).text.to_owned(),
        CellText::ClearByItself => cleared(layout.columns.get(index - first), row.cell(index)),
    };
    let mut cells: Vec<String> = (first..end).map(cell).collect();
    while cells.len() > width && cells.last().is_some_and(|text| is_blank(text)) {
        cells.pop();
    }
    GivenRow { origin, cells }
}

/// A cell's text; a number that only its sheet or column made clear is written clearly.
fn cleared(column: Option<&LayoutColumn>, cell: CellRef) -> String {
    let numbers = match (cell.is, column.filter(|column| column.is_numeric())) {
        (Is::Number(_) | Is::Shown(..), Some(_)) => {
            ColumnStyle { style: Some(super::number::Style::Point), ..ColumnStyle::default() }
        }
        (_, Some(column)) => column.numbers,
        _ => return cell.text.to_owned(),
    };
    Numeral::scan(cell.text).and_then(|numeral| numeral.cleared(numbers)).unwrap_or_else(|| cell.text.to_owned())
}

/// The unit that a cell's text names behind its number, and what it is called there.
#[must_use]
pub fn unit_in<'a>(text: &'a str, dimension: Dimension, policy: &Policy) -> Option<(&'static Unit, &'a str)> {
    let name = Numeral::scan(text)?.rest;
    PlantWords::of(policy).unit(name, dimension).map(|unit| (unit, name))
}

/// What a cell of a sheet holds.
#[derive(Clone, Debug, PartialEq)]
pub enum GivenCell {
    Text(String),
    Number(f64),
    /// A number, and the code of a format that shows a text beside it as its own does.
    Shown(f64, String),
    Date(chrono::NaiveDate),
}

/// A sheet's cells: row from 1, column from 0 on.
#[derive(Clone, Debug, PartialEq)]
pub struct GivenSheet {
    pub name: String,
    pub cells: Vec<(u32, u32, GivenCell)>,
}

impl GivenSheet {
    /// The last row that holds something.
    #[must_use]
    pub fn last_row(&self) -> u32 {
        self.cells.iter().map(|(row, ..)| *row).max().unwrap_or_default()
    }
}

/// Every sheet of a workbook with its cells; one that is merged over rows stands in each.
///
/// # Errors
/// Where the file can't be read any more.
pub fn sheets_as_given(name: &str, path: &Path, bounds: &Bounds) -> Result<Vec<GivenSheet>, ReadError> {
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default();
    let bytes = whole_file(name, path, bounds.workbook_mib, "workbook_mib")?;
    let sheets = read_workbook(name, &ending, bytes, bounds)?;
    let number = |formats: &[NumberFormat], number: f64, format: u32| {
        let beside = formats.get(format as usize).and_then(|format| format.beside(number));
        beside.map_or(GivenCell::Number(number), |(_, beside)| GivenCell::Shown(number, beside.code()))
    };
    let cells = |row: &GridRow, formats: &[NumberFormat]| -> Vec<(u32, u32, GivenCell)> {
        let held = (0..row.count()).filter(|index| !row.cell(*index).text.is_empty());
        let cell = |index: usize| {
            let cell = row.cell(index);
            let content = match cell.is {
                Is::Number(value) => GivenCell::Number(value),
                Is::Shown(value, format) => number(formats, value, format),
                Is::Date(date) => GivenCell::Date(date),
                _ => GivenCell::Text(cell.text.to_owned()),
            };
            (row.number, u32::try_from(index).unwrap_or(u32::MAX), content)
        };
        held.map(cell).collect()
    };
    let given = |sheet: super::collector::Sheet| {
        let mut all: BTreeMap<(u32, u32), GivenCell> = sheet
            .rows
            .iter()
            .flat_map(|row| cells(row, &sheet.form.formats))
            .map(|(row, column, cell)| ((row, column), cell))
            .collect();
        for merged in &sheet.form.merged {
            if let Some(cell) = all.get(&(merged.rows.0, merged.column)).cloned() {
                for row in
                    sheet.rows.iter().map(|row| row.number).filter(|row| *row > merged.rows.0 && *row <= merged.rows.1)
                {
                    all.entry((row, merged.column)).or_insert_with(|| cell.clone());
                }
            }
        }
        GivenSheet {
            name: sheet.name,
            cells: all.into_iter().map(|((row, column), cell)| (row, column, cell)).collect(),
        }
    };
    Ok(sheets.into_iter().map(given).collect())
}

/// A text as it stands, with its rows.
#[derive(Clone, Debug)]
pub struct GivenText {
    /// Decoded, without a byte order mark.
    pub text: String,
    pub delimiter: u8,
    /// Where the rows start, where their cells end and where the next row starts.
    pub rows: Vec<(usize, usize, usize)>,
}

impl GivenText {
    /// The cells of a row from 1 on; nothing of a blank one.
    #[must_use]
    pub fn cells(&self, row: u32) -> Vec<String> {
        let index = usize::try_from(row).unwrap_or_default().checked_sub(1);
        let Some((from, end, _)) = index.and_then(|index| self.rows.get(index)).copied() else { return Vec::new() };
        let mut split = RowSplit::default();
        split.split(&self.text, from, end, self.delimiter);
        split.all(&self.text).map(str::to_owned).collect()
    }
}

/// A text file with the rows that its header's row parts best into the cells that are known of it.
///
/// # Errors
/// Where the file can't be read any more.
pub fn text_as_given(table: &GivenTable, path: &Path, bounds: &Bounds) -> Result<GivenText, ReadError> {
    let file = TextFile::in_memory(&table.file, path, bounds)?;
    let whole = file.text();
    let text = whole.get(usize::try_from(file.start).unwrap_or_default()..).unwrap_or(whole).to_owned();
    let known = |delimiter: &u8| {
        let given = GivenText { rows: rows_of(&text, *delimiter), text: text.clone(), delimiter: *delimiter };
        let cells = given.cells(table.header_row);
        table
            .columns
            .iter()
            .filter(|column| {
                cells
                    .get(column.index as usize)
                    .is_some_and(|own| column.text.starts_with(super::cell::trimmed(own)) && !is_blank(own))
            })
            .count()
    };
    let delimiter = super::delimited::DELIMITERS
        .into_iter()
        .max_by_key(|delimiter| (known(delimiter), std::cmp::Reverse(*delimiter)));
    let delimiter = delimiter.unwrap_or(b',');
    Ok(GivenText { rows: rows_of(&text, delimiter), text, delimiter })
}

fn rows_of(text: &str, delimiter: u8) -> Vec<(usize, usize, usize)> {
    let (mut from, mut rows) = (0, Vec::new());
    while from < text.len()
        && let Some((end, next)) = row_end(text.as_bytes(), from, delimiter)
    {
        rows.push((from, end, next));
        from = next;
    }
    rows
}
