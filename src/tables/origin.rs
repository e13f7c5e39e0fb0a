//! Where a row or a cell came from, as the reader's spreadsheet shows it.

use serde::{Deserialize, Serialize};

use super::words::{PLACE, Table};

/// Index of a [`Source`] in [`super::plant::Plant::sources`].
pub type SourceId = u32;

/// The row of a file or sheet that something was read from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Origin {
    /// The file or sheet.
    pub source: SourceId,
    /// Row number as a spreadsheet shows it: the first row of the file is 1,
    /// blank rows count.
    pub row: u32,
}

/// A header cell: where it stands and which known column it names.
#[derive(Clone, Debug, PartialEq)]
pub struct HeaderCell {
    /// Zero-based column on the sheet.
    pub index: u32,
    /// The header's text as given.
    pub text: String,
    /// The known column that it names.
    pub column: Option<&'static str>,
}

/// What stands for a header where a cell of the header row is blank.
pub const NO_HEADER: &str = "(no header)";

/// A header that names no known column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnknownHeader {
    /// Zero-based column on the sheet.
    pub index: u32,
    /// Its row.
    pub row: u32,
    /// Its text as given.
    pub text: String,
    /// The nearest known column of the table, whether the table has it or not.
    pub nearest: Option<&'static str>,
    /// The one whose letters differ least where none is near.
    pub least_far: Option<&'static str>,
    /// The nearest one that the table lacks (L13).
    pub lacking: Option<&'static str>,
    /// Cells under it that hold something.
    pub cells: u64,
}

impl UnknownHeader {
    /// The letter of its sheet column.
    #[must_use]
    pub fn letter(&self) -> String {
        column_letter(self.index)
    }
}

/// One table on one file or sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// Path below the plant folder, with `/`.
    pub file: String,
    /// Sheet name; empty for text files.
    pub sheet: String,
    /// The table that it is read as, or `None` for the policy and for what is passed over.
    pub table: Option<Table>,
    /// The header cells, in order.
    pub header: Vec<HeaderCell>,
    /// Headers that name no known column, in order.
    pub unknown_headers: Vec<UnknownHeader>,
    /// SHA-256 of the whole file, in hexadecimal.
    pub sha256: String,
    /// Rows below the header that hold something.
    pub rows_read: u64,
    /// Of these, rows set aside.
    pub rows_set_aside: u64,
    /// Of the rows read, those skipped as title, units or total rows.
    pub rows_skipped: u64,
    /// What a reader should know of it: hidden rows, skipped sheet, encoding.
    pub remarks: Vec<String>,
    /// Of these, that hidden rows, columns or the sheet itself were read.
    pub hidden: Vec<String>,
    /// Whether it was not read though it may hold a part of the plant.
    pub is_left_out: bool,
}

impl Source {
    /// Rows that were checked: read less skipped and set aside.
    #[must_use]
    pub const fn rows_checked(&self) -> u64 {
        self.rows_read - self.rows_skipped - self.rows_set_aside
    }

    /// Whether it is a table of which nothing but the required columns is known, though it has others.
    #[must_use]
    pub fn knows_only_required(&self) -> bool {
        let Some(table) = self.table else { return false };
        let is_required = |name: &str| table.column(name).is_some_and(|column| column.required);
        !self.unknown_headers.is_empty() && self.header.iter().filter_map(|cell| cell.column).all(is_required)
    }

    /// Whether it is one circuit's part of a matrix: its place stands over the column of its quantities.
    #[must_use]
    pub fn is_matrix(&self) -> bool {
        let index_of = |name: &str| self.header.iter().find(|cell| cell.column == Some(name)).map(|cell| cell.index);
        let qty = index_of("qty");
        qty.is_some() && PLACE.iter().any(|name| index_of(name) == qty)
    }

    /// The letter of the sheet column that holds a known column, e.g. `F`.
    #[must_use]
    pub fn letter_of(&self, column: &str) -> Option<String> {
        self.header.iter().find(|cell| cell.column == Some(column)).map(|cell| column_letter(cell.index))
    }

