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

/// Every rule, one a line.
pub static CATALOGUE: &[&Rule] = &[
    &lists::L01,
    &lists::L02,
    &lists::L03,
    &lists::L04,
    &lists::L05,
    &lists::L06,
    &lists::L07,
    &lists::L08,
    &lists::L09,
    &lists::L10,
    &lists::L11,
    &lists::L12,
    &lists::L13,
    &makeup::M01,
    &makeup::M02,
    &makeup::M03,
    &makeup::M04,
    &makeup::M05,
    &makeup::M06,
    &makeup::M07,
    &makeup::M08,
    &makeup::M09,
    &makeup::M10,
    &makeup::M11,
    &makeup::M12,
    &volume::V01,
    &volume::V02,
    &volume::V03,
    &volume::V04,
    &pressure::P01,
    &pressure::P02,
    &pressure::P03,
    &pressure::P04,
    &pressure::P05,
    &pressure::P06,
    &pressure::P07,
    &pressure::P08,
    &pressure::P09,
    &pressure::P10,
    &pressure::P11,
    &pressure::P12,
    &pressure::P13,
    &pressure::P14,
    &pressure::P15,
    &pressure::P16,
    &pressure::P17,
    &holding::H01,
    &holding::H02,
    &holding::H03,
    &holding::H04,
    &force::F01,
    &force::F02,
    &force::F03,
    &force::F04,
    &time::T01,
    &time::T02,
    &time::T03,
    &sureness::S01,
    &buying::B01,
    &buying::B02,
    &buying::B03,
    &buying::B04,
    &buying::B05,
    &buying::B06,
    &buying::B07,
    &buying::B08,
    &buying::B09,
    &buying::B10,
    &upkeep::U01,
    &upkeep::U02,
    &upkeep::U03,
    &waivers::W01,
    &waivers::W02,
];

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
    rule(finding.rule).is_none_or(|rule| rule.weighs && rule.family.weighs)
}
