//! Findings in words: the rule's pattern with the finding's numbers, in the reader's units.

#[cfg(test)]
mod tests;

use crate::rules::Rule;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;

pub use crate::tables::shown::{shown, shown_apart};

/// Code and name of a rule, which always stand together.
#[must_use]
pub fn headline(rule: &Rule) -> String {
    format!("{} {}", rule.code, rule.name)
}

/// Why the rule isn't met, with the arithmetic.
///
/// What stands between `[` and `]` in the rule's message is left out where a value in it is missing.
#[must_use]
pub fn reason(finding: &Finding, rule: &Rule, plant: &Plant) -> String {
    let units = plant.policy.units;
    let (measured, limit) = match (&finding.measured, &finding.limit) {
        (Some(measured), Some(limit)) => {
            let (measured, limit) = shown_apart(measured, limit, units);
            (Some(measured), Some(limit))
        }
        (measured, limit) => {
            (measured.as_ref().map(|value| shown(value, units)), limit.as_ref().map(|value| shown(value, units)))
        }
    };
    let lookup = |name: &str| match name {
        "measured" => measured.clone(),
        "limit" => limit.clone(),
        _ => match finding.facts.iter().find(|(fact, _)| *fact == name) {
            Some((_, value)) => Some(shown(value, units)),
            None => subject_word(finding, name),
        },
    };
    filled(rule.message, lookup)
}

/// The words of a finding's subject that every pattern may use.
fn subject_word(finding: &Finding, name: &str) -> Option<String> {
    let word = match name {
        "place" => finding.place.to_string(),
        "position" => finding.position.clone(),
        "part" => finding.part_no.clone(),
        "side" => finding.side?.word().to_owned(),
        _ => return None,
    };
    (!word.is_empty()).then_some(word)
}

/// A pattern with its names replaced.
fn filled(pattern: &str, lookup: impl Fn(&str) -> Option<String>) -> String {
    let mut words = String::with_capacity(pattern.len() * 2);
    let mut rest = pattern;
    while let Some((before, after)) = rest.split_once('[') {
        words.push_str(&with_names(before, &lookup).unwrap_or_else(|known| known));
        let (optional, behind) = after.split_once(']').unwrap_or((after, ""));
        if let Ok(segment) = with_names(optional, &lookup) {
            words.push_str(&segment);
        }
        rest = behind;
    }
    words.push_str(&with_names(rest, &lookup).unwrap_or_else(|known| known));
    words.trim().to_owned()
}

/// A text with its names replaced; as an error, with `unknown` for what is missing.
fn with_names(text: &str, lookup: &impl Fn(&str) -> Option<String>) -> Result<String, String> {
    let mut words = String::with_capacity(text.len());
    let mut rest = text;
    let mut is_complete = true;
    while let Some((before, after)) = rest.split_once('{') {
        let (name, behind) = after.split_once('}').unwrap_or((after, ""));
        words.push_str(before);
        if let Some(value) = lookup(name) {
            words.push_str(&value);
        } else {
            is_complete = false;
            words.push_str("unknown");
        }
        rest = behind;
    }
    words.push_str(rest);
    if is_complete { Ok(words) } else { Err(words) }
}