    /// `lists/line-3.xlsx, sheet 'Fixture 12'`, or the file alone.
    #[must_use]
    pub fn place(&self) -> String {
        place_in_words(&self.file, &self.sheet)
    }
}

/// `lists/a.xlsx, sheet 'A'`, or the file alone.
#[must_use]
pub fn place_in_words(file: &str, sheet: &str) -> String {
    if sheet.is_empty() { file.to_owned() } else { format!("{file}, sheet '{sheet}'") }
}

/// The spreadsheet letter of a zero-based column: 0 is `A`, 26 is `AA`.
#[must_use]
pub fn column_letter(index: u32) -> String {
    let mut letters = Vec::new();
    let mut rest = u64::from(index) + 1;
    while rest > 0 {
        rest -= 1;
        letters.push(char::from(b'A' + u8::try_from(rest % 26).unwrap_or(0)));
        rest /= 26;
    }
    letters.iter().rev().collect()
}

/// A cell that can't be read as its column's quantity (rule L04).
#[derive(Clone, Debug, PartialEq)]
pub struct CellFault {
    /// The known column, or empty where the row as a whole is at fault.
    pub column: &'static str,
    /// The letter of the sheet column, where there is one.
    pub letter: String,
    /// The cell's text as given.
    pub found: String,
    /// What was expected, e.g. `a length such as '63.5 mm'`.
    pub expected: String,
}

/// What the Input sheet tells of a cell or row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum NoteKind {
    /// The row or cell does not count.
    SetAside,
    /// It was read after a repair that the reader should know of.
    Repaired,
    /// It was read as it stands but looks wrong.
    Suspected,
    /// It was read but not checked: title, units and total rows.
    Skipped,
}

impl NoteKind {
    /// The word in `input.csv`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::SetAside => "set aside",
            Self::Repaired => "repaired",
            Self::Suspected => "suspected",
            Self::Skipped => "not checked",
        }
    }
}

/// A line of the Input sheet: something about the input worth knowing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InputNote {
    /// Set aside, repaired, suspected or skipped.
    pub kind: NoteKind,
    /// Where.
    pub origin: Origin,
    /// The letter of the sheet column, empty for a whole row.
    pub letter: String,
    /// The column's header or known name, empty for a whole row.
    pub column: String,
    /// The original text.
    pub found: String,
    /// What was expected and what was done, in full sentences.
    pub message: String,
}

/// What a sheet says of rows of which every cell is struck out.
pub const STRUCK_OUT: &str = "struck out";

/// What Input says of a row above a header that looks like a line, or like another header.
pub const TITLE_LIKE_LINE: &str =
    "A line above the header, taken for a title though it looks like a row of the table. It was read and not checked.";

/// What Input says of a row with a place alone that names one as no line does.
pub const HEADING_WITH_NUMBER: &str = "A row with a place and neither a part number nor a quantity, read as a heading though it has a number where no line has it. It was read and not checked.";

/// What Input says of a row that is one of totals by its words alone.
pub const TOTAL_THAT_IS_NONE: &str = "A row of totals by its words, though its quantity is not what the lines above it come to. It was read and not checked.";

/// What Input says of part numbers under headers that name no known column.
pub const PARTS_UNDER_UNKNOWN: &str = "Part numbers of the component table stand under it, and numbers under a header behind it, none of which names a known column: they may be lines of another list, and were not checked.";

/// How Input ends on numbers of a column that are read as those of other columns are written.
pub const STYLE_OF_FILE: &str = "So they were read.";

/// How Input ends on a number whose format shows a text in front of it that is no known unit.
pub const SHOWN_IN_FRONT: &str = "[values.unit] of the policy takes other names of units.";

/// What Input says of a second row of a circuit or load station.
pub const FIRST_COUNTS: &str = "The first row counts.";
/// Before that, where it says no other thing.
pub const SAME_DATA: &str = "with the same data.";

/// What Input says of a date on which something was done that lies ahead.
pub const NOT_YET_DONE: &str = "Expected a date on which it was done, and this one lies after the day of the report. It was read as it stands, and what has run since is not told.";
