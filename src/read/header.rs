//! The columns of a table as its header gives them, and which rows around them are none of the
//! table's.

use std::sync::Arc;

use crate::physics::unit::{Dimension, Unit};
use crate::tables::column::{Column, Holds, Table};
use crate::tables::near_column::{least_far_column, near_column};
use crate::tables::origin::{HeaderCell, NO_HEADER, UnknownHeader, column_letter};
use crate::tables::words::{PLACE, folded};

use super::cell::{CellRef, Cells, Is, is_blank_row, shortened, trimmed};
use super::column_sums::ColumnSums;
use super::header_text::{bracketed, fold};
use super::headers::trade_words::column_meant;
use super::number::{ColumnStyle, Numeral};
use super::other_counts::{OTHER_SIZES, as_reciprocal, counts_otherwise};
use super::plant_words::PlantWords;

pub(crate) const TOTAL: &str = "A row of totals.";
pub(crate) const HEADER_AGAIN: &str = "The header once more.";
pub(crate) const UNITS_AGAIN: &str = "The row of units once more.";
pub(crate) const HEADING: &str = "A row with a place and neither a part number nor a quantity, read as a heading.";

/// A column of a table as it stands in a file.
#[derive(Clone, Debug)]
pub(crate) struct LayoutColumn {
    /// The header's text as given.
    pub text: String,
    /// As headers are compared.
    pub folded: String,
    pub known: Option<&'static Column>,
    /// The column whose standard uncertainties stand in it: `leak ±`.
    pub spread: Option<&'static Column>,
    /// Whether these are per cent of the figures.
    pub is_share: bool,
    /// Of a quantity: the header's, the units row's or the policy's.
    pub unit: Option<&'static Unit>,
    /// Whether the file itself says so.
    pub unit_is_given: bool,
    /// That of a header which gives none.
    pub usual: Option<&'static Unit>,
    /// Of a number for each length: that length.
    pub per: Option<&'static Unit>,
    /// How unclear numbers are read.
    pub numbers: ColumnStyle,
}

impl LayoutColumn {
    /// What two lists must share for a cell to be the same: the known column with its unit, or
    /// the header.
    pub(crate) fn identity(&self) -> String {
        match (self.known, self.unit) {
            (Some(known), Some(unit)) => format!("{} {}", known.name, unit.symbol),
            (Some(known), None) => known.name.to_owned(),
            (None, _) => format!("? {}", self.folded),
        }
    }

    /// Whether numbers stand in it, whose style says something.
    pub(crate) fn is_numeric(&self) -> bool {
        self.known.or(self.spread).is_some_and(|column| {
            matches!(
                column.holds,
                Holds::Number
                    | Holds::PerLength
                    | Holds::Quantity(..)
                    | Holds::Temperature
                    | Holds::Share
                    | Holds::Money
            )
        })
    }

    fn dimension(&self) -> Option<Dimension> {
        self.known.or(self.spread).and_then(dimension_of)
    }
}

/// What a column's cells measure.
pub(crate) const fn dimension_of(column: &Column) -> Option<Dimension> {
    match column.holds {
        Holds::Quantity(dimension, _) => Some(dimension),
        Holds::Temperature => Some(Dimension::Temperature),
        _ => None,
    }
}

/// The columns of a table in one file or sheet.
#[derive(Clone, Debug)]
pub(crate) struct Layout {
    pub table: Table,
    /// How the plant writes.
    pub own: Arc<PlantWords>,
    /// The row of the header, as a spreadsheet shows it.
    pub header_row: u32,
    /// The sheet column that the table starts in.
    pub first: usize,
    /// The sheet column of each of `columns` where they don't follow each other: those of one circuit
    /// of a matrix; else empty.
    pub sheet_columns: Vec<u32>,
    /// Cells that a row of a text may have, blank ones counted: more are a cell that was split.
    pub most_cells: usize,
    /// From the first column to the last one with a header.
    pub columns: Vec<LayoutColumn>,
    /// Places of the known columns, in the order of the table's columns.
    pub slots: Vec<Option<usize>>,
    /// The place of the part number, where the table has it.
    pub slot_of_part: Option<usize>,
    /// Of the columns, those at the end that the file lacks.
    pub added: usize,
    /// Places in `columns` of those that state uncertainties.
    pub spreads: Vec<usize>,
}

