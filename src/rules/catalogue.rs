//! The rules in reading order.

use super::{Rule, buying, force, holding, lists, makeup, ordering, pressure, time, volume, waivers};

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
    &lists::parts::L09,
    &lists::parts::L10,
    &lists::parts::L11,
    &lists::L12,
    &makeup::M01,
    &makeup::M02,
    &makeup::M03,
    &makeup::M04,
    &makeup::M05,
    &makeup::fit::M06,
    &makeup::fit::M07,
    &makeup::fit::M08,
    &makeup::fit::M09,
    &makeup::M10,
    &volume::V01,
    &volume::V02,
    &volume::V03,
    &pressure::P01,
    &pressure::chain::P02,
    &pressure::chain::P03,
    &pressure::chain::P04,
    &pressure::P05,
    &pressure::P06,
    &pressure::P07,
    &pressure::P08,
    &pressure::setting::P09,
    &pressure::setting::P10,
    &pressure::chain::P11,
    &pressure::setting::P12,
    &pressure::chain::P13,
    &pressure::chain::P14,
    &holding::H01,
    &holding::H02,
    &holding::H03,
    &holding::H04,
    &force::F01,
    &force::F02,
    &force::F03,
    &time::T01,
    &time::T02,
    &buying::B01,
    &buying::B02,
    &buying::B03,
    &buying::B04,
    &buying::B05,
    &ordering::B06,
    &ordering::B07,
    &ordering::B08,
    &waivers::W01,
    &waivers::W02,
];

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
