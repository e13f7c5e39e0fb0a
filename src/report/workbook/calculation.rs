//! The calculation of one circuit on one printed sheet.

use std::io::{Seek, Write};

use rust_xlsxwriter::{Format, FormatBorder, Worksheet};

use crate::audit::outcome::Audit;
use crate::physics::unit::{Dimension, Unit, UnitSystem, UnitUse};
use crate::report::cautions::CAUTIONS;
use crate::report::explanation::{Explanation, Passage, WorkStep};
use crate::tables::shown::{HOURS_FROM, shown};
use crate::tables::value::Value;

use super::safe_text::cell_text;
use super::style::{Digits, LINE_HEIGHT, Styles, lines_of};
use super::{CALCULATION, SHEET_ROWS, Setup, WorkbookError, WorkbookOptions, empty};

/// Figure, formula with its numbers, value, unit, rows: together they fit across a page on its side nearly at full size.
const WIDTHS: [f64; 5] = [38.0, 50.0, 11.0, 8.0, 37.0];
/// How much wider than plain letters bold ones are.
const BOLD: f64 = 1.15;
const LAST: u16 = 4;
const HEADINGS: [&str; 5] = ["Figure", "Formula and numbers", "Value", "Unit", "From"];

/// Writes the workbook of one calculation.
///
/// # Errors
///
/// Where the file can't be written.
pub fn write_calculation(
    audit: &Audit,
    explanation: &Explanation,
    options: &WorkbookOptions,
    out: impl Write + Seek + Send,
) -> Result<(), WorkbookError> {
    let styles = Styles::new();
    let setup = Setup { row_limit: SHEET_ROWS, ..Setup::of(audit, options, &styles) };
    let mut workbook = empty(audit, options, &setup, CALCULATION)?;
    let sheet = setup.sheet("Calculation")?;
    let formats = Formats::of(&styles);
    let mut page = Page { sheet, formats, units: audit.plant.policy.units, row: 0 };
    page.write(explanation, &setup.date)?;
    workbook.push_worksheet(page.sheet);
    workbook.save_to_writer(out)?;
    Ok(())
}

struct Formats {
    title: Format,
    heading: Format,
    header: Format,
    text: Format,
    bold: Format,
    base: Format,
}

impl Formats {
    fn of(styles: &Styles) -> Self {
        Self {
            title: styles.title.clone().set_text_wrap(),
            heading: styles.bold_wrapped.clone().set_border_bottom(FormatBorder::Medium),
            header: styles.header.clone(),
            text: styles.wrapped.clone(),
            bold: styles.bold_wrapped.clone(),
            base: styles.text.clone(),
        }
    }
}

struct Page {
    sheet: Worksheet,
    formats: Formats,
    units: UnitSystem,
    row: u32,
}

impl Page {
    fn write(&mut self, explanation: &Explanation, date: &str) -> Result<(), WorkbookError> {
        for (column, width) in (0..).zip(WIDTHS) {
            self.sheet.set_column_width(column, width)?;
        }
        self.sheet.set_landscape();
        self.sheet.set_print_fit_to_pages(1, 0);
        let title = format!("Calculation of circuit {}: {}", explanation.place.path(), explanation.verdict);
        self.across(&title, &self.formats.title.clone(), 1.5)?;
        if let Some(relaxed) = &explanation.judgement.relaxed {
            self.across(relaxed, &self.formats.bold.clone(), 1.0)?;
        }
        let of = format!("{date}. Pressures are gauge; figures in bold are results, the others their items.");
        self.across(&of, &self.formats.text.clone(), 1.0)?;
        for (column, heading) in (0..).zip(HEADINGS) {
            self.sheet.write_string_with_format(self.row, column, heading, &self.formats.header)?;
        }
        self.sheet.set_repeat_rows(self.row, self.row)?;
        self.row += 1;
        for chapter in &explanation.chapters {
            self.heading(&chapter.heading)?;
            for passage in &chapter.passages {
                match passage {
                    Passage::Sentence(text) => self.across(text, &self.formats.text.clone(), 1.0)?,
                    Passage::Figure(step) => self.step(step)?,
                }
            }
        }
        self.rules(explanation)?;
        self.heading("Before anybody relies on it")?;
        for caution in CAUTIONS {
            self.across(caution, &self.formats.text.clone(), 1.0)?;
        }
        self.sheet.set_print_area(0, 0, self.row.saturating_sub(1), LAST)?;
        Ok(())
    }

