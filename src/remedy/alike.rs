//! Lines of a circuit that differ in nothing but their place: one search serves the findings of all of them.
//!
//! A change of one of two such lines makes of the circuit what the same change of the other makes of it, with the
//! two in each other's place.

use chrono::NaiveDate;
use hashbrown::{HashMap, HashSet};

use crate::circuit::audited::CircuitAudit;
use crate::physics::quantity::{Force, Length, Pressure};
use crate::tables::circuit_key::Name;
use crate::tables::finding::{Finding, Subject};
use crate::tables::line::{Cell, Line, PartRef};
use crate::tables::origin::Origin;
use crate::tables::words::{Severity, Side, State, Zone};

use super::answer::Answer;
use super::change::Change;
use super::nearest::{NearMiss, NearestChange};
use super::trial::{Problem, Proved};

/// All of a line that figures and rules look at but its place; numbers in bits.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct Likeness {
    part: u32,
    side: Side,
    zone: Option<Zone>,
    fitted_on: Option<NaiveDate>,
    qty: Option<u64>,
    length: Option<u64>,
    share: u64,
    numbers: [Option<u64>; 7],
    /// What stands on it.
    findings: Vec<(&'static str, Option<Side>, Severity, State)>,
}

impl Likeness {
    /// `None` for a line that is taken for different from all others.
    fn of(line: &Line, findings: Vec<(&'static str, Option<Side>, Severity, State)>) -> Option<Self> {
        // Every field by name, so that a new one can't be forgotten.
        let Line {
            origin: _,
            part,
            position: _,
            qty,
            qty_text,
            length,
            stroke_used,
            side,
            share,
            force_required,
            set_pressure,
            precharge,
            zone,
            step,
            arm_length,
            grip_length,
            fitted_on,
            supports,
            faults,
            repeats,
            spreads,
        } = line;
        let PartRef::Known(part) = part else { return None };
        let is_plain = qty_text.is_empty()
            && supports.is_empty()
            && faults.is_empty()
            && repeats.is_none()
            && spreads.is_empty()
            && *length != Cell::Unreadable;
        let lengths = [stroke_used, arm_length, grip_length].map(|length| length.map(Length::si));
        let pressures = [set_pressure, precharge].map(|pressure| pressure.map(Pressure::si));
        let others = [force_required.map(Force::si), *step];
        let numbers = [lengths[0], lengths[1], lengths[2], pressures[0], pressures[1], others[0], others[1]];
        is_plain.then(|| Self {
            part: *part,
            side: *side,
            zone: *zone,
            fitted_on: *fitted_on,
            qty: qty.value().map(f64::to_bits),
            length: length.value().map(|length| length.si().to_bits()),
            share: share.to_bits(),
            numbers: numbers.map(|number| number.map(f64::to_bits)),
            findings,
        })
    }
}

/// A search that was made, and for which line.
struct Searched {
    line: usize,
    /// Place of its answer.
    answer: usize,
}

/// What was searched for the lines of one circuit.
pub(super) struct Alike<'a> {
    circuit: usize,
    audit: &'a CircuitAudit,
    /// By line: the first that is alike; no entry for what is searched by itself.
    first: HashMap<usize, usize>,
    /// By rule, side and first line.
    searched: HashMap<(&'static str, Option<Side>, usize), Searched>,
}

/// What serves a finding without a search.
pub(super) enum Served {
    /// The same change, which an earlier answer proved for this finding too.
    Same,
    /// The same on this line.
    Here(Answer),
}

impl<'a> Alike<'a> {
    /// * `asks` – whether a finding is searched
    /// * `supported` – positions under which work supports stand
    pub(super) fn of<'b>(
        circuit: usize,
        audit: &'a CircuitAudit,
        asks: impl Fn(&Finding) -> bool,
        supported: impl FnOnce() -> &'b HashSet<Name>,
    ) -> Self {
        let mut alike = Self { circuit, audit, first: HashMap::new(), searched: HashMap::new() };
        let asking = audit.findings.iter().filter(|finding| finding.subject == Subject::Line && asks(finding));
        let mut by_rule: HashMap<&str, u32> = HashMap::new();
        asking.for_each(|finding| *by_rule.entry(finding.rule).or_default() += 1);
        if by_rule.values().all(|count| *count < 2) {
            return alike;
        }
        let supported = supported();
        let mut by_line: HashMap<usize, Vec<(&'static str, Option<Side>, Severity, State)>> = HashMap::new();
        for finding in &audit.findings {
            if let Some(line) = finding.line {
                let seen = (finding.rule, finding.side, finding.severity, finding.state);
                by_line.entry(line).or_default().push(seen);
            }
        }
        let mut firsts: HashMap<Likeness, usize> = HashMap::new();
        for (index, line) in audit.circuit.lines.iter().enumerate() {
            let Some(findings) = by_line.remove(&index) else { continue };
            let is_apart = !line.position.is_empty() && supported.contains(&line.position);
            if let Some(likeness) = Likeness::of(line, findings).filter(|_| !is_apart) {
                alike.first.insert(index, *firsts.entry(likeness).or_insert(index));
            }
        }
        alike
    }

    fn key(&self, finding: &Finding) -> Option<(&'static str, Option<Side>, usize)> {
        let first = self.first.get(&finding.line?)?;
        Some((finding.rule, finding.side, *first))
    }

    /// What an earlier search makes of a finding; the answer's place comes with it.
    ///
    /// * `answer` – an answer by its place
    pub(super) fn served<'b>(
        &self,
        finding: &Finding,
        answer: impl FnOnce(usize) -> (&'b Finding, &'b Answer),
    ) -> Option<(usize, Served)> {
        let searched = self.searched.get(&self.key(finding)?)?;
        let (other, known) = answer(searched.answer);
        let to = finding.line?;
        if other.measured != finding.measured || other.limit != finding.limit {
            return None;
        }
        let served = match known {
            Answer::Proved(proved) => self.proved(proved, finding, searched.line, to)?,
            Answer::None { nearest, ended } => {
                let nearest = match nearest {
                    NearMiss::Change(nearest) => NearMiss::Change(self.nearest(nearest, searched.line, to)?),
                    none => none.clone(),
                };
                Served::Here(Answer::None { nearest, ended: *ended })
            }
            Answer::Same(_) => return None,
        };
        Some((searched.answer, served))
    }

