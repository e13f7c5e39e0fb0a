//! Remedies: proved changes, each said once, with all that it clears.

use rust_decimal::prelude::ToPrimitive;
use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::remedy::remedy_row::RemedyRow;

use super::grid::{Grid, Layout, SheetColumn};
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// Circuits named in a cell before it says how many more there are.
const NAMED: usize = 12;

/// Column of what was applied, there only where remedies were.
const APPLIED: u16 = 16;

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let has_applied = audit.remedies.iter().any(|remedy| !remedy.applied.is_empty());
    let layout = layout(audit, setup, has_applied);
    let mut grid = Grid::new(setup, &layout)?;
    for remedy in &audit.remedies {
        grid.begin_row()?;
        write_remedy(&mut grid, remedy)?;
        if has_applied {
            grid.text(APPLIED, &remedy.applied)?;
        }
    }
    grid.finish()
}

fn layout(audit: &Audit, setup: &Setup, has_applied: bool) -> Layout {
    let widths = setup.widths;
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let wrapped = |header: &str, width| SheetColumn::new(header, width, Look::Wrapped);
    let note = if audit.remedies.is_empty() {
        "Remedies: no single change from the component table clears a finding."
    } else {
        "Remedies: each change was audited again before it is offered; it clears these findings and brings no new \
         major or minor one."
    };
    let mut layout = Layout {
        name: "Remedies",
        note: note.to_owned(),
        columns: vec![
            text("Change", 12.0),
            text("Part now", widths.part),
            text("Part then", widths.part),
            SheetColumn::new("Setting", 10.0, Look::Number(Digits::General)),
            text("Unit", 7.0),
            text("Plant", widths.plant),
            text("Pallet", widths.pallet),
            text("Fixture", widths.fixture),
            text("Circuit", widths.circuit),
            text("Position", 11.0),
            wrapped("Rules cleared", 12.0),
            SheetColumn::new("Findings cleared", 10.0, Look::Number(Digits::Whole)),
            wrapped("Circuits cleared", 34.0),
            SheetColumn::new("Price", 11.0, Look::Number(Digits::Money)),
            text("Currency", 9.5),
            wrapped("In words, before and after", 56.0),
        ],
        frozen: 1,
        printed: 0,
        pages_wide: 1,
    };
    if has_applied {
        layout.columns.push(wrapped("Applied", 18.0));
    }
    layout
}

fn write_remedy(grid: &mut Grid, remedy: &RemedyRow) -> Result<(), WorkbookError> {
    let setup = grid.setup;
    grid.text(0, remedy.change)?;
    grid.text(1, &remedy.part_from)?;
    grid.text(2, &remedy.part_to)?;
    if let Some((number, unit, digits)) = remedy.setting.as_ref().and_then(|setting| setup.units.number(setting)) {
        grid.number_as(3, number, &setup.styles.number(digits))?;
        grid.text(4, unit)?;
    }
    let place = &remedy.place;
    let words = [place.plant.as_str(), &place.pallet, &place.fixture, &place.circuit, &remedy.position];
    for (column, word) in (5_u16..).zip(words) {
        grid.text(column, word)?;
    }
    grid.text(10, &remedy.rules.join(" "))?;
    #[allow(clippy::cast_precision_loss, reason = "a count of findings is far below 2^53")]
    grid.number(11, remedy.cleared as f64)?;
    grid.text(12, &circuits(remedy))?;
    grid.optional(13, remedy.price.and_then(|price| price.to_f64()))?;
    grid.text(14, &remedy.currency)?;
    grid.text(15, &remedy.words)
}

fn circuits(remedy: &RemedyRow) -> String {
    let mut names: Vec<String> = remedy.circuits.iter().take(NAMED).map(ToString::to_string).collect();
    if remedy.circuits.len() > NAMED {
        names.push(format!("and {} more", remedy.circuits.len() - NAMED));
    }
    names.join("\n")
}
