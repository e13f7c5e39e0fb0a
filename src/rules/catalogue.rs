//! The rules in reading order.

use super::Rule;

/// Every rule.
pub static CATALOGUE: &[&Rule] = &[];

/// The rule of a code.
#[must_use]
pub fn rule(code: &str) -> Option<&'static Rule> {
    CATALOGUE.iter().copied().find(|rule| rule.code == code)
}
