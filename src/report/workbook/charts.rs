//! Charts that read in black and white: patterns, line styles and markers, no colour.

use rust_xlsxwriter::{
    Chart, ChartAxis, ChartFont, ChartFormat, ChartLine, ChartLineDashType, ChartMarker, ChartMarkerType,
    ChartPatternFill, ChartPatternFillType, ChartType, Color, IntoChartRange,
};

use super::safe_text::cell_text;

/// A patterned bar with a black border.
#[must_use]
pub fn pattern(pattern: ChartPatternFillType) -> ChartFormat {
    let mut fill = ChartPatternFill::new();
    fill.set_pattern(pattern).set_foreground_color(Color::Black).set_background_color(Color::White);
    let mut format = ChartFormat::new();
    format.set_pattern_fill(&fill).set_border(&line(0.75, ChartLineDashType::Solid));
    format
}

/// A black line.
#[must_use]
pub fn line(width: f64, dash: ChartLineDashType) -> ChartLine {
    let mut line = ChartLine::new();
    line.set_color(Color::Black).set_width(width).set_dash_type(dash);
    line
}

/// A line of a series.
#[must_use]
pub fn stroke(width: f64, dash: ChartLineDashType) -> ChartFormat {
    let mut format = ChartFormat::new();
    format.set_line(&line(width, dash));
    format
}

/// A marker, white inside.
#[must_use]
pub fn marker(kind: ChartMarkerType) -> ChartMarker {
    let mut format = pattern(ChartPatternFillType::Dotted5Percent);
    format.set_border(&line(0.75, ChartLineDashType::Solid));
    let mut marker = ChartMarker::new();
    marker.set_type(kind).set_size(5).set_format(&mut format);
    marker
}

/// UTF-16 units of a chart's texts; beyond, the library says so on the terminal in words of its own.
const TEXT_LIMIT: usize = 255;

/// A text within the limit, its end left out where it is longer.
fn shortened(text: &str) -> String {
    if text.encode_utf16().count() <= TEXT_LIMIT {
        return text.to_owned();
    }
    let mut units = 1;
    let within = text.chars().take_while(|letter| {
        units += letter.len_utf16();
        units <= TEXT_LIMIT
    });
    let mut short: String = within.collect();
    short.push('…');
    short
}

/// A chart with its frame, title, axes and alternative text.
#[must_use]
pub fn framed(kind: ChartType, title: &str, alt_text: &str, size: (u32, u32)) -> Chart {
    let mut chart = Chart::new(kind);
    // The library writes both as they are, and a name may hold what XML can't.
    let (title, alt_text) = (cell_text(title), cell_text(alt_text));
    let (title, alt_text) = (shortened(&title), shortened(&alt_text));
    chart.set_width(size.0).set_height(size.1).set_alt_text(&alt_text);
    chart.title().set_name(&title).set_font(&font(10.5));
    let mut frame = ChartFormat::new();
    // White on white: what is below must not show through, and no fill is solid.
    let mut white = ChartPatternFill::new();
    white.set_pattern(ChartPatternFillType::Dotted5Percent).set_foreground_color(Color::White);
    white.set_background_color(Color::White);
    frame.set_pattern_fill(&white).set_border(&line(0.75, ChartLineDashType::Solid));
    chart.chart_area().set_format(&mut frame);
    let mut bare = ChartFormat::new();
    bare.set_no_fill().set_no_border();
    chart.plot_area().set_format(&mut bare);
    dress(chart.x_axis());
    dress(chart.y_axis());
    chart.x_axis().set_major_gridlines(false);
    chart.y_axis().set_major_gridlines(false);
    chart.legend().set_font(&font(10.0)).set_position(rust_xlsxwriter::ChartLegendPosition::Bottom);
    chart
}

fn dress(axis: &mut ChartAxis) {
    axis.set_font(&font(10.0)).set_name_font(&font(10.0)).set_format(&mut stroke(0.75, ChartLineDashType::Solid));
}

/// Letters from below upwards: words below columns that are narrower than they.
pub fn upright() -> ChartFont {
    let mut font = font(10.0);
    font.set_rotation(-90);
    font
}

fn font(size: f64) -> ChartFont {
    let mut font = ChartFont::new();
    font.set_name("Arial").set_size(size).set_color(Color::Black);
    font
}

/// A patterned series of bars.
pub fn add_bars<T: IntoChartRange>(
    chart: &mut Chart,
    name: &str,
    categories: T,
    values: T,
    fill: ChartPatternFillType,
) {
    chart
        .add_series()
        .set_name(name)
        .set_categories(categories)
        .set_values(values)
        .set_format(&mut pattern(fill))
        .set_gap(60);
}

/// A line with or without markers.
pub fn add_line<T: IntoChartRange>(
    chart: &mut Chart,
    name: &str,
    categories: T,
    values: T,
    dash: ChartLineDashType,
    mark: Option<ChartMarkerType>,
) {
    let series = chart.add_series();
    series.set_name(name).set_categories(categories).set_values(values).set_format(&mut stroke(1.75, dash));
    match mark {
        Some(kind) => series.set_marker(&marker(kind)),
        None => series.set_marker(ChartMarker::new().set_none()),
    };
}
