//! Sureness: how much each verdict is worth, the least sure first, and what would settle it.

use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::rules::catalogue;
use crate::tables::sureness::{Deciding, Sureness};
use crate::tables::words::Verdict;

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
    let mut sure: Vec<(&CircuitAudit, &Sureness)> =
        audit.circuits.iter().filter_map(|circuit| Some((circuit, circuit.figures.sureness.as_deref()?))).collect();
    // The narrow ones first, by their distance from the limit to either side.
    sure.sort_by(|(_, a), (_, b)| a.margin.abs().total_cmp(&b.margin.abs()));
    let layout = layout(audit, setup);
    let mut grid = Grid::new(setup, &layout)?;
    for (circuit, sureness) in sure {
        grid.begin_row()?;
        write_row(&mut grid, audit, circuit, sureness)?;
    }
    grid.finish()
}

fn note(sure: f64) -> String {
    format!(
        "Margin: from the figure to its limit in standard uncertainties, below 0 where it is not kept; sure from {sure} \
         on; blank: no doubt in it. Share: of the variance."
    )
}

fn layout(audit: &Audit, setup: &Setup) -> Layout {
    let widths = setup.widths;
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let wrapped = |header: &str, width| SheetColumn::new(header, width, Look::Wrapped);
    let number = |header: &str, digits| SheetColumn::new(header, 8.5, Look::Number(digits));
    let policy = &audit.plant.policy;
    Layout {
        name: "Sureness",
        note: note(policy.limits.sure),
        columns: vec![
            wrapped("Plant", widths.plant),
            wrapped("Pallet", widths.pallet),
            wrapped("Fixture", widths.fixture),
            text("Circuit", widths.circuit),
            wrapped("How sure", 11.0),
            number("Margin", Digits::Two),
            SheetColumn::new("Probability that it is kept", 11.0, Look::Number(Digits::Three)),
            text("Rule", 6.0),
            wrapped("Rule nearest to its limit", 20.0),
            wrapped("Decides most", 18.0),
            number("Share", Digits::Two),
            wrapped("Now", 10.0),
            wrapped("The verdict tips at", 10.0),
            wrapped("Then, with their shares", 24.0),
            wrapped("Found by", 11.5),
        ],
        frozen: 4,
        printed: 0,
        pages_wide: 1,
    }
}

fn write_row(grid: &mut Grid, audit: &Audit, circuit: &CircuitAudit, sureness: &Sureness) -> Result<(), WorkbookError> {
    let key = &circuit.circuit.key;
    for (column, word) in (0_u16..).zip([&key.plant, &key.pallet, &key.fixture, &key.circuit]) {
        grid.text(column, word)?;
    }
    let word = sureness.certainty.word();
    let waived = if circuit.verdict == Verdict::ConformsWithWaivers { ", but for what is waived" } else { "" };
    grid.text(4, &format!("{word}{waived}"))?;
    grid.number(5, sureness.margin)?;
    grid.number(6, sureness.probability)?;
    grid.text(7, sureness.rule)?;
    grid.text(8, &nearest(circuit, sureness))?;
    if let Some((first, others)) = sureness.deciding.split_first() {
        grid.text(9, &first.datum)?;
        grid.number(10, first.share)?;
        let others: Vec<String> =
            others.iter().map(|Deciding { datum, share, .. }| format!("{datum} {share:.2}")).collect();
        grid.text(13, &others.join("; "))?;
    }
    let units = audit.plant.policy.units;
    if let Some(tipping) = sureness.tipping {
        let (now, at) = tipping.measure.shown_apart(tipping.now, tipping.at, units);
        grid.text(11, &now)?;
        grid.text(12, &at)?;
    }
    let found = match (sureness.margin.is_finite(), sureness.is_drawn) {
        (false, _) => "",
        (true, false) => "propagation",
        (true, true) => "draws at random",
    };
    grid.text(14, found)
}

/// The rule's title, with the position where there is one.
fn nearest(circuit: &CircuitAudit, sureness: &Sureness) -> String {
    let title = title(catalogue::rule(sureness.rule));
    let position = sureness.line.and_then(|line| circuit.circuit.lines.get(line)).map_or("", |line| &line.position);
    if position.is_empty() { title.to_owned() } else { format!("{title} (position {position})") }
}
