//! A change audited in memory: what it clears, what it gains.

use std::collections::BTreeSet;
use std::ops::Range;

use crate::circuit::audited::CircuitAudit;
use crate::circuit::fixture::load_fixture;
use crate::circuit::fixture::{Ground, audit_fixture, findings_of_rule};
use crate::circuit::roster::Roster;
use crate::read::ReadError;
use crate::rules::catalogue::rule;
use crate::tables::circuit::Circuit;
use crate::tables::finding::Finding;
use crate::tables::origin::Origin;
use crate::tables::words::Side;

use super::change::Change;

/// What makes two findings the same before and after a change: the part may be another, so it
/// doesn't count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    pub rule: &'static str,
    /// Index of the circuit in its fixture; a split's groups keep their circuit's.
    pub circuit: usize,
    pub side: Option<Side>,
    /// Row of the line, for findings on lines.
    pub line: Option<Origin>,
}

impl Problem {
    /// The problem of a finding.
    #[must_use]
    pub fn of(circuit: usize, finding: &Finding) -> Self {
        let line = finding.line.and(finding.origin);
        Self { rule: finding.rule, circuit, side: finding.side, line }
    }
}

/// What a change did.
pub struct Trial {
    /// The circuits that took the changed one's place.
    pub after: Vec<CircuitAudit>,
    /// Problems that are gone.
    pub cleared: BTreeSet<Problem>,
    /// Major or minor findings that were not there before, also those that a waiver happens to cover:
    /// what was accepted is what stood there, not what a change would bring.
    pub gained: Vec<Finding>,
    /// Rules that could be assessed before and can't now.
    pub unassessed: Vec<&'static str>,
}

impl Trial {
    /// Whether the change may be offered for a problem.
    #[must_use]
    pub fn passes(&self, problem: &Problem) -> bool {
        self.cleared.contains(problem) && self.gained.is_empty() && self.unassessed.is_empty()
    }
}

/// A fixture as audited, on which changes are tried.
pub struct Bench<'a> {
    pub roster: &'a Roster<'a>,
    pub ground: &'a Ground<'a>,
    /// Index of the fixture in the roster.
    pub fixture: usize,
    pub before: &'a [CircuitAudit],
}

impl Bench<'_> {
    /// Tries a change on one circuit.
    #[must_use]
    pub fn trial(&self, index: usize, change: &Change) -> Trial {
        let before = &self.before[index];
        let changed = change.applied(self.ground.plant, &before.circuit);
        let count = changed.len();
        let others = self.others_that_matter(index);
        let all: Vec<Circuit> =
            changed.into_iter().chain(others.iter().map(|other| self.before[*other].circuit.clone())).collect();
        let mut audits = audit_fixture(self.ground, all);
        let rest = audits.split_off(count);
        let pairs_then =
            || std::iter::once((index, before)).chain(others.iter().map(|other| (*other, &self.before[*other])));
        let (then, had) = (problems(pairs_then(), is_problem), problems(pairs_then(), Finding::is_major_or_minor));
        let pairs = || audits.iter().map(|audit| (index, audit)).chain(others.iter().copied().zip(&rest));
        let now = problems(pairs(), is_problem);
        let gained = pairs()
            .flat_map(|(circuit, audit)| audit.findings.iter().map(move |finding| (circuit, finding)))
            .filter(|(circuit, finding)| finding.is_major_or_minor() && !had.contains(&Problem::of(*circuit, finding)))
            .map(|(_, finding)| finding.clone())
            .collect();
        let unassessed = newly_unassessed(before, &audits);
        Trial { cleared: then.difference(&now).copied().collect(), gained, unassessed, after: audits }
    }

    /// Whether a change may clear a problem, by the problem's rule alone: much less work than a trial,
    /// which a `false` spares.
    #[must_use]
    pub fn may_clear(&self, change: &Change, problem: &Problem) -> bool {
        let Some(rule) = rule(problem.rule) else { return true };
        if !self.others_that_matter(problem.circuit).is_empty() {
            return true;
        }
        let stays = |finding: &Finding| is_problem(finding) && Problem::of(problem.circuit, finding) == *problem;
        let changed = change.applied(self.ground.plant, &self.before[problem.circuit].circuit);
        !changed.iter().any(|circuit| findings_of_rule(self.ground, circuit, rule).iter().any(stays))
    }

    /// Other circuits of the fixture whose findings may change with this one: only where a work
    /// support stands under positions.
    fn others_that_matter(&self, index: usize) -> Vec<usize> {
        let is_linked =
            self.before.iter().any(|audit| audit.circuit.lines.iter().any(|line| !line.supports.is_empty()));
        if is_linked { (0..self.before.len()).filter(|other| *other != index).collect() } else { Vec::new() }
    }
}

/// Whether a change of a load station gains nothing on the circuits of one fixture.
///
/// # Errors
/// Where a list can't be read any more.
pub fn serves_fixture(
    roster: &Roster,
    ground: &Ground,
    change: &Change,
    station: &str,
    range: Range<usize>,
) -> Result<bool, ReadError> {
    let before = load_fixture(roster, ground, range)?.audits;
    let after = audit_fixture(ground, with_station(ground, change, station, &before));
    let had = problems(before.iter().enumerate(), Finding::is_major_or_minor);
    let gains = after.iter().enumerate().any(|(index, audit)| {
        let is_new = |finding: &&Finding| finding.is_major_or_minor() && !had.contains(&Problem::of(index, finding));
        audit.findings.iter().any(|finding| is_new(&finding))
            || !newly_unassessed(&before[index], std::slice::from_ref(audit)).is_empty()
    });
    Ok(!gains)
}

/// The circuits of a fixture with their load station changed.
fn with_station(ground: &Ground, change: &Change, station: &str, before: &[CircuitAudit]) -> Vec<Circuit> {
    before
        .iter()
        .map(|audit| {
            let mut circuit = audit.circuit.clone();
            if circuit.service.as_ref().is_some_and(|service| service.station == station) {
                change.change_station(ground.plant, &mut circuit);
            }
            circuit
        })
        .collect()
}

/// Whether a finding stands only where a change bears it out.
#[must_use]
pub fn is_provisional(finding: &Finding) -> bool {
    rule(finding.rule).is_some_and(|rule| rule.is_provisional)
}

/// Whether a change may clear the finding.
#[must_use]
pub fn is_searched(finding: &Finding) -> bool {
    rule(finding.rule).is_some_and(|rule| !rule.cures.is_empty())
}

/// Unwaived majors and minors, and provisional ones, which have a remedy too.
fn is_problem(finding: &Finding) -> bool {
    finding.counts() || is_provisional(finding)
}

fn problems<'a>(
    audits: impl Iterator<Item = (usize, &'a CircuitAudit)>,
    is_one: fn(&Finding) -> bool,
) -> BTreeSet<Problem> {
    audits
        .flat_map(|(index, audit)| audit.findings.iter().map(move |finding| (index, finding)))
        .filter(|(_, finding)| is_one(finding))
        .map(|(index, finding)| Problem::of(index, finding))
        .collect()
}

fn newly_unassessed(before: &CircuitAudit, after: &[CircuitAudit]) -> Vec<&'static str> {
    let known = |rule: &str| before.not_assessed.iter().any(|lack| lack.rule == rule);
    let mut rules: Vec<&'static str> =
        after.iter().flat_map(|audit| &audit.not_assessed).map(|lack| lack.rule).filter(|rule| !known(rule)).collect();
    rules.dedup();
    rules
}
