//! Sources: which files and sheets the run has read.

use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;

use super::grid::{Grid, Layout, SheetColumn};
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// What a sheet that is left out would say.
fn none_of(name: &str) -> Option<&'static str> {
    Some(match name {
        "Causes" => "none",
        "Due" => "no date is known",
        "Remedies" => "no single change from the component table clears a finding",
        "Input" => "every cell was read as it stands",
        _ => return None,
    })
}

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup, empty: &[&str]) -> Result<Vec<Worksheet>, WorkbookError> {
    let whole = |header: &str| SheetColumn::new(header, 9.0, Look::Number(Digits::Whole));
    let none: String = empty.iter().filter_map(|name| Some(format!(" {name}: {}.", none_of(name)?))).collect();
    let layout = Layout {
        name: "Sources",
        note: format!("Sources: what clampbook {} read, {}.{none}", env!("CARGO_PKG_VERSION"), setup.date),
        columns: vec![
            SheetColumn::new("File", 32.0, Look::Wrapped),
            SheetColumn::new("Sheet", 12.0, Look::Wrapped),
            SheetColumn::new("Read as", 12.0, Look::Text),
            whole("Rows read"),
            whole("Rows skipped"),
            whole("Rows set aside"),
            whole("Rows checked"),
            SheetColumn::new("SHA-256", 36.0, Look::Wrapped),
            SheetColumn::new("Remarks", 56.0, Look::Wrapped),
        ],
        frozen: 1,
        printed: 0,
        pages_wide: 1,
    };
    let mut grid = Grid::new(setup, &layout)?;
    for source in &audit.plant.sources {
        grid.begin_row()?;
        grid.text(0, &source.file)?;
        grid.text(1, &source.sheet)?;
        grid.text(2, source.table.map_or("", |table| table.word()))?;
        let counts = [source.rows_read, source.rows_skipped, source.rows_set_aside, source.rows_checked()];
        if source.table.is_some() {
            for (column, count) in (3_u16..).zip(counts) {
                #[allow(clippy::cast_precision_loss, reason = "a count of rows is far below 2^53")]
                grid.number(column, count as f64)?;
            }
        }
        grid.text(7, &source.sha256)?;
        grid.text(8, &source.remarks.join("\n"))?;
    }
    grid.finish()
}
