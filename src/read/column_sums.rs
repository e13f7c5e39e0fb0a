//! Whether a row of bare numbers at the end of a table is a row of totals: each of its numbers must be what the column
//! above it comes to. Any other such row is a line whose part number is missing.

use super::cell::{CellRef, Cells, Is};
use super::number::{ColumnStyle, Numeral};

/// A column that such a row has a number in.
#[derive(Debug)]
struct Column {
    index: usize,
    style: ColumnStyle,
    /// What the row says, in which unit, and half of its last digit.
    wanted: f64,
    unit: String,
    rounding: f64,
    sum: f64,
    /// Cells that hold something.
    cells: u32,
    is_clear: bool,
}

/// What the columns above such a row come to.
#[derive(Debug)]
pub(crate) struct ColumnSums {
    columns: Vec<Column>,
    rows: u32,
}

/// The number of a cell and what stands behind it.
fn number_in(cell: CellRef<'_>, style: ColumnStyle) -> Option<(f64, &'_ str)> {
    if let Some(number) = cell.is.number() {
        return Some((number, ""));
    }
    let numeral = Numeral::scan(cell.text).filter(|_| cell.is == Is::Text)?;
    let number = numeral.plain(numeral.style(style)?).parse().ok()?;
    Some((number, numeral.rest))
}

fn half_of_last_digit(text: &str, style: ColumnStyle) -> f64 {
    let plain = Numeral::scan(text).and_then(|numeral| Some(numeral.plain(numeral.style(style)?)));
    let decimals = plain.as_deref().and_then(|text| text.split_once('.')).map_or(0, |(_, decimals)| decimals.len());
    0.5 * 0.1_f64.powi(i32::try_from(decimals).unwrap_or(i32::MAX))
}

impl ColumnSums {
    /// The sums that a row would be of, in the cells named; nothing where a number of it is not clear or there is none.
    pub(crate) fn of(row: &impl Cells, cells: impl Iterator<Item = (usize, ColumnStyle)>) -> Option<Self> {
        let mut columns = Vec::new();
        for (index, style) in cells.filter(|(index, _)| !row.cell(*index).is_blank()) {
            let cell = row.cell(index);
            let (wanted, unit) = number_in(cell, style)?;
            let rounding = half_of_last_digit(cell.text, style);
            let unit = unit.to_owned();
            columns.push(Column { index, style, wanted, unit, rounding, sum: 0.0, cells: 0, is_clear: true });
        }
        (!columns.is_empty()).then_some(Self { columns, rows: 0 })
    }

    /// Adds a line.
    pub(crate) fn add(&mut self, row: &impl Cells) {
        self.rows = self.rows.saturating_add(1);
        for column in &mut self.columns {
            let cell = row.cell(column.index);
            if cell.is_blank() {
                continue;
            }
            column.cells = column.cells.saturating_add(1);
            match number_in(cell, column.style) {
                Some((number, unit)) if unit == column.unit => column.sum += number,
                _ => column.is_clear = false,
            }
        }
    }

    /// Whether every number of the row is the sum of its column, or counts its cells or the lines.
    pub(crate) fn agree(&self) -> bool {
        self.columns.iter().all(|column| {
            let counts = [self.rows, column.cells].map(f64::from);
            let is_count = column.unit.is_empty() && counts.iter().any(|count| (column.wanted - count).abs() < 1e-9);
            let off = (column.wanted - column.sum).abs();
            is_count || column.is_clear && off <= column.rounding + 1e-9 * column.sum.abs()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::cell::GridRow;

    fn is_total(lines: &[[&str; 2]], last: [&str; 2]) -> bool {
        let row = |cells: [&str; 2]| GridRow::of_texts(1, cells.into_iter());
        let style = ColumnStyle::default();
        let Some(mut sums) = ColumnSums::of(&row(last), [(0, style), (1, style)].into_iter()) else { return false };
        lines.iter().for_each(|line| sums.add(&row(*line)));
        sums.agree()
    }

    #[test]
    fn totals_are_what_their_columns_come_to() {
        let lines = [["4", "1.25"], ["2", "0.5 m"], ["", "x"]];
        for (last, wanted) in [
            (["6", ""], true),
            (["6", "3"], true),
            (["3", ""], true),
            (["2", ""], true),
            (["5", ""], false),
            (["7", ""], false),
            (["6", "1.75"], false),
            (["", ""], false),
        ] {
            assert_eq!(is_total(&lines, last), wanted, "{last:?}");
        }
        // 1.25 + 1.3 = 2.55, which is 2.5 or 2.6 to one decimal.
        let lengths = [["1", "1.25"], ["1", "1.3"]];
        assert!(is_total(&lengths, ["2", "2.55"]) && is_total(&lengths, ["2", "2.6"]));
        assert!(!is_total(&lengths, ["2", "2.7"]) && !is_total(&lengths, ["2", "2.56"]));
        assert!(is_total(&[["1", "1.5 m"], ["1", "2 m"]], ["2", "3.5 m"]));
        assert!(!is_total(&[["1", "1.5 m"], ["1", "2 m"]], ["2", "3.5 mm"]));
    }
}
