//! The doors of the reader that the mutation loop uses.

use chrono::NaiveDate;

use crate::physics::unit::Unit;
use crate::tables::column::Table;
use crate::tables::policy::Policy;

use crate::read::cell::{CellRef, Cells, GridRow, Is};
use crate::read::delimited::{self, RowSplit, each_row, row_end};
use crate::read::error::ReadError;
use crate::read::header::Layout;
use crate::read::names::Names;
use crate::read::number::{ColumnStyle, Style};
use crate::read::plant_words::PlantWords;
use crate::read::{encoding, quantity};

/// Cells that are compared with those of the row before, and not split again where they are the same.
const HEAD: usize = 2;

/// The cells of every row of a text; nothing where a quoted cell does not end.
#[must_use]
pub fn rows(text: &str, delimiter: u8) -> Option<Vec<Vec<String>>> {
    let (mut split, mut rows) = (RowSplit::default(), Vec::new());
    let seen = each_row::<()>(text, &mut split, delimiter, HEAD, |row, _, _| {
        rows.push((0..row.count()).map(|index| row.cell(index).text.to_owned()).collect());
        Ok(())
    });
    seen.ok().map(|()| rows)
}

/// The same, by the way that takes one row after another.
#[must_use]
pub fn rows_one_by_one(text: &str, delimiter: u8) -> Option<Vec<Vec<String>>> {
    let (mut split, mut rows, mut from) = (RowSplit::default(), Vec::new(), 0);
    while from < text.len() {
        let (end, next) = row_end(text.as_bytes(), from, delimiter)?;
        split.split(text, from, end, delimiter);
        rows.push((0..split.count()).map(|index| split.get(text, index).to_owned()).collect());
        from = next;
    }
    Some(rows)
}

/// How many of the bytes are whole rows.
#[must_use]
pub fn whole_rows(bytes: &[u8], delimiter: u8) -> usize {
    delimited::whole_rows(bytes, delimiter)
}

/// The text of a file's bytes.
#[must_use]
pub fn text(bytes: Vec<u8>) -> String {
    let encoding = encoding::Encoding::of_whole(&bytes);
    encoding::decoded(bytes, encoding)
}

/// What the other cells of a column say of its numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Says {
    Nothing,
    Doubt,
    Point,
    Comma,
}

impl Says {
    pub const ALL: [Self; 4] = [Self::Nothing, Self::Doubt, Self::Point, Self::Comma];

    const fn numbers(self) -> ColumnStyle {
        match self {
            Self::Nothing => ColumnStyle { style: None, point_is_doubtful: false, has_blanks: false },
            Self::Doubt => ColumnStyle { style: None, point_is_doubtful: true, has_blanks: false },
            Self::Point => ColumnStyle { style: Some(Style::Point), point_is_doubtful: false, has_blanks: false },
            Self::Comma => ColumnStyle { style: Some(Style::Comma), point_is_doubtful: false, has_blanks: false },
        }
    }
}

/// The quantity of a cell in SI.
///
/// # Errors
/// What was expected instead.
pub fn quantity(text: &str, unit: &Unit, says: Says) -> Result<Option<f64>, String> {
    quantity::quantity(CellRef { text, is: Is::Text }, unit.dimension, unit, says.numbers(), &PlantWords::default())
}

/// The number of a cell without a unit.
///
/// # Errors
/// What was expected instead.
pub fn number(text: &str, says: Says) -> Result<Option<f64>, String> {
    quantity::number(CellRef { text, is: Is::Text }, says.numbers())
}

/// The other readings of a cell: a share, an amount, a date.
#[must_use]
pub fn other_readings(text: &str, says: Says) -> (Option<f64>, Option<String>, Option<NaiveDate>) {
    let cell = CellRef { text, is: Is::Text };
    (
        quantity::share(cell, says.numbers()).ok().flatten(),
        quantity::decimal(cell, says.numbers(), "an amount", |_| false).ok().flatten().map(|amount| amount.to_string()),
        quantity::date(cell, None).ok().flatten(),
    )
}

fn grid_row(number: u32, cells: &[String]) -> GridRow {
    GridRow::of_texts(number, cells.iter().map(String::as_str))
}

fn known(layout: &Layout) -> Vec<Option<&'static str>> {
    layout.columns.iter().map(|column| column.known.map(|known| known.name)).collect()
}

/// The header among rows: its index, and the known columns of its cells.
///
/// # Errors
/// Why there is none, or why it can't be used.
pub fn header(
    rows: &[Vec<String>],
    table: Table,
    policy: &Policy,
) -> Result<(usize, Vec<Option<&'static str>>), String> {
    let names = Names::new(table, policy);
    let rows: Vec<GridRow> = (1..).zip(rows).map(|(number, cells)| grid_row(number, cells)).collect();
    let Some((at, _)) = names.find(&rows) else {
        return Err(names.missing("x", &rows, |index| rows.get(index).map_or(1, |row| row.number)));
    };
    let Some(head) = rows.get(at) else { return Err(String::new()) };
    let mut layout = names.layout(head, "x", head.number)?;
    if let Some(below) = rows.get(at + 1) {
        layout.take_units(below, "x", below.number)?;
        let _ = (layout.fits(below), layout.row_fault(below), layout.is_total(below));
    }
    Ok((at, known(&layout)))
}

/// The policy of a text.
///
/// # Errors
/// One sentence for each key at fault.
pub fn policy(text: &str) -> Result<Policy, ReadError> {
    crate::read::policy::parse("policy.toml", text, NaiveDate::default())
}
