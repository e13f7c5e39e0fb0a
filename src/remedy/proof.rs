//! What a changed copy of a plant must show: the claimed findings gone, and no other come.

use std::collections::{BTreeMap, BTreeSet};

use crate::circuit::audited::CircuitAudit;
use crate::remedy::edit::Claim;
use crate::rules::catalogue::rule;
use crate::tables::circuit::CircuitKey;
use crate::tables::finding::Finding;
use crate::tables::words::{Severity, Side};

use super::left_standing::FURTHER;
use super::trial::short_of;

/// A finding, or a rule that can't be assessed, free of rows and parts: those change in a copy.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Met {
    pub place: CircuitKey,
    pub rule: &'static str,
    pub side: Option<Side>,
    pub position: String,
    /// Whether the rule lacks a datum.
    pub lacks: bool,
}

impl Met {
    /// What a remedy says it clears.
    #[must_use]
    pub fn of(claim: &Claim) -> Self {
        let (place, position) = (CircuitKey::clone(&claim.place), claim.position.to_string());
        Self { place, rule: claim.rule, side: claim.side, position, lacks: false }
    }
}

/// How often something was met, and of majors how far the worst is from its limit, in the figure's own unit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Tally {
    count: u32,
    off: f64,
}

impl Tally {
    const ONE: Self = Self { count: 1, off: 0.0 };

    fn and(self, other: Self) -> Self {
        Self { count: self.count + other.count, off: self.off.max(other.off) }
    }
}

/// How often each was met.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Book(BTreeMap<Met, Tally>);

impl Book {
    /// Takes in the circuits of a fixture.
    pub fn add_circuits(&mut self, audits: &[CircuitAudit]) {
        for audit in audits {
            self.add_findings(&audit.findings);
            for lack in &audit.not_assessed {
                let place = audit.circuit.key.clone();
                self.add(Met { place, rule: lack.rule, side: None, position: String::new(), lacks: true }, Tally::ONE);
            }
        }
    }

    /// Takes in findings that a remedy may clear or gain.
    pub fn add_findings(&mut self, findings: &[Finding]) {
        for finding in findings
            .iter()
            .filter(|finding| finding.counts() || rule(finding.rule).is_some_and(|rule| rule.is_provisional))
        {
            let position = finding.position.clone();
            let met =
                Met { place: finding.place.clone(), rule: finding.rule, side: finding.side, position, lacks: false };
            let is_major = finding.severity == Severity::Major && finding.counts();
            let off = if is_major { short_of(finding.measured.as_ref(), finding.limit.as_ref()) } else { 0.0 };
            self.add(met, Tally { off, ..Tally::ONE });
        }
    }

    /// Takes in what another book holds.
    pub fn join(&mut self, other: Self) {
        other.0.into_iter().for_each(|(met, tally)| self.add(met, tally));
    }

    fn add(&mut self, met: Met, tally: Tally) {
        let entry = self.0.entry(met).or_default();
        *entry = entry.and(tally);
    }

    /// A major that stands in this book and is further from its limit in another, by more than rounding.
    #[must_use]
    pub fn worse_in<'a>(&self, other: &'a Self) -> Option<&'a Met> {
        let is_worse = |(met, now): &(&Met, &Tally)| {
            let was = self.0.get(met).map_or(0.0, |tally| tally.off);
            was > 0.0 && now.off.is_finite() && now.off > was * FURTHER
        };
        other.0.iter().find(is_worse).map(|(met, _)| met)
    }

    /// The book with the groups of split circuits as the circuits that they were; what each group
    /// has counts once.
    fn regrouped(&self, groups: &BTreeMap<CircuitKey, CircuitKey>) -> Self {
        let whole: BTreeSet<&CircuitKey> = groups.values().collect();
        let mut book = Self::default();
        for (met, tally) in &self.0 {
            let place = groups.get(&met.place).unwrap_or(&met.place);
            let is_split = whole.contains(place);
            let met = Met { place: place.clone(), ..met.clone() };
            let entry = book.0.entry(met).or_default();
            *entry = Tally { count: if is_split { 1 } else { entry.count + tally.count }, ..entry.and(*tally) };
        }
        book
    }
}

/// Something that a copy shows and should not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure {
    pub met: Met,
    /// Whether it was not there before; else it was to be cleared.
    pub is_gained: bool,
}

/// Where a copy falls short of what the remedies applied in it claim. `groups` leads from the
/// groups of splits to the circuits that they were.
#[must_use]
pub fn failures(
    before: &Book,
    after: &Book,
    claims: &BTreeSet<&Claim>,
    groups: &BTreeMap<CircuitKey, CircuitKey>,
) -> Vec<Failure> {
    let (before, after) = (before.regrouped(groups), after.regrouped(groups));
    let mut claimed: BTreeMap<Met, u32> = BTreeMap::new();
    for claim in claims {
        *claimed.entry(Met::of(claim)).or_default() += 1;
    }
    let mut all = Vec::new();
    for (met, Tally { count, .. }) in &after.0 {
        let was = before.0.get(met).map_or(0, |tally| tally.count);
        let is_gained = *count > was && rule(met.rule).is_none_or(|rule| !rule.is_provisional);
        let allowed = was.saturating_sub(claimed.get(met).copied().unwrap_or(0));
        if is_gained || *count > allowed && claimed.contains_key(met) {
            all.push(Failure { met: met.clone(), is_gained });
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::quantity::Pressure;
    use crate::tables::finding::Subject;
    use crate::tables::value::Value;

    fn book(found: &[(&'static str, Severity, f64)]) -> Book {
        let bar = |bar: f64| Some(Value::Pressure(Pressure::from_bar(bar)));
        let finding = |(rule, severity, measured): &(&'static str, Severity, f64)| Finding {
            measured: bar(*measured),
            limit: bar(100.0),
            ..Finding::blank(rule, *severity, Subject::Circuit)
        };
        let mut book = Book::default();
        book.add_findings(&found.iter().map(finding).collect::<Vec<Finding>>());
        book
    }

    /// 20 bar short are more than 10; a minor, what is new and what is as far off as before are no matter here.
    #[test]
    fn a_major_further_from_its_limit_is_worse() {
        let before = book(&[("H02", Severity::Major, 90.0), ("P12", Severity::Minor, 90.0)]);
        let worse = |found| before.worse_in(&book(found)).map(|met| met.rule);
        assert_eq!(worse(&[("H02", Severity::Major, 80.0)]), Some("H02"));
        assert_eq!(worse(&[("H02", Severity::Major, 90.0), ("H03", Severity::Major, 10.0)]), None);
        assert_eq!(worse(&[("H02", Severity::Major, 95.0), ("P12", Severity::Minor, 10.0)]), None);
    }
}
