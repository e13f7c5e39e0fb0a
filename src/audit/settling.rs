//! The one cell that would settle most of what could not be assessed on a circuit.

use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet};

use crate::circuit::audited::{CircuitAudit, Unassessed};
use crate::circuit::trapped::LEAKING;
use crate::rules::lists::missing_figures;
use crate::tables::circuit::{Circuit, Service};
use crate::tables::column::Table;
use crate::tables::component::Component;
use crate::tables::line::Line;
use crate::tables::origin::{CellFault, Origin};
use crate::tables::plant::Plant;
use crate::tables::station_part::StationPart;
use crate::tables::usage::Usage;
use crate::tables::words::{Charging, Kind};

/// A row and the column in it.
pub type Cell = (Origin, &'static str);

/// Cells by what is not assessed of a circuit: the one that the rule names, else the one on which its figures wait.
#[must_use]
pub fn cells<'a>(plant: &Plant, audit: &'a CircuitAudit) -> Vec<(&'a Unassessed, Option<Cell>)> {
    // Looked for once, and on few circuits at all.
    let root = OnceCell::new();
    let awaited = || *root.get_or_init(|| awaited(plant, &audit.circuit));
    audit.not_assessed.iter().map(|lack| (lack, lack.cell.or_else(awaited))).collect()
}

/// The cell that most of what is not assessed waits for, in words; `None` where all is assessed or no cell can be told.
#[must_use]
pub fn settles_most(plant: &Plant, audit: &CircuitAudit) -> Option<String> {
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for (_, cell) in cells(plant, audit) {
        let Some((origin, column)) = cell else { continue };
        *counts.entry(cell_in_words(plant, origin, column)).or_default() += 1;
    }
    // Of several that settle as much, the first in alphabetical order: the same in every run.
    counts.into_iter().max_by(|one, other| one.1.cmp(&other.1).then_with(|| other.0.cmp(&one.0))).map(|(cell, _)| cell)
}

/// `components.csv, row 12, leak`.
#[must_use]
pub fn cell_in_words(plant: &Plant, origin: Origin, column: &str) -> String {
    // A circuit that its table lacks has no row yet.
    let is_new = origin.row == 0;
    let circuits = || plant.sources.iter().find(|source| source.table == Some(Table::Circuits));
    let Some(source) = (if is_new { circuits() } else { plant.source(origin) }) else {
        return format!("a circuits table with a row for the circuit, {column}");
    };
    let row = if is_new { "a row for the circuit".to_owned() } else { format!("row {}", origin.row) };
    format!("{}, {row}, {column}", source.place())
}

/// Where a datum is lacking, for a table that tells it in one row: cells of the circuits table and of the lists by their
/// column (`circuits.csv, hold_time`), with the row; of what circuits share each by itself.
#[must_use]
pub fn column_in_words(plant: &Plant, origin: Origin, column: &str) -> (String, Option<u32>) {
    let source = plant.source(origin).filter(|_| origin.row > 0);
    match source.filter(|source| matches!(source.table, Some(Table::Circuits | Table::Lists))) {
        Some(source) => (format!("{}, {column}", source.place()), Some(origin.row)),
        None => (cell_in_words(plant, origin, column), None),
    }
}

/// Ranges of rows that are named.
const RANGES: usize = 3;

/// `circuits.csv, row 12, hold_time`, and of several rows `circuits.csv, hold_time, rows 2 to 31, 40`.
#[must_use]
pub fn rows_in_words(column: &str, rows: &BTreeSet<u32>) -> String {
    let mut ranges: Vec<(u32, u32)> = Vec::new();
    for row in rows {
        match ranges.last_mut() {
            Some((_, last)) if *last + 1 == *row => *last = *row,
            _ => ranges.push((*row, *row)),
        }
    }
    if let [(row, last)] = ranges.as_slice()
        && row == last
        && let Some((place, name)) = column.rsplit_once(", ")
    {
        return format!("{place}, row {row}, {name}");
    }
    let named = |(from, to): &(u32, u32)| match to - from {
        0 => from.to_string(),
        1 => format!("{from}, {to}"),
        _ => format!("{from} to {to}"),
    };
    let more: u32 = ranges.iter().skip(RANGES).map(|(from, to)| to - from + 1).sum();
    let mut words: Vec<String> = ranges.iter().take(RANGES).map(named).collect();
    if more > 0 {
        words.push(format!("{more} more"));
    }
    if words.is_empty() { column.to_owned() } else { format!("{column}, rows {}", words.join(", ")) }
}

