//! What a live rule says of a side when it isn't met: its severity, or that it is waived.

use std::collections::HashMap;

use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::circuit::waiving::Waiving;
use crate::rules::Rule;
use crate::rules::catalogue::weighs_on_circuits;
use crate::tables::circuit::CircuitKey;
use crate::tables::finding::{Finding, Subject};
use crate::tables::words::{Severity, Side, State};

use super::column::LIVE;

/// Whether a finding's rule has a live formula.
#[must_use]
pub fn has_formula(finding: &Finding) -> bool {
    LIVE.iter().any(|(_, rule)| rule.code == finding.rule)
}

fn is_live(finding: &Finding) -> bool {
    finding.subject == Subject::Side && has_formula(finding)
}

/// The word for a rule that isn't met on a side; `None` where the rule is off.
#[must_use]
pub fn word(audit: &Audit, waiving: &Waiving, circuit: &CircuitAudit, side: Side, rule: &Rule) -> Option<&'static str> {
    let found = circuit.findings.iter().find(|finding| finding.rule == rule.code && finding.side == Some(side));
    let (severity, waived) = match found {
        Some(finding) => (finding.severity, finding.state == State::Waived),
        None => {
            let severity = audit.plant.policy.severity(rule.code, rule.severity)?;
            (severity, is_waived(audit, waiving, &circuit.circuit.key, side, rule.code))
        }
    };
    Some(match (severity, waived) {
        (Severity::Observation, _) => "observation",
        (_, true) => "waived",
        (Severity::Major, false) => "major",
        (Severity::Minor, false) => "minor",
    })
}

/// Whether a waiver in force covers a finding of the rule on a side of the circuit: asked of what
/// waives findings, with the finding that the sheet would come to.
fn is_waived(audit: &Audit, waiving: &Waiving, place: &CircuitKey, side: Side, code: &'static str) -> bool {
    if audit.plant.waivers.is_empty() {
        return false;
    }
    let mut probe =
        [Finding { place: place.clone(), side: Some(side), ..Finding::blank(code, Severity::Major, Subject::Side) }];
    let _ = waiving.mark(&mut probe);
    probe.iter().any(|finding| finding.state == State::Waived)
}

/// Findings that stay as the run found them, counted for verdicts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct KeptCounts {
    /// Majors and minors that count.
    pub counting: u32,
    /// Majors and minors that are waived.
    pub waived: u32,
}

impl KeptCounts {
    fn add(&mut self, finding: &Finding) {
        if !weighs_on_circuits(finding) || !finding.is_major_or_minor() {
            return;
        }
        if finding.state == State::Waived {
            self.waived += 1;
        } else {
            self.counting += 1;
        }
    }
}

/// Findings on parts and stations, which count for every circuit that uses them.
pub struct Shared<'a> {
    parts: HashMap<&'a str, KeptCounts>,
    stations: HashMap<&'a str, KeptCounts>,
}

impl<'a> Shared<'a> {
    /// KeptCounts them.
    #[must_use]
    pub fn of(audit: &'a Audit) -> Self {
        let mut shared = Self { parts: HashMap::new(), stations: HashMap::new() };
        for finding in audit.findings() {
            match finding.subject {
                Subject::Part => shared.parts.entry(&finding.part_no).or_default().add(finding),
                Subject::Station => shared.stations.entry(&finding.position).or_default().add(finding),
                _ => {}
            }
        }
        shared
    }

    /// Findings of a circuit, its station and its parts, without the live ones.
    #[must_use]
    pub fn others(&self, audit: &Audit, circuit: &CircuitAudit) -> KeptCounts {
        let mut counts = KeptCounts::default();
        circuit.findings.iter().filter(|finding| !is_live(finding)).for_each(|finding| counts.add(finding));
        let service = circuit.circuit.service();
        let mut merge = |more: Option<&KeptCounts>| {
            if let Some(more) = more {
                counts.counting += more.counting;
                counts.waived += more.waived;
            }
        };
        merge(self.stations.get(service.station.as_str()));
        if !self.parts.is_empty() {
            for part in used_parts(audit, circuit) {
                merge(self.parts.get(part));
            }
        }
        counts
    }
}

fn used_parts<'a>(audit: &'a Audit, circuit: &CircuitAudit) -> Vec<&'a str> {
    let components = &audit.plant.components;
    let mut parts: Vec<&str> = circuit
        .circuit
        .lines
        .iter()
        .filter_map(|line| line.component(components))
        .map(|component| component.part_no.as_str())
        .collect();
    if let Some(station) = audit.plant.station(&circuit.circuit.service().station) {
        let of_station = station.parts();
        let known = of_station.into_iter().filter_map(|part| audit.plant.component_at(part.index()));
        parts.extend(known.map(|component| component.part_no.as_str()));
    }
    parts.sort_unstable();
    parts.dedup();
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::catalogue::CATALOGUE;

    #[test]
    fn the_rules_with_a_live_formula_have_a_column() {
        let said: Vec<&str> = CATALOGUE.iter().filter(|rule| rule.live.is_some()).map(|rule| rule.code).collect();
        let shown: Vec<&str> = LIVE.iter().map(|(_, rule)| rule.code).collect();
        assert_eq!(said, shown);
    }
}