impl Layout {
    /// Whether a column states how far a known one is known.
    pub(crate) fn states_spread(&self, at: usize, of: &Column) -> bool {
        self.columns.get(at).and_then(|column| column.spread).is_some_and(|known| known.name == of.name)
    }

    /// A column of uncertainties of a column that the table lacks is one that nobody knows.
    pub(crate) fn drop_spreads_of_nothing(&mut self) {
        let has_base = |at: &usize| {
            self.columns.get(*at).and_then(|column| column.spread).is_some_and(|of| self.slot(of.name).is_some())
        };
        let (kept, dropped): (Vec<usize>, Vec<usize>) = self.spreads.iter().partition(|at| has_base(at));
        for at in dropped {
            if let Some(column) = self.columns.get_mut(at) {
                column.spread = None;
            }
        }
        self.spreads = kept;
    }

    /// Columns that the file has.
    pub(crate) const fn width(&self) -> usize {
        self.columns.len() - self.added
    }

    /// The place of a known column in `columns`.
    pub(crate) fn slot(&self, name: &str) -> Option<usize> {
        let index = self.table.columns().iter().position(|column| column.name == name)?;
        self.slots.get(index).copied().flatten()
    }

    pub(crate) fn has(&self, name: &str) -> bool {
        self.slot(name).is_some()
    }

    /// The letter of a place in `columns`.
    pub(crate) fn letter(&self, slot: usize) -> String {
        column_letter(self.sheet_column(slot))
    }

    /// The sheet column of a place in `columns`.
    pub(crate) fn sheet_column(&self, slot: usize) -> u32 {
        let own = self.sheet_columns.get(slot).copied();
        own.unwrap_or_else(|| u32::try_from(self.first + slot).unwrap_or(u32::MAX))
    }

    pub(crate) fn header_cells(&self) -> Vec<HeaderCell> {
        let cell = |(slot, column): (usize, &LayoutColumn)| HeaderCell {
            index: self.sheet_column(slot),
            text: column.text.clone(),
            column: column.known.map(|known| known.name),
        };
        self.columns.iter().enumerate().map(cell).collect()
    }

    /// Places in `columns` whose header names no known column, or is blank.
    pub(crate) fn unknown_slots(&self) -> Vec<usize> {
        let is_unknown = |column: &LayoutColumn| column.known.is_none() && column.spread.is_none();
        (0..self.columns.len()).filter(|slot| self.columns.get(*slot).is_some_and(is_unknown)).collect()
    }

    /// Headers in a row that name no known column; the cells under them are still to be counted.
    pub(crate) fn unknown_headers(&self, row: u32) -> Vec<UnknownHeader> {
        let unknown = self.unknown_slots().into_iter().filter_map(|slot| Some((slot, &self.columns.get(slot)?.text)));
        let header = |(slot, text): (usize, &String)| UnknownHeader {
            text: if text.is_empty() { NO_HEADER.to_owned() } else { text.clone() },
            index: self.sheet_column(slot),
            row,
            nearest: nearest(self.table, unsigned(text).unwrap_or(text), |_| true),
            lacking: nearest(self.table, unsigned(text).unwrap_or(text), |name| !self.has(name)),
            least_far: least_far_column(self.table, text, |_| true),
            cells: 0,
        };
        unknown.map(header).collect()
    }

    /// Cells up to the last with a header.
    pub(crate) const fn end(&self) -> usize {
        self.first + self.width()
    }

    /// Lets rows of a text have as many cells as all of them have, be it that each ends with blank
    /// ones; `least` are the cells of the shortest one that is not too short.
    pub(crate) fn let_all_have(&mut self, least: usize) {
        self.most_cells = self.most_cells.max(least);
    }

