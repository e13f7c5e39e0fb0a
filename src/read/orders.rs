//! The orders table.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use crate::tables::order::Order;
use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId};

use super::cell::{Cells, GridRow, trimmed};
use super::note::row_note;
use super::part_number::PartIndex;
use super::record::Record;
use super::table::Grid;

/// Orders in the order of the table, and how many rows were set aside.
pub(crate) fn read(grid: &Grid, source: SourceId, parts: &PartIndex, notes: &mut Vec<InputNote>) -> (Vec<Order>, u64) {
    let mut orders = Vec::with_capacity(grid.rows.len());
    let mut set_aside = 0;
    let mut earlier: HashMap<Vec<&str>, u32> = HashMap::new();
    for row in &grid.rows {
        let mut order = read_row(grid, row, Origin { source, row: row.number }, parts, notes);
        if order.part_no.is_empty() {
            let message = "Expected a part number in the column part_no. The row was set aside.";
            notes.push(row_note(NoteKind::SetAside, order.origin, row.shown(), message));
            set_aside += 1;
        } else {
            set_aside += u64::from(order.faults.iter().any(|fault| matches!(fault.column, "" | "qty")));
            if order.lacks_quantity() {
                let message = "Expected a quantity in the column qty; the cell is blank. It counts as 0.";
                notes.push(row_note(NoteKind::SetAside, order.origin, row.shown(), message));
                set_aside += 1;
            }
            // Without a number two deliveries may well look the same.
            if !order.order_no.is_empty() {
                let cells: Vec<&str> = (0..grid.layout.columns.len())
                    .map(|slot| trimmed(row.cell(grid.layout.first + slot).text))
                    .collect();
                match earlier.entry(cells) {
                    Entry::Occupied(first) => {
                        order.repeats = Some(*first.get());
                        let message = format!(
                            "Expected each order row once; this one is the same as row {}, cell for cell. Both count.",
                            first.get()
                        );
                        notes.push(row_note(NoteKind::Suspected, order.origin, row.shown(), message));
                    }
                    Entry::Vacant(free) => _ = free.insert(row.number),
                }
            }
            orders.push(order);
        }
    }
    (orders, set_aside)
}

fn read_row(grid: &Grid, row: &GridRow, origin: Origin, parts: &PartIndex, notes: &mut Vec<InputNote>) -> Order {
    let mut record = Record::new(
        &grid.layout,
        row,
        origin,
        "A quantity that can't be read counts as 0; other cells count as blank.",
        notes,
    );
    let is_ragged = !record.faults.is_empty();
    let mut order = Order::read(&mut record);
    if is_ragged {
        order.qty = None;
    }
    let own_unit = grid.layout.own.trade_unit(&order.uom);
    Order { component: parts.get(&order.part_no), own_unit, origin, faults: record.faults, ..order }
}
