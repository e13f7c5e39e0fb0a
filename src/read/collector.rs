//! The rows of a workbook's sheets, put together cell by cell within the bounds of the policy.

use std::sync::Arc;

use crate::tables::policy::Bounds;

use super::bounds::{at_most, grouped};
use super::cell::{GridRow, SheetCell};
use super::error::ReadError;
use super::number_format::NumberFormat;
use super::open_document::Merged;
use super::package::MOST_CELLS;

/// One sheet: its rows that hold something.
#[derive(Clone, Debug, Default)]
pub(crate) struct Sheet {
    pub name: String,
    pub rows: Vec<GridRow>,
    pub form: SheetForm,
    pub remarks: Vec<String>,
    /// Of these, that hidden parts of it were read.
    pub hidden: Vec<String>,
}

/// What a sheet says of its cells besides what they hold.
#[derive(Clone, Debug, Default)]
pub(crate) struct SheetForm {
    /// Cells that stand for more rows than one.
    pub merged: Vec<Merged>,
    /// Formats of the workbook that show a text beside a number.
    pub formats: Arc<[NumberFormat]>,
}

/// The part of the memory that the program takes for itself.
const OWN_PART: u64 = 32;

pub(super) struct Collector<'a> {
    file: &'a str,
    bounds: &'a Bounds,
    sheets: Vec<Sheet>,
    /// Room taken by the rows, blank cells too.
    cells: u64,
    /// Bytes of the cells' texts, and of what is held of the file beside them.
    text: u64,
}

impl<'a> Collector<'a> {
    /// * `held` – bytes of the file, and of texts that its reader holds, too
    pub(super) const fn new(file: &'a str, bounds: &'a Bounds, held: u64) -> Self {
        Self { file, bounds, sheets: Vec::new(), cells: 0, text: (bounds.memory_mib << 20) / OWN_PART + held }
    }

    pub(super) fn begin(&mut self, name: &str, is_hidden: bool) {
        let hidden: Vec<String> =
            is_hidden.then(|| "The sheet is hidden; it was read.".to_owned()).into_iter().collect();
        self.sheets.push(Sheet {
            name: name.to_owned(),
            rows: Vec::new(),
            form: SheetForm::default(),
            remarks: hidden.clone(),
            hidden,
        });
    }

    /// Adds cells of the sheet in work that are merged over rows.
    pub(super) fn merge(&mut self, merged: impl Iterator<Item = Merged>) {
        if let Some(sheet) = self.sheets.last_mut() {
            sheet.form.merged.extend(merged);
        }
    }

    /// Takes the formats that the numbers of all sheets are shown with.
    pub(super) fn take_formats(&mut self, formats: &Arc<[NumberFormat]>) {
        for sheet in &mut self.sheets {
            sheet.form.formats = Arc::clone(formats);
        }
    }

    pub(super) fn put(&mut self, row: u32, column: u32, cell: SheetCell) -> Result<(), ReadError> {
        if cell.text.is_empty() {
            return Ok(());
        }
        let Some(sheet) = self.sheets.last_mut() else { return Ok(()) };
        within(self.file, &sheet.name, (row, column), &cell, self.bounds)?;
        self.text += (size_of::<SheetCell>() + cell.text.len()) as u64;
        let most = self.bounds.memory_mib;
        if self.text > most << 20 {
            return Err(ReadError::new(format!(
                "{}: with the texts of its cells it comes to more than the {} MiB that [bounds] memory_mib of the policy allows.",
                self.file,
                grouped(most)
            )));
        }
        let number = row.saturating_add(1);
        if sheet.rows.last().is_none_or(|last| last.number != number) {
            sheet.rows.push(GridRow::on_sheet(number));
        }
        let Some(cells) = sheet.rows.last_mut().and_then(GridRow::on_sheet_mut) else { return Ok(()) };
        let room = cells.capacity();
        set(cells, column as usize, cell);
        self.cells += (cells.capacity() - room) as u64;
        if self.cells > MOST_CELLS {
            return Err(ReadError::new(format!(
                "{}: the rows of its sheets come to more than {} cells, blank ones before the last of a row too; clear what stands right of the tables, or save the lists as CSV.",
                self.file,
                grouped(MOST_CELLS)
            )));
        }
        Ok(())
    }

    /// The sheets, the rows of each in their order.
    pub(super) fn finish(mut self) -> Vec<Sheet> {
        for sheet in &mut self.sheets {
            if !sheet.rows.is_sorted_by(|one, next| one.number < next.number) {
                in_order(&mut sheet.rows);
            }
        }
        self.sheets
    }
}

/// Whether a cell's place and length are within the bounds.
fn within(file: &str, sheet: &str, at: (u32, u32), cell: &SheetCell, bounds: &Bounds) -> Result<(), ReadError> {
    let (row, column) = (u64::from(at.0) + 1, u64::from(at.1) + 1);
    // Letters have no fewer bytes, so that few cells have to be counted.
    let length = if cell.text.len() as u64 > bounds.cell_chars { cell.text.chars().count() as u64 } else { 0 };
    if column <= bounds.columns && row <= bounds.rows && length <= bounds.cell_chars {
        return Ok(());
    }
    let place = format!("{file}, sheet '{sheet}', row {row}");
    at_most(&place, "a cell stands in column", column, bounds.columns, "", "columns")?;
    at_most(&place, "a cell stands in row", row, bounds.rows, "", "rows")?;
    at_most(&place, "a cell has", length, bounds.cell_chars, " characters", "cell_chars")
}

/// A sheet's number as text, with the fifteen digits that spreadsheets show.
pub(super) fn number_text(number: f64) -> String {
    let rounded: f64 = format!("{number:.14e}").parse().unwrap_or(number);
    if rounded == 0.0 { "0".to_owned() } else { format!("{rounded}") }
}

fn set(cells: &mut Vec<SheetCell>, column: usize, cell: SheetCell) {
    if cells.len() <= column {
        cells.resize(column + 1, SheetCell::default());
    }
    if let Some(place) = cells.get_mut(column) {
        *place = cell;
    }
}

/// Sorts rows that a file gives out of order, and joins the parts of a row that it gives twice.
fn in_order(rows: &mut Vec<GridRow>) {
    rows.sort_by_key(|row| row.number);
    rows.dedup_by(|later, kept| {
        let is_same = later.number == kept.number;
        if is_same && let (Some(later), Some(kept)) = (later.on_sheet_mut(), kept.on_sheet_mut()) {
            for (column, cell) in later.drain(..).enumerate().filter(|(_, cell)| !cell.text.is_empty()) {
                set(kept, column, cell);
            }
        }
        is_same
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::cell::Cells;

    #[test]
    fn rows_out_of_order_are_sorted_and_joined() {
        let bounds = Bounds::default();
        let mut collector = Collector::new("a.xlsx", &bounds, 0);
        collector.begin("A", false);
        for (row, column, text) in [(4, 0, "e"), (2, 1, "c"), (4, 2, "g"), (0, 0, "a"), (2, 0, "b"), (4, 0, "f")] {
            collector.put(row, column, SheetCell::of_text(text)).unwrap();
        }
        let sheets = collector.finish();
        let seen: Vec<(u32, Vec<&str>)> = sheets[0]
            .rows
            .iter()
            .map(|row| (row.number, (0..row.count()).map(|index| row.cell(index).text).collect()))
            .collect();
        assert_eq!(seen, [(1, vec!["a"]), (3, vec!["b", "c"]), (5, vec!["f", "", "g"])]);
    }
}