    /// Whether rows are read as by another layout of the same header.
    pub(crate) fn reads_as(&self, other: &Self) -> bool {
        let numbers = |layout: &Self| layout.columns.iter().map(|column| column.numbers).collect::<Vec<_>>();
        self.most_cells == other.most_cells && numbers(self) == numbers(other)
    }

    /// Whether a row has as many cells as the header. Empty ones past its end don't count, unless
    /// the row has more of them than the header and than other rows of its file.
    pub(crate) fn fits(&self, row: &impl Cells) -> bool {
        let end = self.end();
        if row.is_text() && (row.count() < end || row.count() > self.most_cells || row.has_stray_text()) {
            return false;
        }
        (self.first + self.columns.len()..row.count()).all(|index| row.cell(index).is_blank())
    }

    /// What was expected of a row that does not fit.
    pub(crate) fn row_fault(&self, row: &impl Cells) -> String {
        if row.has_stray_text() {
            return "a separator after the quote that ends a cell".to_owned();
        }
        let mut found = row.count();
        while found > self.first + self.width() && row.cell(found - 1).is_blank() {
            found -= 1;
        }
        if found == self.end() && row.count() > self.most_cells {
            return format!(
                "{} as in the header, found {} with the blank ones at the end, more than in other rows: a comma before decimals may part a number",
                cells(self.width()),
                row.count()
            );
        }
        format!("{} as in the header, found {}", cells(self.width()), found.saturating_sub(self.first))
    }

    /// Whether a row at the end of a table is no line but a total: without a part number, it holds the word total.
    pub(crate) fn is_total(&self, row: &impl Cells) -> bool {
        let Some(part) = self.slot("part_no") else { return false };
        let says_total = |text: &str| {
            text.split(|letter: char| !letter.is_alphanumeric())
                .any(|word| matches!(word.to_ascii_lowercase().as_str(), "total" | "totals" | "subtotal" | "subtotals"))
        };
        let part_no = row.cell(self.first + part);
        let named = || (0..row.count()).any(|index| says_total(row.cell(index).text)) || self.is_sum(row);
        if !self.fits(row) {
            return (0..row.count())
                .map(|index| row.cell(index))
                .find(|cell| !cell.is_blank())
                .is_some_and(|cell| says_total(cell.text));
        }
        if !part_no.is_blank() {
            return matches!(folded(part_no.text).trim_end_matches(':'), "total" | "totals");
        }
        named()
    }

    /// The sums that the very last row of a table would be of; nothing where it has a part number, or more than numbers.
    pub(crate) fn sums_of(&self, row: &impl Cells) -> Option<ColumnSums> {
        let part = self.first + self.slot("part_no")?;
        let may_be = self.fits(row) && row.cell(part).is_blank() && self.holds_only_sums(row);
        let style = |(slot, column): (usize, &LayoutColumn)| (self.first + slot, column.numbers);
        if may_be { ColumnSums::of(row, self.columns.iter().enumerate().map(style)) } else { None }
    }

    /// Adds a row above to sums, where it is a line.
    pub(crate) fn add_to(&self, sums: &mut ColumnSums, row: &impl Cells) {
        let is_line = !is_blank_row(row) && self.fits(row) && matches!(self.no_line(row), Ok(None));
        if is_line && !self.is_total(row) {
            sums.add(row);
        }
    }

    /// Whether a row, wherever it stands, is no line but a sum.
    pub(crate) fn is_sum(&self, row: &impl Cells) -> bool {
        self.slot_of_part.is_some_and(|part| is_sum_row(row, self.first + part, &self.own))
    }

