//! Remedies: proved changes, each said once, with all that it clears.

use rust_decimal::prelude::ToPrimitive;
use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::remedy::remedy_row::RemedyRow;
use crate::rules::catalogue::rule;

use super::findings::{place_in_words, title};
use super::grid::{Grid, LINK_WIDTH, Layout, SheetColumn};
use super::places::Places;
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// Circuits named in a cell before it says how many more there are.
const NAMED: usize = 12;

/// Columns that are printed, from the left; what was applied, where something was, stands after them.
const PRINTED: u16 = 6;

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let has_applied = audit.remedies.iter().any(|remedy| !remedy.applied.is_empty());
    let layout = layout(audit, setup, has_applied);
    let mut grid = Grid::new(setup, &layout)?;
    for remedy in audit.remedies.iter().enumerate() {
        grid.begin_row()?;
        write_remedy(&mut grid, places, remedy, has_applied)?;
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
            wrapped("Where", 21.0),
            wrapped("In words, before and after", 78.0),
            wrapped("Clears", 46.0),
            SheetColumn::new("Findings", 9.5, Look::Number(Digits::Whole)),
            SheetColumn::new("Price", 10.0, Look::Number(Digits::Money)),
            text("Currency", 9.5),
            text("Finding (link)", LINK_WIDTH),
            text("Circuit (link)", LINK_WIDTH),
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
            text("Circuits cleared", 34.0),
        ],
        frozen: 1,
        printed: PRINTED,
        pages_wide: 1,
    };
    if has_applied {
        layout.columns.insert(usize::from(PRINTED), wrapped("Applied", 18.0));
    }
    layout
}

fn write_remedy(
    grid: &mut Grid,
    places: &Places,
    (index, remedy): (usize, &RemedyRow),
    has_applied: bool,
) -> Result<(), WorkbookError> {
    let setup = grid.setup;
    let place = &remedy.place;
    let where_it_is = place_in_words(&place.to_string(), "", &remedy.position);
    grid.text(0, if where_it_is.is_empty() { "several" } else { &where_it_is })?;
    grid.text(1, &remedy.words)?;
    let titles: Vec<String> = remedy.rules.iter().map(|code| format!("{code} {}", title(rule(code)))).collect();
    grid.text(2, &titles.join(";\n"))?;
    #[allow(clippy::cast_precision_loss, reason = "a count of findings is far below 2^53")]
    grid.number(3, remedy.cleared as f64)?;
    grid.optional(4, remedy.price.and_then(|price| price.to_f64()))?;
    grid.text(5, &remedy.currency)?;
    let mut column = PRINTED;
    if has_applied {
        grid.text(column, &remedy.applied)?;
        column += 1;
    }
    grid.link(column, places.first_of_remedy(index))?;
    grid.link(column + 1, places.circuit(place))?;
    column += 2;
    for (column, word) in (column..).zip([remedy.change, &remedy.part_from, &remedy.part_to]) {
        grid.text(column, word)?;
    }
    if let Some((number, unit, digits)) = remedy.setting.as_ref().and_then(|setting| setup.units.number(setting)) {
        grid.number_as(column + 3, number, &setup.styles.number(digits))?;
        grid.text(column + 4, unit)?;
    }
    let words = [place.plant.as_str(), &place.pallet, &place.fixture, &place.circuit, &remedy.position];
    for (column, word) in (column + 5..).zip(words) {
        grid.text(column, word)?;
    }
    grid.text(column + 10, &circuits(remedy))
}

fn circuits(remedy: &RemedyRow) -> String {
    let mut names: Vec<String> = remedy.circuits.iter().take(NAMED).map(ToString::to_string).collect();
    if remedy.circuits.len() > NAMED {
        names.push(format!("and {} more", remedy.circuits.len() - NAMED));
    }
    names.join(", ")
}
