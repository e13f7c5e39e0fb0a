//! What Summary counts.

use std::collections::{BTreeMap, HashMap};

use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::rules::catalogue::{FAMILIES, weighs_on_circuits};
use crate::tables::finding::{Finding, Subject};
use crate::tables::words::{Severity, State, Verdict};

/// Circuits of one pallet.
#[derive(Clone, Debug, Default)]
pub struct PalletOverview {
    pub circuits: u32,
    pub verdicts: BTreeMap<Verdict, u32>,
    pub majors: u32,
    /// Highest fill of a side.
    pub fill: Option<f64>,
}

impl PalletOverview {
    fn add(&mut self, circuit: &CircuitAudit) {
        self.circuits += 1;
        *self.verdicts.entry(circuit.verdict).or_default() += 1;
        self.majors += majors(circuit);
        let fills = circuit.figures.sides().filter_map(|side| side.fill);
        self.fill = fills.chain(self.fill).reduce(f64::max);
    }

    /// Another pallet's counts on top.
    pub fn merge(&mut self, other: &Self) {
        self.circuits += other.circuits;
        self.majors += other.majors;
        for (verdict, count) in &other.verdicts {
            *self.verdicts.entry(*verdict).or_default() += count;
        }
        self.fill = other.fill.into_iter().chain(self.fill).reduce(f64::max);
    }

    #[must_use]
    pub fn of(&self, verdict: Verdict) -> u32 {
        self.verdicts.get(&verdict).copied().unwrap_or(0)
    }
}

fn majors(circuit: &CircuitAudit) -> u32 {
    let counting = circuit.findings.iter().filter(|finding| finding.counts() && finding.severity == Severity::Major);
    u32::try_from(counting.count()).unwrap_or(u32::MAX)
}

/// Pallets with their counts: most majors first, then most that don't conform, then by name.
#[must_use]
pub fn pallets(audit: &Audit) -> Vec<((&str, &str), PalletOverview)> {
    let mut by_name: BTreeMap<(&str, &str), PalletOverview> = BTreeMap::new();
    for circuit in &audit.circuits {
        let key = &circuit.circuit.key;
        by_name.entry((&key.plant, &key.pallet)).or_default().add(circuit);
    }
    let mut pallets: Vec<_> = by_name.into_iter().collect();
    pallets.sort_by_key(|(_, counts)| {
        std::cmp::Reverse((counts.majors, counts.of(Verdict::DoesNotConform), counts.of(Verdict::NotAssessed)))
    });
    pallets
}

/// Findings of a family: majors, minors, observations, waived.
#[must_use]
pub fn families(audit: &Audit) -> Vec<(char, &'static str, [u32; 4])> {
    let mut counts: BTreeMap<char, [u32; 4]> = BTreeMap::new();
    for finding in audit.findings() {
        let Some(letter) = finding.rule.chars().next() else { continue };
        let slot = match (finding.state, finding.severity) {
            (State::Waived, _) => 3,
            (_, Severity::Major) => 0,
            (_, Severity::Minor) => 1,
            (_, Severity::Observation) => 2,
        };
        counts.entry(letter).or_default()[slot] += 1;
    }
    let with_counts =
        FAMILIES.iter().filter_map(|family| Some((family.letter, family.name, *counts.get(&family.letter)?)));
    with_counts.collect()
}

/// Findings of a rule that are not waived.
#[must_use]
pub fn open(audit: &Audit, code: &str) -> u32 {
    let found = audit.findings().filter(|finding| finding.rule == code && finding.state != State::Waived);
    u32::try_from(found.count()).unwrap_or(u32::MAX)
}

/// The circuits that are worst off, each with the finding that matters most.
#[must_use]
pub fn worst(audit: &Audit, most: usize) -> Vec<(&CircuitAudit, &Finding)> {
    let shared = SharedFindings::of(audit);
    let mut worst: Vec<(&CircuitAudit, &Finding)> = audit
        .circuits
        .iter()
        .filter(|circuit| circuit.verdict == Verdict::DoesNotConform)
        .filter_map(|circuit| Some((circuit, gravest(circuit).or_else(|| shared.of_circuit(audit, circuit))?)))
        .collect();
    worst.sort_by_key(|(circuit, finding)| (finding.severity, std::cmp::Reverse(majors(circuit))));
    worst.truncate(most);
    worst
}

fn gravest(circuit: &CircuitAudit) -> Option<&Finding> {
    let counting = circuit.findings.iter().filter(|finding| finding.counts() && weighs_on_circuits(finding));
    counting.min_by_key(|finding| finding.severity)
}

/// Counting findings on stations and parts.
struct SharedFindings<'a> {
    stations: HashMap<&'a str, &'a Finding>,
    parts: HashMap<&'a str, &'a Finding>,
}

impl<'a> SharedFindings<'a> {
    fn of(audit: &'a Audit) -> Self {
        let mut shared = Self { stations: HashMap::new(), parts: HashMap::new() };
        for finding in audit.findings().filter(|finding| finding.counts() && weighs_on_circuits(finding)) {
            match finding.subject {
                Subject::Station => shared.stations.entry(finding.position.as_str()).or_insert(finding),
                Subject::Part => shared.parts.entry(finding.part_no.as_str()).or_insert(finding),
                _ => continue,
            };
        }
        shared
    }

    fn of_circuit(&self, audit: &Audit, circuit: &CircuitAudit) -> Option<&'a Finding> {
        if let Some(finding) = self.stations.get(circuit.circuit.service().station.as_str()) {
            return Some(finding);
        }
        let components = &audit.plant.components;
        let parts = circuit.circuit.lines.iter().filter_map(|line| line.component(components));
        let of_lines = parts.filter_map(|part| self.parts.get(part.part_no.as_str()).copied());
        let station = audit.plant.station(&circuit.circuit.service().station);
        let of_station = station.into_iter().flat_map(|station| {
            station.parts().map(|part| {
                let part = audit.plant.component_at(part.index())?;
                self.parts.get(part.part_no.as_str()).copied()
            })
        });
        of_lines.chain(of_station.flatten()).next()
    }
}
