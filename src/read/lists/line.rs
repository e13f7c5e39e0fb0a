//! One row of a list to a line.

use crate::physics::quantity::{Force, Length, Pressure};
use crate::tables::column::{Holds, Table};
use crate::tables::line::{Cell, Line, PartRef, is_count};
use crate::tables::origin::{InputNote, NoteKind};
use crate::tables::words::{Side, Zone};

use crate::read::cell::{Cells, Is, clean, trimmed};
use crate::read::header::Layout;
use crate::read::part_number::PartIndex;
use crate::read::quantity::{self, MARKED};
use crate::read::record::Record;

use super::runs::head_of;

/// A column of lines besides the place and the part number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Field {
    Position,
    Qty,
    Length,
    Supports,
    StrokeUsed,
    Side,
    Share,
    ForceRequired,
    SetPressure,
    Precharge,
    Zone,
    Step,
    ArmLength,
    GripLength,
    FittedOn,
}

/// In the order in which they are read.
const FIELDS: [(&str, Field); 15] = [
    ("position", Field::Position),
    ("qty", Field::Qty),
    ("length", Field::Length),
    ("supports", Field::Supports),
    ("stroke_used", Field::StrokeUsed),
    ("side", Field::Side),
    ("share", Field::Share),
    ("force_required", Field::ForceRequired),
    ("set_pressure", Field::SetPressure),
    ("precharge", Field::Precharge),
    ("zone", Field::Zone),
    ("step", Field::Step),
    ("arm_length", Field::ArmLength),
    ("grip_length", Field::GripLength),
    ("fitted_on", Field::FittedOn),
];

/// Places of a list's columns.
#[derive(Clone, Debug, Default)]
pub(crate) struct LineSlots {
    /// Cells up to the last that names the circuit.
    pub head: usize,
    place: [Option<usize>; 4],
    part_no: Option<usize>,
    note: Option<usize>,
    /// Of the other columns those that the list has.
    fields: Vec<(Field, usize)>,
}

impl LineSlots {
    pub(crate) fn new(layout: &Layout) -> Self {
        debug_assert!(Table::Lists.column("part_no").is_some_and(|column| column.holds == Holds::PartNo));
        let slot = |name: &str| layout.slot(name);
        let place = [slot("plant"), slot("pallet"), slot("fixture"), slot("circuit")];
        let fields = FIELDS.into_iter().filter_map(|(name, field)| Some((field, slot(name)?)));
        Self {
            head: head_of(place.map(|slot| slot.map(|slot| layout.first + slot))),
            place,
            part_no: slot("part_no"),
            note: slot("note"),
            fields: fields.collect(),
        }
    }
}

const SET_ASIDE: &str = "The line was set aside.";

/// Reads a line of a blank part into its place; what can't be read goes to its faults and to the
/// notes.
pub(crate) fn read_line<C: Cells>(
    line: &mut Line,
    layout: &Layout,
    slots: &LineSlots,
    row: &C,
    parts: &PartIndex,
    notes: &mut Vec<InputNote>,
) {
    let origin = line.origin;
    let mut record = Record::new(layout, row, origin, SET_ASIDE, notes);
    // Read by the first pass; what is odd about them is noted here.
    if !row.is_plain() {
        for slot in slots.place {
            record.text(slot);
        }
    }
    line.part = part(&mut record, slots.part_no, parts);
    for (field, slot) in &slots.fields {
        // A blank says what a blank line has, but for a quantity.
        if record.cell(Some(*slot)).text.is_empty() && *field != Field::Qty {
            continue;
        }
        fill(line, &mut record, *field, Some(*slot));
    }
    if !row.is_plain() {
        record.text(slots.note);
    }
    if !layout.spreads.is_empty() {
        line.spreads = record.spreads();
    }
    line.faults = record.faults;
}

