//! The content of an open document workbook (.ods), looked over before it is read: its repeats may
//! stand for more cells than any machine holds.

use std::collections::BTreeMap;
use std::io::BufRead;

use super::bounds::grouped;
use super::error::ReadError;
use super::markup::{Fault, Markup, Tag, each};

/// What a sheet is besides its cells.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct SheetLook {
    pub hidden_rows: u64,
    pub hidden_columns: u64,
    /// Cells that stand for more rows than one.
    pub merged: Vec<Merged>,
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
}

impl Expansion {
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
#[derive(Default)]
struct Document {
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

impl Document {
    fn see(&mut self, markup: &Markup) {
        match markup {
            Markup::Start(tag) => self.begin(tag),
            Markup::Text(length) => self.sheet.row_text += length.saturating_mul(self.sheet.cell_repeat),
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
            "table-column" if is_out_of_sight(tag) => {
                self.sheet.look.hidden_columns += repeat(tag, "table:number-columns-repeated").min(16_384);
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
        let sheet = &mut self.sheet;
        sheet.row_repeat = repeat(tag, "table:number-rows-repeated").min(1 << 20);
        (sheet.width, sheet.blank_width, sheet.row_text) = (0, 0, 0);
        if is_out_of_sight(tag) {
            sheet.look.hidden_rows += sheet.row_repeat;
        }
    }

    fn cell(&mut self, tag: &Tag) {
        let count = repeat(tag, "table:number-columns-repeated").min(16_384);
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
pub(super) fn look_over(file: &str, reader: &mut impl BufRead, by_name: &mut LookBySheet) -> Result<(), Fault> {
    let mut document = Document::default();
    each(reader, |markup| document.see(&markup))?;
    by_name.append(&mut document.looks);
    let refused = |why: String| Err(Fault::Refused(ReadError::new(format!("{file}: {why}"))));
    if document.sheets > MOST_SHEETS {
        return refused(format!("the workbook has more than {} sheets.", grouped(MOST_SHEETS)));
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
        assert!(look_over("a.ods", &mut trailing.as_bytes(), &mut names).is_ok());
        let wide = sheet(&format!(
            "<table:table-row table:number-rows-repeated=\"1000000\">{}</table:table-row>",
            cell.repeat(30)
        ));
        assert!(look_over("a.ods", &mut wide.as_bytes(), &mut names).is_err());
    }
}
