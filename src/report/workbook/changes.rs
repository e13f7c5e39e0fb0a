//! Changes: what is new since the previous run, and what is gone.

use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::audit::previous::is_not_cleared;
use crate::rules::catalogue;
use crate::tables::words::State;

use super::findings::{Col, PRINTED, columns, place_in_words, title, write_finding};
use super::grid::{Grid, Layout};
use super::places::Places;
use super::{Setup, WorkbookError};

/// Columns of `findings.csv`, as they stand in a cleared row, by the column of the sheet.
static CLEARED_COLUMNS: &[(usize, Col)] = &[
    (0, Col::Rule),
    (1, Col::Severity),
    (3, Col::Plant),
    (4, Col::Pallet),
    (5, Col::Fixture),
    (6, Col::Circuit),
    (7, Col::Side),
    (8, Col::Position),
    (9, Col::Part),
    (12, Col::Unit),
    (13, Col::Reason),
    (14, Col::Remedy),
    (15, Col::File),
    (16, Col::Sheet),
    (18, Col::Column),
];
/// Measured, limit and row are numbers.
static CLEARED_NUMBERS: &[(usize, Col)] = &[(10, Col::Measured), (11, Col::Limit), (17, Col::Row)];

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let counts = &audit.counts.changes;
    let layout = Layout {
        name: "Changes",
        note: format!(
            "Changes since the previous run: {} new, {} standing, {}. New ones first, then what is gone; the figures of \
             those are in the units of the data files.",
            counts.new,
            counts.standing,
            audit.counts.softened.in_words(counts.cleared)
        ),
        columns: columns(setup.widths),
        frozen: 1,
        printed: PRINTED,
        pages_wide: 1,
    };
    let mut grid = Grid::new(setup, &layout)?;
    for finding in places.findings().iter().filter(|finding| finding.state == State::New) {
        grid.begin_row()?;
        write_finding(&mut grid, audit, places, finding)?;
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
        grid.text(to.index(), cell(*from))?;
    }
    for (from, to) in CLEARED_NUMBERS {
        match cell(*from).parse::<f64>() {
            Ok(number) => grid.number(to.index(), number)?,
            Err(_) => grid.text(to.index(), cell(*from))?,
        }
    }
    let names: Vec<&str> = [3, 4, 5, 6].map(cell).into_iter().filter(|name| !name.is_empty()).collect();
    grid.text(Col::Where.index(), &place_in_words(&names.join(" / "), cell(7), cell(8)))?;
    let state = if is_not_cleared(row) { cell(2) } else { "cleared" };
    grid.text(Col::State.index(), state)?;
    grid.text(Col::Title.index(), title(catalogue::rule(cell(0))))
}
