//! One row of a table, read column by column; what can't be read becomes a fault and a note.

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::tables::column::{Column, Holds};
use crate::tables::origin::{CellFault, InputNote, NoteKind, Origin};

use super::cell::{CellRef, Cells, Is, clean, is_undecodable, shortened, trimmed};
use super::header::{Layout, LayoutColumn, dimension_of};
use super::quantity::{self, Reading};

/// Columns where 0 is a value; elsewhere it is a blank.
const ZERO_COUNTS: &[&str] = &[
    "dead_volume",
    "return_loss",
    "return_pressure",
    "min_pressure",
    "leak",
    "expansion",
    "poisson",
    "share",
    "unit_price",
    "lead_time",
    "hold_time",
    "qty",
    "temp_charge",
    "temp_min",
    "temp_max",
];

/// A row in work.
pub(crate) struct Record<'a, C> {
    pub layout: &'a Layout,
    pub row: &'a C,
    pub origin: Origin,
    /// What becomes of the row where a cell can't be read, a sentence.
    pub done: &'static str,
    pub faults: Vec<CellFault>,
    pub notes: &'a mut Vec<InputNote>,
}

impl<'a, C: Cells> Record<'a, C> {
    pub(crate) fn new(
        layout: &'a Layout,
        row: &'a C,
        origin: Origin,
        done: &'static str,
        notes: &'a mut Vec<InputNote>,
    ) -> Self {
        let mut record = Self { layout, row, origin, done, faults: Vec::new(), notes };
        if !layout.fits(row) {
            let expected = layout.width_fault(row);
            record.fault(None, super::cell::shown(row), expected);
        }
        record
    }

