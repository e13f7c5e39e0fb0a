//! Which findings are waived, and what each waiver matches.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::rules::catalogue::family_of;
use crate::rules::waivers::{self, is_in_force};
use crate::tables::circuit::CircuitKey;
use crate::tables::finding::{Finding, Subject};
use crate::tables::order::Waiver;
use crate::tables::words::{State, folded};

/// Places that a waiver's reason names at most.
const EXAMPLES: usize = 3;

/// The waivers, ready to be compared with findings circuit by circuit, on any thread.
pub struct Waiving<'a> {
    waivers: &'a [Waiver],
    in_force: Vec<bool>,
    /// Rule code, folded, to the waivers that name it, in the order of the table.
    by_rule: BTreeMap<String, Vec<usize>>,
}

/// Findings that one waiver matches, whether it is in force or not.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Match {
    pub findings: u64,
    /// The first places in key order, few.
    pub places: BTreeSet<CircuitKey>,
}

/// What the waivers match, by index; a waiver that matches nothing has no entry.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Matches(BTreeMap<usize, Match>);

impl<'a> Waiving<'a> {
    /// The waivers as they stand on a day.
    #[must_use]
    pub fn new(waivers: &'a [Waiver], today: NaiveDate) -> Self {
        let mut by_rule: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for (index, waiver) in waivers.iter().enumerate() {
            // A row with a cell that can't be read says nothing for sure: it has its L04.
            if waiver.faults.is_empty() {
                by_rule.entry(folded(&waiver.rule)).or_default().push(index);
            }
        }
        let in_force = waivers.iter().map(|waiver| is_in_force(waiver, today)).collect();
        Self { waivers, in_force, by_rule }
    }

    /// Marks the findings that a waiver in force matches and says what every waiver matched.
    ///
    /// Where several match, the first of the table waives. Findings on waivers are never waived.
    #[must_use]
    pub fn mark(&self, findings: &mut [Finding]) -> Matches {
        let mut matches = Matches::default();
        if self.by_rule.is_empty() {
            return matches;
        }
        for finding in findings.iter_mut().filter(|finding| is_waivable(finding)) {
            let Some(candidates) = self.by_rule.get(&folded(finding.rule)) else { continue };
            for index in candidates.iter().copied() {
                if !self.waivers.get(index).is_some_and(|waiver| is_in_place(waiver, finding)) {
                    continue;
                }
                matches.count(index, &finding.place);
                if finding.waiver.is_none() && self.in_force.get(index) == Some(&true) {
                    finding.state = State::Waived;
                    finding.waiver = Some(index);
                }
            }
        }
        matches
    }
}

impl Matches {
    /// Adds what was matched elsewhere; the order of merging does not matter.
    pub fn merge(&mut self, other: Self) {
        for (index, found) in other.0 {
            let own = self.0.entry(index).or_default();
            own.findings += found.findings;
            own.places.extend(found.places);
            own.keep_first();
        }
    }

    /// Findings that a waiver matches.
    #[must_use]
    pub fn findings(&self, waiver: usize) -> u64 {
        self.0.get(&waiver).map_or(0, |found| found.findings)
    }

    /// Places of these, the first in key order.
    #[must_use]
    pub fn examples(&self, waiver: usize) -> Vec<CircuitKey> {
        self.0.get(&waiver).map(|found| found.places.iter().cloned().collect()).unwrap_or_default()
    }

    fn count(&mut self, waiver: usize, place: &CircuitKey) {
        let own = self.0.entry(waiver).or_default();
        own.findings += 1;
        if !own.places.contains(place) {
            own.places.insert(place.clone());
            own.keep_first();
        }
    }
}

impl Match {
    fn keep_first(&mut self) {
        while self.places.len() > EXAMPLES {
            self.places.pop_last();
        }
    }
}

fn is_waivable(finding: &Finding) -> bool {
    finding.subject != Subject::Waiver
        && family_of(finding.rule).is_none_or(|family| family.letter != waivers::FAMILY.letter)
}

/// Whether every place cell of a waiver matches the finding's: empty and `*` match all.
fn is_in_place(waiver: &Waiver, finding: &Finding) -> bool {
    let place = &finding.place;
    [
        (&waiver.plant, place.plant.as_str()),
        (&waiver.pallet, &place.pallet),
        (&waiver.fixture, &place.fixture),
        (&waiver.circuit, &place.circuit),
        (&waiver.position, &finding.position),
    ]
    .into_iter()
    .all(|(wanted, found)| {
        let wanted = wanted.trim();
        wanted.is_empty() || wanted == "*" || wanted == found
    })
}

#[cfg(test)]
mod tests;
