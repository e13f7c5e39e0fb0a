//! A change audited in memory: what it clears, what it gains.

use std::cell::{Cell, OnceCell, RefCell};
use std::ops::Range;
use std::rc::Rc;

use hashbrown::{HashMap, HashSet};

use crate::circuit::audited::CircuitAudit;
use crate::circuit::findings::{circuit_finding, origin_of, side_of};
use crate::circuit::fixture::load_fixture;
use crate::circuit::fixture::{Ground, audit_fixture, findings_of_rule, sort_findings};
use crate::circuit::group::{circuit_figures, renewed_figures, with_other_pump};
use crate::circuit::links::Links;
use crate::circuit::roster::Roster;
use crate::read::ReadError;
use crate::rules::catalogue::{CATALOGUE, rule};
use crate::rules::view::CircuitView;
use crate::rules::{Asked, Outcome, Reach, Rule};
use crate::tables::circuit::{Circuit, Name, Service};
use crate::tables::figures::CircuitFigures;
use crate::tables::finding::Finding;
use crate::tables::origin::Origin;
use crate::tables::value::Value;
use crate::tables::words::{Severity, Side};

use super::change::Change;
use super::harm;
use super::touched::Touched;

/// What makes two findings the same before and after a change: the part may be another, so it
/// doesn't count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Problem {
    /// Index of the circuit in its fixture; a split's groups keep their circuit's.
    pub circuit: usize,
    /// Row of the line, for findings on lines.
    pub line: Option<Origin>,
    pub side: Option<Side>,
    pub rule: &'static str,
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
    /// What stands and comes further from its limit, or is broken by the part that comes in: sentences, each after a
    /// blank.
    pub left: String,
    /// Majors that stand and come further from their limit by it.
    pub worsens: Vec<Problem>,
    /// The change as a sentence, where it was made for all that it clears.
    pub sentence: Option<String>,
}

/// What a change did.
pub struct Trial {
    /// What the circuits came to that took the changed one's place.
    pub after: Vec<After>,
    /// Problems that are gone, in order.
    pub cleared: Vec<Problem>,
    /// Major or minor findings that were not there before, also those that a waiver happens to cover:
    /// what was accepted is what stood there, not what a change would bring.
    pub gained: Vec<Finding>,
    /// Rules that could be assessed before and can't now.
    pub unassessed: Vec<&'static str>,
    /// What was touched, where findings that it leaves were not looked for again.
    pub touched: Option<Touched>,
}

/// What a changed circuit came to.
pub struct After {
    /// The circuit's own, or that of a split's group.
    pub name: Name,
    pub figures: CircuitFigures,
    /// What is found on it, without what stands untouched.
    pub found: Vec<FoundAfter>,
}

/// What is kept of a finding of a changed circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundAfter {
    pub rule: &'static str,
    pub side: Option<Side>,
    pub line: Option<usize>,
    pub origin: Option<Origin>,
    pub measured: Option<Value>,
    pub limit: Option<Value>,
}

/// Rule, side and line.
pub(super) type FoundKey = (&'static str, Option<Side>, Option<usize>);

/// See [`FoundAfter::key`].
pub(super) const fn key_of(finding: &Finding) -> FoundKey {
    (finding.rule, finding.side, finding.line)
}

impl FoundAfter {
    fn of(finding: Finding) -> Self {
        let Finding { rule, side, line, origin, measured, limit, .. } = finding;
        Self { rule, side, line, origin, measured, limit }
    }

    /// What a finding has in common with itself after a change of a line or of the load station.
    pub(super) const fn key(&self) -> FoundKey {
        (self.rule, self.side, self.line)
    }
}

impl Trial {
    /// Whether a problem is gone.
    #[must_use]
    pub fn clears(&self, problem: &Problem) -> bool {
        self.cleared.binary_search(problem).is_ok()
    }

    /// What a finding measures, and against what, where it stays.
    #[must_use]
    pub fn still<'a>(&'a self, finding: &'a Finding) -> Option<(Option<&'a Value>, Option<&'a Value>)> {
        let is_it = |found: &&FoundAfter| found.key() == key_of(finding);
        let found = self.after.iter().flat_map(|after| &after.found).filter(is_it);
        // Of several the first in the order of findings, which differ in their rows alone.
        let first = found.min_by_key(|found| found.origin).map(|found| (found.measured.as_ref(), found.limit.as_ref()));
        let stays = self.touched.is_some_and(|touched| touched.leaves(finding));
        first.or_else(|| stays.then_some((finding.measured.as_ref(), finding.limit.as_ref())))
    }

    /// Whether the change may be offered for a problem.
    #[must_use]
    pub fn passes(&self, problem: &Problem) -> bool {
        self.clears(problem) && self.gained.is_empty() && self.unassessed.is_empty()
    }
}

