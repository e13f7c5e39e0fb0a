//! One row of a table, read column by column; what can't be read becomes a fault and a note.

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::physics::unit::{Dimension, Unit};
use crate::tables::column::{Column, Holds, RowSource};
use crate::tables::origin::{CellFault, InputNote, NOT_YET_DONE, NoteKind, Origin};
use crate::tables::spread::{OwnSpread, Uncertain};
use crate::tables::station::StationPart;

use super::cell::{CellRef, Cells, Is, clean, is_blank, is_undecodable, shortened, trimmed};
use super::header::{Layout, LayoutColumn, dimension_of};
use super::part_number::PartIndex;
use super::plant_words::set_name;
use super::quantity::{self, CellReading, MARKED};

/// Columns of dates on which something was done, which can't lie ahead.
const DONE: [&str; 2] = ["fitted_on", "topped_up"];

/// A row in work.
pub(crate) struct Record<'a, C> {
    pub layout: &'a Layout,
    pub row: &'a C,
    pub origin: Origin,
    /// What becomes of the row where a cell can't be read, a sentence.
    pub done: &'static str,
    pub faults: Vec<CellFault>,
    pub notes: &'a mut Vec<InputNote>,
    /// Part numbers of the component table, for columns that name a part.
    pub parts: Option<&'a PartIndex>,
}

