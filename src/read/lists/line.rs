//! One row of a list to a line.

use crate::model::column::{Holds, Table};
use crate::model::line::{Cell, Line, PartRef, is_count};
use crate::model::origin::{InputNote, NoteKind, Origin};
use crate::model::words::{Side, YesNo};
use crate::physics::quantity::{Force, Length, Pressure};

use crate::read::cell::{Cells, Is, clean, trimmed};
use crate::read::header::Layout;
use crate::read::part_number::PartIndex;
use crate::read::quantity;
use crate::read::record::Record;

/// Places of a list's columns.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Slots {
    place: [Option<usize>; 4],
    position: Option<usize>,
    part_no: Option<usize>,
    qty: Option<usize>,
    length: Option<usize>,
    stroke_used: Option<usize>,
    side: Option<usize>,
    share: Option<usize>,
    force_required: Option<usize>,
    set_pressure: Option<usize>,
    precharge: Option<usize>,
    reduced: Option<usize>,
    supports: Option<usize>,
    note: Option<usize>,
}

impl Slots {
    pub(crate) fn new(layout: &Layout) -> Self {
        debug_assert!(Table::Lists.column("part_no").is_some_and(|column| column.holds == Holds::PartNo));
        let slot = |name: &str| layout.slot(name);
        Self {
            place: [slot("plant"), slot("pallet"), slot("fixture"), slot("circuit")],
            position: slot("position"),
            part_no: slot("part_no"),
            qty: slot("qty"),
            length: slot("length"),
            stroke_used: slot("stroke_used"),
            side: slot("side"),
            share: slot("share"),
            force_required: slot("force_required"),
            set_pressure: slot("set_pressure"),
            precharge: slot("precharge"),
            reduced: slot("reduced"),
            supports: slot("supports"),
            note: slot("note"),
        }
    }
}

const SET_ASIDE: &str = "The line was set aside.";

/// Reads a line; what can't be read goes to its faults and to the notes.
pub(crate) fn read_line<C: Cells>(
    layout: &Layout,
    slots: &Slots,
    row: &C,
    origin: Origin,
    parts: &PartIndex,
    notes: &mut Vec<InputNote>,
) -> Line {
    let mut record = Record::new(layout, row, origin, SET_ASIDE, notes);
    // Read by the first pass; what is odd about them is noted here.
    if !row.is_plain() {
        for slot in slots.place {
            record.text(slot);
        }
    }
    let part = part(&mut record, slots.part_no, parts);
    let position = record.key(slots.position).into();
    let (qty, qty_text) = qty(&mut record, slots.qty);
    let before = record.faults.len();
    let length = match record.number(slots.length) {
        Some(length) => Cell::Value(Length::new(length)),
        None if record.faults.len() > before => Cell::Unreadable,
        None => Cell::Blank,
    };
    let supports = record.key(slots.supports).split_whitespace().map(str::to_owned).collect();
    let line = Line {
        origin,
        part,
        position,
        qty,
        qty_text,
        length,
        stroke_used: record.number(slots.stroke_used).map(Length::new),
        side: record.word(slots.side, Side::find, Side::WORDS).unwrap_or(Side::Clamp),
        share: if record.cell(slots.share).is_blank() { 1.0 } else { record.number(slots.share).unwrap_or(1.0) },
        force_required: record.number(slots.force_required).map(Force::new),
        set_pressure: record.number(slots.set_pressure).map(Pressure::new),
        precharge: record.number(slots.precharge).map(Pressure::new),
        reduced: record.word(slots.reduced, YesNo::find, YesNo::WORDS),
        supports,
        faults: Vec::new(),
        repeats: None,
    };
    if !row.is_plain() {
        record.text(slots.note);
    }
    Line { faults: record.faults, ..line }
}

fn part<C: Cells>(record: &mut Record<C>, slot: Option<usize>, parts: &PartIndex) -> PartRef {
    let cell = record.cell(slot);
    let part = parts.lead(cell);
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

/// The pieces of a line; what can't be read is L02 and no fault.
fn qty<C: Cells>(record: &mut Record<C>, slot: Option<usize>) -> (Cell<f64>, String) {
    let cell = record.cell(slot);
    let rule = slot.and_then(|slot| record.layout.columns.get(slot)).map(|column| column.rule).unwrap_or_default();
    match quantity::number(cell, rule) {
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
