//! The content of an open document workbook (.ods), looked over before it is read: its repeats may
//! stand for more cells than any machine holds.

use std::collections::BTreeMap;
use std::io::BufRead;

use super::bounds::grouped;
use super::document_styles::DocumentStyles;
use super::error::ReadError;
use super::markup::{Fault, Markup, Tag, each};
use super::struck::Struck;

/// What a sheet is besides its cells.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct SheetLook {
    pub hidden_rows: u64,
    pub hidden_columns: u64,
    /// Cells that stand for more rows than one.
    pub merged: Vec<Merged>,
    /// Cells whose formats show a text beside a number.
    pub shown: Vec<ShownCells>,
    /// What of it is struck out.
    pub struck: Struck,
}

/// Cells of one format.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct ShownCells {
    /// First and last, as a spreadsheet shows them.
    pub rows: (u32, u32),
    /// First and last, from 0 on.
    pub columns: (u32, u32),
    pub format: u32,
}

/// A cell that a spreadsheet has merged over rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Merged {
    /// First and last, as a spreadsheet shows them.
    pub rows: (u32, u32),
    /// From 0 on.
    pub column: u32,
}

/// What sheets are besides their cells, by their names.
pub(crate) type LookBySheet = BTreeMap<String, SheetLook>;

/// Cells that the sheets may come to, what repeats written out; the reader holds them whole, several
/// times over.
const MOST_DOCUMENT_CELLS: u64 = 5_000_000;
/// Blank cells at the ends of rows are cheap there, not free.
const MOST_BLANK_CELLS: u64 = 100_000_000;
/// Bytes of text that the cells may come to, what repeats written out.
const MOST_TEXT: u64 = 256 << 20;
/// Stretches of numbers on a sheet whose formats show a text.
const MOST_SHOWN: usize = 1_000_000;
/// Sheets of a document.
const MOST_SHEETS: u64 = 10_000;

/// What has been seen of an open document sheet.
#[derive(Default)]
struct Expansion {
    name: String,
    look: SheetLook,
    /// Row and column that come next, from 0 on.
    at: (u64, u64),
    rows: u64,
    blank_rows: u64,
    row_repeat: u64,
    /// Of the cell in work; 0 between cells.
    cell_repeat: u64,
    /// Bytes of text in a row.
    row_text: u64,
    width: u64,
    blank_width: u64,
    widest: u64,
    /// Formats of the columns where a cell names none, with the column behind the last of each.
    formats: Vec<(u64, Option<u32>)>,
    row_format: Option<u32>,
    /// By first column, the last of the cells whose formats show a text.
    last_shown: BTreeMap<u32, usize>,
}

impl Expansion {
    /// Adds numbers of a format in the row in work.
    fn add_shown(&mut self, columns: (u64, u64), format: u32) {
        let small = |number: u64| u32::try_from(number).unwrap_or(u32::MAX);
        let rows = (small(self.at.0 + 1), small(self.at.0 + self.row_repeat));
        let columns = (small(columns.0), small(columns.1));
        let shown = &mut self.look.shown;
        let before = self.last_shown.get(&columns.0).and_then(|index| shown.get_mut(*index));
        match before {
            Some(before) if before.columns == columns && before.format == format && before.rows.1 + 1 == rows.0 => {
                before.rows.1 = rows.1;
            }
            _ => {
                self.last_shown.insert(columns.0, shown.len());
                shown.push(ShownCells { rows, columns, format });
            }
        }
    }

    /// Adds numbers whose format is that of their columns.
    fn add_shown_of_columns(&mut self, (first, last): (u64, u64)) {
        let mut from = 0;
        for index in 0..self.formats.len() {
            let Some((end, format)) = self.formats.get(index).copied() else { return };
            if let Some(format) = format.filter(|_| from <= last && end > first) {
                self.add_shown((first.max(from), last.min(end - 1)), format);
            }
            from = end;
        }
    }

    fn end_row(&mut self) {
        if self.width == 0 {
            self.blank_rows = self.blank_rows.saturating_add(self.row_repeat);
        } else {
            self.rows = self.rows.saturating_add(self.blank_rows).saturating_add(self.row_repeat);
            self.blank_rows = 0;
            self.widest = self.widest.max(self.width);
        }
    }

    fn cells(&self) -> u64 {
        self.rows.saturating_mul(self.widest)
    }
}

