//! Causes: what puts many findings right at once, the gravest first.

use rust_xlsxwriter::Worksheet;

use crate::audit::causes::Cause;
use crate::audit::outcome::Audit;
use crate::rules::catalogue;
use crate::tables::circuit::CircuitKey;

use super::findings::title;
use super::grid::{Grid, LINK_WIDTH, Layout, SheetColumn};
use super::places::Places;
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// Columns that are printed, from the left.
const PRINTED: u16 = 11;

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let (shared, single): (Vec<&Cause>, Vec<&Cause>) =
        audit.counts.causes.in_order().into_iter().partition(|cause| cause.findings > 1);
    let layout = layout(shared.len(), single.len(), setup);
    let mut grid = Grid::new(setup, &layout)?;
    for (index, cause) in shared.iter().chain(&single).enumerate() {
        if index == shared.len() {
            grid.print_until_here();
        }
        grid.begin_row()?;
        write_cause(&mut grid, places, cause)?;
    }
    grid.finish()
}

fn layout(shared: usize, single: usize, setup: &Setup) -> Layout {
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let wrapped = |header: &str, width| SheetColumn::new(header, width, Look::Wrapped);
    let number = |header: &str| SheetColumn::new(header, 8.5, Look::Number(Digits::Whole));
    let note = if shared + single == 0 {
        "Causes: none.".to_owned()
    } else {
        format!(
            "Causes: findings of one rule on one part or station, the gravest first. The {shared} with several findings are \
             printed; the {single} with one stand below. The reason is the first finding's."
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
            wrapped("Reason", 56.0),
            text("Rule (link)", LINK_WIDTH),
            text("Circuit (link)", LINK_WIDTH),
        ],
        frozen: 1,
        printed: PRINTED,
        pages_wide: 1,
    }
}

fn write_cause(grid: &mut Grid, places: &Places, cause: &Cause) -> Result<(), WorkbookError> {
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
        grid.link(PRINTED + 1, places.circuit(&cause.first_place))?;
    }
    grid.link(PRINTED, places.rule(&cause.rule))?;
    grid.text(10, &cause.reason)
}