    /// Why a row is none of the table's own: it repeats the header, as on each page of a printed list, or the units.
    ///
    /// # Errors
    /// Where it says something else than the header: what stands below would be read as what it is not.
    pub(crate) fn head_again(&self, row: &impl Cells) -> Result<Option<&'static str>, String> {
        let key = self.slot_of_part.unwrap_or(0);
        if self.names_column(row, key) {
            return self.header_again(row);
        }
        if row.cell(self.first + key).is_blank() { self.units_again(row) } else { Ok(None) }
    }

    /// Whether a cell says what the header over it says, whatever stands in brackets behind it.
    fn names_column(&self, row: &impl Cells, slot: usize) -> bool {
        let Some(column) = self.columns.get(slot).filter(|column| !column.folded.is_empty()) else { return false };
        let text = row.cell(self.first + slot).text;
        // Most cells start with another letter.
        let starts = text.bytes().next().filter(u8::is_ascii_alphanumeric).zip(column.folded.bytes().next());
        if starts.is_some_and(|(own, first)| own.to_ascii_lowercase() != first) {
            return false;
        }
        let name = |letter: &char| !matches!(letter, '[' | '(');
        let is_of_name = |letter: &char| !letter.is_whitespace() && !matches!(letter, '_' | '-' | '.');
        let found = text.chars().filter(is_of_name).flat_map(char::to_lowercase).take_while(name);
        found.eq(column.folded.chars().take_while(name))
    }

    /// A row whose key is a header: one that says the same as the header is skipped.
    fn header_again(&self, row: &impl Cells) -> Result<Option<&'static str>, String> {
        let slots = 0..self.columns.len();
        let named = slots.clone().filter(|slot| self.names_column(row, *slot)).count();
        let least = if self.slot_of_part.is_some() { 2 } else { 3 };
        if named < least.min(self.width()) {
            return Ok(None);
        }
        for slot in slots {
            let Some(column) = self.columns.get(slot) else { continue };
            let text = trimmed(row.cell(self.first + slot).text);
            if text == column.text || text.is_empty() || column.known.is_none() && column.spread.is_none() {
                continue;
            }
            let unit = bracketed(text).map(|(_, unit)| unit);
            let is_same_unit = match (column.dimension(), unit) {
                (Some(dimension), Some(unit)) => self.own.unit(unit, dimension) == column.unit,
                (None, Some(unit)) => {
                    let is_other = |known: &Column| is_other_unit(known, unit, column.per, &self.own);
                    fold(text) == column.folded || !column.is_numeric() || !column.known.is_some_and(is_other)
                }
                (Some(_), None) => column.unit == column.usual,
                (None, None) => true,
            };
            // Another word over a column of texts is a name of it; over numbers it may be another measure.
            let name = fold(bracketed(text).map_or(text, |(name, _)| name).trim_end_matches(':'));
            let named = self.table.columns().iter().find(|other| folded(other.name) == name);
            let is_own = named.is_some_and(|named| column.known.is_some_and(|known| known.name == named.name));
            let is_again = is_own || self.names_column(row, slot) || name == column.folded;
            let is_other = !is_again && (column.is_numeric() || named.is_some());
            if is_other || !is_same_unit {
                return Err(format!(
                    "the header stands there once more and says another thing in cell {}, '{}' where the first says '{}'. Give both the same columns and units, or part the table in two.",
                    self.letter(slot),
                    shortened(text),
                    shortened(&column.text)
                ));
            }
        }
        Ok(Some(HEADER_AGAIN))
    }

    /// A row that holds nothing but units of the columns over it: where they are theirs it is skipped.
    fn units_again(&self, row: &impl Cells) -> Result<Option<&'static str>, String> {
        let mut other = None;
        let mut has_units = false;
        for index in 0..row.count() {
            let cell = row.cell(index);
            let text = trimmed(cell.text);
            if text.is_empty() {
                continue;
            }
            if cell.is != Is::Text {
                return Ok(None);
            }
            let text = text.strip_prefix(['[', '(']).and_then(|inner| inner.strip_suffix([']', ')'])).unwrap_or(text);
            let column = index.checked_sub(self.first).and_then(|slot| self.columns.get(slot));
            let Some(column) = column else { return Ok(None) };
            let unit = column.dimension().and_then(|dimension| self.own.unit(text, dimension));
            let is_of_number = column.known.is_some_and(|known| {
                column.dimension().is_none()
                    && column.is_numeric()
                    && !is_other_unit(known, text, column.per, &self.own)
            });
            match unit {
                Some(unit) if Some(unit) != column.unit => other = other.or(Some((index, text.to_owned(), column))),
                None if !is_of_number && !matches!(text, "-" | "–" | "—" | "/") => return Ok(None),
                _ => {}
            }
            has_units |= unit.is_some();
        }
        match other {
            _ if !has_units => Ok(None),
            None => Ok(Some(UNITS_AGAIN)),
            Some((index, text, column)) => Err(format!(
                "a row of units stands there, and cell {} says '{text}' where the column {} is read in {}. Put it right under the header, or the units behind the headers in brackets.",
                self.letter(index - self.first),
                column.known.or(column.spread).map_or(column.text.as_str(), |known| known.name),
                column.unit.map_or("", |unit| unit.name)
            )),
        }
    }

    /// Whether a row of a list names a place and nothing else: a heading, or the end of the list.
    fn is_heading(&self, row: &impl Cells) -> bool {
        if self.table != Table::Lists
            || self.slot_of_part.is_none_or(|part| !row.cell(self.first + part).is_blank())
            || self.slot("qty").is_some_and(|slot| !row.cell(self.first + slot).is_blank())
        {
            return false;
        }
        // In a text a row that is cut short is a line that lost cells; `*** end ***` is none.
        if row.is_text() && row.count() < self.end() {
            let mut filled = (0..row.count()).map(|index| row.cell(index)).filter(|cell| !cell.is_blank());
            if filled.next().is_none_or(|cell| trimmed(cell.text).starts_with(char::is_alphanumeric)) {
                return false;
            }
        }
        let place = PLACE.map(|name| self.slot(name).map(|slot| self.first + slot));
        (0..row.count()).all(|index| row.cell(index).is_blank() || place.contains(&Some(index)))
    }

    /// Why a row of a list, wherever it stands, is no line; `None` where it is one.
    ///
    /// # Errors
    /// Where nobody can tell what stands below it.
    pub(crate) fn no_line(&self, row: &impl Cells) -> Result<Option<&'static str>, String> {
        if self.is_sum(row) {
            return Ok(Some(TOTAL));
        }
        Ok(self.head_again(row)?.or_else(|| self.is_heading(row).then_some(HEADING)))
    }

    /// Whether a row above the header is filled as a line is: its key, a number under a column of numbers, and another cell.
    pub(crate) fn looks_like_line(&self, row: &impl Cells) -> bool {
        let key = self.first + self.slot_of_part.unwrap_or(0);
        let has_number = |(slot, column): (usize, &LayoutColumn)| {
            column.is_numeric() && slot + self.first != key && holds_number(row.cell(self.first + slot))
        };
        let filled = (0..row.count()).filter(|index| !row.cell(*index).is_blank()).count();
        filled > 2 && !row.cell(key).is_blank() && self.columns.iter().enumerate().any(has_number)
    }

    fn holds_only_sums(&self, row: &impl Cells) -> bool {
        let is_sum = |(slot, column): (usize, &LayoutColumn)| {
            let cell = row.cell(self.first + slot);
            cell.is_blank() || (column.is_numeric() || column.known.is_none()) && holds_number(cell)
        };
        self.columns.iter().enumerate().all(is_sum)
    }

    /// Takes the units of a row above the header, where it is one of units: nothing stands in it but units over columns
    /// of quantities.
    pub(crate) fn take_units_above(&mut self, row: &impl Cells, place: &str, number: u32) -> bool {
        let is_over_quantity = |index: usize| {
            let column = index.checked_sub(self.first).and_then(|slot| self.columns.get(slot));
            row.cell(index).is_blank() || column.is_some_and(|column| column.dimension().is_some())
        };
        if !(0..row.count()).all(is_over_quantity) {
            return false;
        }
        let mut with_units = self.clone();
        let has_units = with_units.take_units(row, place, number).unwrap_or(false);
        if has_units {
            *self = with_units;
        }
        has_units
    }

    /// Takes the units of a units row, where the row under the header is one.
    pub(crate) fn take_units(&mut self, row: &impl Cells, place: &str, number: u32) -> Result<bool, String> {
        let text_of = |index: usize| {
            let text = trimmed(row.cell(index).text);
            text.strip_prefix(['[', '(']).and_then(|inner| inner.strip_suffix([']', ')'])).unwrap_or(text).to_owned()
        };
        let mut found = Vec::new();
        let mut unknown = None;
        let mut other = None;
        for (slot, column) in self.columns.iter().enumerate() {
            let text = text_of(self.first + slot);
            if text.is_empty() || matches!(text.as_str(), "-" | "–" | "—" | "/") {
                continue;
            }
            let is_number = Numeral::scan(&text).is_some();
            let Some(dimension) = column.dimension() else {
                if column.is_numeric() && is_number {
                    return Ok(false);
                }
                if let Some(known) = column.known.filter(|known| is_other_unit(known, &text, column.per, &self.own)) {
                    other = other.or(Some((slot, text, known)));
                }
                continue;
            };
            match self.own.unit(&text, dimension) {
                Some(unit) => found.push((slot, unit)),
                None if is_number => return Ok(false),
                None => unknown = Some((slot, text, dimension)),
            }
        }
        if found.is_empty() {
            return Ok(false);
        }
        if let Some((slot, text, dimension)) = unknown {
            let name = self.columns.get(slot).map_or("", |column| column.text.as_str());
            return Err(unknown_unit(place, number, &self.letter(slot), name, &text, dimension));
        }
        if let Some((slot, text, known)) = other {
            let name = self.columns.get(slot).map_or("", |column| column.text.as_str());
            return Err(other_unit(place, number, &self.letter(slot), name, &text, known));
        }
        for (slot, unit) in found {
            let letter = self.letter(slot);
            let Some(column) = self.columns.get_mut(slot) else { continue };
            if column.unit_is_given && column.unit != Some(unit) {
                let given = column.unit.map_or("", |unit| unit.name);
                return Err(format!(
                    "{place}, cell {letter}{number}: the units row says {} where the header '{}' says {given}.",
                    unit.name, column.text
                ));
            }
            column.unit = Some(unit);
            column.unit_is_given = true;
        }
        Ok(true)
    }
}

