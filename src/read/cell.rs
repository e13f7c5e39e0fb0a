//! A cell as given, from text or from a sheet.

use std::borrow::Cow;
use std::sync::Arc;

use chrono::NaiveDate;
use unicode_normalization::UnicodeNormalization;

use crate::tables::circuit::Name;
use crate::tables::escaped::escaped;

/// What a cell is besides its text.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) enum Is {
    /// Text, and every cell of a text file.
    #[default]
    Text,
    /// A number of a sheet.
    Number(f64),
    /// A number of a sheet whose format, one of its workbook's, shows a text beside it.
    Shown(f64, u32),
    /// A date of a sheet.
    Date(NaiveDate),
    /// A span or a time of day of a sheet, in days.
    Span(f64),
    /// Text or a number of a sheet with letters struck out or raised: what of it counts nobody can tell.
    Marked,
    /// A truth value of a sheet.
    Other,
    /// `#N/A` and the like.
    Error,
    /// A formula whose result the file does not hold.
    NoResult,
}

/// A cell of a row in work.
#[derive(Clone, Copy, Debug)]
pub(crate) struct CellRef<'a> {
    pub text: &'a str,
    pub is: Is,
}

impl Is {
    /// The number of a number of a sheet.
    pub(crate) const fn number(self) -> Option<f64> {
        match self {
            Self::Number(number) | Self::Shown(number, _) => Some(number),
            _ => None,
        }
    }
}

impl CellRef<'_> {
    pub(crate) const EMPTY: CellRef<'static> = CellRef { text: "", is: Is::Text };

    pub(crate) fn is_blank(self) -> bool {
        is_blank(self.text)
    }
}

/// A cell of a sheet that is kept.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct SheetCell {
    pub text: Name,
    pub is: Is,
}

impl SheetCell {
    #[cfg(test)]
    pub(crate) fn of_text(text: &str) -> Self {
        Self { text: text.into(), is: Is::Text }
    }
}

/// A row of cells, wherever they are kept.
pub(crate) trait Cells {
    fn count(&self) -> usize;
    /// The cell of a place; empty past the end.
    fn cell(&self, index: usize) -> CellRef<'_>;
    /// Whether the row is of a text file, where cells can be missing.
    fn is_text(&self) -> bool;
    /// Whether every cell is known to be text of ASCII without NUL.
    fn is_plain(&self) -> bool {
        false
    }
    /// Whether text stands after the quote that closes a cell: nobody can tell what was meant.
    fn has_stray_text(&self) -> bool {
        false
    }
    /// Whether its first cells are known to be those of the row before and to hold something.
    fn repeats_head(&self) -> bool {
        false
    }
}

/// A row of a sheet, or of a small text table.
#[derive(Clone, Debug, Default)]
pub(crate) struct GridRow {
    /// As a spreadsheet shows it.
    pub number: u32,
    held: Held,
}

/// What a row holds.
#[derive(Clone, Debug)]
enum Held {
    Sheet(Vec<SheetCell>),
    /// Its cells among the texts of many rows: a table may have a row for each of very many circuits.
    Text {
        texts: Arc<TextRows>,
        /// Where its text starts, and its first end.
        start: u32,
        first: u32,
        count: u32,
        is_plain: bool,
        has_stray_text: bool,
        /// Whether its cells stand otherwise in the file, so that they are kept beside it.
        is_beside: bool,
    },
}

/// The texts of some rows, which are one sign apart within a row.
#[derive(Debug, Default)]
struct TextRows {
    /// The text of the whole file, and where the first of the rows starts in it.
    file: Option<(Arc<String>, usize)>,
    /// Rows with other cells than stand in the file.
    beside: String,
    ends: Ends,
}

/// Where cells end, from the start of their row.
#[derive(Debug)]
enum Ends {
    /// Of rows that are short, as most are.
    Near(Vec<u8>),
    Far(Vec<u32>),
}

impl Default for Ends {
    fn default() -> Self {
        Self::Near(Vec::new())
    }
}