/// How far a finding is from its limit, in the figure's own unit; endless where it has no figure, or no limit.
pub(super) fn short_of(measured: Option<&Value>, limit: Option<&Value>) -> f64 {
    let number = |value: Option<&Value>| value.and_then(Value::metric).map(|(number, _)| number);
    number(measured).zip(number(limit)).map_or(f64::INFINITY, |(measured, limit)| (measured - limit).abs())
}

/// Whether so far from its limit is nearer than a finding stands, by more than rounding.
pub(super) fn is_nearer(short: f64, finding: &Finding) -> bool {
    let was = short_of(finding.measured.as_ref(), finding.limit.as_ref());
    short <= 0.0 || short < was * (1.0 - 1e-9)
}

/// A pallet as audited, on which changes are tried.
pub struct Bench<'a> {
    pub ground: &'a Ground<'a>,
    pub before: &'a [CircuitAudit],
    links: OnceCell<Links>,
    /// What stood on the circuits that were tried last, those that have to do with each other.
    stood: RefCell<Option<Rc<Stood>>>,
    /// By side and source: the circuit that lists the charging cylinder.
    homes: [OnceCell<HashMap<Name, usize>>; 2],
    supported: OnceCell<HashSet<Name>>,
    /// A copy of the circuit of which a line was changed last, as it stands: a line of it is changed and put back, which
    /// is less work than a copy of all lines for each change.
    copy: RefCell<Option<(usize, Circuit)>>,
    /// Lines that were looked at by what was tried so far.
    lines: Cell<u64>,
}

/// What stands before a change on circuits that have to do with each other.
#[derive(Debug)]
struct Stood {
    /// The first of them.
    first: usize,
    lines: u64,
    /// What a change may clear, in order.
    problems: Vec<Problem>,
    /// All that weighs, waived or not, in order.
    weighing: Vec<Problem>,
}

/// Looks at a rule alone are so much less work than a whole trial.
pub const LOOKS_A_TRIAL: u64 = 16;

impl<'a> Bench<'a> {
    /// A pallet, audited.
    #[must_use]
    pub const fn of(ground: &'a Ground<'a>, before: &'a [CircuitAudit]) -> Self {
        Self {
            ground,
            before,
            links: OnceCell::new(),
            stood: RefCell::new(None),
            homes: [OnceCell::new(), OnceCell::new()],
            supported: OnceCell::new(),
            copy: RefCell::new(None),
            lines: Cell::new(0),
        }
    }

    /// Lines that were looked at by what was tried so far; of a look at one rule alone a part.
    #[must_use]
    pub const fn lines_looked_at(&self) -> u64 {
        self.lines.get()
    }

    /// Whether what was tried has reached the bound of a pallet: without one, as many failing lines of one circuit
    /// as it has would take the square of it.
    #[must_use]
    pub fn is_spent(&self) -> bool {
        self.lines.get() >= self.ground.plant.policy.bounds.trial_lines
    }

    fn spend(&self, lines: u64) {
        self.lines.set(self.lines.get().saturating_add(lines.max(1)));
    }

    /// Tries a change on one circuit.
    ///
    /// Of a circuit that has nothing to do with the others of its pallet only what the change touches is looked at; what
    /// comes of it is what [`Bench::trial_beside`] comes to.
    #[must_use]
    pub fn trial(&self, index: usize, change: &Change) -> Trial {
        let is_alone = self.beside(index).len() == 1 && !self.before[index].circuit.lines.is_empty();
        if is_alone && !matches!(change, Change::Split { .. }) {
            self.trial_alone(index, change)
        } else {
            self.trial_beside(index, change)
        }
    }

