//! Findings by their cause: what one part or one load station does to many circuits is one thing to put right.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::circuit::audited::CircuitAudit;
use crate::rules::burst::{Burst, burst};
use crate::rules::catalogue::{family_of, place_of, rule};
use crate::rules::{buying, lists, pressure, upkeep, waivers, wording};
use crate::tables::circuit::{CircuitKey, InService};
use crate::tables::finding::{Finding, Subject};
use crate::tables::plant::Plant;
use crate::tables::words::{Severity, State};

/// Findings of one rule with one part or load station as their cause, waived ones left out.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cause {
    pub rule: String,
    /// The gravest of its findings.
    pub severity: String,
    pub part_no: String,
    pub station: String,
    pub findings: u64,
    /// Pieces on the lines that the findings name.
    pub pieces: u64,
    /// Circuits with such a finding.
    pub circuits: u64,
    /// Of these, those in service.
    pub in_service: u64,
    pub first_place: CircuitKey,
    /// Of the first finding.
    pub reason: String,
}

/// The causes of all findings.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Causes(BTreeMap<String, Cause>);

/// Where a finding stands for a reader, the first first: by severity, then what endangers people or work on circuits,
/// what wears, what the lists say, and buying and waivers; of each, circuits in service before planned ones, and parts
/// above their rating before all else.
#[must_use]
pub fn reading_order(severity: Severity, code: &str, is_in_service: bool) -> (Severity, u8, bool, Burst, usize) {
    let letter = family_of(code).map(|family| family.letter);
    let is_of = |letters: &[char]| letter.is_some_and(|letter| letters.contains(&letter));
    let rank = match () {
        () if is_of(&[buying::FAMILY.letter, waivers::FAMILY.letter]) => 3,
        () if is_of(&[lists::FAMILY.letter]) => 2,
        () if is_of(&[upkeep::FAMILY.letter]) => 1,
        () => 0,
    };
    (severity, rank, !is_in_service, burst(code), place_of(code))
}

/// The load station that a finding on a circuit counts for: of pressures that are of no line.
#[must_use]
pub fn station_of<'a>(audit: &'a CircuitAudit, finding: &Finding) -> &'a str {
    let of_chain = finding.subject != Subject::Line && finding.rule.starts_with(pressure::FAMILY.letter);
    audit.circuit.service.as_ref().filter(|_| of_chain).map_or("", |service| &service.station)
}

impl Causes {
    /// Takes in the findings of a circuit.
    pub fn add_circuit(&mut self, plant: &Plant, audit: &CircuitAudit) {
        let is_in_service = InService::of(&audit.circuit) == InService::Yes;
        let mut met: Vec<String> = Vec::new();
        for finding in &audit.findings {
            let line = finding.line.and_then(|line| audit.circuit.lines.get(line));
            let pieces = line.and_then(|line| line.qty.value()).map_or(0, whole);
            let station = station_of(audit, finding);
            let Some((key, cause)) = self.take(plant, finding, station) else { continue };
            // Circuits may come in any order.
            if audit.circuit.key < cause.first_place {
                cause.first_place = audit.circuit.key.clone();
                cause.reason = reason(finding, plant);
            }
            cause.pieces += pieces;
            if !met.contains(&key) {
                cause.circuits += 1;
                cause.in_service += u64::from(is_in_service);
                met.push(key);
            }
        }
    }

    /// Takes in findings that stand on no circuit.
    pub fn add_elsewhere(&mut self, plant: &Plant, findings: &[Finding]) {
        for finding in findings {
            let station = if finding.subject == Subject::Station { finding.position.as_str() } else { "" };
            let _ = self.take(plant, finding, station);
        }
    }

    fn take(&mut self, plant: &Plant, finding: &Finding, station: &str) -> Option<(String, &mut Cause)> {
        if finding.state == State::Waived {
            return None;
        }
        let key = [finding.rule, "\0", &finding.part_no, "\0", station].concat();
        let cause = self.0.entry(key.clone()).or_insert_with(|| Cause {
            rule: finding.rule.to_owned(),
            severity: finding.severity.word().to_owned(),
            part_no: finding.part_no.clone(),
            station: station.to_owned(),
            first_place: finding.place.clone(),
            reason: reason(finding, plant),
            ..Cause::default()
        });
        if finding.severity < gravity(&cause.severity) {
            finding.severity.word().clone_into(&mut cause.severity);
        }
        cause.findings += 1;
        Some((key, cause))
    }

