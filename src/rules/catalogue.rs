//! The rules in reading order.

#[cfg(test)]
mod tests;

use std::sync::LazyLock;

use crate::tables::finding::Finding;

use super::{Family, Rule, buying, force, holding, lists, makeup, pressure, sureness, time, upkeep, volume, waivers};

/// The families, in the order of their rules.
pub static FAMILIES: &[&Family] = &[
    &lists::FAMILY,
    &makeup::FAMILY,
    &volume::FAMILY,
    &pressure::FAMILY,
    &holding::FAMILY,
    &force::FAMILY,
    &time::FAMILY,
    &sureness::FAMILY,
    &buying::FAMILY,
    &upkeep::FAMILY,
    &waivers::FAMILY,
];

/// Every rule, family by family.
pub static CATALOGUE: &[&Rule] = &RULES;

/// Put together when the program is built, so that a rule stands in the list of its family alone.
static RULES: [&Rule; COUNT] = {
    let mut rules = [FAMILIES[0].rules[0]; COUNT];
    let (mut count, mut family) = (0, 0);
    while family < FAMILIES.len() {
        let mut at = 0;
        while at < FAMILIES[family].rules.len() {
            rules[count] = FAMILIES[family].rules[at];
            (count, at) = (count + 1, at + 1);
        }
        family += 1;
    }
    rules
};

const COUNT: usize = {
    let (mut count, mut family) = (0, 0);
    while family < FAMILIES.len() {
        count += FAMILIES[family].rules.len();
        family += 1;
    }
    count
};

/// By letter and number of a code: where its rule stands in the catalogue. Every finding of every circuit is looked
/// up several times.
static PLACES: LazyLock<Vec<Option<usize>>> = LazyLock::new(|| {
    let mut places = vec![None; SLOTS];
    for (place, rule) in CATALOGUE.iter().enumerate() {
        if let Some(at) = slot(rule.code).and_then(|slot| places.get_mut(slot)) {
            *at = Some(place);
        }
    }
    places
});

/// Codes that a letter and two digits can make.
const SLOTS: usize = 26 * 100;

/// Another number for every code of a letter and two digits; `None` for what is no code.
fn slot(code: &str) -> Option<usize> {
    let [letter @ b'A'..=b'Z', tens @ b'0'..=b'9', ones @ b'0'..=b'9'] = code.as_bytes() else { return None };
    let number = |byte: &u8, first: u8| usize::from(byte - first);
    Some(number(letter, b'A') * 100 + number(tens, b'0') * 10 + number(ones, b'0'))
}

fn place(code: &str) -> Option<usize> {
    PLACES.get(slot(code)?).copied().flatten()
}

/// The rule of a code.
#[must_use]
pub fn rule(code: &str) -> Option<&'static Rule> {
    CATALOGUE.get(place(code)?).copied()
}

/// Where a rule stands in the catalogue; unknown codes come last.
#[must_use]
pub fn place_of(code: &str) -> usize {
    place(code).unwrap_or(CATALOGUE.len())
}

/// The family of a code.
#[must_use]
pub fn family_of(code: &str) -> Option<&'static Family> {
    FAMILIES.iter().copied().find(|family| code.starts_with(family.letter))
}

/// Whether a finding counts for the verdict on a circuit: purchasing and waivers have verdicts of their own.
#[must_use]
pub fn weighs_on_circuits(finding: &Finding) -> bool {
    rule(finding.rule).is_none_or(Rule::weighs_on_circuits)
}