/// What is counted over all sheets of an open document.
struct Document<'a> {
    styles: &'a mut DocumentStyles,
    sheet: Expansion,
    sheets: u64,
    /// Cells as they stand, and without the blank ones at the ends.
    cells: u64,
    written: u64,
    /// Bytes of text, what repeats written out.
    text: u64,
    looks: LookBySheet,
    refused: Option<&'static str>,
}

fn repeat(tag: &Tag, name: &str) -> u64 {
    tag.number(name).unwrap_or(1)
}

fn is_out_of_sight(tag: &Tag) -> bool {
    matches!(tag.attribute("table:visibility").as_deref(), Some("collapse" | "filter"))
}

impl Document<'_> {
    fn see(&mut self, markup: &Markup) {
        if self.sheets == 0 {
            self.styles.see(markup);
        }
        match markup {
            Markup::Start(tag) => self.begin(tag),
            Markup::Text(text) => {
                self.sheet.row_text += (text.len() as u64).saturating_mul(self.sheet.cell_repeat);
            }
            Markup::End("table-row") => {
                let sheet = &mut self.sheet;
                sheet.end_row();
                sheet.at = (sheet.at.0 + sheet.row_repeat, 0);
                self.text = self.text.saturating_add(sheet.row_text.saturating_mul(sheet.row_repeat));
                if self.text > MOST_TEXT {
                    self.refused = Some("repeated texts");
                }
            }
            Markup::End("table") => {
                let look = std::mem::take(&mut self.sheet.look);
                if look != SheetLook::default() {
                    self.looks.insert(std::mem::take(&mut self.sheet.name), look);
                }
                self.written = self.written.saturating_add(self.sheet.cells());
                if self.written > MOST_DOCUMENT_CELLS {
                    self.refused = Some("repeated rows or columns");
                }
            }
            Markup::End("table-cell" | "covered-table-cell") => self.sheet.cell_repeat = 0,
            Markup::End(_) => {}
        }
    }

    fn begin(&mut self, tag: &Tag) {
        match tag.name() {
            "table" => {
                self.sheets += 1;
                let name = tag.attribute("table:name").unwrap_or_default().into_owned();
                self.sheet = Expansion { name, ..Expansion::default() };
            }
            "table-column" => {
                let count = repeat(tag, "table:number-columns-repeated").min(16_384);
                if is_out_of_sight(tag) {
                    self.sheet.look.hidden_columns += count;
                }
                let format = self.format(tag, "table:default-cell-style-name");
                let before = self.sheet.formats.last().map_or(0, |(end, _)| *end);
                if !self.styles.are_plain() && before < 16_384 {
                    self.sheet.formats.push((before + count, format));
                }
            }
            "table-row" => self.begin_row(tag),
            "table-cell" | "covered-table-cell" => self.cell(tag),
            "s" => {
                let blanks = repeat(tag, "text:c");
                self.sheet.row_text = self.sheet.row_text.saturating_add(blanks.saturating_mul(self.sheet.cell_repeat));
                if blanks > 32_767 {
                    self.refused = Some("a run of blanks");
                }
            }
            _ => {}
        }
    }

    fn begin_row(&mut self, tag: &Tag) {
        let format = self.format(tag, "table:default-cell-style-name");
        let sheet = &mut self.sheet;
        sheet.row_format = format;
        sheet.row_repeat = repeat(tag, "table:number-rows-repeated").min(1 << 20);
        (sheet.width, sheet.blank_width, sheet.row_text) = (0, 0, 0);
        if is_out_of_sight(tag) {
            sheet.look.hidden_rows += sheet.row_repeat;
        }
    }

    /// The format of the style that a tag names, where it shows a text beside a number.
    fn format(&mut self, tag: &Tag, name: &str) -> Option<u32> {
        if self.styles.are_plain() {
            return None;
        }
        tag.attribute(name).and_then(|style| self.styles.format_of(&style))
    }

    /// Notes the format of a number: that of the cell, else of its row, else of its column.
    fn number(&mut self, tag: &Tag, count: u64) {
        if self.styles.are_plain()
            || !matches!(tag.attribute("office:value-type").as_deref(), Some("float" | "percentage" | "currency"))
        {
            return;
        }
        let first = self.sheet.at.1;
        let columns = (first, first + count.max(1) - 1);
        if tag.attribute("table:style-name").is_some() {
            let format = self.format(tag, "table:style-name");
            format.into_iter().for_each(|format| self.sheet.add_shown(columns, format));
        } else if let Some(format) = self.sheet.row_format {
            self.sheet.add_shown(columns, format);
        } else {
            self.sheet.add_shown_of_columns(columns);
        }
        if self.sheet.look.shown.len() > MOST_SHOWN {
            self.refused = Some("numbers shown with a text beside them");
        }
    }

    fn cell(&mut self, tag: &Tag) {
        let count = repeat(tag, "table:number-columns-repeated").min(16_384);
        self.number(tag, count);
        if tag.has_attribute(|name| name.starts_with("office:") || name == "table:formula") {
            self.sheet.width += self.sheet.blank_width + count;
            // These texts stand in the tag.
            let texts = ["table:formula", "office:string-value"].iter().filter_map(|name| tag.attribute(name));
            let length: u64 = texts.map(|text| text.len() as u64).sum();
            self.sheet.row_text = self.sheet.row_text.saturating_add(length.saturating_mul(count));
            self.sheet.blank_width = 0;
        } else {
            self.sheet.blank_width += count;
        }
        self.sheet.cell_repeat = count;
        let (row, column) = self.sheet.at;
        let spanned = repeat(tag, "table:number-rows-spanned");
        if spanned > 1 {
            let row_number = |row: u64| u32::try_from(row).unwrap_or(u32::MAX);
            let rows = (row_number(row + 1), row_number(row.saturating_add(spanned)));
            self.sheet.look.merged.push(Merged { rows, column: u32::try_from(column).unwrap_or(u32::MAX) });
        }
        self.sheet.at.1 += count;
        self.cells = self.cells.saturating_add(count);
    }
}