/// Takes what a cell says of a line.
fn fill<C: Cells>(line: &mut Line, record: &mut Record<C>, field: Field, slot: Option<usize>) {
    match field {
        Field::Position => line.position = record.key(slot).into(),
        Field::Qty => (line.qty, line.qty_text) = qty(record, slot),
        Field::Length => {
            let before = record.faults.len();
            line.length = match record.number(slot) {
                Some(length) => Cell::Value(Length::new(length)),
                None if record.faults.len() > before => Cell::Unreadable,
                None => Cell::Blank,
            };
        }
        Field::Supports => line.supports = record.key(slot).split_whitespace().map(str::to_owned).collect(),
        Field::StrokeUsed => line.stroke_used = record.number(slot).map(Length::new),
        Field::Side => line.side = record.word(slot, Side::find, Side::WORDS).unwrap_or(Side::Clamp),
        Field::Share if record.cell(slot).is_blank() => {}
        Field::Share => line.share = record.number(slot).unwrap_or(1.0),
        Field::ForceRequired => line.force_required = record.number(slot).map(Force::new),
        Field::SetPressure => line.set_pressure = record.number(slot).map(Pressure::new),
        Field::Precharge => line.precharge = record.number(slot).map(Pressure::new),
        Field::Zone => line.zone = record.word(slot, Zone::find, Zone::WORDS),
        Field::Step => line.step = record.number(slot),
        Field::ArmLength => line.arm_length = record.number(slot).map(Length::new),
        Field::GripLength => line.grip_length = record.number(slot).map(Length::new),
        Field::FittedOn => line.fitted_on = record.date(slot),
    }
}

fn part<C: Cells>(record: &mut Record<C>, slot: Option<usize>, parts: &PartIndex) -> PartRef {
    let cell = record.cell(slot);
    let part = parts.lead(cell);
    if cell.is == Is::Marked {
        record.fault(slot, cell.text.to_owned(), format!("a part number{MARKED}"));
        return part;
    }
    match &part {
        PartRef::Altered(alteration) => {
            let likely = alteration.likely.as_ref().map_or_else(
                || "No part number of the table explains it.".to_owned(),
                |likely| format!("It may have been '{likely}'."),
            );
            let message =
                format!("Expected a part number; this looks like {}. {likely} {SET_ASIDE}", alteration.looks_like);
            record.note(slot, NoteKind::Suspected, &message);
        }
        PartRef::Known(_)
            if !cell.text.is_ascii()
                && clean(cell.text) != cell.text.trim_matches(|letter: char| letter.is_ascii_whitespace()) =>
        {
            record.note(slot, NoteKind::Repaired, "Blanks or letters of another form were read as plain ones.");
        }
        PartRef::Unknown(text) if text.is_empty() => {
            record.note(slot, NoteKind::SetAside, "Expected a part number. The line was set aside.");
        }
        PartRef::Known(_) | PartRef::Unknown(_) => {}
    }
    part
}

/// More pieces than any fixture has.
const MOST_PIECES: f64 = 1e9;

/// The pieces of a line; what can't be read is L02 and no fault.
fn qty<C: Cells>(record: &mut Record<C>, slot: Option<usize>) -> (Cell<f64>, String) {
    let cell = record.cell(slot);
    let numbers =
        slot.and_then(|slot| record.layout.columns.get(slot)).map(|column| column.numbers).unwrap_or_default();
    match quantity::pieces(cell, numbers, &record.layout.own) {
        Ok(Some(value)) if value > MOST_PIECES => {
            record.note(slot, NoteKind::SetAside, "Expected at most 1,000,000,000 pieces. The line was set aside.");
            (Cell::Unreadable, cell.text.to_owned())
        }
        Ok(Some(value)) => {
            if !is_count(value) {
                record.note(
                    slot,
                    NoteKind::SetAside,
                    "Expected a whole number of pieces above 0. The line was set aside.",
                );
            }
            (Cell::Value(value), String::new())
        }
        Ok(None) => {
            record.note(slot, NoteKind::SetAside, "Expected a whole number of pieces. The line was set aside.");
            (Cell::Blank, String::new())
        }
        Err(expected) => {
            let message = format!("Expected {expected}. {SET_ASIDE}");
            record.note(slot, NoteKind::SetAside, &message);
            let text = if cell.is == Is::NoResult { cell.text } else { trimmed(cell.text) };
            (Cell::Unreadable, text.to_owned())
        }
    }
}
