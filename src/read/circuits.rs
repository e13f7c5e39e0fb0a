//! The circuits table: service data per circuit.

use std::collections::BTreeMap;

use crate::model::circuit::{CircuitKey, Service};
use crate::model::origin::{InputNote, NoteKind, Origin, SourceId};
use crate::model::words::{Acting, Charging, YesNo};
use crate::physics::quantity::{Pressure, Temperature, Time};

use super::cell::GridRow;
use super::note::row_note;
use super::record::Record;
use super::table::Grid;

/// Services by circuit, the first row of each, and how many rows were set aside.
pub(crate) fn read(grid: &Grid, source: SourceId, notes: &mut Vec<InputNote>) -> (BTreeMap<CircuitKey, Service>, u64) {
    let mut services: BTreeMap<CircuitKey, Service> = BTreeMap::new();
    let mut set_aside = 0;
    for row in &grid.rows {
        let (key, service) = read_row(grid, row, Origin { source, row: row.number }, notes);
        if let Some(first) = services.get(&key) {
            let message = format!("Row {} has this circuit already. The first row counts.", first.origin.row);
            notes.push(row_note(NoteKind::SetAside, service.origin, row.shown(), message));
            set_aside += 1;
        } else {
            services.insert(key, service);
        }
    }
    (services, set_aside)
}

fn read_row(grid: &Grid, row: &GridRow, origin: Origin, notes: &mut Vec<InputNote>) -> (CircuitKey, Service) {
    let layout = &grid.layout;
    let slot = |name: &str| layout.slot(name);
    let mut record = Record::new(layout, row, origin, "The rules that need it are not assessed.", notes);
    let mut key = CircuitKey {
        plant: record.key(slot("plant")).into_owned(),
        pallet: record.key(slot("pallet")).into_owned(),
        fixture: record.key(slot("fixture")).into_owned(),
        circuit: record.key(slot("circuit")).into_owned(),
    };
    if key.circuit.is_empty() {
        "1".clone_into(&mut key.circuit);
    }
    let service = Service {
        acting: record.word(slot("acting"), Acting::find, Acting::WORDS),
        charging: record.word(slot("charging"), Charging::find, Charging::WORDS),
        station: record.key(slot("station")).into_owned(),
        pressure_set: record.number(slot("pressure_set")).map(Pressure::new),
        pressure_min: record.number(slot("pressure_min")).map(Pressure::new),
        temp_charge: record.number(slot("temp_charge")).map(Temperature::new),
        temp_min: record.number(slot("temp_min")).map(Temperature::new),
        temp_max: record.number(slot("temp_max")).map(Temperature::new),
        hold_time: record.number(slot("hold_time")).map(Time::new),
        clamp_time_max: record.number(slot("clamp_time_max")).map(Time::new),
        unclamp_time_max: record.number(slot("unclamp_time_max")).map(Time::new),
        fluid: record.key(slot("fluid")).into_owned(),
        need_date: record.date(slot("need_date")),
        built: record.word(slot("built"), YesNo::find, YesNo::WORDS) == Some(YesNo::Yes),
        origin,
        faults: record.faults,
    };
    (key, service)
}
