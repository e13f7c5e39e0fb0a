//! The circuits table: service data per circuit.

use std::sync::{Mutex, PoisonError};

use rayon::prelude::*;

use crate::physics::quantity::{Pressure, Temperature, Time};
use crate::tables::circuit::{CircuitKey, Service};
use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId};
use crate::tables::words::{Acting, Charging, YesNo};

use super::cell::{Cells, GridRow};
use super::header::Layout;
use super::note::row_note;
use super::record::Record;
use super::table::Grid;

/// Rows that a thread reads at a time, at least.
const ROWS: usize = 1024;

/// Services in key order, the first row of each circuit, and how many rows were set aside.
pub(crate) fn read(grid: &Grid, source: SourceId, notes: &mut Vec<InputNote>) -> (Vec<(CircuitKey, Service)>, u64) {
    let slots = Slots::new(&grid.layout);
    // Sorted before they are read, since a service is large. The first row of a circuit comes first.
    let keys = grid.rows.par_iter().with_min_len(ROWS).enumerate();
    let mut keys: Vec<(CircuitKey, usize)> = keys.map(|(at, row)| (key_of(grid, &slots, row), at)).collect();
    keys.par_sort_unstable();
    let noted: Mutex<Vec<InputNote>> = Mutex::default();
    let read = |(key, at): (CircuitKey, usize)| {
        let mut of_row = Vec::new();
        let service = grid.rows.get(at).map(|row| read_row(grid, &slots, row, source, &mut of_row));
        if !of_row.is_empty() {
            noted.lock().unwrap_or_else(PoisonError::into_inner).append(&mut of_row);
        }
        (key, service.unwrap_or_default())
    };
    let mut services: Vec<(CircuitKey, Service)> = keys.into_par_iter().with_min_len(ROWS).map(read).collect();
    let mut noted = noted.into_inner().unwrap_or_else(PoisonError::into_inner);
    noted.sort_by_key(|note| note.origin.row);
    notes.append(&mut noted);
    let mut set_aside = 0;
    services.dedup_by(|(key, again), (first_key, first)| {
        let is_repeated = key == first_key;
        if is_repeated {
            let at = grid.rows.binary_search_by_key(&again.origin.row, |row| row.number).ok();
            let shown = at.and_then(|at| grid.rows.get(at)).map(GridRow::shown).unwrap_or_default();
            let message = format!("Row {} has this circuit already. The first row counts.", first.origin.row);
            notes.push(row_note(NoteKind::SetAside, again.origin, shown, message));
            set_aside += 1;
        }
        is_repeated
    });
    (services, set_aside)
}

/// Places of the columns.
#[derive(Clone, Copy)]
struct Slots {
    plant: Option<usize>,
    pallet: Option<usize>,
    fixture: Option<usize>,
    circuit: Option<usize>,
    acting: Option<usize>,
    charging: Option<usize>,
    station: Option<usize>,
    pressure_set: Option<usize>,
    pressure_min: Option<usize>,
    temp_charge: Option<usize>,
    temp_min: Option<usize>,
    temp_max: Option<usize>,
    hold_time: Option<usize>,
    clamp_time_max: Option<usize>,
    unclamp_time_max: Option<usize>,
    fluid: Option<usize>,
    need_date: Option<usize>,
    built: Option<usize>,
}

impl Slots {
    fn new(layout: &Layout) -> Self {
        let slot = |name: &str| layout.slot(name);
        Self {
            plant: slot("plant"),
            pallet: slot("pallet"),
            fixture: slot("fixture"),
            circuit: slot("circuit"),
            acting: slot("acting"),
            charging: slot("charging"),
            station: slot("station"),
            pressure_set: slot("pressure_set"),
            pressure_min: slot("pressure_min"),
            temp_charge: slot("temp_charge"),
            temp_min: slot("temp_min"),
            temp_max: slot("temp_max"),
            hold_time: slot("hold_time"),
            clamp_time_max: slot("clamp_time_max"),
            unclamp_time_max: slot("unclamp_time_max"),
            fluid: slot("fluid"),
            need_date: slot("need_date"),
            built: slot("built"),
        }
    }
}

/// The circuit of a row; what is odd about its cells is noted where the row is read.
fn key_of(grid: &Grid, slots: &Slots, row: &GridRow) -> CircuitKey {
    let mut unsaid = Vec::new();
    let mut record = Record::new(&grid.layout, row, Origin::default(), "", &mut unsaid);
    let mut key = CircuitKey {
        plant: record.key(slots.plant).into(),
        pallet: record.key(slots.pallet).into(),
        fixture: record.key(slots.fixture).into(),
        circuit: record.key(slots.circuit).into(),
    };
    if key.circuit.is_empty() {
        key.circuit = "1".into();
    }
    key
}

fn read_row(grid: &Grid, slots: &Slots, row: &GridRow, source: SourceId, notes: &mut Vec<InputNote>) -> Service {
    let origin = Origin { source, row: row.number };
    let mut record = Record::new(&grid.layout, row, origin, "The rules that need it are not assessed.", notes);
    if !row.is_plain() {
        for slot in [slots.plant, slots.pallet, slots.fixture, slots.circuit] {
            record.text(slot);
        }
    }
    Service {
        acting: record.word(slots.acting, Acting::find, Acting::WORDS),
        charging: record.word(slots.charging, Charging::find, Charging::WORDS),
        station: record.key(slots.station).into(),
        pressure_set: record.number(slots.pressure_set).map(Pressure::new),
        pressure_min: record.number(slots.pressure_min).map(Pressure::new),
        temp_charge: record.number(slots.temp_charge).map(Temperature::new),
        temp_min: record.number(slots.temp_min).map(Temperature::new),
        temp_max: record.number(slots.temp_max).map(Temperature::new),
        hold_time: record.number(slots.hold_time).map(Time::new),
        clamp_time_max: record.number(slots.clamp_time_max).map(Time::new),
        unclamp_time_max: record.number(slots.unclamp_time_max).map(Time::new),
        fluid: record.key(slots.fluid).into(),
        need_date: record.date(slots.need_date),
        built: record.word(slots.built, YesNo::find, YesNo::WORDS) == Some(YesNo::Yes),
        origin,
        faults: record.faults,
    }
}