impl<'a, C: Cells> Record<'a, C> {
    pub(crate) fn new(
        layout: &'a Layout,
        row: &'a C,
        origin: Origin,
        done: &'static str,
        notes: &'a mut Vec<InputNote>,
    ) -> Self {
        let mut record = Self { layout, row, origin, done, faults: Vec::new(), notes, parts: None };
        if !layout.fits(row) {
            let expected = layout.row_fault(row);
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

    fn settle<T>(&mut self, slot: Option<usize>, reading: CellReading<T>) -> Option<T> {
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
            Is::Text | Is::Number(_) | Is::Shown(..) | Is::Span(_) | Is::Other => {}
            Is::Marked => self.note(
                slot,
                NoteKind::Suspected,
                "Letters of the cell are struck out or raised; they were read as the others.",
            ),
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

    /// Text that is compared: trimmed, NFKC, plain blanks. A formula without a stored result is no blank: the name that
    /// it stands for is not known.
    pub(crate) fn key(&mut self, slot: Option<usize>) -> std::borrow::Cow<'a, str> {
        let cell = self.cell(slot);
        if cell.is == Is::NoResult && !cell.text.is_empty() {
            self.fault(slot, cell.text.to_owned(), "text, not a formula without a stored result".to_owned());
            return std::borrow::Cow::Borrowed("");
        }
        if cell.is == Is::Marked && self.column(slot).and_then(|column| column.known).is_some_and(holds_part) {
            self.fault(slot, cell.text.to_owned(), format!("a part number{MARKED}"));
            return clean(cell.text);
        }
        let text = self.text(slot);
        if self.row.is_plain() { std::borrow::Cow::Borrowed(text) } else { clean(text) }
    }

    fn number_with(
        &mut self,
        slot: Option<usize>,
        read: impl Fn(CellRef<'a>, &LayoutColumn) -> CellReading<f64>,
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
        (value > 0.0 || known.zero_counts).then_some(value)
    }

    /// A plain number or a quantity in SI; 0 where only more makes sense is a blank.
    pub(crate) fn number(&mut self, slot: Option<usize>) -> Option<f64> {
        let layout = self.layout;
        self.number_with(slot, |cell, column| {
            let Some(known) = column.known else { return Ok(None) };
            match (dimension_of(known), column.unit) {
                (Some(dimension), Some(unit)) => quantity::quantity(cell, dimension, unit, column.numbers, &layout.own),
                _ if known.holds == Holds::Share => quantity::share(cell, column.numbers),
                _ if known.holds == Holds::PerLength => {
                    let number = quantity::number(cell, column.numbers)?;
                    Ok(number.map(|number| number / column.per.map_or(1.0, |unit| unit.to_si(1.0))))
                }
                _ => quantity::number(cell, column.numbers),
            }
        })
    }

    /// Standard uncertainties that the row states of its columns; one that can't be read is noted, and the policy's
    /// counts.
    pub(crate) fn spreads(&mut self) -> Vec<OwnSpread> {
        let layout = self.layout;
        let mut stated = Vec::new();
        for slot in &layout.spreads {
            let Some((column, known)) = layout.columns.get(*slot).and_then(|column| Some((column, column.spread?)))
            else {
                continue;
            };
            let cell = self.cell(Some(*slot));
            if cell.is_blank() {
                continue;
            }
            let unit = if column.unit_is_given { column.unit } else { self.unit_of(known).or(column.unit) };
            let share = per_cent(cell).filter(|_| dimension_of(known) != Some(Dimension::Temperature));
            let uncertainty = match share.or_else(|| column.is_share.then_some(cell)) {
                Some(share) => quantity::number(share, column.numbers)
                    .map(|found| found.map(|found| Uncertain::Share(found / 100.0))),
                None => spread_in(cell, column, known, unit, &layout.own).map(|found| found.map(Uncertain::Absolute)),
            };
            match uncertainty {
                Ok(Some(uncertainty)) if uncertainty.is_from_0_on() => {
                    stated.push(OwnSpread { column: known.name, uncertainty });
                }
                Ok(None) => {}
                _ => self.note(
                    Some(*slot),
                    NoteKind::Suspected,
                    "Expected a standard uncertainty: a number from 0 on, or per cent such as '5 %'. That of the policy counts.",
                ),
            }
        }
        stated
    }

    /// The unit of a known column in this file.
    fn unit_of(&self, known: &Column) -> Option<&'static Unit> {
        self.column(self.layout.slot(known.name))?.unit
    }

    /// Exact decimals; below 0 is a fault.
    pub(crate) fn decimal(&mut self, slot: Option<usize>, expected: &str) -> Option<Decimal> {
        let cell = self.cell(slot);
        let column = self.column(slot)?;
        let is_of_pieces = column.known.is_some_and(|known| matches!(known.name, "qty" | "received"));
        let own = &self.layout.own;
        let may_follow = |rest: &str| is_of_pieces && own.counts_pieces(rest);
        let value = self.settle(slot, quantity::decimal(cell, column.numbers, expected, may_follow))?;
        if value.is_sign_negative() && !value.is_zero() {
            self.fault(slot, cell.text.to_owned(), format!("{expected}, not below 0"));
            return None;
        }
        let zero_counts = column.known.is_some_and(|known| known.zero_counts);
        (zero_counts || !value.is_zero()).then_some(value)
    }

    pub(crate) fn date(&mut self, slot: Option<usize>) -> Option<NaiveDate> {
        let reading = quantity::date(self.cell(slot), self.layout.own.rules.dates);
        let date = self.settle(slot, reading);
        let known = self.column(slot).and_then(|column| column.known).map_or("", |known| known.name);
        if DONE.contains(&known) && date.zip(self.layout.own.today).is_some_and(|(date, today)| date > today) {
            self.note(slot, NoteKind::Suspected, NOT_YET_DONE);
        }
        date
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
        let own = &self.layout.own;
        let find = |text: &str| find(text).or_else(|| find(own.word(text, words)?));
        let found = if cell.is == Is::Text { find(&clean(cell.text)) } else { None };
        if found.is_none() {
            self.fault(slot, cell.text.to_owned(), format!("{}{}", one_of(words), remedy(words)));
        }
        found
    }

    /// Words of a closed set, separated by blanks.
    pub(crate) fn words<T>(&mut self, slot: Option<usize>, find: impl Fn(&str) -> Option<T>, words: &[&str]) -> Vec<T> {
        let cell = self.cell(slot);
        let text = clean(cell.text);
        let own = &self.layout.own;
        let find = |text: &str| find(text).or_else(|| find(own.word(text, words)?));
        let found: Option<Vec<T>> =
            if cell.is == Is::Text { text.split_whitespace().map(find).collect() } else { None };
        found.unwrap_or_else(|| {
            self.fault(
                slot,
                cell.text.to_owned(),
                format!("words separated by blanks, each {}{}", one_of(words), remedy(words)),
            );
            Vec::new()
        })
    }
}

impl<C: Cells> Record<'_, C> {
    fn slot(&self, column: usize) -> Option<usize> {
        self.layout.slots.get(column).copied().flatten()
    }

    fn known(&self, column: usize) -> Option<&'static Column> {
        self.layout.table.columns().get(column)
    }
}