/// The first cell for want of which figures of a circuit are unknown, in the order in which they rest on each other:
/// its lines, its own row, its load station, its parts.
fn awaited(plant: &Plant, circuit: &Circuit) -> Option<Cell> {
    let of_lines = circuit.lines.iter().find_map(|line| of_line(plant, line));
    let stray = circuit.stray_rows.first().map(|row| (*row, "part_no"));
    let service = circuit.service();
    let parts = || circuit.lines.iter().filter_map(|line| line.component(&plant.components));
    of_lines
        .or(stray)
        .or_else(|| of_row(service.origin, &service.faults))
        .or_else(|| of_charge(plant, circuit, &service))
        .or_else(|| parts().find_map(of_part))
        .or_else(|| parts().find_map(|part| of_leak(&service, part)))
        .or_else(|| of_stroke(plant, circuit, &service))
        .or_else(|| of_hold(&service))
}

/// A time to hold that is not stated: what the oil is at its end is then known of no circuit that leaks.
fn of_hold(service: &Service) -> Option<Cell> {
    let is_blank = service.hold_time.is_none() && service.origin.row > 0;
    (is_blank && service.charging().is_uncoupled()).then_some((service.origin, "hold_time"))
}

/// A blank leak of what holds the trapped oil: the holding pressure is then only an upper bound.
fn of_leak(service: &Service, part: &Component) -> Option<Cell> {
    let leaks = part.kind.is_some_and(|kind| LEAKING.contains(&kind)) && part.leak.is_none();
    (leaks && service.charging().is_uncoupled()).then_some((part.origin, "leak"))
}

/// What the drive ram's stroke and the clamp time wait for.
fn of_stroke(plant: &Plant, circuit: &Circuit, service: &Service) -> Option<Cell> {
    let is_timed = service.clamp_time_max.is_some();
    let Some(station) = circuit.station(plant) else {
        return is_timed.then_some((service.origin, "station"));
    };
    let flow = plant.pump_of(station).filter(|pump| is_timed && pump.flow.is_none()).map(|pump| (pump.origin, "flow"));
    let stroke = || match plant.drive_ram_of(station) {
        Some(ram) => ram.stroke.is_none().then_some((ram.origin, "stroke")),
        None => Some((station.origin, "drive_ram")),
    };
    let is_by_cylinder = service.charging() == Charging::Cylinder;
    flow.or_else(|| if is_by_cylinder { stroke() } else { None })
}

fn of_line(plant: &Plant, line: &Line) -> Option<Cell> {
    match line.component(&plant.components) {
        Some(component) => line.awaited_cell(component),
        None => Some((line.origin, "part_no")),
    }
}

/// The first cell of a row that can't be read.
fn of_row(origin: Origin, faults: &[CellFault]) -> Option<Cell> {
    faults.iter().find(|fault| !fault.column.is_empty()).map(|fault| (origin, fault.column))
}

/// What the charge pressure waits for.
fn of_charge(plant: &Plant, circuit: &Circuit, service: &Service) -> Option<Cell> {
    if !service.fluid.is_empty() && !plant.policy.fluids.contains_key(service.fluid.as_str()) {
        return Some((service.origin, "fluid"));
    }
    if service.station.is_empty() {
        return service.pressure_set.is_none().then_some((service.origin, "pressure_set"));
    }
    let Some(station) = circuit.station(plant) else { return Some((service.origin, "station")) };
    if let Some(cell) = of_row(station.origin, &station.faults) {
        return Some(cell);
    }
    let part = |part: &StationPart, wanted: Kind| match plant.component_at(part.index()) {
        None if matches!(part, StationPart::Blank) && wanted == Kind::DriveRam => None,
        None => Some((station.origin, wanted.word())),
        Some(component) if component.kind.is_some() && !component.provides(wanted) => {
            Some((station.origin, wanted.word()))
        }
        Some(component) => of_row(component.origin, &component.faults).or_else(|| of_part(component)),
    };
    part(&station.pump, Kind::Pump).or_else(|| part(&station.drive_ram, Kind::DriveRam))
}

fn of_part(component: &Component) -> Option<Cell> {
    let missing = missing_figures(component, &Usage::default());
    missing.first().map(|missing| (component.origin, missing.column))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_of_one_column_are_told_together() {
        let told = |rows: &[u32]| rows_in_words("circuits.csv, hold_time", &rows.iter().copied().collect());
        assert_eq!(told(&[10]), "circuits.csv, row 10, hold_time");
        assert_eq!(told(&[2, 3, 4, 9]), "circuits.csv, hold_time, rows 2 to 4, 9");
        assert_eq!(told(&[2, 3, 5, 7, 8, 9, 20]), "circuits.csv, hold_time, rows 2, 3, 5, 7 to 9, 1 more");
        assert_eq!(told(&[]), "circuits.csv, hold_time");
    }
}
