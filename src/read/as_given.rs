//! Tables as given, cell by cell, so that a copy of a plant can be written with some of them
//! changed.

use crate::physics::unit::{Unit, UnitSystem, Usage};
use crate::tables::column::Table;
use crate::tables::plant::Plant;
use crate::tables::policy::Policy;

use super::cell::{CellRef, Cells, Is, is_blank};
use super::error::ReadError;
use super::folder::{Role, entries};
use super::header::{Layout, LayoutColumn, dimension_of};
use super::load;
use super::number::{Numeral, Rule};
use super::text_file::Room;

/// A column with what a reader needs to read it again by itself.
#[derive(Clone, Debug, PartialEq)]
pub struct GivenColumn {
    /// The header's text, its unit in brackets where the column is of a quantity.
    pub text: String,
    pub name: Option<&'static str>,
    pub unit: Option<&'static Unit>,
}

/// A row below the header.
#[derive(Clone, Debug, PartialEq)]
pub struct GivenRow {
    /// As a spreadsheet shows it.
    pub number: u32,
    /// As many as there are columns, unless the file itself has more or fewer.
    pub cells: Vec<String>,
}

/// A table of one file or sheet; title, units and total rows are left out.
#[derive(Clone, Debug, PartialEq)]
pub struct GivenTable {
    pub file: String,
    pub sheet: String,
    pub table: Table,
    pub columns: Vec<GivenColumn>,
    pub rows: Vec<GivenRow>,
}

impl GivenTable {
    pub(crate) fn of(file: &str, sheet: &str, layout: &Layout) -> Self {
        let columns = layout.columns.iter().map(given_column).collect();
        Self { file: file.to_owned(), sheet: sheet.to_owned(), table: layout.table, columns, rows: Vec::new() }
    }

    /// The place of a known column, which is added where the table lacks it.
    pub fn place_of(&mut self, name: &'static str, units: UnitSystem) -> usize {
        if let Some(place) = self.columns.iter().position(|column| column.name == Some(name)) {
            return place;
        }
        let dimension = self.table.column(name).and_then(dimension_of);
        let unit = dimension.map(|dimension| Unit::default_for(dimension, units, Usage::Usual));
        let text = unit.map_or_else(|| name.to_owned(), |unit| format!("{name} [{}]", unit.symbol));
        let width = self.columns.len();
        self.columns.push(GivenColumn { text, name: Some(name), unit });
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
    GivenColumn { text, name, unit: column.unit }
}

pub(crate) fn given_row(layout: &Layout, row: &impl Cells, number: u32) -> GivenRow {
    let (first, width) = (layout.first, layout.width());
    let end = if row.is_text() { row.count() } else { row.count().max(first + width) };
    let mut cells: Vec<String> =
        (first..end).map(|index| given_cell(layout.columns.get(index - first), row.cell(index))).collect();
    while cells.len() > width && cells.last().is_some_and(|text| is_blank(text)) {
        cells.pop();
    }
    GivenRow { number, cells }
}

/// A cell's text; a number that only its sheet or column made clear is written clearly.
fn given_cell(column: Option<&LayoutColumn>, cell: CellRef) -> String {
    let rule = match (cell.is, column.filter(|column| column.is_numeric())) {
        (Is::Number(_), Some(_)) => Rule { style: Some(super::number::Style::Point), point_is_doubtful: false },
        (_, Some(column)) => column.rule,
        _ => return cell.text.to_owned(),
    };
    Numeral::scan(cell.text).and_then(|numeral| numeral.cleared(rule)).unwrap_or_else(|| cell.text.to_owned())
}

/// Every table of a plant but the lists, read once more.
///
/// # Errors
/// Where a file can't be read any more.
pub fn tables(path: &std::path::Path, plant: &Plant) -> Result<Vec<GivenTable>, ReadError> {
    let policy: &Policy = &plant.policy;
    let mut all = Vec::new();
    for entry in entries(path)? {
        if !matches!(entry.role, Role::WholePlant | Role::Table(_)) || entry.role == Role::Table(Table::Lists) {
            continue;
        }
        for (source, grid) in load::grids(&entry, policy, &Room::default())? {
            let mut table = GivenTable::of(&source.file, &source.sheet, &grid.layout);
            table.rows = grid.rows.iter().map(|row| given_row(&grid.layout, row, row.number)).collect();
            all.push(table);
        }
    }
    Ok(all)
}
