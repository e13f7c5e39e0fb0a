//! What Summary counts.

use std::collections::{BTreeMap, HashMap};

use crate::audit::causes::reading_order;
use crate::audit::counts::{VerdictCounts, pallet_gravity};
use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::rules::catalogue::{FAMILIES, weighs_on_circuits};
use crate::tables::circuit::{CircuitKey, InService};
use crate::tables::finding::{Finding, Subject};
use crate::tables::words::{Severity, State, Verdict};

/// Circuits of one pallet.
#[derive(Clone, Debug, Default)]
pub struct PalletOverview {
    pub circuits: VerdictCounts,
    /// Of these, those in service.
    pub in_service: VerdictCounts,
    /// Of these, those of which it can't be read whether they are.
    pub may_be_in_service: VerdictCounts,
    pub majors: u32,
    /// Highest fill of a side.
    pub fill: Option<f64>,
    /// The first of its circuits.
    pub first: Option<CircuitKey>,
}

impl PalletOverview {
    fn add(&mut self, circuit: &CircuitAudit) {
        self.circuits.count(circuit);
        match InService::of(&circuit.circuit) {
            InService::Yes => self.in_service.count(circuit),
            InService::Unknown => self.may_be_in_service.count(circuit),
            InService::Planned => {}
        }
        self.majors += majors(circuit);
        let fills = circuit.figures.sides().filter_map(|side| side.fill);
        self.fill = fills.chain(self.fill).reduce(f64::max);
        self.first.get_or_insert_with(|| circuit.circuit.key.clone());
    }

    /// Another pallet's counts on top.
    pub fn merge(&mut self, other: &Self) {
        self.circuits.add(other.circuits);
        self.in_service.add(other.in_service);
        self.may_be_in_service.add(other.may_be_in_service);
        self.majors += other.majors;
        self.fill = other.fill.into_iter().chain(self.fill).reduce(f64::max);
    }
}

fn is_in_service(circuit: &CircuitAudit) -> bool {
    InService::of(&circuit.circuit) == InService::Yes
}

/// Majors on circuits in service, on planned ones, and on those of which it can't be read.
#[must_use]
pub fn majors_by_service(audit: &Audit) -> [u64; 3] {
    let mut counts = [0, 0, 0];
    for circuit in &audit.circuits {
        counts[InService::of(&circuit.circuit) as usize] += u64::from(majors(circuit));
    }
    counts
}

fn majors(circuit: &CircuitAudit) -> u32 {
    count_of(circuit, Severity::Major)
}

fn minors(circuit: &CircuitAudit) -> u32 {
    count_of(circuit, Severity::Minor)
}

fn count_of(circuit: &CircuitAudit, severity: Severity) -> u32 {
    let counting = circuit.findings.iter().filter(|finding| finding.counts() && finding.severity == severity);
    u32::try_from(counting.count()).unwrap_or(u32::MAX)
}

/// Pallets with their counts: those first that have most circuits in service which do not conform, then most majors.
#[must_use]
pub fn pallets(audit: &Audit) -> Vec<((&str, &str), PalletOverview)> {
    let mut by_name: BTreeMap<(&str, &str), PalletOverview> = BTreeMap::new();
    for circuit in &audit.circuits {
        let key = &circuit.circuit.key;
        by_name.entry((&key.plant, &key.pallet)).or_default().add(circuit);
    }
    let mut pallets: Vec<_> = by_name.into_iter().collect();
    pallets.sort_by_key(|(_, counts)| pallet_gravity(&counts.in_service, u64::from(counts.majors), &counts.circuits));
    pallets
}

/// Findings of a family: majors and minors on circuits in service and elsewhere, observations, waived.
#[must_use]
pub fn families(audit: &Audit) -> Vec<(char, &'static str, [u32; 6])> {
    let mut counts: BTreeMap<char, [u32; 6]> = BTreeMap::new();
    let of_circuits =
        audit.circuits.iter().flat_map(|circuit| circuit.findings.iter().map(|found| (found, is_in_service(circuit))));
    for (finding, is_in_service) in audit.elsewhere.iter().map(|found| (found, false)).chain(of_circuits) {
        let Some(letter) = finding.rule.chars().next() else { continue };
        let slot = match (finding.state, finding.severity) {
            (State::Waived, _) => 5,
            (_, Severity::Major) => usize::from(!is_in_service),
            (_, Severity::Minor) => 2 + usize::from(!is_in_service),
            (_, Severity::Observation) => 4,
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

/// Circuits in service, or else not, that do not conform, each with the finding that matters most, the worst off first.
#[must_use]
pub fn worst(audit: &Audit, in_service: bool) -> Vec<(&CircuitAudit, &Finding)> {
    let shared = SharedFindings::of(audit);
    let mut worst: Vec<(&CircuitAudit, &Finding)> = audit
        .circuits
        .iter()
        .filter(|circuit| circuit.verdict == Verdict::DoesNotConform && is_in_service(circuit) == in_service)
        .filter_map(|circuit| Some((circuit, gravest(circuit).or_else(|| shared.of_circuit(audit, circuit))?)))
        .collect();
    // As wherever the worst circuits are told.
    worst.sort_by_key(|(circuit, _)| std::cmp::Reverse((majors(circuit), minors(circuit))));
    worst
}

fn gravest(circuit: &CircuitAudit) -> Option<&Finding> {
    let counting = circuit.findings.iter().filter(|finding| finding.counts() && weighs_on_circuits(finding));
    counting.min_by_key(|finding| reading_order(finding.severity, finding.rule, true))
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