/// Looks at the sheets of a document: what is hidden, and how many cells they come to.
pub(super) fn look_over(
    file: &str,
    reader: &mut impl BufRead,
    styles: &mut DocumentStyles,
    by_name: &mut LookBySheet,
) -> Result<(), Fault> {
    let mut document = Document {
        styles,
        sheet: Expansion::default(),
        sheets: 0,
        cells: 0,
        written: 0,
        text: 0,
        looks: LookBySheet::new(),
        refused: None,
    };
    each(reader, |markup| document.see(&markup))?;
    by_name.append(&mut document.looks);
    let refused = |why: String| Err(Fault::Refused(ReadError::new(format!("{file}: {why}"))));
    if document.sheets > MOST_SHEETS {
        return refused(format!("the workbook has more than {} sheets.", grouped(MOST_SHEETS)));
    }
    if document.styles.has_too_many {
        return refused(
            "the workbook has more formats of cells than any needs; save its tables in a new one.".to_owned(),
        );
    }
    let many = (document.cells > MOST_BLANK_CELLS).then_some("repeated columns");
    match document.refused.or(many) {
        None => Ok(()),
        Some("repeated texts") => refused(format!(
            "the texts of its cells come to more than {} MiB when written out; clear what repeats outside the table, or save it as CSV.",
            MOST_TEXT >> 20
        )),
        Some(what) => refused(format!(
            "{what} on a sheet come to more than {} cells when written out; clear what repeats outside the table, or save it as CSV.",
            grouped(MOST_DOCUMENT_CELLS)
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trailing_repeats_cost_nothing() {
        let mut names = LookBySheet::new();
        let sheet = |rows: &str| format!("<table:table table:name=\"A\">{rows}</table:table>");
        let cell = "<table:table-cell office:value-type=\"string\"><text:p>x</text:p></table:table-cell>";
        let trailing = sheet(&format!(
            "<table:table-row>{cell}<table:table-cell table:number-columns-repeated=\"16383\"/></table:table-row>\
             <table:table-row table:number-rows-repeated=\"1048575\"><table:table-cell table:number-columns-repeated=\"16384\"/></table:table-row>"
        ));
        assert!(look_over("a.ods", &mut trailing.as_bytes(), &mut DocumentStyles::default(), &mut names).is_ok());
        let wide = sheet(&format!(
            "<table:table-row table:number-rows-repeated=\"1000000\">{}</table:table-row>",
            cell.repeat(30)
        ));
        assert!(look_over("a.ods", &mut wide.as_bytes(), &mut DocumentStyles::default(), &mut names).is_err());
    }
}
