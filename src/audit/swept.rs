//! What a sweep over the circuits brings in, chunk by chunk: sums, remedies, and the circuits where they are kept.

use std::collections::BTreeSet;

use crate::audit::counts::Counts;
use crate::audit::due::{self, Due};
use crate::audit::previous::Previous;
use crate::audit::usage_book::UsageBook;
use crate::circuit::audited::CircuitAudit;
use crate::circuit::fixture::FixtureAudit;
use crate::circuit::waiving::Matches;
use crate::remedy::remedy_row::RemedyRow;
use crate::tables::component::Component;
use crate::tables::finding::Finding;
use crate::tables::line::{Line, PartRef};
use crate::tables::origin::{InputNote, NoteKind, SourceId};
use crate::tables::plant::Plant;
use crate::tables::words::{Kind, State};

/// What some fixtures, in key order, bring in.
#[derive(Default)]
pub struct Swept {
    pub remedies: Vec<RemedyRow>,
    pub usage: UsageBook,
    pub matches: Matches,
    pub counts: Counts,
    pub due: Vec<Due>,
    pub audits: Vec<CircuitAudit>,
    pub notes: Vec<InputNote>,
    /// Lines set aside, by source.
    pub set_aside: Vec<(SourceId, u64)>,
    /// Part numbers that remedies of other parts of the run bring in.
    pub offered: BTreeSet<String>,
    /// Obsolete parts and the fixtures that use them.
    pub obsolete: Vec<(u32, usize)>,
}

impl Swept {
    /// Takes in one fixture; its circuits too where they are kept.
    pub fn add_fixture(&mut self, plant: &Plant, fixture: usize, audit: FixtureAudit, keeps_circuits: bool) {
        self.usage.add_fixture(plant, audit.audits.iter().map(|audit| &audit.circuit));
        self.matches.merge(audit.matches);
        for circuit in &audit.audits {
            self.counts.add_circuit(plant, circuit);
            due::of_circuit(plant, circuit, &mut self.due);
            self.note_lines(plant, fixture, circuit);
            self.notes.extend(circuit.figures.holding.validity.iter().map(|note| outside_validity(circuit, note)));
        }
        self.notes.extend(audit.notes);
        if keeps_circuits {
            self.audits.extend(audit.audits);
        }
    }

    /// Takes in what came next in key order.
    pub fn add(&mut self, other: Self) {
        self.remedies.extend(other.remedies);
        self.usage.add(other.usage);
        self.matches.merge(other.matches);
        self.counts.add(other.counts);
        self.due.extend(other.due);
        self.audits.extend(other.audits);
        self.notes.extend(other.notes);
        for (source, count) in other.set_aside {
            match self.set_aside.iter_mut().find(|(known, _)| *known == source) {
                Some((_, own)) => *own += count,
                None => self.set_aside.push((source, count)),
            }
        }
        self.offered.extend(other.offered);
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
            if let Some(part) = line.component(&plant.components) {
                self.notes.extend(line.idle_columns(part).map(|column| idle_cell(plant, line, part, column)));
            }
            if let PartRef::Known(index) = line.part
                && plant.component_at(Some(index)).is_some_and(Component::is_obsolete)
                && !self.obsolete.contains(&(index, fixture))
            {
                self.obsolete.push((index, fixture));
            }
        }
    }
}

/// A cell that the kind of its part does not use: it may be meant for another line, or the part's kind is not right.
fn idle_cell(plant: &Plant, line: &Line, part: &Component, column: &'static str) -> InputNote {
    let kind = part.kind.map_or_else(|| "part".to_owned(), Kind::plain);
    InputNote {
        kind: NoteKind::Suspected,
        origin: line.origin,
        letter: plant.source(line.origin).and_then(|source| source.letter_of(column)).unwrap_or_default(),
        column: column.to_owned(),
        found: part.part_no.clone(),
        message: format!(
            "A {kind} has no use for {column}: the cell is not looked at. Correct the line, or the kind of its part."
        ),
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

/// Gives findings that are not waived the state that an earlier run makes of them; a waived one counts as seen.
pub fn mark_states(findings: &mut [Finding], previous: Option<&Previous>) {
    let Some(previous) = previous else { return };
    for finding in findings {
        let state = previous.state_of(finding);
        if finding.state != State::Waived {
            finding.state = state;
        }
    }
}