    /// Keeps a search for those that are alike.
    pub(super) fn keep(&mut self, finding: &Finding, answer: usize) {
        let Some((key, line)) = self.key(finding).zip(finding.line) else { return };
        self.searched.entry(key).or_insert(Searched { line, answer });
    }

    fn origin(&self, line: usize) -> Option<Origin> {
        self.audit.circuit.lines.get(line).map(|line| line.origin)
    }

    fn proved(&self, proved: &Proved, finding: &Finding, from: usize, to: usize) -> Option<Served> {
        let is_here = proved.circuit == self.circuit;
        if !is_here || proved.change.line().is_none_or(|line| line != from && line != to) {
            let problem = Problem::of(self.circuit, finding);
            return proved.cleared.contains(&problem).then_some(Served::Same);
        }
        let change = moved(&proved.change, from, to)?;
        let (was, is) = (self.origin(from)?, self.origin(to)?);
        let mut cleared = Vec::with_capacity(proved.cleared.len());
        for problem in &proved.cleared {
            let is_of_circuit = problem.circuit == self.circuit;
            if is_of_circuit && problem.line == Some(is) {
                return None;
            }
            let line = if is_of_circuit && problem.line == Some(was) { Some(is) } else { problem.line };
            cleared.push(Problem { line, ..*problem });
        }
        cleared.sort_unstable();
        let (circuit, figures, left) = (proved.circuit, proved.figures.clone(), proved.left.clone());
        let worsened = |problem: &Problem| {
            let is_there = problem.circuit == self.circuit && problem.line == Some(was);
            Problem { line: if is_there { Some(is) } else { problem.line }, ..*problem }
        };
        let worsens = proved.worsens.iter().map(worsened).collect();
        Some(Served::Here(Answer::Proved(Proved { circuit, change, cleared, figures, left, worsens, sentence: None })))
    }

    fn nearest(&self, nearest: &NearestChange, from: usize, to: usize) -> Option<NearestChange> {
        let is_here = nearest.circuit == self.circuit;
        let change = match nearest.change.line().filter(|_| is_here) {
            Some(line) if line == from || line == to => moved(&nearest.change, from, to)?,
            _ => nearest.change.clone(),
        };
        Some(NearestChange { change, ..nearest.clone() })
    }
}

/// The change of one line made of another; `None` where it is of another already.
const fn moved(change: &Change, from: usize, to: usize) -> Option<Change> {
    match change {
        Change::Swap { line, to: part } if *line == from => Some(Change::Swap { line: to, to: *part }),
        Change::Setting { line, column, to: setting } if *line == from => {
            Some(Change::Setting { line: to, column: *column, to: *setting })
        }
        _ => None,
    }
}
