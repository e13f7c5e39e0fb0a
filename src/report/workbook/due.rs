//! Due: what is to be done when, the earliest first.

use rust_xlsxwriter::Worksheet;

use crate::audit::due::PLANNED_YEARS;
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
    let today = audit.plant.policy.date;
    let near = audit.due.iter().filter(|due| !due.is_far(today)).count();
    for (index, due) in audit.due.iter().enumerate() {
        // The earliest stand first.
        if index == near {
            grid.print_until_here();
        }
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
        grid.number(2, due.days_from(today) as f64)?;
    }
    grid.finish()
}

fn layout(audit: &Audit, setup: &Setup) -> Layout {
    let widths = setup.widths;
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let note = if audit.due.is_empty() {
        "Due: no date is known.".to_owned()
    } else {
        let far = audit.due.iter().filter(|due| due.is_far(audit.plant.policy.date)).count();
        let below = match far {
            0 => String::new(),
            1 => format!(" 1 is more than {PLANNED_YEARS} years off and stands below the print."),
            many => format!(" {many} are more than {PLANNED_YEARS} years off and stand below the print."),
        };
        format!(
            "Due: {}, the earliest first. Days from {}; below 0 is late. Last days to order, and parts promised late, are on \
             Purchase.{below}",
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
