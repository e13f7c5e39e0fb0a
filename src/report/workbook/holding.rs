//! Holding: pressure against time for every circuit with a hold time.

use rust_xlsxwriter::{ChartAxisCrossing, ChartLineDashType, ChartType, Worksheet};

use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::physics::quantity::Pressure;
use crate::physics::unit::Dimension;
use crate::rules::is_below;
use crate::tables::circuit_key::CircuitKey;

use super::charts::{add_line, framed};
use super::grid::{FIRST_ROW, Grid, Layout, SheetColumn};
use super::style::{Digits, Look};
use super::{SHEET_BREAKS, Setup, WorkbookError};

/// Most circuits that have a chart.
const CHARTS: usize = 60;
const TIME: u16 = 4;
const PRESSURE: u16 = 5;
const LOWEST: u16 = 6;
const VERDICT: u16 = 7;
/// Said above the printed charts.
const CHARTS_NOTE: &str = "Holding: circuits that fall below their lowest pressure (dashed) until the end of their hold \
                           time, or come within 20 % of it.";
/// First and last column of the charts, which alone are printed: 20 columns of 64 pixels are as wide as the page.
const CHART_COLUMN: u16 = 9;
const LAST_CHART_COLUMN: u16 = 28;
/// Charts side by side and one below the other on a page at the smallest print.
const ACROSS: u32 = 3;
const DOWN: u32 = 3;
/// Pixels of a row, of a chart and of the gap to the next one.
const ROW_PIXELS: u32 = 18;
const CHART: (u32, u32) = (418, 258);
const CHART_GAP: u32 = 8;
/// Rows from one chart to the one below it.
const CHART_ROWS: u32 = 15;
/// Percents of the font's size.
const PRINT_SCALE: u16 = 80;
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
    let layout = layout(setup, charted.len(), held.len());
    let mut grid = Grid::new(setup, &layout)?;
    let mut charts = 0;
    for (index, circuit) in charted.iter().chain(&held).enumerate() {
        let rows = write_circuit(&mut grid, circuit)?;
        let Some((first, last)) = rows.filter(|_| index < charted.len().min(CHARTS)) else { continue };
        insert_chart(&mut grid, circuit, charts, (first, last))?;
        charts += 1;
    }
    let mut sheets = grid.finish()?;
    print_charts(&mut sheets, charts)?;
    Ok(sheets)
}

/// Prints the charts alone, nine on a page; the table beside them is for the screen.
fn print_charts(sheets: &mut [Worksheet], charts: u32) -> Result<(), WorkbookError> {
    for (index, sheet) in sheets.iter_mut().enumerate() {
        if index > 0 || charts == 0 {
            sheet.set_print_area(0, 0, 0, VERDICT)?;
            continue;
        }
        let down = charts.div_ceil(ACROSS);
        sheet.set_print_area(0, CHART_COLUMN, FIRST_ROW + down * CHART_ROWS - 1, LAST_CHART_COLUMN)?;
        let pages = down.div_ceil(DOWN).min(SHEET_BREAKS);
        let breaks: Vec<u32> = (1..pages).map(|page| FIRST_ROW + page * DOWN * CHART_ROWS).collect();
        if !breaks.is_empty() {
            sheet.set_page_breaks(&breaks)?;
        }
        sheet.set_print_gridlines(false);
        sheet.set_print_scale(PRINT_SCALE);
    }
    Ok(())
}

/// How far above its lowest pressure a circuit is looked at, as a share of it.
const NEAR: f64 = 1.2;

/// Whether a circuit falls below its lowest pressure or comes near it: these have a chart and are
/// printed. What can't be told is no proof that it holds.
fn is_near(circuit: &CircuitAudit) -> bool {
    let Some(lowest) = circuit.circuit.service().pressure_min else { return false };
    circuit.figures.holding.hold.is_none_or(|hold| hold.si() < NEAR * lowest.si())
}

fn layout(setup: &Setup, near: usize, held: usize) -> Layout {
    let widths = setup.widths;
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let digits = setup.units.pressure_digits();
    let pressure =
        |header: &str| SheetColumn::new(setup.units.header(header, Dimension::Pressure), 12.0, Look::Number(digits));
    Layout {
        name: "Holding",
        note: note(near, held),
        columns: vec![
            text("Plant", widths.plant),
            text("Pallet", widths.pallet),
            text("Fixture", widths.fixture),
            text("Circuit", widths.circuit),
            SheetColumn::new("Time [h]", 10.0, Look::Number(Digits::Two)),
            pressure("Pressure"),
            pressure("Lowest allowed"),
            text("Verdict", 27.0),
        ],
        frozen: 0,
        // Of charts the table beside them is for the screen.
        printed: if near > 0 { LAST_CHART_COLUMN } else { 0 },
        pages_wide: 1,
    }
}

fn note(near: usize, held: usize) -> String {
    let left_out = if near > CHARTS { format!(" The first {CHARTS} have a chart.") } else { String::new() };
    format!(
        "Holding: pressure from uncoupling at the lowest temperature until the hold time, solved by the run. Of {} \
         circuits {near} fall below their lowest pressure or come within 20 % of it; these have a chart.{left_out}",
        near + held
    )
}

/// Letters of a circuit's place that a chart has room for, and of each name where that is not enough.
const TITLE: usize = 36;
const NAME: usize = 12;

