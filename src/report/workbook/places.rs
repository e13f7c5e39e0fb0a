//! Which sheet and row shows a circuit or a line of a list.

use std::collections::{BTreeSet, HashMap};

use crate::audit::outcome::Audit;
use crate::tables::circuit::CircuitKey;
use crate::tables::column::Table;
use crate::tables::finding::Finding;
use crate::tables::origin::Origin;

use super::Sheets;
use super::grid::Place;

/// Finds the rows that links lead to.
pub struct Places<'a> {
    circuits: HashMap<&'a CircuitKey, Place>,
    lines: HashMap<Origin, Place>,
    remarks: HashMap<Origin, Vec<&'a Finding>>,
}

impl<'a> Places<'a> {
    /// Numbers the rows of Circuits and Lines.
    #[must_use]
    pub fn of(audit: &'a Audit, row_limit: u32, only: Sheets) -> Self {
        let mut places = Self { circuits: HashMap::new(), lines: HashMap::new(), remarks: HashMap::new() };
        if only == Sheets::Purchase {
            return places;
        }
        places.number_circuits(audit, row_limit);
        for finding in audit.findings() {
            if let Some(origin) = finding.origin {
                places.remarks.entry(origin).or_default().push(finding);
            }
        }
        let with_remarks = audit.listed.iter().filter(|row| places.remarks.contains_key(&row.origin));
        for (index, row) in (0_u32..).zip(with_remarks) {
            places.lines.entry(row.origin).or_insert_with(|| Place::of(index, row_limit));
        }
        places
    }

    fn number_circuits(&mut self, audit: &'a Audit, row_limit: u32) {
        let named: BTreeSet<&CircuitKey> = audit.findings().map(|finding| &finding.place).collect();
        let mut index = 0;
        for circuit in &audit.circuits {
            if named.contains(&circuit.circuit.key) {
                self.circuits.insert(&circuit.circuit.key, Place::of(index, row_limit));
            }
            index += if circuit.figures.unclamp.is_some() { 2 } else { 1 };
        }
    }

    /// The row of a circuit's clamp side.
    #[must_use]
    pub fn circuit(&self, key: &CircuitKey) -> Option<Place> {
        self.circuits.get(key).copied()
    }

    /// The row of a line.
    #[must_use]
    pub fn line(&self, audit: &Audit, finding: &Finding) -> Option<Place> {
        let origin = finding.origin?;
        let table = audit.plant.source(origin)?.table;
        if table == Some(Table::Lists) { self.lines.get(&origin).copied() } else { None }
    }

    /// Findings on a line.
    #[must_use]
    pub fn remarks(&self, origin: Origin) -> &[&'a Finding] {
        self.remarks.get(&origin).map_or(&[], Vec::as_slice)
    }
}