impl<C: Cells> RowSource for Record<'_, C> {
    fn number(&mut self, column: usize) -> Option<f64> {
        Record::number(self, self.slot(column))
    }

    fn decimal(&mut self, column: usize) -> Option<Decimal> {
        let expected = match (self.layout.table, self.known(column).map(|known| (known.holds, known.name))) {
            (_, Some((Holds::Money, _))) => "a price such as '12.50'",
            (_, Some((_, "pack_qty"))) => "a number of units such as '10'",
            _ => "a quantity such as '12'",
        };
        Record::decimal(self, self.slot(column), expected)
    }

    fn date(&mut self, column: usize) -> Option<NaiveDate> {
        Record::date(self, self.slot(column))
    }

    fn text(&mut self, column: usize) -> std::borrow::Cow<'_, str> {
        let slot = self.slot(column);
        let is_given = self.known(column).is_some_and(|known| known.as_given);
        if is_given { std::borrow::Cow::Borrowed(Record::text(self, slot)) } else { self.key(slot) }
    }

    fn word<T>(&mut self, column: usize, find: fn(&str) -> Option<T>, words: &[&str]) -> Option<T> {
        Record::word(self, self.slot(column), find, words)
    }

    fn words<T>(&mut self, column: usize, find: fn(&str) -> Option<T>, words: &[&str]) -> Vec<T> {
        Record::words(self, self.slot(column), find, words)
    }

    fn station_part(&mut self, column: usize) -> StationPart {
        let parts = self.parts;
        let text = self.key(self.slot(column));
        if is_blank(&text) {
            return StationPart::Blank;
        }
        let index = parts.and_then(|parts| parts.get(&text));
        index.map_or_else(|| StationPart::Unknown(text.into_owned()), StationPart::Known)
    }
}

fn holds_part(known: &Column) -> bool {
    known.holds == Holds::PartNo
}

fn negative(known: &Column, column: &LayoutColumn) -> String {
    match (dimension_of(known), column.unit) {
        (Some(dimension), Some(unit)) => format!("{}, not below 0", quantity::example(dimension, unit)),
        _ => "a number such as '4', not below 0".to_owned(),
    }
}

/// Where the policy takes other words for those of a set.
fn remedy(words: &[&str]) -> String {
    set_name(words).map_or_else(String::new, |set| format!("; [values.{set}] of the policy takes other words for them"))
}

fn one_of(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|word| format!("'{word}'")).collect();
    match quoted.split_last() {
        Some((last, earlier)) if !earlier.is_empty() => format!("{} or {last}", earlier.join(", ")),
        _ => quoted.join(""),
    }
}

/// The number of `5 %`.
fn per_cent(cell: CellRef<'_>) -> Option<CellRef<'_>> {
    cell.text.trim_end().strip_suffix('%').map(|text| CellRef { text: text.trim_end(), is: cell.is })
}

/// A standard uncertainty in SI; of a temperature it is a difference.
fn spread_in(
    cell: CellRef,
    column: &LayoutColumn,
    known: &Column,
    unit: Option<&Unit>,
    own: &super::plant_words::PlantWords,
) -> CellReading<f64> {
    match dimension_of(known).zip(unit) {
        Some((Dimension::Temperature, unit)) => {
            let degrees = quantity::number(cell, column.numbers)?;
            Ok(degrees.map(|degrees| degrees * (unit.to_si(1.0) - unit.to_si(0.0))))
        }
        Some((dimension, unit)) => quantity::quantity(cell, dimension, unit, column.numbers, own),
        None => quantity::number(cell, column.numbers),
    }
}
