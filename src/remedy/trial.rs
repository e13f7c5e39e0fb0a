//! A change audited in memory: what it clears, what it gains.

use std::cell::{OnceCell, RefCell};
use std::collections::BTreeSet;
use std::ops::Range;
use std::rc::Rc;

use crate::circuit::audited::CircuitAudit;
use crate::circuit::fixture::load_fixture;
use crate::circuit::fixture::{Ground, audit_fixture, findings_of_rule};
use crate::circuit::links::Links;
use crate::circuit::roster::Roster;
use crate::read::ReadError;
use crate::rules::catalogue::rule;
use crate::tables::circuit::{Circuit, Name};
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

/// A proved change with what it does.
#[derive(Clone, Debug)]
pub struct Proved {
    /// Index of the circuit in its fixture.
    pub circuit: usize,
    pub change: Change,
    pub cleared: Vec<Problem>,
    /// Figures before and after, in words.
    pub figures: String,
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

/// A pallet as audited, on which changes are tried.
pub struct Bench<'a> {
    pub ground: &'a Ground<'a>,
    pub before: &'a [CircuitAudit],
    links: OnceCell<Links>,
    /// What stood on the circuit that was tried last, and on those beside it.
    stood: RefCell<Option<Rc<Stood>>>,
}

/// What stands on a circuit and those beside it before a change.
#[derive(Debug)]
struct Stood {
    circuit: usize,
    others: Vec<usize>,
    /// What a change may clear.
    problems: BTreeSet<Problem>,
    /// All that weighs, waived or not.
    weighing: BTreeSet<Problem>,
}

impl<'a> Bench<'a> {
    /// A pallet, audited.
    #[must_use]
    pub const fn of(ground: &'a Ground<'a>, before: &'a [CircuitAudit]) -> Self {
        Self { ground, before, links: OnceCell::new(), stood: RefCell::new(None) }
    }

    /// Tries a change on one circuit.
    #[must_use]
    pub fn trial(&self, index: usize, change: &Change) -> Trial {
        let before = &self.before[index];
        let changed = change.applied(self.ground.plant, &before.circuit);
        let count = changed.len();
        let stood = self.stood(index);
        let others = &stood.others;
        // In key order, as a pallet is audited: the first charging cylinder of a group counts.
        let ahead = others.partition_point(|other| *other < index);
        let circuit_of = |other: &usize| self.before[*other].circuit.clone();
        let all: Vec<Circuit> = others[..ahead]
            .iter()
            .map(circuit_of)
            .chain(changed)
            .chain(others[ahead..].iter().map(circuit_of))
            .collect();
        let mut rest = audit_fixture(self.ground, all);
        let audits: Vec<CircuitAudit> = rest.drain(ahead..ahead + count).collect();
        let pairs = || audits.iter().map(|audit| (index, audit)).chain(others.iter().copied().zip(&rest));
        let now = problems(pairs(), is_problem);
        let gained = pairs()
            .flat_map(|(circuit, audit)| audit.findings.iter().map(move |finding| (circuit, finding)))
            .filter(|(circuit, finding)| {
                finding.is_major_or_minor() && !stood.weighing.contains(&Problem::of(*circuit, finding))
            })
            .map(|(_, finding)| finding.clone())
            .collect();
        let mut unassessed = newly_unassessed(before, &audits);
        for (other, audit) in others.iter().zip(&rest) {
            unassessed.extend(newly_unassessed(&self.before[*other], std::slice::from_ref(audit)));
        }
        Trial { cleared: stood.problems.difference(&now).copied().collect(), gained, unassessed, after: audits }
    }

    /// What stands on a circuit and those beside it.
    fn stood(&self, index: usize) -> Rc<Stood> {
        let mut last = self.stood.borrow_mut();
        if let Some(stood) = last.as_ref().filter(|stood| stood.circuit == index) {
            return Rc::clone(stood);
        }
        let others = self.others_that_matter(index);
        let pairs = || std::iter::once(&index).chain(&others).map(|circuit| (*circuit, &self.before[*circuit]));
        let (problems, weighing) = (problems(pairs(), is_problem), problems(pairs(), Finding::is_major_or_minor));
        let stood = Rc::new(Stood { circuit: index, others, problems, weighing });
        *last = Some(Rc::clone(&stood));
        stood
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

    /// The circuit that lists the charging cylinder of a finding's group, where that is another one.
    pub(super) fn cylinder_of_group(&self, circuit: usize, finding: &Finding) -> Option<usize> {
        let cylinder_on = |index: usize| {
            let figures = &self.before[index].figures;
            figures.side(finding.side.unwrap_or(Side::Clamp)).and_then(|side| side.cylinder)
        };
        let source = |index: usize| self.before[index].circuit.service.as_ref().map(|service| &service.source);
        if cylinder_on(circuit).is_some() || source(circuit).is_none_or(Name::is_empty) {
            return None;
        }
        let others = self.others_that_matter(circuit).into_iter();
        others.filter(|other| source(*other) == source(circuit)).find(|other| cylinder_on(*other).is_some())
    }

    /// Other circuits of the pallet whose findings may change with this one, or that must be there for
    /// theirs: see [`Links`].
    fn others_that_matter(&self, index: usize) -> Vec<usize> {
        let links = self.links.get_or_init(|| Links::of(self.before));
        links.beside(index).iter().copied().filter(|other| *other != index).collect()
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
