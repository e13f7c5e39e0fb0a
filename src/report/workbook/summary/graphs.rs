//! The charts of Summary, side by side.

use rust_xlsxwriter::{
    Chart, ChartLegendPosition, ChartLineDashType, ChartMarkerType, ChartPatternFillType, ChartType, Worksheet,
};

use crate::audit::outcome::Audit;
use crate::report::workbook::WorkbookError;
use crate::report::workbook::charts::{add_bars, add_line, framed, upright};

use super::{FAMILIES, FILLS, HISTORY};

const SHEET: &str = "Summary";
/// Pixels of the page's width, of a chart's height and of the gaps.
const ACROSS: u32 = 820;
const HEIGHT: u32 = 205;
const GAP: u32 = 8;
/// What each takes of the width: pallets, families with their legend, runs.
const PARTS: [u32; 3] = [4, 6, 6];
/// Pixels in a point.
const PIXELS: f64 = 4.0 / 3.0;

/// Rows of the tables that are drawn: the first, and the one after the last.
pub struct Graphs<'a> {
    audit: &'a Audit,
    pub pallets: (u32, u32),
    /// Pallets with a fill, drawn or not.
    pub with_fill: usize,
    pub families: (u32, u32),
    pub runs: (u32, u32),
}

impl<'a> Graphs<'a> {
    #[must_use]
    pub fn new(audit: &'a Audit) -> Self {
        Self { audit, pallets: (0, 0), with_fill: 0, families: (0, 0), runs: (0, 0) }
    }

    /// Puts them side by side at a row; the height they take, in points.
    ///
    /// # Errors
    ///
    /// Where the library refuses one.
    pub fn insert(&self, sheet: &mut Worksheet, row: u32) -> Result<f64, WorkbookError> {
        let drawn = [nonempty(self.pallets), nonempty(self.families), nonempty(self.runs)];
        let parts = drawn.iter().zip(PARTS).filter(|(drawn, _)| drawn.is_some()).map(|(_, part)| part);
        let unit = ACROSS / parts.sum::<u32>().max(1);
        let [fill, findings, trend] = PARTS.map(|part| part * unit - GAP);
        let charts = [(self.fill(fill), fill), (self.findings(findings), findings), (self.trend(trend), trend)];
        let mut left = 0;
        for (chart, width) in charts.into_iter().filter_map(|(chart, width)| Some((chart?, width))) {
            sheet.insert_chart_with_offset(row, 0, &chart, left + 2, 2)?;
            left += width + GAP;
        }
        Ok(height(self.audit))
    }

    fn fill(&self, width: u32) -> Option<Chart> {
        let (first, last) = nonempty(self.pallets)?;
        let limit = self.audit.plant.policy.limits.fill;
        let range = |column: u16| (SHEET, first, column, last, column);
        let shown = usize::try_from(last - first + 1).unwrap_or(0);
        let (title, which) = if shown < self.with_fill {
            (
                format!("Fill, the {shown} fullest of {}", self.with_fill),
                format!("{shown} of the {} pallets whose fill is known", self.with_fill),
            )
        } else {
            ("Fill by pallet".to_owned(), "the pallets whose fill is known".to_owned())
        };
        let alt_text = format!(
            "Column chart of the highest fill of {which}, the fullest first, with the limit {limit} as a dashed line."
        );
        let mut chart = framed(ChartType::Column, &title, &alt_text, (width, HEIGHT));
        let bars = ChartPatternFillType::DiagonalStripesWideUpwards;
        add_bars(&mut chart, "Highest fill", range(FILLS), range(FILLS + 1), bars);
        let mut line = Chart::new(ChartType::Line);
        add_line(&mut line, "Limit", range(FILLS), range(FILLS + 2), ChartLineDashType::Dash, None);
        chart.combine(&line);
        chart.x_axis().set_font(&upright()).set_label_interval(1);
        chart.y_axis().set_min(0).set_num_format("0.0");
        Some(chart)
    }

    fn findings(&self, width: u32) -> Option<Chart> {
        let (first, last) = nonempty(self.families)?;
        let range = |column: u16| (SHEET, first, column, last, column);
        let alt_text =
            "Stacked column chart of the majors and minors of each rule family, on circuits in service and others.";
        let mut chart = framed(ChartType::ColumnStacked, "Majors and minors by rule family", alt_text, (width, HEIGHT));
        let patterns = [
            ("Majors in service", 2, ChartPatternFillType::DiagonalStripesDarkUpwards),
            ("Other majors", 3, ChartPatternFillType::DiagonalStripesLightDownwards),
            ("Minors in service", 4, ChartPatternFillType::Dotted30Percent),
            ("Other minors", 5, ChartPatternFillType::Dotted5Percent),
        ];
        for (name, column, pattern) in patterns {
            add_bars(&mut chart, name, range(FAMILIES), range(FAMILIES + column), pattern);
        }
        chart.x_axis().set_font(&upright()).set_label_interval(1);
        // Beside the columns, so that they keep their height above the words.
        chart.legend().set_position(ChartLegendPosition::Right);
        chart.y_axis().set_min(0).set_num_format("0");
        Some(chart)
    }

    fn trend(&self, width: u32) -> Option<Chart> {
        let (first, last) = nonempty(self.runs)?;
        let range = |column: u16| (SHEET, first, column, last, column);
        let alt_text = "Line chart of majors, circuits that do not conform and circuits not assessed over the runs of the history.";
        let mut chart = framed(ChartType::Line, "Trend", alt_text, (width, HEIGHT));
        let series = [
            ("Majors", HISTORY + 4, ChartLineDashType::Solid, ChartMarkerType::Square),
            ("Do not conform", HISTORY + 5, ChartLineDashType::Dash, ChartMarkerType::Circle),
            ("Not assessed", HISTORY + 6, ChartLineDashType::RoundDot, ChartMarkerType::Triangle),
        ];
        for (name, column, dash, mark) in series {
            add_line(&mut chart, name, range(HISTORY + 1), range(column), dash, Some(mark));
        }
        chart.x_axis().set_font(&upright()).set_label_interval(1);
        // Three rows of it below would leave the curves no height.
        chart.legend().set_position(ChartLegendPosition::Right);
        chart.y_axis().set_min(0).set_num_format("0");
        Some(chart)
    }
}

/// Height in points that the charts of an audit take.
#[must_use]
pub fn height(audit: &Audit) -> f64 {
    if audit.circuits.is_empty() { 0.0 } else { f64::from(HEIGHT + GAP) / PIXELS }
}

/// First and last row of a table that has rows.
fn nonempty((first, end): (u32, u32)) -> Option<(u32, u32)> {
    (end > first).then(|| (first, end - 1))
}
