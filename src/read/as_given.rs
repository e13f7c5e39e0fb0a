//! Tables as given, cell by cell, so that a copy of a plant can be written with some of them
//! changed.

use crate::physics::unit::{Unit, UnitSystem, UnitUse};
use crate::tables::column::Table;
use crate::tables::origin::Origin;

use super::cell::{CellRef, Cells, Is, is_blank};
use super::header::{Layout, LayoutColumn, dimension_of};
use super::number::{ColumnStyle, Numeral};

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
        let unit = dimension.map(|dimension| Unit::default_for(dimension, units, UnitUse::Usual));
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
        (Is::Number(_), Some(_)) => ColumnStyle { style: Some(super::number::Style::Point), point_is_doubtful: false },
        (_, Some(column)) => column.numbers,
        _ => return cell.text.to_owned(),
    };
    Numeral::scan(cell.text).and_then(|numeral| numeral.cleared(numbers)).unwrap_or_else(|| cell.text.to_owned())
}