    /// Tries a change on a circuit by itself.
    fn trial_alone(&self, index: usize, change: &Change) -> Trial {
        let (ground, before) = (self.ground, &self.before[index]);
        let plant = ground.plant;
        let stood = self.stood(index);
        self.spend(stood.lines);
        let Some(circuit) =
            self.changed_in_place(index, change).or_else(|| change.applied(plant, &before.circuit).pop())
        else {
            return self.trial_beside(index, change);
        };
        let blank = Service::default();
        let service = circuit.service.as_ref().unwrap_or(&blank);
        let asked = Asked { reserve: false, topup: is_topping_up_asked(service), ..Asked::ALL };
        let (touched, figures) = self.changed_figures(index, change, &circuit, asked);
        let view = CircuitView::of(plant, &circuit, service, &figures);
        let of_line = match touched {
            Some(Touched::Line(line)) => Some(view.of_line(line)),
            _ => None,
        };
        let mut outcome = Outcome::default();
        let (mut found, mut gained, mut unassessed) = (Vec::new(), Vec::new(), Vec::new());
        let mut now = Vec::new();
        if let Some(touched) = touched {
            let stay = before.findings.iter().filter(|finding| is_problem(finding) && touched.leaves(finding));
            now.extend(stay.map(|finding| Problem::of(index, finding)));
        }
        for rule in CATALOGUE.iter().filter(|rule| rule.checks.circuit.is_some()) {
            let view = match (rule.reach, touched, &of_line) {
                (Reach::Circuit, _, _) | (_, None, _) => &view,
                (Reach::Line, _, Some(of_line)) => of_line,
                _ => continue,
            };
            let Some(severity) = plant.policy.severity(rule.code, rule.severity) else { continue };
            rule.look(view, &mut outcome);
            if !outcome.hits.is_empty() {
                let weighs = severity != Severity::Observation;
                let is_waivable = ground.waiving.names(rule.code);
                for hit in outcome.hits.drain(..) {
                    let (side, origin) = (side_of(&circuit, &hit), origin_of(&circuit, &hit));
                    let problem = Problem { circuit: index, line: hit.line.and(origin), side, rule: rule.code };
                    let (line, measured, limit) = (hit.line, hit.measured.clone(), hit.limit.clone());
                    found.push(FoundAfter { rule: rule.code, side, line, origin, measured, limit });
                    let is_new = weighs && stood.weighing.binary_search(&problem).is_err();
                    if !is_new && !is_waivable {
                        // What was a problem, and is no less grave for it, still is one.
                        now.push(problem);
                        continue;
                    }
                    let mut finding = [circuit_finding(plant, &circuit, rule, severity, hit)];
                    let _ = ground.waiving.mark(&mut finding);
                    now.extend(finding.iter().any(is_problem).then_some(problem));
                    gained.extend(finding.into_iter().filter(|_| is_new));
                }
            }
            if !outcome.lacks.is_empty() {
                outcome.lacks.clear();
                if !before.not_assessed.iter().any(|lack| lack.rule == rule.code) {
                    unassessed.push(rule.code);
                }
            }
        }
        sort_findings(&mut gained);
        now.sort_unstable();
        let cleared = gone(&stood.problems, &now);
        let name = circuit.key.circuit.clone();
        self.put_back(index, change, circuit);
        Trial { cleared, gained, unassessed, touched, after: vec![After { name, figures, found }] }
    }

    /// Figures of a circuit by itself as a change makes it, with what the change touches, where that is little.
    fn changed_figures(
        &self,
        index: usize,
        change: &Change,
        changed: &Circuit,
        asked: Asked,
    ) -> (Option<Touched>, CircuitFigures) {
        let (plant, CircuitAudit { circuit, figures, .. }) = (self.ground.plant, &self.before[index]);
        let service = &*changed.service();
        match Touched::by(plant, circuit, change) {
            Some(Touched::Pump) => {
                if let Some(figures) = with_other_pump(plant, changed, service, figures, asked) {
                    return (Some(Touched::Pump), figures);
                }
            }
            Some(touched @ Touched::Line(_)) => {
                return (Some(touched), renewed_figures(plant, changed, service, figures, asked));
            }
            None => {}
        }
        (None, circuit_figures(plant, changed, service, asked))
    }