/// Whether a row is no line but a sum: its only texts start with words of sums, beside numbers, and in
/// place of the part number stands nothing or such a word alone.
pub(crate) fn is_sum_row(row: &impl Cells, part: usize, own: &PlantWords) -> bool {
    let part = row.cell(part);
    if !part.is_blank() && !own.is_total_word(part.text) {
        return false;
    }
    let (mut has_word, mut has_number) = (false, false);
    for cell in (0..row.count()).map(|index| row.cell(index)).filter(|cell| !cell.is_blank()) {
        if holds_number(cell) {
            has_number = true;
        } else if own.says_total(cell.text) {
            has_word = true;
        } else {
            return false;
        }
    }
    has_word && has_number
}

/// Whether a cell is a number, or a text that starts with one.
pub(crate) fn holds_number(cell: CellRef) -> bool {
    cell.is.number().is_some() || cell.is == Is::Text && Numeral::scan(cell.text).is_some()
}

fn cells(count: usize) -> String {
    if count == 1 { "1 cell".to_owned() } else { format!("{count} cells") }
}

/// `leak ±` is `leak`; `None` where the sign is missing.
pub(crate) fn unsigned(text: &str) -> Option<&str> {
    let name = text.strip_suffix('±').or_else(|| text.strip_suffix("+/-"))?;
    Some(trimmed(name))
}

