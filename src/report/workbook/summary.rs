//! Summary: one printed page for the reader who reads one.

mod buying;
mod counts;
mod graphs;
mod whole;

use rust_xlsxwriter::{Format, Worksheet};

use crate::audit::outcome::Audit;
use crate::report::cautions::BUYING_CAUTIONS;

use super::grid::height_of;
use super::places::Places;
use super::safe_text::cell_text;
use super::style::{Digits, bold_lines_of, lines_of};
use super::{Setup, Sheets, WorkbookError};

/// Of ten columns that together are as wide as a page on end at its smallest print.
const WIDTHS: [f64; 10] = [15.0, 15.0, 10.2, 10.2, 10.2, 10.2, 10.2, 10.2, 10.2, 10.2];
/// The column that sentences break in.
const SENTENCE: usize = 1;
/// Last column of the printed page.
const LAST_PRINTED: u16 = 9;
/// Columns right of the printed page: links to circuit and finding, the families, the history, the fullest pallets.
const LINKS: u16 = 11;
const FAMILIES: u16 = 16;
const HISTORY: u16 = 25;
const FILLS: u16 = 34;
/// Points of a row as it comes.
const PLAIN_ROW: f64 = super::ROW_HEIGHT;

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, only: Sheets, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let mut sheet = setup.sheet("Summary")?;
    let widths = if only == Sheets::All { WIDTHS } else { buying::WIDTHS };
    for (column, width) in (0_u16..).zip(widths) {
        sheet.set_column_width(column, width)?;
    }
    sheet.set_portrait();
    sheet.set_print_fit_to_pages(1, 1);
    let mut page = Page { sheet, setup, widths, row: 0, points: 0.0 };
    page.sheet.set_row_height(0, 20)?;
    if only == Sheets::All {
        page.line(&format!("Clamping audit {}", setup.date), &setup.styles.title)?;
        whole::write(&mut page, audit, places)?;
    } else {
        page.line(&format!("Buying for clamping circuits {}", setup.date), &setup.styles.title)?;
        page.purchase(audit)?;
        page.sentences("Cautions", numbered(BUYING_CAUTIONS))?;
    }
    let last = page.row.max(1) - 1;
    let mut sheet = page.sheet;
    sheet.set_print_area(0, 0, last, LAST_PRINTED)?;
    Ok(vec![sheet])
}

/// The page, with the row that is written next and the height since a mark.
struct Page<'a> {
    sheet: Worksheet,
    setup: &'a Setup<'a>,
    widths: [f64; 10],
    row: u32,
    points: f64,
}

impl Page<'_> {
    fn advance(&mut self, height: f64) {
        self.row += 1;
        self.points += height;
    }

    fn line(&mut self, text: &str, format: &Format) -> Result<(), WorkbookError> {
        self.sheet.write_string_with_format(self.row, 0, cell_text(text), format)?;
        self.advance(PLAIN_ROW);
        Ok(())
    }

    fn headers(&mut self, headers: &[&str]) -> Result<(), WorkbookError> {
        let mut lines = 1;
        for ((column, header), width) in (0_u16..).zip(headers).zip(self.widths) {
            lines = lines.max(bold_lines_of(header, width));
            self.sheet.write_string_with_format(self.row, column, *header, &self.setup.styles.header)?;
        }
        let height = height_of(lines);
        self.sheet.set_row_height(self.row, height)?;
        self.advance(height);
        Ok(())
    }

    /// A heading and rows of a short word and a sentence.
    fn sentences(&mut self, heading: &str, rows: impl Iterator<Item = (String, String)>) -> Result<(), WorkbookError> {
        let mut rows = rows.peekable();
        if rows.peek().is_none() {
            return Ok(());
        }
        self.headers(&[heading, ""])?;
        let room: f64 = self.widths[SENTENCE..].iter().sum();
        for (word, sentence) in rows {
            let height = height_of(lines_of(&sentence, room).max(lines_of(&word, self.widths[0])));
            let styles = self.setup.styles;
            let format = &styles.boxed_wrapped;
            self.sheet.write_string_with_format(self.row, 0, cell_text(&word), format)?;
            self.sheet.merge_range(self.row, 1, self.row, LAST_PRINTED, &cell_text(&sentence), format)?;
            self.sheet.set_row_height(self.row, height)?;
            self.advance(height);
        }
        self.advance(PLAIN_ROW);
        Ok(())
    }

    /// A row of a table: two words, then numbers; those from `decimals_from` on with decimals.
    fn cells(&mut self, one: &str, two: &str, numbers: &[Option<f64>], decimals: usize) -> Result<(), WorkbookError> {
        let styles = self.setup.styles;
        let height = words_height(one, two, self.widths);
        let format = if height > PLAIN_ROW { &styles.boxed_wrapped } else { &styles.boxed };
        self.sheet.write_string_with_format(self.row, 0, cell_text(one), format)?;
        self.sheet.write_string_with_format(self.row, 1, cell_text(two), format)?;
        if height > PLAIN_ROW {
            self.sheet.set_row_height(self.row, height)?;
        }
        let whole = numbers.len() - decimals;
        for ((index, column), number) in (0_usize..).zip(2_u16..).zip(numbers) {
            let format = styles.boxed_number(if index < whole { Digits::Whole } else { Digits::Three });
            match number {
                Some(number) => self.sheet.write_number_with_format(self.row, column, *number, &format)?,
                None => self.sheet.write_blank(self.row, column, &format)?,
            };
        }
        self.advance(height);
        Ok(())
    }
}

/// Height of a row of a table whose two words may be names that break into lines.
fn words_height(one: &str, two: &str, widths: [f64; 10]) -> f64 {
    match lines_of(one, widths[0]).max(lines_of(two, widths[1])) {
        1 => PLAIN_ROW,
        lines => height_of(lines),
    }
}

fn numbered(sentences: &[&str]) -> impl Iterator<Item = (String, String)> {
    (1..).zip(sentences).map(|(number, sentence)| (number.to_string(), (*sentence).to_owned()))
}