    /// A text across the page, in as many lines as it takes.
    fn across(&mut self, text: &str, format: &Format, larger: f64) -> Result<(), WorkbookError> {
        let lines = lines_of(text, WIDTHS.iter().sum::<f64>() / larger);
        self.sheet.set_row_height(self.row, f64::from(lines) * LINE_HEIGHT * larger + 1.0)?;
        self.sheet.merge_range(self.row, 0, self.row, LAST, &cell_text(text), format)?;
        self.row += 1;
        Ok(())
    }

    fn heading(&mut self, text: &str) -> Result<(), WorkbookError> {
        self.across(text, &self.formats.heading.clone(), 1.0)
    }

    fn step(&mut self, step: &WorkStep) -> Result<(), WorkbookError> {
        let format = if step.is_item { self.formats.text.clone() } else { self.formats.bold.clone() };
        let formula = match (step.formula.is_empty(), step.numbers.is_empty()) {
            (false, false) => format!("{}: {}", step.formula, step.numbers),
            (false, true) => step.formula.to_owned(),
            (true, _) => step.numbers.clone(),
        };
        let below = [formula, step.because.clone()];
        let below: Vec<String> = below.into_iter().filter(|text| !text.is_empty()).collect();
        let (below, sources) = (below.join("\n"), step.sources.join("\n"));
        self.sheet.write_string_with_format(self.row, 0, cell_text(&step.name), &format)?;
        self.sheet.write_string_with_format(self.row, 1, cell_text(&below), &self.formats.text)?;
        self.sheet.write_string_with_format(self.row, 4, cell_text(&sources), &self.formats.text)?;
        match step.value.as_ref().map(|value| (value, in_units(value, self.units))) {
            Some((_, Some((number, unit)))) => {
                let format = format.clone().set_num_format(digits_of(number).code());
                let format = format.set_align(rust_xlsxwriter::FormatAlign::Right);
                self.sheet.write_number_with_format(self.row, 2, number, &format)?;
                self.sheet.write_string_with_format(self.row, 3, unit, &self.formats.base)?;
            }
            Some((value, None)) => {
                self.sheet.write_string_with_format(self.row, 2, cell_text(&shown(value, self.units)), &format)?;
            }
            None => {
                self.sheet.write_string_with_format(self.row, 2, "unknown", &format)?;
            }
        }
        let cells = [(step.name.as_str(), WIDTHS[0] / BOLD), (&below, WIDTHS[1]), (&sources, WIDTHS[4])];
        let lines = cells.iter().map(|(text, width)| lines_of(text, *width)).max().unwrap_or(1);
        self.sheet.set_row_height(self.row, f64::from(lines) * LINE_HEIGHT + 1.0)?;
        self.row += 1;
        Ok(())
    }