    /// Tries a change on one circuit, with all circuits that have to do with it.
    #[must_use]
    pub fn trial_beside(&self, index: usize, change: &Change) -> Trial {
        let before = &self.before[index];
        let changed = self.changed(index, change);
        let count = changed.len();
        let stood = self.stood(index);
        self.spend(stood.lines);
        let set = self.beside(index);
        // In key order, as a pallet is audited: the first charging cylinder of a group counts.
        let ahead = set.partition_point(|other| *other < index);
        let others = || set[..ahead].iter().chain(&set[ahead + 1..]).copied();
        let circuit_of = |other: &usize| self.before[*other].circuit.clone();
        let all: Vec<Circuit> =
            set[..ahead].iter().map(circuit_of).chain(changed).chain(set[ahead + 1..].iter().map(circuit_of)).collect();
        let mut rest = audit_fixture(self.ground, all);
        let audits: Vec<CircuitAudit> = rest.drain(ahead..ahead + count).collect();
        let pairs = || audits.iter().map(|audit| (index, audit)).chain(others().zip(&rest));
        let now = problems(pairs(), is_problem);
        let gained = pairs()
            .flat_map(|(circuit, audit)| audit.findings.iter().map(move |finding| (circuit, finding)))
            .filter(|(circuit, finding)| {
                finding.is_major_or_minor() && stood.weighing.binary_search(&Problem::of(*circuit, finding)).is_err()
            })
            .map(|(_, finding)| finding.clone())
            .collect();
        let mut unassessed = newly_unassessed(before, &audits);
        for (other, audit) in others().zip(&rest) {
            unassessed.extend(newly_unassessed(&self.before[other], std::slice::from_ref(audit)));
        }
        let cleared = gone(&stood.problems, &now);
        let after = |CircuitAudit { circuit, figures, findings, .. }| {
            let name = circuit.key.circuit.clone();
            self.put_back(index, change, circuit);
            After { name, figures, found: findings.into_iter().map(FoundAfter::of).collect() }
        };
        let after = audits.into_iter().map(after).collect();
        Trial { cleared, gained, unassessed, touched: None, after }
    }

    /// Sets of circuits that have to do with each other.
    pub(super) fn sets(&self) -> impl Iterator<Item = &[usize]> {
        self.links.get_or_init(|| Links::of(self.before)).sets()
    }