impl Ends {
    fn of(all: &[u32]) -> Self {
        let near: Result<Vec<u8>, _> = all.iter().map(|end| u8::try_from(*end)).collect();
        near.map_or_else(|_| Self::Far(all.to_vec()), Self::Near)
    }

    fn get(&self, index: usize) -> usize {
        match self {
            Self::Near(all) => all.get(index).copied().unwrap_or_default().into(),
            Self::Far(all) => all.get(index).map_or(0, |end| *end as usize),
        }
    }
}

impl TextRows {
    /// What stands at a place of the file, or beside it.
    fn text(&self, is_beside: bool, from: usize, end: usize) -> &str {
        let text = match &self.file {
            Some((file, base)) if !is_beside => file.get(base + from..base + end),
            _ => self.beside.get(from..end),
        };
        text.unwrap_or_default()
    }
}

impl PartialEq for GridRow {
    fn eq(&self, other: &Self) -> bool {
        let of = |row: &Self, index: usize| (row.cell(index).text.to_owned(), row.cell(index).is);
        let same_kind = (self.number, self.count(), self.is_text(), self.has_stray_text());
        same_kind == (other.number, other.count(), other.is_text(), other.has_stray_text())
            && (0..self.count()).all(|index| of(self, index) == of(other, index))
    }
}

/// Rows of a text table on their way, which keep their texts together.
#[derive(Debug)]
pub(crate) struct TextRowsMade {
    file: Option<(Arc<String>, usize)>,
    beside: String,
    ends: Vec<u32>,
    rows: Vec<RowMade>,
}

/// A row on its way: where its text starts, and its first end and how many.
#[derive(Debug)]
struct RowMade {
    number: u32,
    start: usize,
    first: usize,
    count: usize,
    has_stray_text: bool,
    is_beside: bool,
}

impl TextRowsMade {
    /// Of a text from a place on.
    pub(crate) const fn of(file: Arc<String>, base: usize) -> Self {
        Self { file: Some((file, base)), beside: String::new(), ends: Vec::new(), rows: Vec::new() }
    }

    /// Adds a row, unless no cell of it holds anything.
    ///
    /// * `from` – where it starts in the file, if its cells are what stands there, one sign apart
    pub(crate) fn add<'a>(
        &mut self,
        number: u32,
        from: Option<usize>,
        cells: impl Iterator<Item = &'a str> + Clone,
        has_stray_text: bool,
    ) {
        if cells.clone().all(is_blank) {
            return;
        }
        let base = self.file.as_ref().map_or(0, |(_, base)| *base);
        self.add_cells(number, from.map(|from| from - base), cells, has_stray_text);
    }

    /// * `in_file` – where they start in the file, if they stand there
    fn add_cells<'a>(
        &mut self,
        number: u32,
        in_file: Option<usize>,
        cells: impl Iterator<Item = &'a str>,
        has_stray_text: bool,
    ) {
        let (start, first) = (in_file.unwrap_or(self.beside.len()), self.ends.len());
        let mut end = 0;
        for cell in cells {
            if in_file.is_none() {
                self.beside.push_str(cell);
                self.beside.push(' ');
            }
            self.ends.push(small(end + cell.len()));
            end += cell.len() + 1;
        }
        let (count, is_beside) = (self.ends.len() - first, in_file.is_none());
        self.rows.push(RowMade { number, start, first, count, has_stray_text, is_beside });
    }

    /// The rows.
    pub(crate) fn finish(self) -> Vec<GridRow> {
        let Self { file, mut beside, ends, rows } = self;
        beside.shrink_to_fit();
        let texts = Arc::new(TextRows { file, beside, ends: Ends::of(&ends) });
        let row = |RowMade { number, start, first, count, has_stray_text, is_beside }: RowMade| {
            let length = count.checked_sub(1).map_or(0, |last| texts.ends.get(first + last));
            let is_plain = is_plain(texts.text(is_beside, start, start + length));
            let (start, first, count) = (small(start), small(first), small(count));
            let texts = Arc::clone(&texts);
            GridRow { number, held: Held::Text { texts, start, first, count, is_plain, has_stray_text, is_beside } }
        };
        rows.into_iter().map(row).collect()
    }
}

