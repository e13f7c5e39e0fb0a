//! Holding: pressure against time for every circuit with a hold time.

use rust_xlsxwriter::{ChartLineDashType, ChartMarkerType, ChartType, Worksheet};

use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::physics::quantity::Pressure;
use crate::physics::unit::Dimension;
use crate::rules::is_below;

use super::charts::{add_line, framed};
use super::grid::{FIRST_ROW, Grid, Layout, SheetColumn};
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// Most circuits that have a chart.
const CHARTS: usize = 60;
/// Rows of data on a printed page, and the scale in percent at which they fit both papers.
const ROWS_A_PAGE: u32 = 40;
const PRINT_SCALE: u16 = 80;
/// Page breaks that a sheet may have.
const MOST_BREAKS: usize = 1000;
const TIME: u16 = 4;
const PRESSURE: u16 = 5;
const LOWEST: u16 = 6;
const CHART_COLUMN: u16 = 9;
/// Pixels of a row, and of the chart's width.
const ROW_PIXELS: u32 = 18;
const CHART_WIDTH: u32 = 440;

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let (charted, held): (Vec<&CircuitAudit>, Vec<&CircuitAudit>) = audit
        .circuits
        .iter()
        .filter(|circuit| !circuit.figures.holding.curve.is_empty())
        .partition(|circuit| is_near(circuit));
    let charts = charted.len().min(CHARTS);
    let layout = layout(setup, charted.len() + held.len(), charts);
    let mut grid = Grid::new(setup, &layout)?;
    grid.sheet().set_print_scale(PRINT_SCALE);
    let mut breaks = Vec::new();
    let mut page_from = FIRST_ROW;
    for (index, circuit) in charted.iter().chain(&held).enumerate() {
        if index == charts {
            grid.print_until_here();
        }
        let first = write_circuit(&mut grid, circuit, index < charts)?;
        if index >= charts {
            continue;
        }
        let rows = u32::try_from(circuit.figures.holding.curve.len()).unwrap_or(u32::MAX);
        if first > page_from && (first - page_from).saturating_add(rows) > ROWS_A_PAGE {
            breaks.push(first);
            page_from = first;
        }
    }
    // No chart is cut by the end of a page.
    if grid.sheet_name() == layout.name && breaks.len() < MOST_BREAKS && !breaks.is_empty() {
        grid.sheet().set_page_breaks(&breaks)?;
    }
    grid.finish()
}

/// How far above its lowest pressure a circuit is looked at, as a share of it.
const NEAR: f64 = 1.2;

/// Whether a circuit falls below its lowest pressure or comes near it: these have a chart and are
/// printed. What can't be told is no proof that it holds.
fn is_near(circuit: &CircuitAudit) -> bool {
    let Some(lowest) = circuit.circuit.service().pressure_min else { return false };
    circuit.figures.holding.hold.is_none_or(|hold| hold.si() < NEAR * lowest.si())
}

fn layout(setup: &Setup, circuits: usize, charts: usize) -> Layout {
    let widths = setup.widths;
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let digits = setup.units.pressure_digits();
    let pressure =
        |header: &str| SheetColumn::new(setup.units.header(header, Dimension::Pressure), 12.0, Look::Number(digits));
    let left_out = if charts < circuits {
        format!(
            " The {charts} that fall below their lowest pressure or come within 20 % of it stand first, with a chart."
        )
    } else {
        String::new()
    };
    Layout {
        name: "Holding",
        note: format!(
            "Pressure from uncoupling at the lowest temperature until the hold time, {circuits} circuits; solved by \
             the run, not formulas. Warm oil leaks faster.{left_out}"
        ),
        columns: vec![
            text("Plant", widths.plant),
            text("Pallet", widths.pallet),
            text("Fixture", widths.fixture),
            text("Circuit", widths.circuit),
            SheetColumn::new("Time [min]", 10.0, Look::Number(Digits::One)),
            pressure("Pressure"),
            pressure("Lowest allowed"),
            SheetColumn::new("Verdict", 18.0, Look::Wrapped),
        ],
        frozen: 4,
        // Room for the charts beside the table.
        printed: if charts == 0 { 0 } else { CHART_COLUMN + 8 },
        pages_wide: 1,
    }
}

/// Writes the points of a circuit; its first row.
fn write_circuit(grid: &mut Grid, circuit: &CircuitAudit, has_chart: bool) -> Result<u32, WorkbookError> {
    let units = grid.setup.units;
    let key = &circuit.circuit.key;
    let holding = &circuit.figures.holding;
    let lowest = circuit.circuit.service().pressure_min;
    let mut first = None;
    for (time, pressure) in &holding.curve {
        let row = grid.begin_row()?;
        first.get_or_insert((row, grid.sheet_name()));
        for (column, word) in (0_u16..).zip([&key.plant, &key.pallet, &key.fixture, &key.circuit]) {
            grid.text(column, word)?;
        }
        grid.number(TIME, time.minutes())?;
        grid.number(PRESSURE, units.pressure(*pressure))?;
        grid.optional(LOWEST, lowest.map(|lowest| units.pressure(lowest)))?;
        grid.text(7, verdict(circuit, *pressure))?;
    }
    let Some((row, name)) = first else { return Ok(0) };
    let last = row + u32::try_from(holding.curve.len()).unwrap_or(1) - 1;
    // A table that goes on on another sheet has no chart: its points are apart.
    if has_chart && name == grid.sheet_name() && last < grid.setup.row_limit {
        insert_chart(grid, circuit, &name, row, last)?;
    }
    Ok(row)
}

fn verdict(circuit: &CircuitAudit, pressure: Pressure) -> &'static str {
    let Some(lowest) = circuit.circuit.service().pressure_min else { return "" };
    if is_below(pressure.si(), lowest.si()) {
        "below the lowest allowed"
    } else if circuit.figures.holding.hold_is_bound {
        "holds at best: a leak is blank"
    } else {
        "holds"
    }
}

fn insert_chart(
    grid: &mut Grid,
    circuit: &CircuitAudit,
    name: &str,
    first: u32,
    last: u32,
) -> Result<(), WorkbookError> {
    let unit = grid.setup.units.name(Dimension::Pressure);
    let key = &circuit.circuit.key;
    let title = format!("{key}: pressure [{unit}] against time [min]");
    let lowest = circuit.circuit.service().pressure_min;
    let alt_text = format!(
        "Line chart of the pressure of circuit {key} against time until its hold time; the lowest allowed pressure is a dashed line."
    );
    let size = (CHART_WIDTH, (last - first + 1).max(12) * ROW_PIXELS - 6);
    let mut chart = framed(ChartType::ScatterStraight, &title, &alt_text, size);
    let range = |column: u16| (name, first, column, last, column);
    add_line(
        &mut chart,
        "Pressure",
        range(TIME),
        range(PRESSURE),
        ChartLineDashType::Solid,
        Some(ChartMarkerType::Circle),
    );
    if lowest.is_some() {
        add_line(&mut chart, "Lowest allowed", range(TIME), range(LOWEST), ChartLineDashType::Dash, None);
    }
    chart.x_axis().set_min(0);
    chart.y_axis().set_min(0);
    grid.sheet().insert_chart_with_offset(first, CHART_COLUMN, &chart, 4, 2)?;
    Ok(())
}
