//! What a changed copy of a plant must show: the claimed findings gone, and no other come.

use std::collections::{BTreeMap, BTreeSet};

use crate::circuit::audited::CircuitAudit;
use crate::remedy::edit::Claim;
use crate::rules::catalogue::rule;
use crate::tables::circuit::CircuitKey;
use crate::tables::finding::Finding;
use crate::tables::words::Side;

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

/// How often each was met.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Book(BTreeMap<Met, u32>);

impl Book {
    /// Takes in the circuits of a fixture.
    pub fn add_circuits(&mut self, audits: &[CircuitAudit]) {
        for audit in audits {
            self.add_findings(&audit.findings);
            for lack in &audit.not_assessed {
                let place = audit.circuit.key.clone();
                self.add(Met { place, rule: lack.rule, side: None, position: String::new(), lacks: true }, 1);
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
            self.add(met, 1);
        }
    }

    /// Takes in what another book holds.
    pub fn join(&mut self, other: Self) {
        other.0.into_iter().for_each(|(met, count)| self.add(met, count));
    }

    fn add(&mut self, met: Met, count: u32) {
        *self.0.entry(met).or_default() += count;
    }

    /// The book with the groups of split circuits as the circuits that they were; what each group
    /// has counts once.
    fn regrouped(&self, groups: &BTreeMap<CircuitKey, CircuitKey>) -> Self {
        let whole: BTreeSet<&CircuitKey> = groups.values().collect();
        let mut book = Self::default();
        for (met, count) in &self.0 {
            let place = groups.get(&met.place).unwrap_or(&met.place);
            let is_split = whole.contains(place);
            let met = Met { place: place.clone(), ..met.clone() };
            let entry = book.0.entry(met).or_default();
            *entry = if is_split { 1 } else { *entry + count };
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
        let (place, position) = (CircuitKey::clone(&claim.place), claim.position.to_string());
        *claimed.entry(Met { place, rule: claim.rule, side: claim.side, position, lacks: false }).or_default() += 1;
    }
    let mut all = Vec::new();
    for (met, count) in &after.0 {
        let was = before.0.get(met).copied().unwrap_or(0);
        let is_gained = *count > was && rule(met.rule).is_none_or(|rule| !rule.is_provisional);
        let allowed = was.saturating_sub(claimed.get(met).copied().unwrap_or(0));
        if is_gained || *count > allowed && claimed.contains_key(met) {
            all.push(Failure { met: met.clone(), is_gained });
        }
    }
    all
}
