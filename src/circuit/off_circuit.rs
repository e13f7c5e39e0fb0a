//! Findings that stand on no circuit: how rules are run on a part, a station, an order or a waiver, and those on load
//! stations, on which verdicts on circuits and changes of stations hang.

use crate::circuit::audited::Unassessed;
use crate::rules::catalogue::CATALOGUE;
use crate::rules::view::StationView;
use crate::rules::{Hit, Outcome, Rule};
use crate::tables::circuit::CircuitKey;
use crate::tables::finding::{Finding, Subject};
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;
use crate::tables::words::Severity;

/// What a finding that isn't on a circuit is about.
pub struct About<'a> {
    pub subject: Subject,
    pub place: CircuitKey,
    pub position: &'a str,
    pub part_no: &'a str,
    pub origin: Origin,
}

impl About<'_> {
    fn finding(&self, rule: &Rule, severity: Severity, hit: Hit) -> Finding {
        Finding {
            place: self.place.clone(),
            position: self.position.to_owned(),
            part_no: self.part_no.to_owned(),
            measured: hit.measured,
            limit: hit.limit,
            facts: hit.facts,
            origin: hit.origin.or(Some(self.origin).filter(|origin| origin.row > 0)),
            column: hit.column,
            ..Finding::blank(rule.code, severity, self.subject)
        }
    }
}

/// Runs one kind of check of every rule that has it.
pub fn run<C: Copy>(
    plant: &Plant,
    about: &About,
    check_of: impl Fn(&Rule) -> Option<C>,
    call: impl Fn(C, &mut Outcome),
) -> (Vec<Finding>, Vec<Unassessed>) {
    let mut findings = Vec::new();
    let mut lacks = Vec::new();
    for rule in CATALOGUE {
        let Some(check) = check_of(rule) else { continue };
        let Some(severity) = plant.policy.severity(rule.code, rule.severity) else { continue };
        let mut outcome = Outcome::default();
        call(check, &mut outcome);
        findings.extend(outcome.hits.into_iter().map(|hit| about.finding(rule, severity, hit)));
        if let Some(lack) = outcome.lacks.first() {
            let because = format!("{}: {} does not give it", lack.figure, about.position);
            lacks.push(Unassessed { rule: rule.code, because, cell: lack.cell });
        }
    }
    (findings, lacks)
}

/// Findings on one load station, and what it lacks.
#[must_use]
pub fn station_findings(plant: &Plant, index: usize) -> (Vec<Finding>, Vec<Unassessed>) {
    let Some(station) = plant.stations.get(index) else { return (Vec::new(), Vec::new()) };
    let about = About {
        subject: Subject::Station,
        place: CircuitKey::default(),
        position: &station.station,
        part_no: "",
        origin: station.origin,
    };
    let view = StationView { plant, station, pump: plant.pump_of(station), drive_ram: plant.drive_ram_of(station) };
    run(plant, &about, |rule| rule.checks.station, |check, outcome| check(&view, outcome))
}
