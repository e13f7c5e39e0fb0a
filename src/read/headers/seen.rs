//! What a file or sheet seems to be.

use crate::tables::column::Table;
use crate::tables::origin::place_in_words;

/// One header.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SeenHeader {
    pub letter: String,
    pub text: String,
    pub column: Option<&'static str>,
    /// Why it is that column.
    pub by: &'static str,
    /// Columns that it may be, where it is none for certain.
    pub candidates: Vec<&'static str>,
    /// Cells under it that hold something.
    pub cells: usize,
}

/// One file or sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SeenSheet {
    pub file: String,
    pub sheet: String,
    /// The table that it seems to be.
    pub table: Option<Table>,
    /// Tables that it may be, where it is none for certain.
    pub candidates: Vec<Table>,
    /// Whether it seems to hold quantities by part and circuit.
    pub is_matrix: bool,
    /// Row of the header, as a spreadsheet shows it.
    pub row: u32,
    pub headers: Vec<SeenHeader>,
}

impl SeenSheet {
    /// `lists/a.xlsx, sheet 'A'`, or the file alone.
    #[must_use]
    pub fn place(&self) -> String {
        place_in_words(&self.file, &self.sheet)
    }
}
