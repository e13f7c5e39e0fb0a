//! Proved changes as edits of the tables, and the findings that they claim to clear.

use crate::circuit::audited::CircuitAudit;
use crate::remedy::edit::{Claim, Edit, EditGroup};
use crate::tables::line::PartRef;
use crate::tables::plant::Plant;

use super::change::{Change, StationRole};
use super::trial::{Problem, Proved};

/// The edit that makes a circuit's change; `None` where the tables have no place for it.
#[must_use]
pub fn edit_of(plant: &Plant, audit: &CircuitAudit, change: &Change) -> Option<Edit> {
    let lines = &audit.circuit.lines;
    let origin = |line: usize| lines.get(line).map(|line| line.origin);
    let part = |line: usize| match lines.get(line).map(|line| &line.part) {
        Some(PartRef::Known(index)) => Some(*index),
        _ => None,
    };
    match change {
        Change::Swap { line, to } => Some(Edit::Part { line: origin(*line)?, from: part(*line)?, to: *to }),
        Change::Setting { line, column, to } => {
            Some(Edit::Setting { line: origin(*line)?, part: part(*line), column: column.name(), to: *to })
        }
        Change::Add { part, side, setting } => {
            let setting = setting.map(|(column, to)| (column.name(), to));
            Some(Edit::Addition { beside: lines.last()?.origin, part: *part, side: *side, setting })
        }
        Change::Succeed { from, to } => Some(Edit::Succession { from: *from, to: *to }),
        Change::Split { line, groups } => {
            let group = |group: &super::change::Group| EditGroup {
                name: group.name.clone(),
                lines: group.lines.iter().filter_map(|line| origin(*line)).collect(),
                share: group.share,
                cylinder: group.cylinder,
            };
            Some(Edit::Split { cylinder: origin(*line)?, groups: groups.iter().map(group).collect() })
        }
        Change::StationSetting { .. } | Change::StationPart { .. } => {
            let name = &audit.circuit.service.as_ref()?.station;
            station_edit(plant, *plant.station_index.get(name)?, change)
        }
    }
}

/// The edit that changes a load station.
#[must_use]
pub fn station_edit(plant: &Plant, station: usize, change: &Change) -> Option<Edit> {
    match change {
        Change::StationSetting { to } => Some(Edit::StationSetting { station, to: *to }),
        Change::StationPart { role, to } => {
            let row = plant.stations.get(station)?;
            let from = if *role == StationRole::Pump { row.pump.index() } else { row.drive_ram.index() };
            Some(Edit::StationPart { station, column: role.name(), from, to: *to })
        }
        _ => None,
    }
}

/// The findings that a proved change clears, as they stand in the audits of its fixture.
#[must_use]
pub fn claims_of(audits: &[CircuitAudit], proved: &Proved) -> Vec<Claim> {
    let claim = |problem: &Problem| {
        let audit = audits.get(problem.circuit)?;
        let found = audit.findings.iter().find(|finding| Problem::of(problem.circuit, finding) == *problem);
        Some(Claim {
            place: audit.circuit.key.clone(),
            rule: problem.rule,
            side: problem.side,
            position: found.map(|finding| finding.position.clone()).unwrap_or_default(),
            line: problem.line,
        })
    };
    proved.cleared.iter().filter_map(claim).collect()
}
