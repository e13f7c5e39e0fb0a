//! A run in figures: `summary.json`.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Write};

use serde::{Deserialize, Serialize};

use crate::assess::audit::{Audit, CircuitAudit};
use crate::model::circuit::CircuitKey;
use crate::model::finding::Finding;
use crate::model::words::{Severity, Side, State, Verdict};
use crate::rules::catalogue::rule;

use super::history::policy_hash;

/// Name and version as they stand in the outputs.
pub const TOOL: &str = concat!("clampbook ", env!("CARGO_PKG_VERSION"));

/// Circuits on the list of the worst.
const WORST: usize = 10;
/// New majors that are listed; `changes.new_majors` counts all.
const LISTED: usize = 1000;

/// What `summary.json` holds, in this order.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct RunSummary {
    pub tool: String,
    /// ISO 8601.
    pub date: String,
    pub policy_hash: String,
    pub plants: Vec<String>,
    pub circuits: VerdictCounts,
    pub lines: LineCounts,
    /// On circuits, sides, lines, parts and stations.
    pub findings: SeverityCounts,
    pub purchasing: SeverityCounts,
    pub waivers: SeverityCounts,
    /// Whether there was an earlier run to compare with.
    pub has_previous: bool,
    pub changes: ChangeCounts,
    /// In the order of `findings.csv`, the first 1000.
    pub new_majors: Vec<NamedFinding>,
    pub by_pallet: Vec<PalletCounts>,
    /// The circuits with the most majors, then minors.
    pub worst: Vec<WorstCircuit>,
}

/// Circuits by verdict.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct VerdictCounts {
    pub total: u64,
    pub conforms: u64,
    pub conforms_with_waivers: u64,
    pub does_not_conform: u64,
    pub not_assessed: u64,
}

/// Lines of the lists.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineCounts {
    pub read: u64,
    pub set_aside: u64,
}

/// Findings that are not waived, by severity, and those that are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SeverityCounts {
    pub majors: u64,
    pub minors: u64,
    pub observations: u64,
    pub waived: u64,
}

/// Findings against the earlier run; all 0 where there was none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ChangeCounts {
    pub new: u64,
    pub standing: u64,
    pub cleared: u64,
    pub new_majors: u64,
    pub standing_majors: u64,
}

/// A finding by its name and place.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct NamedFinding {
    pub rule: String,
    pub name: String,
    pub plant: String,
    pub pallet: String,
    pub fixture: String,
    pub circuit: String,
    pub side: String,
    pub position: String,
    pub part_no: String,
}

/// A pallet's circuits and what stands against them.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PalletCounts {
    pub plant: String,
    pub pallet: String,
    pub circuits: VerdictCounts,
    pub majors: u64,
    pub minors: u64,
}

/// A circuit that does not conform, with a sentence that says why.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct WorstCircuit {
    pub plant: String,
    pub pallet: String,
    pub fixture: String,
    pub circuit: String,
    pub majors: u64,
    pub minors: u64,
    pub sentence: String,
}

impl VerdictCounts {
    fn count(&mut self, verdict: Verdict) {
        self.total += 1;
        match verdict {
            Verdict::Conforms => self.conforms += 1,
            Verdict::ConformsWithWaivers => self.conforms_with_waivers += 1,
            Verdict::DoesNotConform => self.does_not_conform += 1,
            Verdict::NotAssessed => self.not_assessed += 1,
        }
    }

    /// Circuits that conform, with waivers or without.
    #[must_use]
    pub const fn conforming(&self) -> u64 {
        self.conforms + self.conforms_with_waivers
    }
}

impl SeverityCounts {
    fn count(&mut self, finding: &Finding) {
        match (finding.state, finding.severity) {
            (State::Waived, _) => self.waived += 1,
            (_, Severity::Major) => self.majors += 1,
            (_, Severity::Minor) => self.minors += 1,
            (_, Severity::Observation) => self.observations += 1,
        }
    }

    fn of<'a>(findings: impl IntoIterator<Item = &'a Finding>) -> Self {
        let mut counts = Self::default();
        findings.into_iter().for_each(|finding| counts.count(finding));
        counts
    }
}

impl RunSummary {
    /// Of an audit.
    #[must_use]
    pub fn of(audit: &Audit) -> Self {
        let policy = &audit.plant.policy;
        let mut circuits = VerdictCounts::default();
        audit.circuits.iter().for_each(|circuit| circuits.count(circuit.verdict));
        let of_rules =
            |letter: char| SeverityCounts::of(audit.findings.iter().filter(move |f| f.rule.starts_with(letter)));
        let plants: BTreeSet<&str> = audit.circuits.iter().map(|circuit| circuit.circuit.key.plant.as_str()).collect();
        Self {
            tool: TOOL.to_owned(),
            date: policy.date.to_string(),
            policy_hash: policy_hash(policy),
            plants: plants.into_iter().map(str::to_owned).collect(),
            circuits,
            lines: LineCounts { read: audit.tally.lines_read, set_aside: audit.tally.lines_set_aside },
            findings: SeverityCounts::of(audit.findings.iter().filter(|finding| !finding.is_outside_circuits())),
            purchasing: of_rules('B'),
            waivers: of_rules('W'),
            has_previous: audit.has_previous,
            changes: changes(audit),
            new_majors: new_majors(audit),
            by_pallet: by_pallet(&audit.circuits),
            worst: worst(&audit.circuits),
        }
    }

    /// Majors of all kinds that are not waived: the rows of `findings.csv`.
    #[must_use]
    pub const fn majors(&self) -> u64 {
        self.findings.majors + self.purchasing.majors + self.waivers.majors
    }

