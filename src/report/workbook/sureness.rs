//! Sureness: how much each verdict is worth, the least sure first, and what would settle it.

use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::audit::sure_counts::{SureCounts, SureSummary};
use crate::circuit::audited::CircuitAudit;
use crate::rules::catalogue;
use crate::tables::sureness::{Deciding, Sureness};

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

fn note(summary: Option<&SureSummary>, sure: f64) -> String {
    let (counts, advice) = summary.map(SureSummary::in_words).unwrap_or_default();
    let advice = advice.map_or_else(String::new, |advice| format!(" {advice}"));
    format!(
        "{counts}{advice} Margin: from the figure to its limit in standard uncertainties, below 0 where it is not kept; \
         sure from {sure} on. Share: of the variance. A margin that is blank has no doubt in it."
    )
}

fn layout(audit: &Audit, setup: &Setup) -> Layout {
    let widths = setup.widths;
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let wrapped = |header: &str, width| SheetColumn::new(header, width, Look::Wrapped);
    let number = |header: &str, digits| SheetColumn::new(header, 8.5, Look::Number(digits));
    let policy = &audit.plant.policy;
    let summary = audit.counts.sure.as_ref().map(SureCounts::summary);
    Layout {
        name: "Sureness",
        note: note(summary.as_ref(), policy.limits.sure),
        columns: vec![
            wrapped("Plant", widths.plant),
            wrapped("Pallet", widths.pallet),
            wrapped("Fixture", widths.fixture),
            text("Circuit", widths.circuit),
            wrapped("How sure", 11.0),
            number("Margin", Digits::Two),
            number("Probability that it conforms", Digits::Three),
            text("Rule", 6.0),
            wrapped("Nearest limit", 20.0),
            wrapped("Decides most", 20.0),
            number("Share", Digits::Two),
            wrapped("Now", 10.0),
            wrapped("The verdict tips at", 10.0),
            wrapped("Then", 18.0),
            number("Share", Digits::Two),
            wrapped("Then", 18.0),
            number("Share", Digits::Two),
            wrapped("Found by", 11.0),
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
    grid.text(4, sureness.certainty.word())?;
    grid.number(5, sureness.margin)?;
    grid.number(6, sureness.probability)?;
    grid.text(7, sureness.rule)?;
    grid.text(8, &nearest(circuit, sureness))?;
    for (column, one) in [9_u16, 13, 15].into_iter().zip(&sureness.deciding) {
        let Deciding { datum, share, .. } = one;
        grid.text(column, datum)?;
        grid.number(if column == 9 { 10 } else { column + 1 }, *share)?;
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
    grid.text(17, found)
}

/// The rule's title, with the position where there is one.
fn nearest(circuit: &CircuitAudit, sureness: &Sureness) -> String {
    let title = title(catalogue::rule(sureness.rule));
    let position = sureness.line.and_then(|line| circuit.circuit.lines.get(line)).map_or("", |line| &line.position);
    if position.is_empty() { title.to_owned() } else { format!("{title} (position {position})") }
}