/// The column that a header was probably meant to be: by its letters, else by a word of the trade.
fn nearest(table: Table, header: &str, is_wanted: impl Fn(&str) -> bool) -> Option<&'static str> {
    near_column(table, header, &is_wanted).or_else(|| column_meant(table, header, &is_wanted))
}

/// Whether the unit in the header of a plain number may make it another one than the number that the column holds: pieces
/// in pairs, days in shifts, a loss for each centimetre. Other words say nothing of it.
pub(crate) fn is_other_unit(column: &Column, unit: &str, per: Option<&Unit>, own: &PlantWords) -> bool {
    if !matches!(column.holds, Holds::Number | Holds::Share | Holds::PerLength) {
        return is_other_size(column, unit, per);
    }
    let counts_pieces = column.counted_in.contains(&"pieces") && own.counts_pieces(unit);
    // A dash, or the sign for times.
    let is_sign = matches!(unit.trim_end_matches('.'), "" | "-" | "–" | "—" | "/" | "#" | "x" | "X" | "×");
    if is_own(column, unit, per) || counts_pieces || is_sign {
        return false;
    }
    column.holds == Holds::PerLength || is_other_size(column, unit, per) || counts_otherwise(unit)
}

/// Whether a unit is the one of a column of plain numbers.
fn is_own(column: &Column, unit: &str, per: Option<&Unit>) -> bool {
    let own = per.map(|per| format!("1/{}", per.symbol));
    let reciprocal = as_reciprocal(unit);
    let unit = reciprocal.as_deref().unwrap_or(unit);
    let is_own = |own: &str| folded(unit) == folded(own) || unit == own;
    own.as_deref().is_some_and(is_own) || column.counted_in.iter().any(|own| is_own(own))
}