    /// Makes a change on several circuits of a set at once; by circuit of the set the rules of which it gains a finding,
    /// or that can't be assessed any more.
    ///
    /// * `is_changed` – whether the change is made on a circuit, by its place
    pub(super) fn failed_together(
        &self,
        set: &[usize],
        change: &Change,
        is_changed: &dyn Fn(usize) -> bool,
    ) -> Vec<Vec<&'static str>> {
        let Some(first) = set.first() else { return Vec::new() };
        let stood = self.stood(*first);
        self.spend(stood.lines);
        let plant = self.ground.plant;
        let circuit = |index: &usize| {
            let circuit = &self.before[*index].circuit;
            let changed = is_changed(*index).then(|| change.applied(plant, circuit).pop()).flatten();
            changed.unwrap_or_else(|| circuit.clone())
        };
        let audits = audit_fixture(self.ground, set.iter().map(circuit).collect());
        let failed = |(index, audit): (&usize, &CircuitAudit)| {
            let is_new = |finding: &&Finding| {
                finding.is_major_or_minor() && stood.weighing.binary_search(&Problem::of(*index, finding)).is_err()
            };
            let gained = audit.findings.iter().filter(is_new).map(|finding| finding.rule);
            let unassessed = newly_unassessed(&self.before[*index], std::slice::from_ref(audit));
            gained.chain(unassessed).collect()
        };
        set.iter().zip(&audits).map(failed).collect()
    }

    /// The circuits that take a changed one's place.
    fn changed(&self, index: usize, change: &Change) -> Vec<Circuit> {
        match self.changed_in_place(index, change) {
            Some(changed) => vec![changed],
            None => change.applied(self.ground.plant, &self.before[index].circuit),
        }
    }

    /// The changed circuit, where one line or the load station changes: the copy that is at hand.
    fn changed_in_place(&self, index: usize, change: &Change) -> Option<Circuit> {
        if change.line().is_none() && !change.is_of_station() {
            return None;
        }
        let known = self.copy.take().filter(|(of, _)| *of == index);
        let mut copy = known.map_or_else(|| self.before[index].circuit.clone(), |(_, copy)| copy);
        change.apply_in_place(self.ground.plant, &mut copy).then_some(copy)
    }

    /// Takes a circuit back that was changed in place.
    fn put_back(&self, index: usize, change: &Change, mut changed: Circuit) {
        if change.line().is_some() || change.is_of_station() {
            change.take_back(&mut changed, &self.before[index].circuit);
            self.copy.replace(Some((index, changed)));
        }
    }

    /// What stands on a circuit and those beside it.
    fn stood(&self, index: usize) -> Rc<Stood> {
        let set = self.beside(index);
        let first = set[0];
        let mut last = self.stood.borrow_mut();
        if let Some(stood) = last.as_ref().filter(|stood| stood.first == first) {
            return Rc::clone(stood);
        }
        let pairs = || set.iter().map(|circuit| (*circuit, &self.before[*circuit]));
        let (problems, weighing) = (problems(pairs(), is_problem), problems(pairs(), Finding::is_major_or_minor));
        let lines = pairs().map(|(_, audit)| audit.circuit.lines.len() as u64).sum();
        let stood = Rc::new(Stood { first, lines, problems, weighing });
        *last = Some(Rc::clone(&stood));
        stood
    }

    /// How far a change leaves a problem from its limit, by the problem's rule alone: much less work than a trial. `None`
    /// where it may clear it.
    #[must_use]
    pub fn short_of_clearing(&self, change: &Change, problem: &Problem) -> Option<f64> {
        let rule = rule(problem.rule)?;
        if self.beside(problem.circuit).len() > 1 {
            return None;
        }
        self.spend(self.before[problem.circuit].circuit.lines.len() as u64 / LOOKS_A_TRIAL);
        let stays = |finding: &Finding| is_problem(finding) && Problem::of(problem.circuit, finding) == *problem;
        let first = self.found_by(rule, problem.circuit, change).into_iter().find(stays);
        first.map(|finding| short_of(finding.measured.as_ref(), finding.limit.as_ref()))
    }

    /// Whether a finding surely stays, no nearer to its limit, of a change that touches little: by its rule alone. It counts
    /// as a trial where it does.
    #[must_use]
    pub fn leaves_as_far(&self, index: usize, change: &Change, finding: &Finding) -> bool {
        let Some(rule) = rule(finding.rule).filter(|_| self.beside(index).len() == 1) else { return false };
        if Touched::by(self.ground.plant, &self.before[index].circuit, change).is_none() {
            return false;
        }
        let problem = Problem::of(index, finding);
        let found = self.found_by(rule, index, change);
        let stays = found.iter().any(|now| is_problem(now) && Problem::of(index, now) == problem);
        let mut same = found.iter().filter(|now| now.side == finding.side && now.line == finding.line);
        let comes_nearer = |now: &Finding| is_nearer(short_of(now.measured.as_ref(), now.limit.as_ref()), finding);
        let is_as_far = stays && !same.any(comes_nearer);
        if is_as_far {
            self.spend(self.stood(index).lines);
        }
        is_as_far
    }

    /// What a rule finds on a circuit by itself as a change makes it.
    fn found_by(&self, rule: &'static Rule, index: usize, change: &Change) -> Vec<Finding> {
        let mut found = Vec::new();
        for circuit in self.changed(index, change) {
            let (_, figures) = self.changed_figures(index, change, &circuit, rule.figures);
            found.extend(findings_of_rule(self.ground, &circuit, &figures, rule));
            self.put_back(index, change, circuit);
        }
        found
    }

    /// The circuit that lists the charging cylinder of a finding's group, where that is another one.
    pub(super) fn cylinder_of_group(&self, circuit: usize, finding: &Finding) -> Option<usize> {
        let side = finding.side.unwrap_or(Side::Clamp);
        let has_cylinder = |audit: &CircuitAudit| audit.figures.side(side).is_some_and(|side| side.cylinder.is_some());
        let source = self.before[circuit].circuit.service.as_ref().map(|service| &service.source)?;
        if source.is_empty() || has_cylinder(&self.before[circuit]) {
            return None;
        }
        let homes = self.homes[usize::from(side == Side::Unclamp)].get_or_init(|| {
            let mut homes = HashMap::new();
            for (index, audit) in self.before.iter().enumerate().filter(|(_, audit)| has_cylinder(audit)) {
                if let Some(service) = &audit.circuit.service {
                    homes.entry(service.source.clone()).or_insert(index);
                }
            }
            homes
        });
        homes.get(source).copied()
    }

    /// Positions under which a work support of the pallet stands.
    pub(super) fn supported_positions(&self) -> &HashSet<Name> {
        let lines = || self.before.iter().flat_map(|audit| &audit.circuit.lines);
        self.supported.get_or_init(|| lines().flat_map(|line| &line.supports).map(Name::from).collect())
    }

    /// The circuits of the pallet whose findings may change with one, or that must be there for theirs, and itself:
    /// see [`Links`].
    fn beside(&self, index: usize) -> &[usize] {
        self.links.get_or_init(|| Links::of(self.before)).beside(index)
    }
}

