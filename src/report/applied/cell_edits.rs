//! What changes in a file, cell by cell, as a spreadsheet shows it.

use std::collections::{BTreeMap, BTreeSet};

use crate::physics::unit::Unit;
use crate::read::as_given::{GivenRow, GivenTable};
use crate::tables::column::Holds;
use crate::tables::origin::column_letter;

/// What a cell gets.
#[derive(Clone, Debug, PartialEq)]
pub enum CellContent {
    Blank,
    Text(String),
    /// A number, of the column's unit where it has one.
    Number(f64, Option<&'static Unit>),
}

impl CellContent {
    /// As it stands in a text.
    #[must_use]
    pub fn text(&self) -> String {
        match self {
            Self::Blank => String::new(),
            Self::Text(text) => text.clone(),
            Self::Number(number, _) => super::rewriting::number(*number),
        }
    }
}

/// A cell's row from 1 and column from 0 on.
pub type CellPlace = (u32, u32);

/// A row of `changes.csv`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CellChange {
    pub file: String,
    pub sheet: String,
    pub row: u32,
    pub letter: String,
    pub header: String,
    pub before: String,
    pub after: String,
}

/// What changes on one sheet, or in one text.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SheetEdits {
    pub cells: BTreeMap<CellPlace, CellContent>,
    /// Written where the cell is blank: what a cell above or a merged one said before.
    pub fills: BTreeMap<CellPlace, CellContent>,
    /// Columns that the header gets.
    pub added: BTreeSet<u32>,
    /// Columns in which cells change: no cell stays merged over rows there.
    pub columns: BTreeSet<u32>,
    /// The header, and rows of the table from the first to the last.
    pub header_row: u32,
    pub last_row: u32,
    /// Rows that come, in their order.
    pub new_rows: BTreeSet<u32>,
    pub changes: Vec<CellChange>,
}

/// Kind of content by column: numbers where the column is of numbers.
fn content(table: &GivenTable, index: usize, text: &str) -> CellContent {
    if text.is_empty() {
        return CellContent::Blank;
    }
    let is_number = table.columns.get(index).and_then(|column| column.name).is_some_and(|name| {
        table.table.column(name).is_some_and(|column| {
            !matches!(column.holds, Holds::Text | Holds::PartNo | Holds::Date | Holds::Word(_) | Holds::Words(_))
        })
    });
    match text.parse::<f64>() {
        Ok(number) if is_number && number.is_finite() => {
            CellContent::Number(number, table.columns.get(index).and_then(|column| column.unit))
        }
        _ => CellContent::Text(text.to_owned()),
    }
}

impl SheetEdits {
    /// Adds what makes the table `after` of `before`; `next_row` is the first row below all that the sheet holds.
    pub fn add(&mut self, before: &GivenTable, after: &GivenTable, next_row: &mut u32) {
        self.header_row = before.header_row;
        let last = before.rows.iter().map(|row| row.origin.row).max().unwrap_or(before.header_row);
        self.last_row = self.last_row.max(last);
        if before.is_matrix() {
            self.add_of_matrix(before, after, next_row);
            return;
        }
        for (index, column) in after.columns.iter().enumerate().skip(before.columns.len()) {
            self.added.insert(column.index);
            self.put(after, before.header_row, index, "", &column.text, false);
        }
        let old: BTreeMap<u32, &GivenRow> = before.rows.iter().map(|row| (row.origin.row, row)).collect();
        for row in &after.rows {
            let Some(own) = old.get(&row.origin.row) else {
                self.add_row(after, row, next_row);
                continue;
            };
            for (index, cell) in row.cells.iter().enumerate().take(after.columns.len()) {
                let before = own.cells.get(index).map_or("", String::as_str);
                if before != cell {
                    self.put(after, row.origin.row, index, before, cell, true);
                }
            }
        }
        // What is filled from above must not take over what is changed.
        let changed: Vec<usize> =
            (0..before.columns.len()).filter(|index| self.columns.contains(&before.columns[*index].index)).collect();
        for row in &before.rows {
            for index in &changed {
                let place = (row.origin.row, before.columns[*index].index);
                let cell = row.cells.get(*index).map_or("", String::as_str);
                if !cell.trim().is_empty() && !self.cells.contains_key(&place) {
                    self.fills.insert(place, content(before, *index, cell));
                }
            }
        }
    }

    /// A row of a matrix serves several circuits: what changes for one of them gets a row of its own.
    fn add_of_matrix(&mut self, before: &GivenTable, after: &GivenTable, next_row: &mut u32) {
        let qty = before.columns.iter().position(|column| column.name == Some("qty"));
        let old: BTreeMap<u32, &GivenRow> = before.rows.iter().map(|row| (row.origin.row, row)).collect();
        for (index, column) in after.columns.iter().enumerate().skip(before.columns.len()) {
            self.added.insert(column.index);
            self.put(after, before.header_row, index, "", &column.text, false);
        }
        for row in &after.rows {
            let own = old.get(&row.origin.row);
            let width = before.columns.len();
            if own.is_some_and(|own| own.cells.get(..width) == row.cells.get(..width))
                && row.cells.iter().skip(width).all(String::is_empty)
            {
                continue;
            }
            if let (Some(own), Some(qty)) = (own, qty) {
                let text = own.cells.get(qty).map_or("", String::as_str);
                self.put(after, row.origin.row, qty, text, "", false);
            }
            self.add_row(after, row, next_row);
        }
    }

    fn add_row(&mut self, table: &GivenTable, row: &GivenRow, next_row: &mut u32) {
        let number = *next_row;
        *next_row += 1;
        self.new_rows.insert(number);
        for (index, cell) in row.cells.iter().enumerate().take(table.columns.len()) {
            // The place of a matrix's circuit stands over its column.
            let is_above = table.is_matrix() && table.columns[index].is_place();
            if !cell.is_empty() && !is_above {
                self.put(table, number, index, "", cell, false);
            }
        }
    }

    fn put(&mut self, table: &GivenTable, row: u32, index: usize, before: &str, after: &str, is_loosened: bool) {
        let Some(column) = table.columns.get(index) else { return };
        let content =
            if row == table.header_row { CellContent::Text(after.to_owned()) } else { content(table, index, after) };
        self.cells.insert((row, column.index), content);
        if is_loosened {
            self.columns.insert(column.index);
        }
        self.changes.push(CellChange {
            file: table.file.clone(),
            sheet: table.sheet.clone(),
            row,
            letter: column_letter(column.index),
            header: column.text.clone(),
            before: before.to_owned(),
            after: after.to_owned(),
        });
    }
}