fn small(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

impl Default for Held {
    fn default() -> Self {
        Self::Sheet(Vec::new())
    }
}

impl GridRow {
    /// Puts a text into a cell, past the end of the row too.
    pub(crate) fn set_text(&mut self, index: usize, text: &str) {
        if let Held::Sheet(cells) = &mut self.held {
            if cells.len() <= index {
                cells.resize(index + 1, SheetCell::default());
            }
            if let Some(cell) = cells.get_mut(index) {
                *cell = SheetCell { text: text.into(), is: Is::Text };
            }
            return;
        }
        let own = |at: usize| if at == index { text } else { self.cell(at).text };
        let texts = (0..self.count().max(index + 1)).map(own);
        let mut row = Self::of_texts(self.number, texts).with_stray_text(self.has_stray_text());
        if let Held::Text { is_plain, .. } = &mut row.held {
            *is_plain = false;
        }
        *self = row;
    }
}

impl GridRow {
    /// What each cell of a row of text takes besides its text.
    pub(crate) const fn room_of_cell(row: &[u8]) -> u64 {
        if row.len() <= u8::MAX as usize { 1 } else { size_of::<u32>() as u64 }
    }
}

impl Cells for GridRow {
    fn count(&self) -> usize {
        match &self.held {
            Held::Sheet(cells) => cells.len(),
            Held::Text { count, .. } => *count as usize,
        }
    }

    fn cell(&self, index: usize) -> CellRef<'_> {
        match &self.held {
            Held::Sheet(cells) => {
                cells.get(index).map_or(CellRef::EMPTY, |cell| CellRef { text: &cell.text, is: cell.is })
            }
            Held::Text { texts, start, first, count, is_beside, .. } => {
                if index >= *count as usize {
                    return CellRef::EMPTY;
                }
                let (start, at) = (*start as usize, *first as usize + index);
                let from = if index == 0 { 0 } else { texts.ends.get(at - 1) + 1 };
                let text = texts.text(*is_beside, start + from, start + texts.ends.get(at));
                CellRef { text, is: Is::Text }
            }
        }
    }

    fn is_text(&self) -> bool {
        matches!(self.held, Held::Text { .. })
    }

    fn is_plain(&self) -> bool {
        matches!(self.held, Held::Text { is_plain: true, .. })
    }

    fn has_stray_text(&self) -> bool {
        matches!(self.held, Held::Text { has_stray_text: true, .. })
    }
}

impl GridRow {
    /// A row of a sheet without cells yet.
    pub(crate) fn on_sheet(number: u32) -> Self {
        Self { number, held: Held::default() }
    }

    /// A row of a text table.
    pub(crate) fn of_texts<'a>(number: u32, texts: impl Iterator<Item = &'a str>) -> Self {
        let mut made = TextRowsMade { file: None, beside: String::new(), ends: Vec::new(), rows: Vec::new() };
        made.add_cells(number, None, texts, false);
        made.finish().pop().unwrap_or_default()
    }

    /// The row of a text table, saying whether text stands after a closing quote.
    pub(crate) fn with_stray_text(mut self, is_there: bool) -> Self {
        if let Held::Text { has_stray_text, .. } = &mut self.held {
            *has_stray_text = is_there;
        }
        self
    }

    /// The cells of a row of a sheet; `None` where it is of a text.
    pub(crate) fn on_sheet_mut(&mut self) -> Option<&mut Vec<SheetCell>> {
        match &mut self.held {
            Held::Sheet(cells) => Some(cells),
            Held::Text { .. } => None,
        }
    }

    /// Puts another content into a cell, wherever the row is kept.
    pub(crate) fn put(&mut self, index: usize, cell: SheetCell) {
        let texts: Vec<Name> = match &mut self.held {
            Held::Sheet(cells) => {
                if cells.len() <= index {
                    cells.resize(index + 1, SheetCell::default());
                }
                if let Some(place) = cells.get_mut(index) {
                    *place = cell;
                }
                return;
            }
            Held::Text { count, .. } => {
                let count = *count as usize;
                let own = |at: usize| if at == index { cell.text.clone() } else { Name::from(self.cell(at).text) };
                (0..count).map(own).collect()
            }
        };
        *self = Self::of_texts(self.number, texts.iter().map(Name::as_str)).with_stray_text(self.has_stray_text());
    }

    /// Its cells that hold something, for a note.
    pub(crate) fn shown(&self) -> String {
        shown(self)
    }
}