/// What a change of a load station harms first on the circuits of one fixture, in words.
///
/// # Errors
/// Where a list can't be read any more.
pub fn harm_on_fixture(
    roster: &Roster,
    ground: &Ground,
    change: &Change,
    station: &str,
    range: Range<usize>,
) -> Result<Option<String>, ReadError> {
    let before = load_fixture(roster, ground, range)?.audits;
    let after = audit_fixture(ground, with_station(ground, change, station, &before));
    let had = problems(before.iter().enumerate(), Finding::is_major_or_minor);
    let harm = after.iter().enumerate().find_map(|(index, audit)| {
        let is_new = |finding: &&Finding| {
            finding.is_major_or_minor() && had.binary_search(&Problem::of(index, finding)).is_err()
        };
        let new = audit.findings.iter().filter(is_new);
        let gained = new.min_by_key(|finding| finding.severity).map(|finding| harm::in_words(ground.plant, finding));
        let lost = || newly_unassessed(&before[index], std::slice::from_ref(audit)).first().copied();
        gained.or_else(|| lost().map(|rule| format!("after which {rule} can't be assessed on {}", audit.circuit.key)))
    });
    Ok(harm)
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

/// Those that are not there any more; both in order.
fn gone(before: &[Problem], now: &[Problem]) -> Vec<Problem> {
    let mut now = now.iter().peekable();
    let mut gone = Vec::new();
    for problem in before {
        while now.next_if(|other| *other < problem).is_some() {}
        if now.peek() != Some(&problem) {
            gone.push(*problem);
        }
    }
    gone
}

/// In order, each once.
fn problems<'a>(audits: impl Iterator<Item = (usize, &'a CircuitAudit)>, is_one: fn(&Finding) -> bool) -> Vec<Problem> {
    let mut all: Vec<Problem> = audits
        .flat_map(|(index, audit)| audit.findings.iter().map(move |finding| (index, finding)))
        .filter(|(_, finding)| is_one(finding))
        .map(|(index, finding)| Problem::of(index, finding))
        .collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// Whether a rule may look at how long a filling lasts: what says nothing of cycles, or of a hold or of when oil was added,
/// asks for none.
fn is_topping_up_asked(service: &Service) -> bool {
    let is_given = |column: &str, is_given: bool| is_given || service.is_unreadable(column);
    is_given("cycles_per_day", service.cycles_per_day.is_some())
        && (is_given("hold_time", service.hold_time.is_some()) || service.topped_up.is_some())
}

fn newly_unassessed(before: &CircuitAudit, after: &[CircuitAudit]) -> Vec<&'static str> {
    let known = |rule: &str| before.not_assessed.iter().any(|lack| lack.rule == rule);
    let mut rules: Vec<&'static str> =
        after.iter().flat_map(|audit| &audit.not_assessed).map(|lack| lack.rule).filter(|rule| !known(rule)).collect();
    rules.dedup();
    rules
}
