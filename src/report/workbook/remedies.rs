//! Remedies: proved changes, each said once, with all that it clears.

use std::collections::BTreeSet;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::remedy::remedy_row::RemedyRow;
use crate::rules::catalogue::rule;
use crate::tables::circuit::CircuitKey;
use crate::tables::counted::counted;

use super::findings::{place_in_words, title};
use super::grid::{Grid, LINK_WIDTH, Layout, SheetColumn};
use super::like_changes::in_short;
use super::places::Places;
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// Circuits named in a cell before it says how many more there are.
const NAMED: usize = 12;

/// Columns that are printed, from the left; what was applied, where something was, stands after them.
const PRINTED: u16 = 7;
/// Whether the price of a change is in the sums.
const COUNTS: u16 = 6;

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let has_applied = audit.remedies.iter().any(|remedy| !remedy.applied.is_empty());
    let layout = layout(audit, setup, has_applied);
    let mut grid = Grid::new(setup, &layout)?;
    let like = places.like_changes();
    let columns = Columns { has_applied };
    for members in &like.told {
        grid.begin_row()?;
        match members.as_slice() {
            [index] => columns.write(&mut grid, audit, places, *index)?,
            members => columns.write_all(&mut grid, audit, places, members)?,
        }
    }
    for sum in &like.sums {
        grid.begin_row()?;
        let bold = &setup.styles.bold_wrapped;
        grid.text_as(0, if sum.what.is_empty() { "" } else { "Sum" }, bold)?;
        grid.text_as(1, &sum.what, bold)?;
        if let Some(price) = sum.sum.and_then(|sum| sum.to_f64()) {
            grid.number_as(4, price, &setup.styles.bold_number(Digits::Money))?;
        }
        grid.text_as(5, &sum.currency, bold)?;
    }
    if !like.below.is_empty() {
        grid.print_until_here();
    }
    for index in &like.below {
        grid.begin_row()?;
        columns.write(&mut grid, audit, places, *index)?;
    }
    grid.finish()
}

fn layout(audit: &Audit, setup: &Setup, has_applied: bool) -> Layout {
    let widths = setup.widths;
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let wrapped = |header: &str, width| SheetColumn::new(header, width, Look::Wrapped);
    let note = if audit.remedies.is_empty() {
        "Remedies: no single change from the component table clears a finding."
    } else if has_applied {
        "Remedies: each change was audited again, by itself, before it is offered; it clears these findings and brings no \
         new major or minor one. Like changes stand in one row, and below on the screen each by itself. Counts: whether its \
         price is in the sums, which are those of the mail: of what a changed copy of the plant bears out together. Applied \
         says what is in it, and why another is not."
    } else {
        "Remedies: each change was audited again, by itself, before it is offered; it clears these findings and brings no \
         new major or minor one. Like changes stand in one row, and below on the screen each by itself. Counts: whether its \
         price is in the sums, which are those of the mail; of changes that clear the same, or change the same line or load \
         station, one counts, and the others are audited again after it. What several do together was not proved: \
         --apply-remedies tells."
    };
    let mut layout = Layout {
        name: "Remedies",
        note: note.to_owned(),
        columns: vec![
            wrapped("Where", 21.0),
            wrapped("In words, before and after", 80.0),
            wrapped("Clears", 38.0),
            SheetColumn::new("Findings", 9.5, Look::Number(Digits::Whole)),
            SheetColumn::new("Price", 10.0, Look::Number(Digits::Money)),
            text("Currency", 9.0),
            wrapped("Counts", 14.0),
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

/// Where things stand in a row.
struct Columns {
    has_applied: bool,
}

impl Columns {
    /// What is of all the changes of a row: what is printed.
    fn write_printed(
        &self,
        grid: &mut Grid,
        places: &Places,
        (index, remedy): (usize, &RemedyRow),
        (cleared, price): (u64, Option<Decimal>),
    ) -> Result<(), WorkbookError> {
        let titles: Vec<String> = remedy.rules.iter().map(|code| format!("{code} {}", title(rule(code)))).collect();
        grid.text(2, &titles.join(";\n"))?;
        #[allow(clippy::cast_precision_loss, reason = "a count of findings is far below 2^53")]
        grid.number(3, cleared as f64)?;
        grid.optional(4, price.and_then(|price| price.to_f64()))?;
        grid.text(5, &remedy.currency)?;
        grid.text(COUNTS, &places.like_changes().counts_in_words(index, grid.setup.row_limit))?;
        if self.has_applied {
            grid.text(PRINTED, &remedy.applied)?;
        }
        Ok(())
    }

    /// Like changes in one row.
    fn write_all(
        &self,
        grid: &mut Grid,
        audit: &Audit,
        places: &Places,
        members: &[usize],
    ) -> Result<(), WorkbookError> {
        let rows = || members.iter().filter_map(|index| Some((*index, audit.remedies.get(*index)?)));
        let Some((index, first)) = rows().next() else { return Ok(()) };
        let circuits: BTreeSet<&CircuitKey> =
            rows().flat_map(|(_, row)| row.circuits.iter().map(AsRef::as_ref)).collect();
        let where_it_is = place_in_words(&first.place.to_string(), "", &first.position);
        grid.text(0, &format!("{}, first {where_it_is}", counted(circuits.len() as u64, "circuit")))?;
        let (times, change) = (members.len(), in_short(first, audit.plant.policy.units));
        grid.text(1, &format!("{times} × {change}. The first: {}", first.words))?;
        let price = rows().map(|(_, row)| row.price).try_fold(Decimal::ZERO, |sum, price| sum.checked_add(price?));
        self.write_printed(grid, places, (index, first), (rows().map(|(_, row)| row.cleared).sum(), price))
    }

    /// A change by itself.
    fn write(&self, grid: &mut Grid, audit: &Audit, places: &Places, index: usize) -> Result<(), WorkbookError> {
        let Some(remedy) = audit.remedies.get(index) else { return Ok(()) };
        let setup = grid.setup;
        let place = &remedy.place;
        let where_it_is = place_in_words(&place.to_string(), "", &remedy.position);
        grid.text(0, if where_it_is.is_empty() { "several" } else { &where_it_is })?;
        grid.text(1, &remedy.words)?;
        self.write_printed(grid, places, (index, remedy), (remedy.cleared, remedy.price))?;
        let mut column = PRINTED + u16::from(self.has_applied);
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
}

fn circuits(remedy: &RemedyRow) -> String {
    let mut names: Vec<String> = remedy.circuits.iter().take(NAMED).map(ToString::to_string).collect();
    if remedy.circuits.len() > NAMED {
        names.push(format!("and {} more", remedy.circuits.len() - NAMED));
    }
    names.join(", ")
}
