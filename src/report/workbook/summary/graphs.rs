//! The charts of Summary, stacked beside its sentences.

use rust_xlsxwriter::{Chart, ChartLineDashType, ChartMarkerType, ChartPatternFillType, ChartType, Worksheet};

use crate::audit::outcome::Audit;
use crate::report::workbook::charts::{add_bars, add_line, framed};
use crate::report::workbook::{Setup, WorkbookError};

use super::HISTORY;

const SHEET: &str = "Summary";
const WIDTH: u32 = 560;
const HEIGHT: u32 = 250;
const GAP: u32 = 8;
/// Pixels in a point.
const PIXELS: f64 = 4.0 / 3.0;

/// Rows of the tables that are drawn: the first, and the one after the last.
pub struct Graphs<'a> {
    audit: &'a Audit,
    setup: &'a Setup<'a>,
    pub pallets: (u32, u32),
    pub families: (u32, u32),
    pub runs: (u32, u32),
}

impl<'a> Graphs<'a> {
    #[must_use]
    pub fn new(audit: &'a Audit, setup: &'a Setup<'a>) -> Self {
        Self { audit, setup, pallets: (0, 0), families: (0, 0), runs: (0, 0) }
    }

    /// Puts them from a row downwards; the height they take, in points.
    ///
    /// # Errors
    ///
    /// Where the library refuses one.
    pub fn insert(&self, sheet: &mut Worksheet, row: u32) -> Result<f64, WorkbookError> {
        let charts = [self.fill(), self.findings(), self.trend()];
        let mut top = 0;
        for chart in charts.into_iter().flatten() {
            sheet.insert_chart_with_offset(row, 2, &chart, 6, top)?;
            top += HEIGHT + GAP;
        }
        Ok(f64::from(top) / PIXELS)
    }

    fn fill(&self) -> Option<Chart> {
        let (first, last) = nonempty(self.pallets)?;
        let limit = self.audit.plant.policy.limits.fill;
        let range = |column: u16| (SHEET, first, column, last, column);
        let alt_text =
            format!("Column chart of the highest fill of each pallet, with the limit {limit} as a dashed line.");
        let mut chart = framed(ChartType::Column, "Fill by pallet", &alt_text, (WIDTH, HEIGHT));
        add_bars(&mut chart, "Highest fill", range(1), range(8), ChartPatternFillType::DiagonalStripesWideUpwards);
        let mut line = Chart::new(ChartType::Line);
        add_line(&mut line, "Limit", range(1), range(9), ChartLineDashType::Dash, None);
        chart.combine(&line);
        chart.y_axis().set_min(0).set_num_format("0.0");
        Some(chart)
    }

    fn findings(&self) -> Option<Chart> {
        let (first, last) = nonempty(self.families)?;
        let range = |column: u16| (SHEET, first, column, last, column);
        let alt_text = "Stacked column chart of the findings of each rule family: majors, minors, observations.";
        let mut chart = framed(ChartType::ColumnStacked, "Findings by rule family", alt_text, (WIDTH, HEIGHT));
        let patterns = [
            ("Majors", 2, ChartPatternFillType::DiagonalStripesDarkUpwards),
            ("Minors", 3, ChartPatternFillType::Dotted30Percent),
            ("Observations", 4, ChartPatternFillType::Dotted5Percent),
        ];
        for (name, column, pattern) in patterns {
            add_bars(&mut chart, name, range(0), range(column), pattern);
        }
        chart.y_axis().set_min(0).set_num_format("0");
        Some(chart)
    }

    fn trend(&self) -> Option<Chart> {
        let (first, last) = nonempty(self.runs)?;
        debug_assert!(self.setup.row_limit > last);
        let range = |column: u16| (SHEET, first, column, last, column);
        let alt_text = "Line chart of majors, minors and circuits not assessed over the runs of the history.";
        let mut chart = framed(ChartType::Line, "Trend", alt_text, (WIDTH, HEIGHT));
        let series = [
            ("Majors", HISTORY + 3, ChartLineDashType::Solid, ChartMarkerType::Square),
            ("Minors", HISTORY + 4, ChartLineDashType::Dash, ChartMarkerType::Circle),
            ("Not assessed", HISTORY + 5, ChartLineDashType::RoundDot, ChartMarkerType::Triangle),
        ];
        for (name, column, dash, mark) in series {
            add_line(&mut chart, name, range(HISTORY), range(column), dash, Some(mark));
        }
        chart.y_axis().set_min(0).set_num_format("0");
        Some(chart)
    }
}

/// First and last row of a table that has rows.
fn nonempty((first, end): (u32, u32)) -> Option<(u32, u32)> {
    (end > first).then(|| (first, end - 1))
}
