//! Due: what is to be done when, the earliest first.

use rust_xlsxwriter::Worksheet;

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
    let layout = layout(audit, setup);
    let mut grid = Grid::new(setup, &layout)?;
    for due in &audit.due {
        grid.begin_row()?;
        let place = &due.place;
        let words = [
            due.what.as_str(),
            &due.date,
            &due.part_no,
            &place.plant,
            &place.pallet,
            &place.fixture,
            &place.circuit,
            &due.position,
        ];
        for (column, word) in [0_u16, 1, 3, 4, 5, 6, 7, 8].into_iter().zip(words) {
            grid.text(column, word)?;
        }
        #[allow(clippy::cast_precision_loss, reason = "days are far below 2^53")]
        grid.number(2, due.days_from(audit.plant.policy.date) as f64)?;
    }
    grid.finish()
}

fn layout(audit: &Audit, setup: &Setup) -> Layout {
    let widths = setup.widths;
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let note = if audit.due.is_empty() {
        "Due: no date is known.".to_owned()
    } else {
        format!(
            "Due: {}, the earliest first. Days from {}; below 0 is late. Last days to order, and parts promised late, are on \
             Purchase.",
            audit.due.len(),
            setup.date
        )
    };
    Layout {
        name: "Due",
        note,
        columns: vec![
            text("What", 18.0),
            text("Date", 11.0),
            SheetColumn::new("Days", 8.0, Look::Number(Digits::Whole)),
            text("Part", widths.part),
            text("Plant", widths.plant),
            text("Pallet", widths.pallet),
            text("Fixture", widths.fixture),
            text("Circuit", widths.circuit),
            text("Position, rule or order", 23.0),
        ],
        frozen: 1,
        printed: 0,
        pages_wide: 1,
    }
}
