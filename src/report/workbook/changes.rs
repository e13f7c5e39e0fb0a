//! Changes: what is new since the previous run, and what is gone.

use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::rules::catalogue;
use crate::tables::words::State;

use super::findings::{columns, title, write_finding};
use super::grid::{Grid, Layout};
use super::{Setup, WorkbookError};

/// Columns of `findings.csv`, as they stand in a cleared row, by the column of the sheet.
static CLEARED_COLUMNS: &[(usize, u16)] = &[
    (0, 0),
    (1, 2),
    (3, 4),
    (4, 5),
    (5, 6),
    (6, 7),
    (7, 8),
    (8, 9),
    (9, 10),
    (12, 13),
    (13, 14),
    (14, 15),
    (15, 18),
    (16, 19),
    (18, 21),
];
/// Measured, limit and row are numbers.
static CLEARED_NUMBERS: &[(usize, u16)] = &[(10, 11), (11, 12), (17, 20)];

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let tally = &audit.tally;
    let layout = Layout {
        name: "Changes",
        note: format!(
            "Changes since the previous run: {} new, {} standing, {} cleared. New ones first, then what is gone; the \
             figures of cleared ones are in the units of the data files.",
            tally.new, tally.standing, tally.cleared
        ),
        columns: columns(setup.widths),
        frozen: 1,
        printed: 16,
        pages_wide: 1,
    };
    let mut grid = Grid::new(setup, &layout)?;
    for finding in audit.findings.iter().filter(|finding| finding.state == State::New) {
        grid.begin_row()?;
        write_finding(&mut grid, audit, finding)?;
    }
    for row in &audit.cleared {
        grid.begin_row()?;
        write_cleared(&mut grid, row)?;
    }
    grid.finish()
}

fn write_cleared(grid: &mut Grid, row: &[String]) -> Result<(), WorkbookError> {
    let cell = |index: usize| row.get(index).map_or("", String::as_str);
    for (from, to) in CLEARED_COLUMNS {
        grid.text(*to, cell(*from))?;
    }
    for (from, to) in CLEARED_NUMBERS {
        match cell(*from).parse::<f64>() {
            Ok(number) => grid.number(*to, number)?,
            Err(_) => grid.text(*to, cell(*from))?,
        }
    }
    grid.text(3, "cleared")?;
    grid.text(1, title(catalogue::rule(cell(0))))
}
