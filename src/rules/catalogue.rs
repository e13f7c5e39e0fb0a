//! The rules in reading order.

#[cfg(test)]
mod tests;

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

/// The rule of a code.
#[must_use]
pub fn rule(code: &str) -> Option<&'static Rule> {
    CATALOGUE.iter().copied().find(|rule| rule.code == code)
}

/// Where a rule stands in the catalogue; unknown codes come last.
#[must_use]
pub fn place_of(code: &str) -> usize {
    CATALOGUE.iter().position(|rule| rule.code == code).unwrap_or(CATALOGUE.len())
}

/// The family of a code.
#[must_use]
pub fn family_of(code: &str) -> Option<&'static Family> {
    FAMILIES.iter().copied().find(|family| code.starts_with(family.letter))
}

/// Whether a finding counts for the verdict on a circuit: purchasing and waivers have verdicts of their own.
#[must_use]
pub fn weighs_on_circuits(finding: &Finding) -> bool {
    rule(finding.rule).is_none_or(|rule| rule.weighs && rule.family.weighs)
}