    /// Minors of all kinds that are not waived.
    #[must_use]
    pub const fn minors(&self) -> u64 {
        self.findings.minors + self.purchasing.minors + self.waivers.minors
    }

    /// Waived findings of all kinds.
    #[must_use]
    pub const fn waived(&self) -> u64 {
        self.findings.waived + self.purchasing.waived + self.waivers.waived
    }

    /// Writes `summary.json`.
    ///
    /// # Errors
    /// Where the writer fails.
    pub fn write(&self, mut writer: impl Write) -> io::Result<()> {
        serde_json::to_writer_pretty(&mut writer, self)?;
        writer.write_all(b"\n")
    }
}

fn changes(audit: &Audit) -> ChangeCounts {
    if !audit.has_previous {
        return ChangeCounts::default();
    }
    let count = |wanted: &dyn Fn(&&Finding) -> bool| audit.findings.iter().filter(wanted).count() as u64;
    ChangeCounts {
        new: count(&|finding| finding.state == State::New),
        standing: count(&|finding| finding.state == State::Standing),
        cleared: audit.cleared.len() as u64,
        new_majors: count(&|finding| is_new_major(finding)),
        standing_majors: count(&|finding| finding.state == State::Standing && finding.severity == Severity::Major),
    }
}

fn new_majors(audit: &Audit) -> Vec<NamedFinding> {
    if !audit.has_previous {
        return Vec::new();
    }
    audit.findings.iter().filter(|finding| is_new_major(finding)).take(LISTED).map(named).collect()
}

fn is_new_major(finding: &Finding) -> bool {
    finding.state == State::New && finding.severity == Severity::Major
}

fn named(finding: &Finding) -> NamedFinding {
    NamedFinding {
        rule: finding.rule.to_owned(),
        name: rule(finding.rule).map_or_else(String::new, |rule| rule.name.to_owned()),
        plant: finding.place.plant.clone(),
        pallet: finding.place.pallet.clone(),
        fixture: finding.place.fixture.clone(),
        circuit: finding.place.circuit.clone(),
        side: finding.side.map_or_else(String::new, |side| side.word().to_owned()),
        position: finding.position.clone(),
        part_no: finding.part_no.clone(),
    }
}

fn by_pallet(circuits: &[CircuitAudit]) -> Vec<PalletCounts> {
    let mut pallets: BTreeMap<(&str, &str), PalletCounts> = BTreeMap::new();
    for audit in circuits {
        let CircuitKey { plant, pallet, .. } = &audit.circuit.key;
        let counts = pallets.entry((plant, pallet)).or_insert_with(|| PalletCounts {
            plant: plant.clone(),
            pallet: pallet.clone(),
            ..PalletCounts::default()
        });
        counts.circuits.count(audit.verdict);
        let findings = SeverityCounts::of(&audit.findings);
        counts.majors += findings.majors;
        counts.minors += findings.minors;
    }
    pallets.into_values().collect()
}

fn worst(circuits: &[CircuitAudit]) -> Vec<WorstCircuit> {
    let counted = circuits.iter().map(|audit| (SeverityCounts::of(&audit.findings), audit));
    let mut bad: Vec<(SeverityCounts, &CircuitAudit)> =
        counted.filter(|(counts, _)| counts.majors + counts.minors > 0).collect();
    bad.sort_by(|(one, a), (other, b)| {
        let by_counts = (other.majors, other.minors).cmp(&(one.majors, one.minors));
        by_counts.then_with(|| a.circuit.key.cmp(&b.circuit.key))
    });
    bad.truncate(WORST);
    bad.into_iter().map(|(counts, audit)| worst_circuit(counts, audit)).collect()
}

fn worst_circuit(counts: SeverityCounts, audit: &CircuitAudit) -> WorstCircuit {
    let CircuitKey { plant, pallet, fixture, circuit } = audit.circuit.key.clone();
    let sentence = sentence(counts, &audit.findings);
    WorstCircuit { plant, pallet, fixture, circuit, majors: counts.majors, minors: counts.minors, sentence }
}

/// `2 majors and 1 minor, first P05 part-rated-below-charge (position C3, part 4711).`
fn sentence(counts: SeverityCounts, findings: &[Finding]) -> String {
    let numbers = [counted(counts.majors, "major"), counted(counts.minors, "minor")];
    let numbers: Vec<String> = numbers.into_iter().flatten().collect();
    let first = findings.iter().filter(|finding| finding.counts()).min_by_key(|finding| finding.severity);
    let first = first.map_or_else(String::new, |finding| format!(", first {}", described(finding)));
    format!("{}{first}.", numbers.join(" and "))
}

fn counted(number: u64, word: &str) -> Option<String> {
    match number {
        0 => None,
        1 => Some(format!("1 {word}")),
        _ => Some(format!("{number} {word}s")),
    }
}

fn described(finding: &Finding) -> String {
    let mut where_it_is = Vec::new();
    if let Some(side) = finding.side.filter(|side| *side != Side::Both) {
        where_it_is.push(format!("{} side", side.word()));
    }
    if !finding.position.is_empty() {
        where_it_is.push(format!("position {}", finding.position));
    }
    if !finding.part_no.is_empty() {
        where_it_is.push(format!("part {}", finding.part_no));
    }
    let name = rule(finding.rule).map_or_else(String::new, |rule| format!(" {}", rule.name));
    let place = if where_it_is.is_empty() { String::new() } else { format!(" ({})", where_it_is.join(", ")) };
    format!("{}{name}{place}", finding.rule)
}

#[cfg(test)]
mod tests;
