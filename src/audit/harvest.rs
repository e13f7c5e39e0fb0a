//! What a sweep over the circuits brings in, chunk by chunk: rows ready to be written, sums, and
//! what the workbook keeps.

use crate::audit::counts::Counts;
use crate::audit::usage_book::UsageBook;
use crate::circuit::audited::CircuitAudit;
use crate::circuit::fixture::FixtureAudit;
use crate::circuit::waiving::Matches;
use crate::remedy::remedy_row::RemedyRow;
use crate::tables::finding::Finding;
use crate::tables::line::PartRef;
use crate::tables::origin::{InputNote, NoteKind, SourceId};
use crate::tables::plant::Plant;
use crate::tables::words::State;

use crate::report::data_rows::{circuit_row, finding_row};

/// What is kept of each circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// Rows for the data files.
    pub rows: bool,
    /// Audited circuits for the workbook.
    pub audits: bool,
}

/// What some fixtures, in key order, bring in.
#[derive(Default)]
pub struct Harvest {
    pub circuit_rows: Vec<u8>,
    pub finding_rows: Vec<u8>,
    pub remedies: Vec<RemedyRow>,
    pub usage: UsageBook,
    pub matches: Matches,
    pub counts: Counts,
    pub audits: Vec<CircuitAudit>,
    pub notes: Vec<InputNote>,
    /// Lines set aside, by source.
    pub set_aside: Vec<(SourceId, u64)>,
    /// Obsolete parts and the fixtures that use them.
    pub obsolete: Vec<(u32, usize)>,
}

impl Harvest {
    /// Takes in one fixture, its remedies searched.
    pub fn add_fixture(
        &mut self,
        plant: &Plant,
        fixture: usize,
        audit: FixtureAudit,
        remedies: Vec<RemedyRow>,
        wanted: Wanted,
    ) {
        self.usage.add_fixture(plant, audit.audits.iter().map(|audit| &audit.circuit));
        self.matches.merge(audit.matches);
        self.remedies.extend(remedies);
        for circuit in &audit.audits {
            self.counts.add_circuit(circuit);
            self.note_lines(plant, fixture, circuit);
            self.notes.extend(circuit.figures.holding.validity.iter().map(|note| outside_validity(circuit, note)));
            if wanted.rows {
                circuit_row(&mut self.circuit_rows, plant, circuit);
                for finding in &circuit.findings {
                    finding_row(&mut self.finding_rows, plant, finding);
                }
            }
        }
        self.notes.extend(audit.notes);
        if wanted.audits {
            self.audits.extend(audit.audits);
        }
    }

    /// Takes in what came next in key order.
    pub fn add(&mut self, other: Self) {
        self.remedies.extend(other.remedies);
        self.usage.add(other.usage);
        self.matches.merge(other.matches);
        self.counts.add(other.counts);
        self.audits.extend(other.audits);
        self.notes.extend(other.notes);
        for (source, count) in other.set_aside {
            match self.set_aside.iter_mut().find(|(known, _)| *known == source) {
                Some((_, own)) => *own += count,
                None => self.set_aside.push((source, count)),
            }
        }
        self.obsolete.extend(other.obsolete);
    }

    fn note_lines(&mut self, plant: &Plant, fixture: usize, audit: &CircuitAudit) {
        for line in &audit.circuit.lines {
            if line.is_set_aside(&plant.components) {
                let source = line.origin.source;
                match self.set_aside.iter_mut().find(|(known, _)| *known == source) {
                    Some((_, count)) => *count += 1,
                    None => self.set_aside.push((source, 1)),
                }
            }
            if let PartRef::Known(index) = line.part
                && plant.component_at(Some(index)).is_some_and(crate::tables::component::Component::is_obsolete)
                && !self.obsolete.contains(&(index, fixture))
            {
                self.obsolete.push((index, fixture));
            }
        }
    }
}

/// A figure outside a formula's validity, as a note on the circuit's row.
fn outside_validity(audit: &CircuitAudit, note: &str) -> InputNote {
    let service = audit.circuit.service.as_ref().map(|service| service.origin);
    let origin = service.or_else(|| audit.circuit.lines.first().map(|line| line.origin)).unwrap_or_default();
    InputNote {
        kind: NoteKind::Suspected,
        origin,
        letter: String::new(),
        column: String::new(),
        found: audit.circuit.key.to_string(),
        message: format!("A figure of this circuit lies outside a formula's validity: {note}"),
    }
}

/// Marks findings by what an earlier run had: a closure, since that run is read elsewhere.
pub type Marker<'a> = &'a (dyn Fn(&Finding) -> State + Sync);

/// Gives findings that are not waived the state that an earlier run makes of them; a waived one
/// counts as seen.
pub fn mark_states(findings: &mut [Finding], marker: Option<Marker>) {
    let Some(marker) = marker else { return };
    for finding in findings {
        let state = marker(finding);
        if finding.state != State::Waived {
            finding.state = state;
        }
    }
}
