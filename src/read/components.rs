//! The component table.

use std::collections::BTreeMap;

use crate::physics::quantity::{Area, Expansion, Flow, Force, Length, Pressure, Stiffness, Volume};
use crate::rules::{is_above, is_below};
use crate::tables::component::{Component, RepeatedPart, Uom};
use crate::tables::kinds::Kinds;
use crate::tables::origin::{InputNote, NoteKind, Origin, SourceId};
use crate::tables::words::{Kind, Status};

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
        let index = u32::try_from(parts.components.len()).unwrap_or(u32::MAX);
        parts.index.insert(component.part_no.clone(), index);
        parts.components.push(component);
    }
    parts
}

/// A row whose part number an earlier one has: L11 where its data differ.
fn repeat(parts: &mut Parts, first: u32, component: &Component, row: &GridRow, notes: &mut Vec<InputNote>) {
    let Some(counting) = parts.components.get(first as usize) else { return };
    let differing = differing(counting, component);
    let same = if differing.is_empty() { "the same data" } else { "other data" };
    let message =
        format!("Row {} has this part number already, with {same}. The first row counts.", counting.origin.row);
    notes.push(row_note(NoteKind::SetAside, component.origin, row.shown(), message));
    parts.set_aside += 1;
    if !differing.is_empty() {
        parts.repeated.push(RepeatedPart { first, again: component.origin, differing });
    }
}

macro_rules! differ {
    (quantity, $one:expr, $other:expr) => {
        is_other($one.map(|one| one.si()), $other.map(|other| other.si()))
    };
    (plain, $one:expr, $other:expr) => {
        $one != $other
    };
}

macro_rules! fields {
    ($($field:ident: $way:ident),+ $(,)?) => {
        /// Names of the columns in which two rows differ.
        fn differing(first: &Component, again: &Component) -> Vec<&'static str> {
            let mut names = Vec::new();
            $(if differ!($way, first.$field, again.$field)
                || unreadable(first, stringify!($field)) != unreadable(again, stringify!($field))
            {
                names.push(stringify!($field));
            })+
            names
        }
    };
}

fields!(
    kind: plain,
    description: plain,
    rated_pressure: quantity,
    min_pressure: quantity,
    area_clamp: quantity,
    area_unclamp: quantity,
    stroke: quantity,
    volume_clamp: quantity,
    volume_unclamp: quantity,
    dead_volume: quantity,
    capacity: quantity,
    pressure_ratio: plain,
    return_loss: quantity,
    set_pressure: quantity,
    full_scale: quantity,
    inner_diameter: quantity,
    outer_diameter: quantity,
    tensile_strength: quantity,
    elastic_modulus: quantity,
    poisson: plain,
    expansion: quantity,
    gas_volume: quantity,
    precharge: quantity,
    flow: quantity,
    flow_high: quantity,
    leak: quantity,
    return_pressure: quantity,
    stiffness: quantity,
    force_ratio: plain,
    force_max: quantity,
    support_capacity: quantity,
    includes: plain,
    seal: plain,
    status: plain,
    replaced_by: plain,
    uom: plain,
    unit_price: plain,
    currency: plain,
    lead_time: plain,
    supplier: plain,
    pack_qty: plain,
);

/// Whether two quantities differ by more than the rounding of their units.
fn is_other(one: Option<f64>, other: Option<f64>) -> bool {
    match (one, other) {
        (Some(one), Some(other)) => is_above(one, other) || is_below(one, other),
        _ => one.is_some() != other.is_some(),
    }
}

/// The text of a cell that can't be read.
fn unreadable<'a>(component: &'a Component, column: &str) -> Option<&'a str> {
    component.faults.iter().find(|fault| fault.column == column).map(|fault| fault.found.as_str())
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
    let mut component = Component { origin, ..Component::default() };
    component.part_no = record.key(slot("part_no")).into_owned();
    component.kind = record.word(slot("kind"), Kind::find, Kind::WORDS);
    record.text(slot("description")).clone_into(&mut component.description);
    macro_rules! quantities {
        ($($field:ident: $quantity:ident),+ $(,)?) => {
            $(component.$field = record.number(slot(stringify!($field))).map($quantity::new);)+
        };
    }
    quantities!(
        rated_pressure: Pressure, min_pressure: Pressure, area_clamp: Area, area_unclamp: Area, stroke: Length,
        volume_clamp: Volume, volume_unclamp: Volume, dead_volume: Volume, capacity: Volume, return_loss: Pressure,
        set_pressure: Pressure, full_scale: Pressure, inner_diameter: Length, outer_diameter: Length,
        tensile_strength: Pressure, elastic_modulus: Pressure, expansion: Expansion, gas_volume: Volume,
        precharge: Pressure, flow: Flow, flow_high: Flow, leak: Flow, return_pressure: Pressure, stiffness: Stiffness,
        force_max: Force, support_capacity: Force,
    );
    component.pressure_ratio = record.number(slot("pressure_ratio"));
    component.poisson = record.number(slot("poisson"));
    component.force_ratio = record.number(slot("force_ratio"));
    component.includes =
        record.words(slot("includes"), Kind::find, Kind::WORDS).into_iter().fold(Kinds::NONE, Kinds::with);
    component.seal = record.key(slot("seal")).into_owned();
    commercial(&mut record, &mut component);
    if let (Some(inner), Some(outer)) = (component.inner_diameter, component.outer_diameter)
        && outer <= inner
    {
        let found = record.cell(slot("outer_diameter")).text.to_owned();
        record.fault(slot("outer_diameter"), found, "an outer_diameter above the inner_diameter".to_owned());
        component.outer_diameter = None;
    }
    component.faults = record.faults;
    component.is_spoiled = component.faults.iter().any(|fault| {
        fault.column.is_empty() || layout.table.column(fault.column).is_some_and(|column| column.physical)
    });
    component
}

fn commercial(record: &mut Record<GridRow>, component: &mut Component) {
    let layout = record.layout;
    let slot = |name: &str| layout.slot(name);
    component.status = record.word(slot("status"), Status::find, Status::WORDS);
    component.replaced_by = record.key(slot("replaced_by")).into_owned();
    component.uom = record.word(slot("uom"), Uom::find, Uom::WORDS);
    component.unit_price = record.decimal(slot("unit_price"), "a price such as '12.50'");
    component.currency = record.key(slot("currency")).into_owned();
    component.lead_time = record.number(slot("lead_time"));
    record.text(slot("supplier")).clone_into(&mut component.supplier);
    component.pack_qty = record.decimal(slot("pack_qty"), "a number of units such as '10'");
}
