//! Input: cells and lines that were set aside, repaired, suspected or not checked.

use rust_xlsxwriter::Worksheet;

use crate::audit::input_causes::{InputCause, input_causes};
use crate::audit::outcome::Audit;

use super::grid::{Grid, Layout, SheetColumn};
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let notes = input_causes(&audit.plant.notes);
    let cells: u64 = notes.iter().map(|cause| cause.cells).sum();
    // What can be read and has no part, or no length, is set aside by a rule.
    let on_findings = match audit.counts.lines_set_aside {
        0 => String::new(),
        lines => format!(
            " Lines set aside: {lines}; those that can be read, whose part or length is not known, stand on Findings alone."
        ),
    };
    let layout = Layout {
        name: "Input",
        note: if notes.is_empty() {
            format!("Input: every cell was read as it stands.{on_findings}")
        } else {
            format!(
                "Input: {cells} cells and rows that were set aside, repaired, suspected or not checked.{on_findings}"
            )
        },
        columns: vec![
            SheetColumn::new("What was done", 14.0, Look::Text),
            SheetColumn::new("File", 24.0, Look::Wrapped),
            SheetColumn::new("Sheet", 10.0, Look::Wrapped),
            SheetColumn::new("Row", 8.0, Look::Number(Digits::Whole)),
            SheetColumn::new("Column", 9.0, Look::Text),
            SheetColumn::new("Header", 15.0, Look::Wrapped),
            SheetColumn::new("Cells", 8.0, Look::Number(Digits::Whole)),
            SheetColumn::new("Found", 24.0, Look::Wrapped),
            SheetColumn::new("Expected, and what was done", 70.0, Look::Wrapped),
        ],
        frozen: 0,
        printed: 0,
        pages_wide: 1,
    };
    let mut grid = Grid::new(setup, &layout)?;
    for InputCause { note, cells } in &notes {
        grid.begin_row()?;
        grid.text(0, note.kind.word())?;
        if let Some(source) = audit.plant.source(note.origin) {
            grid.text(1, &source.file)?;
            grid.text(2, &source.sheet)?;
        }
        grid.number(3, f64::from(note.origin.row))?;
        grid.text(4, &note.letter)?;
        grid.text(5, &note.column)?;
        #[allow(clippy::cast_precision_loss, reason = "far below 2^53")]
        grid.number(6, *cells as f64)?;
        grid.text(7, &note.found)?;
        grid.text(8, &note.message)?;
    }
    grid.finish()
}
