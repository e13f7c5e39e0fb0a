//! Proved changes as edits of the tables, and the findings that they claim to clear.

use hashbrown::HashMap;

use crate::circuit::audited::CircuitAudit;
use crate::remedy::edit::{Claim, Edit, EditGroup};
use crate::tables::circuit_key::SharedKey;
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

/// Where each finding of a fixture stands, that claims can be found at once.
pub struct Standings<'a> {
    keys: Vec<SharedKey>,
    /// The first finding of a problem.
    positions: HashMap<Problem, &'a str>,
}

impl<'a> Standings<'a> {
    /// Of the audits of a fixture.
    #[must_use]
    pub fn of(audits: &'a [CircuitAudit]) -> Self {
        let mut positions = HashMap::new();
        for (circuit, audit) in audits.iter().enumerate() {
            for finding in &audit.findings {
                positions.entry(Problem::of(circuit, finding)).or_insert(finding.position.as_str());
            }
        }
        let keys = audits.iter().map(|audit| SharedKey::new(audit.circuit.key.clone())).collect();
        Self { keys, positions }
    }

    /// The key of a circuit of the fixture.
    #[must_use]
    pub fn key_of(&self, circuit: usize) -> SharedKey {
        self.keys.get(circuit).cloned().unwrap_or_default()
    }

    /// The findings that a proved change clears.
    #[must_use]
    pub fn claims_of(&self, proved: &Proved) -> Vec<Claim> {
        self.named(&proved.cleared)
    }

    /// Findings as a copy of the plant has them.
    #[must_use]
    pub fn named(&self, problems: &[Problem]) -> Vec<Claim> {
        let claim = |problem: &Problem| {
            Some(Claim {
                place: self.keys.get(problem.circuit)?.clone(),
                rule: problem.rule,
                side: problem.side,
                position: self.positions.get(problem).copied().unwrap_or_default().into(),
                line: problem.line,
            })
        };
        problems.iter().filter_map(claim).collect()
    }
}