/// Whether text is ASCII without NUL, as most is: nothing in it needs a second look.
pub(crate) fn is_plain(text: &str) -> bool {
    text.is_ascii() && memchr::memchr(0, text.as_bytes()).is_none()
}

/// Whether no cell of a row holds anything.
pub(crate) fn is_blank_row(row: &impl Cells) -> bool {
    (0..row.count()).all(|index| is_blank(row.cell(index).text))
}

/// The cells of a row that hold something, for a note.
pub(crate) fn shown(row: &impl Cells) -> String {
    let held: Vec<&str> =
        (0..row.count()).map(|index| row.cell(index).text.trim()).filter(|text| !text.is_empty()).collect();
    shortened(&held.join(" | "))
}

/// Text short enough for a sentence, in one line.
pub(crate) fn shortened(text: &str) -> String {
    const MOST: usize = 200;
    match text.char_indices().nth(MOST) {
        None => escaped(text).into_owned(),
        Some((end, _)) => escaped(text.get(..end).unwrap_or_default()).into_owned() + "…",
    }
}

/// What stands around a cell's text without being of it.
pub(crate) fn is_padding(letter: char) -> bool {
    letter.is_whitespace() || matches!(letter, '\u{feff}' | '\u{200b}' | '\u{2060}')
}

pub(crate) fn is_blank(text: &str) -> bool {
    text.is_empty() || trimmed(text).is_empty()
}

/// The text without blanks around it, whatever kind of blank.
pub(crate) fn trimmed(text: &str) -> &str {
    let bytes = text.as_bytes();
    match (bytes.first(), bytes.last()) {
        (Some(first), Some(last)) if first.is_ascii_graphic() && last.is_ascii_graphic() => text,
        (None, _) => text,
        _ => text.trim_matches(is_padding),
    }
}

/// The text as part numbers and places are compared: trimmed, NFKC, plain blanks.
pub(crate) fn clean(text: &str) -> Cow<'_, str> {
    let text = trimmed(text);
    if text.is_ascii() {
        return Cow::Borrowed(text);
    }
    let normal: String = text.nfkc().collect();
    Cow::Owned(trimmed(&normal).to_owned())
}

/// Whether text holds bytes that no encoding explains, or NUL.
pub(crate) fn is_undecodable(text: &str) -> bool {
    text.chars().any(|letter| letter == '\u{fffd}' || letter == '\0')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn part_numbers_lose_blanks_and_compatibility_forms() {
        for (given, wanted) in [
            (" AB-1 ", "AB-1"),
            ("\u{a0}AB\u{a0}1\u{202f}", "AB 1"),
            ("ＡＢ－１", "AB-1"),
            ("\u{feff}X\u{200b}", "X"),
            ("Ä1", "Ä1"),
            ("А1", "А1"),
            ("", ""),
        ] {
            assert_eq!(clean(given), wanted, "{given:?}");
        }
    }

    #[test]
    fn a_long_text_is_shortened_for_a_sentence() {
        assert_eq!(shortened(&"x".repeat(300)).chars().count(), 201);
        assert_eq!(shortened("sho\0rt"), "sho\\u{0}rt");
    }
}