    fn rules(&mut self, explanation: &Explanation) -> Result<(), WorkbookError> {
        let judgement = &explanation.judgement;
        let text = self.formats.text.clone();
        let bold = self.formats.bold.clone();
        if !judgement.not_met.is_empty() {
            self.heading("Rules not met")?;
            for found in &judgement.not_met {
                let on = if found.on.is_empty() { String::new() } else { format!(", {}", found.on) };
                let head = format!("{} {}, {}, {}{on}", found.rule, found.name, found.severity, found.state);
                self.across(&head, &bold, 1.0)?;
                self.across(&format!("{} Remedy: {}", found.reason, found.remedy), &text, 1.0)?;
                if !found.source.is_empty() {
                    self.across(&found.source, &text, 1.0)?;
                }
            }
        }
        if !judgement.not_assessed.is_empty() {
            self.heading("Not assessed")?;
            for lack in &judgement.not_assessed {
                let cell = if lack.cell.is_empty() {
                    String::new()
                } else {
                    format!(" It would be settled by {}.", lack.cell)
                };
                self.across(&format!("{} {}: {}.{cell}", lack.rule, lack.name, lack.because), &text, 1.0)?;
            }
        }
        if !judgement.met.is_empty() {
            self.heading("Rules met, with the nearest figure and its limit")?;
            for met in &judgement.met {
                self.across(&format!("{} {}: {}", met.rule, met.name, met.words), &text, 1.0)?;
            }
        }
        if !judgement.nothing_found.is_empty() {
            let codes = judgement.nothing_found.join(" ");
            self.across(
                &format!("Rules that looked and found nothing, without a figure to compare here or because another rule tells it: {codes}."),
                &text,
                1.0,
            )?;
        }
        let unasked = judgement.unasked_in_words();
        if !unasked.is_empty() {
            self.heading("Not asked: nothing was found because nothing asks for it")?;
            unasked.iter().try_for_each(|words| self.across(words, &text, 1.0))?;
        }
        if !judgement.switched_off.is_empty() {
            self.across(&format!("Switched off by the policy: {}.", judgement.switched_off.join(" ")), &text, 1.0)?;
        }
        Ok(())
    }
}

/// A quantity in the reader's unit; nothing of what is no number.
fn in_units(value: &Value, units: UnitSystem) -> Option<(f64, &'static str)> {
    let unit = |dimension: Dimension| Unit::default_for(dimension, units, UnitUse::Usual);
    let of =
        |number: &dyn Fn(&Unit) -> f64, dimension: Dimension| Some((number(unit(dimension)), unit(dimension).name));
    match value {
        Value::Pressure(value) => of(&|unit| value.in_unit(unit), Dimension::Pressure),
        Value::Volume(value) => of(&|unit| value.in_unit(unit), Dimension::Volume),
        Value::Area(value) => of(&|unit| value.in_unit(unit), Dimension::Area),
        Value::Length(value) => of(&|unit| value.in_unit(unit), Dimension::Length),
        Value::Force(value) => of(&|unit| value.in_unit(unit), Dimension::Force),
        Value::Flow(value) => of(&|unit| value.in_unit(unit), Dimension::Flow),
        Value::Temperature(value) => of(&|unit| value.in_unit(unit), Dimension::Temperature),
        Value::Seconds(value) => Some((value.si(), "s")),
        Value::Minutes(value) if value.minutes() >= HOURS_FROM => Some((value.minutes() / 60.0, "h")),
        Value::Minutes(value) => Some((value.minutes(), "min")),
        Value::Days(value) | Value::Ratio(value) | Value::Number(value) => Some((*value, "")),
        _ => None,
    }
    .filter(|(number, _)| number.is_finite())
}

/// Digits that show about four of a number, in the width of its column.
fn digits_of(number: f64) -> Digits {
    match number.abs() {
        size if size >= 1e7 => Digits::Scientific,
        size if size >= 1000.0 => Digits::Whole,
        size if size >= 100.0 => Digits::One,
        size if size >= 10.0 => Digits::Two,
        size if size >= 0.01 || size == 0.0 => Digits::Three,
        size if size >= 0.0001 => Digits::Six,
        _ => Digits::Scientific,
    }
}

#[cfg(test)]
mod tests {
    use super::super::style::bold_lines_of;
    use super::*;

    /// A number wider than its column would be shown as signs without a figure.
    #[test]
    fn every_number_fits_its_column() {
        let mut number = 1.234_567_891e-12;
        while number < 1e15 {
            for number in [number, -number] {
                let shown = match digits_of(number) {
                    Digits::Whole => format!("{number:.0}  ,,"),
                    Digits::One => format!("{number:.1},,"),
                    Digits::Two => format!("{number:.2})"),
                    Digits::Three => format!("{number:.3})"),
                    Digits::Six => format!("{number:.6})"),
                    Digits::Scientific => "-1.235E+00)".to_owned(),
                    Digits::Money | Digits::General => panic!("{number} is shown with as many digits as it has"),
                };
                assert_eq!(bold_lines_of(&shown, WIDTHS[2]), 1, "{shown}");
            }
            number *= 3.7;
        }
    }
}