/// Whether a unit makes a plain number another one than the column holds, whatever it is called: a share in per cent,
/// days in weeks, a price per hundred.
pub(crate) fn is_other_size(column: &Column, unit: &str, per: Option<&Unit>) -> bool {
    if !matches!(column.holds, Holds::Number | Holds::Share | Holds::PerLength | Holds::Money)
        || is_own(column, unit, per)
    {
        return false;
    }
    let unit = unit.trim_end_matches('.');
    let is_multiple = unit.split(|letter: char| !letter.is_ascii_digit()).any(|number| number.len() > 1)
        || unit.starts_with(|letter: char| letter.is_ascii_digit()) && !unit.starts_with("1/");
    // What is counted for each kelvin is in no other ratio.
    let is_ratio =
        column.counted_in.iter().any(|own| own.contains('/')) && (unit.contains('/') || unit.contains("ppm"));
    OTHER_SIZES.contains(&unit.to_lowercase().as_str())
        || is_multiple
        || is_ratio
        || Unit::find(unit).is_some()
        || unit.strip_prefix("1/").is_some_and(|per| Unit::find(per).is_some())
}

pub(crate) fn other_unit(place: &str, row: u32, letter: &str, header: &str, unit: &str, column: &Column) -> String {
    let held = match column.holds {
        Holds::Share => "a plain number from 0 to 1".to_owned(),
        _ => column
            .counted_in
            .last()
            .map_or_else(|| "a plain number".to_owned(), |word| format!("a plain number of {word}")),
    };
    format!(
        "{place}, cell {letter}{row} ('{}'): the column {} holds {held} ({}), and '{}' may make it another one. Leave it out where it says nothing else.",
        shortened(header),
        column.name,
        column.meaning,
        shortened(unit)
    )
}

pub(crate) fn unknown_unit(
    place: &str,
    row: u32,
    letter: &str,
    header: &str,
    unit: &str,
    dimension: Dimension,
) -> String {
    let known: Vec<&str> =
        crate::physics::unit::UNITS.iter().filter(|unit| unit.dimension == dimension).map(|unit| unit.symbol).collect();
    format!(
        "{place}, cell {letter}{row} ('{}'): '{}' is no known unit of {} {}; known are {}. [values.unit] of the policy takes other names of them.",
        shortened(header),
        shortened(unit),
        if dimension == Dimension::Area { "an" } else { "a" },
        dimension.name(),
        known.join(", ")
    )
}

#[cfg(test)]
mod tests;
