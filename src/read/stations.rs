//! The load stations.

use std::collections::BTreeMap;

use crate::physics::quantity::Pressure;
use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId};
use crate::tables::station::{Station, StationPart};
use crate::tables::words::YesNo;

use super::cell::{GridRow, is_blank};
use super::note::row_note;
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
    let mut first: BTreeMap<String, u32> = BTreeMap::new();
    let mut set_aside = 0;
    for row in &grid.rows {
        let station = read_row(grid, row, Origin { source, row: row.number }, parts, notes);
        let message = if station.name.is_empty() {
            Some("Expected a name in the column station. The row was set aside.".to_owned())
        } else {
            first.get(&station.name).map(|row| format!("Row {row} has this station already. The first row counts."))
        };
        if let Some(message) = message {
            notes.push(row_note(NoteKind::SetAside, station.origin, row.shown(), message));
            set_aside += 1;
        } else {
            first.insert(station.name.clone(), row.number);
            stations.push(station);
        }
    }
    (stations, set_aside)
}

fn read_row(grid: &Grid, row: &GridRow, origin: Origin, parts: &PartIndex, notes: &mut Vec<InputNote>) -> Station {
    let layout = &grid.layout;
    let slot = |name: &str| layout.slot(name);
    let mut record = Record::new(layout, row, origin, "The rules that need it are not assessed.", notes);
    let name = record.key(slot("station")).into_owned();
    let mut part = |name: &str| {
        let text = record.key(slot(name));
        if is_blank(&text) {
            return StationPart::Blank;
        }
        parts.get(&text).map_or_else(|| StationPart::Unknown(text.clone().into_owned()), StationPart::Known)
    };
    Station {
        name,
        pump: part("pump"),
        drive_ram: part("drive_ram"),
        pump_setting: record.number(slot("pump_setting")).map(Pressure::new),
        built: record.word(slot("built"), YesNo::find, YesNo::WORDS) == Some(YesNo::Yes),
        origin,
        faults: record.faults,
    }
}
