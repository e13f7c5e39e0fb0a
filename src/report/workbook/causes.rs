//! Causes: what puts many findings right at once, the gravest first.

use rust_xlsxwriter::Worksheet;

use crate::audit::causes::Cause;
use crate::audit::outcome::Audit;
use crate::rules::catalogue;
use crate::tables::circuit::CircuitKey;

use super::findings::title;
use super::grid::{Grid, Layout, SheetColumn};
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let causes = audit.counts.causes.in_order();
    let layout = layout(causes.len(), setup);
    let mut grid = Grid::new(setup, &layout)?;
    for cause in causes {
        grid.begin_row()?;
        write_cause(&mut grid, cause)?;
    }
    grid.finish()
}

fn layout(count: usize, setup: &Setup) -> Layout {
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let wrapped = |header: &str, width| SheetColumn::new(header, width, Look::Wrapped);
    let number = |header: &str| SheetColumn::new(header, 8.5, Look::Number(Digits::Whole));
    let note = if count == 0 {
        "Causes: none.".to_owned()
    } else {
        format!(
            "Causes: {count}, findings of one rule on one part or station, the gravest first. The reason is the first finding's."
        )
    };
    Layout {
        name: "Causes",
        note,
        columns: vec![
            text("Rule", 6.0),
            wrapped("Title", 22.0),
            text("Severity", 10.5),
            wrapped("Part", setup.widths.part.min(17.0)),
            wrapped("Station", 9.0),
            number("Findings"),
            number("Pieces"),
            number("Circuits"),
            number("Of these in service"),
            wrapped("First place", 20.0),
            wrapped("Reason", 46.0),
        ],
        frozen: 1,
        printed: 0,
        pages_wide: 1,
    }
}

fn write_cause(grid: &mut Grid, cause: &Cause) -> Result<(), WorkbookError> {
    let words =
        [cause.rule.as_str(), title(catalogue::rule(&cause.rule)), &cause.severity, &cause.part_no, &cause.station];
    for (column, word) in (0_u16..).zip(words) {
        grid.text(column, word)?;
    }
    let counts = [cause.findings, cause.pieces, cause.circuits, cause.in_service];
    for (column, count) in (5_u16..).zip(counts) {
        #[allow(clippy::cast_precision_loss, reason = "a count is far below 2^53")]
        grid.number(column, count as f64)?;
    }
    if cause.first_place != CircuitKey::default() {
        grid.text(9, &cause.first_place.to_string())?;
    }
    grid.text(10, &cause.reason)
}