/// A circuit's place above its chart, long names cut.
fn short_name(key: &CircuitKey) -> String {
    let whole = key.to_string();
    if whole.chars().count() <= TITLE {
        return whole;
    }
    let names = [&key.pallet, &key.fixture, &key.circuit].map(|name| {
        let cut: String = name.chars().take(NAME).collect();
        if cut.len() < name.len() { format!("{}…", cut.trim_end()) } else { cut }
    });
    names.join(" / ")
}

/// Writes the points of a circuit; their first and last row, where all stand on the first sheet.
fn write_circuit(grid: &mut Grid, circuit: &CircuitAudit) -> Result<Option<(u32, u32)>, WorkbookError> {
    let units = grid.setup.units;
    let key = &circuit.circuit.key;
    let holding = &circuit.figures.holding;
    let lowest = circuit.circuit.service().pressure_min;
    let mut rows: Option<(u32, u32)> = None;
    let mut is_on_first = true;
    for (time, pressure) in &holding.curve {
        let row = grid.begin_row()?;
        is_on_first &= grid.sheet_name() == "Holding";
        rows = Some((rows.map_or(row, |(first, _)| first), row));
        for (column, word) in (0_u16..).zip([&key.plant, &key.pallet, &key.fixture, &key.circuit]) {
            grid.text(column, word)?;
        }
        grid.number(TIME, time.minutes() / 60.0)?;
        grid.number(PRESSURE, units.pressure(*pressure))?;
        grid.optional(LOWEST, lowest.map(|lowest| units.pressure(lowest)))?;
        grid.text(VERDICT, verdict(circuit, *pressure))?;
    }
    Ok(rows.filter(|_| is_on_first))
}

fn verdict(circuit: &CircuitAudit, pressure: Pressure) -> &'static str {
    let Some(lowest) = circuit.circuit.service().pressure_min else { return "" };
    if pressure.si() <= 0.0 {
        "no pressure left"
    } else if is_below(pressure.si(), lowest.si()) {
        "below the lowest allowed"
    } else if circuit.figures.holding.hold_is_bound {
        "holds at best: a leak is blank"
    } else {
        "holds"
    }
}

/// Parts of the axis of pressures, about.
const PARTS: f64 = 4.0;

/// A round number, the next above.
fn step(about: f64) -> f64 {
    let scale = 10_f64.powf(about.log10().floor());
    let round = [1.0, 2.0, 5.0].into_iter().find(|round| about <= round * scale).unwrap_or(10.0);
    round * scale
}

/// The highest pressure of a circuit whose pressure is gone before its hold time is over.
fn highest_of_gone(circuit: &CircuitAudit) -> Option<Pressure> {
    let curve = &circuit.figures.holding.curve;
    let pressures = curve.iter().map(|(_, pressure)| *pressure).chain(circuit.circuit.service().pressure_min);
    let highest =
        pressures.fold(Pressure::new(0.0), |one, other| if is_below(one.si(), other.si()) { other } else { one });
    let is_gone = curve.iter().any(|(_, pressure)| pressure.si() <= 0.0);
    (is_gone && highest.si() > 0.0).then_some(highest)
}

fn insert_chart(
    grid: &mut Grid,
    circuit: &CircuitAudit,
    index: u32,
    (first, last): (u32, u32),
) -> Result<(), WorkbookError> {
    let unit = grid.setup.units.name(Dimension::Pressure);
    let key = &circuit.circuit.key;
    let end = circuit.figures.holding.curve.last().map_or("", |(_, pressure)| verdict(circuit, *pressure));
    let title = format!("{}: {end}", short_name(key));
    let lowest = circuit.circuit.service().pressure_min;
    let alt_text = format!(
        "Line chart of the pressure of circuit {key} in {unit} against hours until its hold time; the lowest allowed pressure is a dashed line. At the end: {end}."
    );
    let mut chart = framed(ChartType::ScatterStraight, &title, &alt_text, CHART);
    let range = |column: u16| ("Holding", first, column, last, column);
    add_line(&mut chart, "Pressure", range(TIME), range(PRESSURE), ChartLineDashType::Solid, None);
    if lowest.is_some() {
        add_line(&mut chart, "Lowest allowed", range(TIME), range(LOWEST), ChartLineDashType::Dash, None);
    }
    chart.x_axis().set_min(0).set_name("Hours");
    chart.y_axis().set_min(0).set_name(unit);
    // A pressure that is gone lies on the axis: it is set off below.
    if let Some(highest) = highest_of_gone(circuit).map(|highest| grid.setup.units.pressure(highest)) {
        let step = step(highest / PARTS);
        chart.y_axis().set_min(-step).set_major_unit(step).set_num_format("0;;0").set_crossing(ChartAxisCrossing::Min);
        chart.x_axis().set_crossing(ChartAxisCrossing::Min);
    }
    if index == 0 {
        let style = &grid.setup.styles.note;
        grid.sheet().write_string_with_format(0, CHART_COLUMN, CHARTS_NOTE, style)?;
    }
    let row = FIRST_ROW + index / ACROSS * CHART_ROWS;
    let left = index % ACROSS * (CHART.0 + CHART_GAP);
    debug_assert!(CHART.1 < CHART_ROWS * ROW_PIXELS);
    grid.sheet().insert_chart_with_offset(row, CHART_COLUMN, &chart, left, 2)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_of_the_axis_are_round() {
        for (about, expected) in [(20.0, 20.0), (35.1, 50.0), (55.0, 100.0), (199.0, 200.0), (1.7, 2.0)] {
            assert!((step(about) - expected).abs() < 1e-9, "{about}: {}", step(about));
        }
    }
}