    /// Takes in the causes of other circuits.
    pub fn add(&mut self, other: Self) {
        for (key, cause) in other.0 {
            let Some(own) = self.0.get_mut(&key) else {
                self.0.insert(key, cause);
                continue;
            };
            own.findings += cause.findings;
            own.pieces += cause.pieces;
            own.circuits += cause.circuits;
            own.in_service += cause.in_service;
            if gravity(&cause.severity) < gravity(&own.severity) {
                own.severity = cause.severity;
            }
            // Parts of a run may come in any order.
            if cause.first_place < own.first_place {
                own.first_place = cause.first_place;
                own.reason = cause.reason;
            }
        }
    }

    /// The most grave and frequent first, safety before paperwork.
    #[must_use]
    pub fn in_order(&self) -> Vec<&Cause> {
        let mut all: Vec<&Cause> = self.0.values().collect();
        all.sort_by_cached_key(|cause| {
            let (severity, rank, is_planned, burst, place) =
                reading_order(gravity(&cause.severity), &cause.rule, cause.in_service > 0);
            (severity, rank, is_planned, burst, Reverse(cause.findings), place, &cause.part_no, &cause.station)
        });
        all
    }
}

fn reason(finding: &Finding, plant: &Plant) -> String {
    rule(finding.rule).map(|rule| wording::reason(finding, rule, plant)).unwrap_or_default()
}

fn gravity(word: &str) -> Severity {
    let all = [Severity::Major, Severity::Minor];
    all.into_iter().find(|severity| severity.word() == word).unwrap_or(Severity::Observation)
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "pieces are whole and above 0")]
fn whole(pieces: f64) -> u64 {
    pieces as u64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::policy::Policy;

    fn finding(rule: &'static str, severity: Severity, part_no: &str) -> Finding {
        Finding { part_no: part_no.to_owned(), ..Finding::blank(rule, severity, Subject::Part) }
    }

    #[test]
    fn one_rule_with_one_part_is_one_cause_and_safety_comes_before_paperwork() {
        let plant = Plant::empty(Policy::at("2026-11-03".parse().unwrap()));
        let findings = [
            finding("B02", Severity::Major, "A"),
            finding("L09", Severity::Major, "A"),
            finding("P05", Severity::Major, "A"),
            finding("P05", Severity::Major, "B"),
            finding("P05", Severity::Major, "B"),
            finding("T01", Severity::Minor, "A"),
            Finding { state: State::Waived, ..finding("H01", Severity::Major, "A") },
        ];
        let mut causes = Causes::default();
        causes.add_elsewhere(&plant, &findings[..3]);
        let mut others = Causes::default();
        others.add_elsewhere(&plant, &findings[3..]);
        causes.add(others);
        let order: Vec<(&str, &str, u64)> = causes
            .in_order()
            .iter()
            .map(|cause| (cause.rule.as_str(), cause.part_no.as_str(), cause.findings))
            .collect();
        assert_eq!(order, [("P05", "B", 2), ("P05", "A", 1), ("L09", "A", 1), ("B02", "A", 1), ("T01", "A", 1)]);
    }

    /// What bursts comes before what is more frequent, on circuits in service and planned ones alike; a planned circuit
    /// bursts on nobody yet.
    #[test]
    fn parts_above_their_rating_come_first() {
        let place = |code: &str, is_in_service: bool| reading_order(Severity::Major, code, is_in_service);
        for burst in ["P05", "P06", "P08", "H01", "P13"] {
            for other in ["M01", "M11", "V01", "P03", "H02", "F01"] {
                assert!(place(burst, true) < place(other, true), "{burst} {other}");
                assert!(place(other, true) < place(burst, false), "{other} {burst}");
            }
        }
        assert!(place("H01", true) < place("P13", true) && place("P06", true) < place("P10", true));
        let plant = Plant::empty(Policy::at("2026-11-03".parse().unwrap()));
        let major = |rule| finding(rule, Severity::Major, "A");
        let mut causes = Causes::default();
        causes.add_elsewhere(&plant, &[major("V01"), major("V01"), major("H01")]);
        let order: Vec<&str> = causes.in_order().iter().map(|cause| cause.rule.as_str()).collect();
        assert_eq!(order, ["H01", "V01"]);
    }
}
