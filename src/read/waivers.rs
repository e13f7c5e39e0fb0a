//! The waivers table.

use crate::tables::order::Waiver;
use crate::tables::origin::{InputNote, Origin, SourceId};

use super::cell::GridRow;
use super::policy::rule_code;
use super::record::Record;
use super::table::Grid;

/// Waivers in the order of the table, and how many can't count for a cell that can't be read.
pub(crate) fn read(grid: &Grid, source: SourceId, notes: &mut Vec<InputNote>) -> (Vec<Waiver>, u64) {
    let waivers: Vec<Waiver> =
        grid.rows.iter().map(|row| read_row(grid, row, Origin { source, row: row.number }, notes)).collect();
    let set_aside = waivers.iter().filter(|waiver| !waiver.faults.is_empty()).count() as u64;
    (waivers, set_aside)
}

fn read_row(grid: &Grid, row: &GridRow, origin: Origin, notes: &mut Vec<InputNote>) -> Waiver {
    let layout = &grid.layout;
    let slot = |name: &str| layout.slot(name);
    let mut record = Record::new(layout, row, origin, "The waiver does not count.", notes);
    let given = record.key(slot("rule")).into_owned();
    let code = rule_code(&given);
    if code.is_none() && !given.is_empty() {
        record.fault(slot("rule"), given.clone(), "the code of one rule, such as 'P05'".to_owned());
    }
    Waiver {
        plant: record.key(slot("plant")).into_owned(),
        pallet: record.key(slot("pallet")).into_owned(),
        fixture: record.key(slot("fixture")).into_owned(),
        circuit: record.key(slot("circuit")).into_owned(),
        position: record.key(slot("position")).into_owned(),
        rule: code.unwrap_or(given),
        reason: record.text(slot("reason")).to_owned(),
        approved_by: record.text(slot("approved_by")).to_owned(),
        expires: record.date(slot("expires")),
        origin,
        faults: record.faults,
    }
}
