//! The load stations.

use std::collections::BTreeMap;

use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId};
use crate::tables::station::Station;

use super::cell::GridRow;
use crate::tables::origin::FIRST_COUNTS;

use super::note::{repeated_with, row_note};
use super::part_number::PartIndex;
use super::record::Record;
use super::table::Grid;

/// Stations in the order of the table, the first row of each, and how many rows were set aside.
pub(crate) fn read(
    grid: &Grid,
    source: SourceId,
    parts: &PartIndex,
    notes: &mut Vec<InputNote>,
) -> (Vec<Station>, u64) {
    let mut stations: Vec<Station> = Vec::new();
    let mut first: BTreeMap<String, usize> = BTreeMap::new();
    let mut set_aside = 0;
    for row in &grid.rows {
        let station = read_row(grid, row, Origin { source, row: row.number }, parts, notes);
        let message = if station.station.is_empty() {
            Some("Expected a name in the column station. The row was set aside.".to_owned())
        } else {
            first.get(&station.station).and_then(|at| stations.get(*at)).map(|first: &Station| {
                let same = repeated_with(&first.differing(&station));
                format!("Row {} has this station already, with {same}. {FIRST_COUNTS}", first.origin.row)
            })
        };
        if let Some(message) = message {
            notes.push(row_note(NoteKind::SetAside, station.origin, row.shown(), message));
            set_aside += 1;
        } else {
            first.insert(station.station.clone(), stations.len());
            stations.push(station);
        }
    }
    (stations, set_aside)
}

fn read_row(grid: &Grid, row: &GridRow, origin: Origin, parts: &PartIndex, notes: &mut Vec<InputNote>) -> Station {
    let mut record = Record::new(&grid.layout, row, origin, "The rules that need it are not assessed.", notes);
    record.parts = Some(parts);
    let station = Station::read(&mut record);
    let spreads = record.spreads();
    Station { origin, faults: record.faults, spreads, ..station }
}
