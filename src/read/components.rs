//! The component table.

use std::collections::BTreeMap;

use crate::tables::component::{Component, RepeatedPart};
use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId};
use crate::tables::words::Kind;

use super::cell::GridRow;
use super::note::row_note;
use super::record::Record;
use super::table::Grid;

/// The parts of the table: the first row of each number, and the rows that repeat one.
#[derive(Debug, Default)]
pub(crate) struct Parts {
    pub components: Vec<Component>,
    pub index: BTreeMap<String, u32>,
    pub repeated: Vec<RepeatedPart>,
    pub set_aside: u64,
}

pub(crate) fn read(grid: &Grid, source: SourceId, notes: &mut Vec<InputNote>) -> Parts {
    let mut parts = Parts::default();
    for row in &grid.rows {
        let origin = Origin { source, row: row.number };
        let component = read_row(grid, row, origin, notes);
        if component.part_no.is_empty() {
            notes.push(row_note(
                NoteKind::SetAside,
                origin,
                row.shown(),
                "Expected a part number in the column part_no. The row was set aside.",
            ));
            parts.set_aside += 1;
            continue;
        }
        if let Some(&first) = parts.index.get(&component.part_no) {
            repeat(&mut parts, first, &component, row, notes);
            continue;
        }
        parts.set_aside += u64::from(component.is_spoiled);
        notes.extend(component.idle_settings().map(|(column, kind)| idle_setting(grid, &component, column, kind)));
        let index = u32::try_from(parts.components.len()).unwrap_or(u32::MAX);
        parts.index.insert(component.part_no.clone(), index);
        parts.components.push(component);
    }
    parts
}

/// A setting of a part that has none: its valve may be built into another part, or its kind is not right.
fn idle_setting(grid: &Grid, part: &Component, column: &'static str, kind: Kind) -> InputNote {
    InputNote {
        kind: NoteKind::Suspected,
        origin: part.origin,
        letter: grid.layout.slot(column).map(|slot| grid.layout.letter(slot)).unwrap_or_default(),
        column: column.to_owned(),
        found: part.part_no.clone(),
        message: format!(
            "A {} has no use for {column}: the cell is not looked at. Correct it, or the kind of the part.",
            kind.plain()
        ),
    }
}

/// A row whose part number an earlier one has: L11 where its data differ.
fn repeat(parts: &mut Parts, first: u32, component: &Component, row: &GridRow, notes: &mut Vec<InputNote>) {
    let Some(counting) = parts.components.get(first as usize) else { return };
    let differing = counting.differing(component);
    let same = if differing.is_empty() { "the same data" } else { "other data" };
    let message =
        format!("Row {} has this part number already, with {same}. The first row counts.", counting.origin.row);
    notes.push(row_note(NoteKind::SetAside, component.origin, row.shown(), message));
    parts.set_aside += 1;
    if !differing.is_empty() {
        parts.repeated.push(RepeatedPart { first, again: component.origin, differing });
    }
}

fn read_row(grid: &Grid, row: &GridRow, origin: Origin, notes: &mut Vec<InputNote>) -> Component {
    let layout = &grid.layout;
    let slot = |name: &str| layout.slot(name);
    let mut record = Record::new(
        layout,
        row,
        origin,
        "The part counts without it, and its lines are set aside where the column is a physical one.",
        notes,
    );
    let mut component = Component::read(&mut record);
    component.origin = origin;
    if let (Some(inner), Some(outer)) = (component.inner_diameter, component.outer_diameter)
        && outer <= inner
    {
        let found = record.cell(slot("outer_diameter")).text.to_owned();
        record.fault(slot("outer_diameter"), found, "an outer_diameter above the inner_diameter".to_owned());
        component.outer_diameter = None;
    }
    component.spreads = record.spreads();
    component.faults = record.faults;
    component.is_spoiled = component.faults.iter().any(|fault| {
        fault.column.is_empty() || layout.table.column(fault.column).is_some_and(|column| column.physical)
    });
    component
}
