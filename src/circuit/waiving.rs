//! Which findings are waived, and what each waiver matches.

use std::collections::{BTreeMap, BTreeSet, HashMap};

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
pub struct Waiving {
    /// Rule code, folded, to the waivers that name it, by what their place cells leave open.
    by_rule: BTreeMap<String, Vec<Opening>>,
}

/// Waivers that leave the same place cells open.
struct Opening {
    /// Which cells of the place are given.
    given: [bool; CELLS],
    /// The cells that are given to the waivers that give them.
    alike: HashMap<Vec<String>, Alike>,
}

/// Waivers of one rule and one place: they match the same findings.
struct Alike {
    /// The first of the table, under which matches are counted.
    first: usize,
    /// The first that is in force.
    in_force: Option<usize>,
}

/// Plant, pallet, fixture, circuit, position.
const CELLS: usize = 5;

fn cells_of(waiver: &Waiver) -> [&str; CELLS] {
    [&waiver.plant, &waiver.pallet, &waiver.fixture, &waiver.circuit, &waiver.position].map(|cell| cell.trim())
}

/// Empty and `*` match all.
fn is_given(cell: &str) -> bool {
    !cell.is_empty() && cell != "*"
}

/// Findings that one waiver matches, whether it is in force or not.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Match {
    pub findings: u64,
    /// The first places in key order, few.
    pub places: BTreeSet<CircuitKey>,
}

/// What the waivers match, by the index of the first that is alike; one that matches nothing has no entry.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Matches(BTreeMap<usize, Match>);

impl Waiving {
    /// The waivers as they stand on a day.
    #[must_use]
    pub fn new(waivers: &[Waiver], today: NaiveDate) -> Self {
        let mut by_rule: BTreeMap<String, Vec<Opening>> = BTreeMap::new();
        for (index, waiver) in waivers.iter().enumerate() {
            // A row with a cell that can't be read says nothing for sure: it has its L04.
            if !waiver.faults.is_empty() {
                continue;
            }
            let cells = cells_of(waiver);
            let given = cells.map(is_given);
            let openings = by_rule.entry(folded(&waiver.rule)).or_default();
            let at = openings.iter().position(|opening| opening.given == given).unwrap_or_else(|| {
                openings.push(Opening { given, alike: HashMap::new() });
                openings.len() - 1
            });
            let key = cells.into_iter().filter(|cell| is_given(cell)).map(str::to_owned).collect();
            let alike = openings[at].alike.entry(key).or_insert(Alike { first: index, in_force: None });
            alike.in_force = alike.in_force.or_else(|| is_in_force(waiver, today).then_some(index));
        }
        Self { by_rule }
    }

    /// Whether a waiver names the rule: findings of others stand.
    #[must_use]
    pub fn names(&self, rule: &str) -> bool {
        !self.by_rule.is_empty() && self.by_rule.contains_key(&folded(rule))
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
            let Some(openings) = self.by_rule.get(&folded(finding.rule)) else { continue };
            let mut waives: Option<usize> = None;
            for alike in openings.iter().filter_map(|opening| opening.find(finding)) {
                matches.count(alike.first, &finding.place);
                waives = waives.into_iter().chain(alike.in_force).min();
            }
            if finding.waiver.is_none() && waives.is_some() {
                finding.state = State::Waived;
                finding.waiver = waives;
            }
        }
        matches
    }
}

impl Opening {
    fn find(&self, finding: &Finding) -> Option<&Alike> {
        let place = &finding.place;
        let cells: [&str; CELLS] = [&place.plant, &place.pallet, &place.fixture, &place.circuit, &finding.position];
        let given = cells.into_iter().zip(self.given).filter(|(_, given)| *given);
        self.alike.get(&given.map(|(cell, _)| cell.to_owned()).collect::<Vec<String>>())
    }
}

/// For each waiver the first of the table that names the same rule and place: what it matches is counted there.
#[must_use]
pub fn first_alike(waivers: &[Waiver]) -> Vec<usize> {
    let mut firsts = HashMap::new();
    let first_of = |(index, waiver): (usize, &Waiver)| {
        let place = cells_of(waiver).map(|cell| if is_given(cell) { cell.to_owned() } else { String::new() });
        // What can't be read matches nothing.
        let key = (waiver.faults.is_empty(), folded(&waiver.rule), place);
        *firsts.entry(key).or_insert(index)
    };
    waivers.iter().enumerate().map(first_of).collect()
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

#[cfg(test)]
mod tests;