    pub(crate) fn cell(&self, slot: Option<usize>) -> CellRef<'a> {
        slot.map_or(CellRef::EMPTY, |slot| self.row.cell(self.layout.first + slot))
    }

    fn column(&self, slot: Option<usize>) -> Option<&'a LayoutColumn> {
        slot.and_then(|slot| self.layout.columns.get(slot))
    }

    /// Puts a fault on a cell, or on the whole row.
    pub(crate) fn fault(&mut self, slot: Option<usize>, found: String, expected: String) {
        let column = self.column(slot).and_then(|column| column.known).map_or("", |column| column.name);
        let letter = slot.map_or_else(String::new, |slot| self.layout.letter(slot));
        let kind = NoteKind::SetAside;
        let message = format!("Expected {expected}. {}", self.done);
        self.notes.push(InputNote {
            kind,
            origin: self.origin,
            letter: letter.clone(),
            column: column.to_owned(),
            found: shortened(&found),
            message,
        });
        self.faults.push(CellFault { column, letter, found, expected });
    }

    /// Puts a note on a cell.
    pub(crate) fn note(&mut self, slot: Option<usize>, kind: NoteKind, message: &str) {
        let column = self.column(slot).and_then(|column| column.known).map_or("", |column| column.name);
        let letter = slot.map_or_else(String::new, |slot| self.layout.letter(slot));
        let found = shortened(self.cell(slot).text);
        self.notes.push(InputNote {
            kind,
            origin: self.origin,
            letter,
            column: column.to_owned(),
            found,
            message: message.to_owned(),
        });
    }

    fn settle<T>(&mut self, slot: Option<usize>, reading: Reading<T>) -> Option<T> {
        reading.unwrap_or_else(|expected| {
            self.fault(slot, self.cell(slot).text.to_owned(), expected);
            None
        })
    }

    /// Text that is shown as given.
    pub(crate) fn text(&mut self, slot: Option<usize>) -> &'a str {
        let cell = self.cell(slot);
        if cell.text.is_empty() {
            return "";
        }
        match cell.is {
            Is::Text | Is::Number(_) | Is::Other => {}
            Is::Date(_) => self.note(
                slot,
                NoteKind::Suspected,
                "Expected text; the cell holds a date. It was read as the date's text.",
            ),
            Is::Error => self.note(
                slot,
                NoteKind::Suspected,
                "Expected text; the cell holds an error. It was read as the error's text.",
            ),
            Is::NoResult => {
                self.note(
                    slot,
                    NoteKind::Suspected,
                    "Expected text; the cell holds a formula without a stored result. It was read as blank.",
                );
                return "";
            }
        }
        if !self.row.is_plain() && is_undecodable(cell.text) {
            self.note(
                slot,
                NoteKind::Suspected,
                "Expected text; some bytes of the cell can't be decoded. It was read with a sign in their place.",
            );
        }
        trimmed(cell.text)
    }

    /// Text that is compared: trimmed, NFKC, plain blanks.
    pub(crate) fn key(&mut self, slot: Option<usize>) -> std::borrow::Cow<'a, str> {
        let text = self.text(slot);
        if self.row.is_plain() { std::borrow::Cow::Borrowed(text) } else { clean(text) }
    }

    fn number_with(
        &mut self,
        slot: Option<usize>,
        read: impl Fn(CellRef<'a>, &LayoutColumn) -> Reading<f64>,
    ) -> Option<f64> {
        let cell = self.cell(slot);
        if cell.text.is_empty() {
            return None;
        }
        let column = self.column(slot)?;
        let known = column.known?;
        let value = self.settle(slot, read(cell, column))?;
        if value < 0.0 {
            let expected = negative(known, column);
            self.fault(slot, cell.text.to_owned(), expected);
            return None;
        }
        (value > 0.0 || ZERO_COUNTS.contains(&known.name)).then_some(value)
    }

    /// A plain number or a quantity in SI; 0 where only more makes sense is a blank.
    pub(crate) fn number(&mut self, slot: Option<usize>) -> Option<f64> {
        self.number_with(slot, |cell, column| {
            let Some(known) = column.known else { return Ok(None) };
            match (dimension_of(known), column.unit) {
                (Some(dimension), Some(unit)) => quantity::quantity(cell, dimension, unit, column.rule),
                _ if known.holds == Holds::Share => quantity::share(cell, column.rule),
                _ => quantity::number(cell, column.rule),
            }
        })
    }

    /// Exact decimals; below 0 is a fault.
    pub(crate) fn decimal(&mut self, slot: Option<usize>, expected: &str) -> Option<Decimal> {
        let cell = self.cell(slot);
        let column = self.column(slot)?;
        let value = self.settle(slot, quantity::decimal(cell, column.rule, expected))?;
        if value.is_sign_negative() && !value.is_zero() {
            self.fault(slot, cell.text.to_owned(), format!("{expected}, not below 0"));
            return None;
        }
        let zero_counts = column.known.is_some_and(|known| ZERO_COUNTS.contains(&known.name));
        (zero_counts || !value.is_zero()).then_some(value)
    }

    pub(crate) fn date(&mut self, slot: Option<usize>) -> Option<NaiveDate> {
        let reading = quantity::date(self.cell(slot));
        self.settle(slot, reading)
    }

    /// A word of a closed set.
    pub(crate) fn word<T>(
        &mut self,
        slot: Option<usize>,
        find: impl Fn(&str) -> Option<T>,
        words: &[&str],
    ) -> Option<T> {
        let cell = self.cell(slot);
        if cell.is_blank() {
            return None;
        }
        let found = if cell.is == Is::Text { find(&clean(cell.text)) } else { None };
        if found.is_none() {
            self.fault(slot, cell.text.to_owned(), one_of(words));
        }
        found
    }

    /// Words of a closed set, separated by blanks.
    pub(crate) fn words<T>(&mut self, slot: Option<usize>, find: impl Fn(&str) -> Option<T>, words: &[&str]) -> Vec<T> {
        let cell = self.cell(slot);
        let text = clean(cell.text);
        let found: Option<Vec<T>> =
            if cell.is == Is::Text { text.split_whitespace().map(find).collect() } else { None };
        found.unwrap_or_else(|| {
            self.fault(slot, cell.text.to_owned(), format!("words separated by blanks, each {}", one_of(words)));
            Vec::new()
        })
    }
}

fn negative(known: &Column, column: &LayoutColumn) -> String {
    match (dimension_of(known), column.unit) {
        (Some(dimension), Some(unit)) => format!("{}, not below 0", quantity::example(dimension, unit)),
        _ => "a number such as '4', not below 0".to_owned(),
    }
}

fn one_of(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|word| format!("'{word}'")).collect();
    match quoted.split_last() {
        Some((last, earlier)) if !earlier.is_empty() => format!("{} or {last}", earlier.join(", ")),
        _ => quoted.join(""),
    }
}
