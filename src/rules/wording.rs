//! Findings in words: the rule's pattern with the finding's numbers, in the reader's units.

#[cfg(test)]
mod tests;

use crate::rules::Rule;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::value::Value;
use crate::tables::words::Side;

use crate::tables::shown::add_shown;
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
    let put = |name: &str, words: &mut String| match name {
        "measured" => put_known(measured.as_deref(), words),
        "limit" => put_known(limit.as_deref(), words),
        _ => match finding.facts.iter().find(|(fact, _)| *fact == name) {
            Some((_, Value::Text(text))) => put_known(Some(text), words),
            Some((_, value)) if DIFFERENCES.contains(&name) => {
                let printed = measured.as_deref().zip(limit.as_deref());
                match printed.and_then(|(measured, limit)| difference(measured, limit, &shown(value, units))) {
                    Some(difference) => words.push_str(&difference),
                    None => add_shown(value, units, words),
                }
                true
            }
            Some((_, value)) => {
                add_shown(value, units, words);
                true
            }
            None => put_subject(finding, name, words),
        },
    };
    filled(rule.message, put)
}

/// Facts that are how far a figure is from its limit.
const DIFFERENCES: [&str; 2] = ["excess", "shortfall"];

/// The difference of two figures as they are printed, so that who does the sum again gets it; `None` where that is not
/// what the difference is of, or where nothing would be left of it.
///
/// * `itself` – the difference before its operands were rounded, in words
fn difference(one: &str, other: &str, itself: &str) -> Option<String> {
    let parsed = |text: &str| {
        let (number, unit) = text.split_once(' ').unwrap_or((text, ""));
        let decimals = number.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        Some((number.parse::<f64>().ok()?, decimals, unit.to_owned()))
    };
    let (one, other, itself) = (parsed(one)?, parsed(other)?, parsed(itself)?);
    let is_alike = one.2 == other.2 && one.2 == itself.2;
    let decimals = one.1.max(other.1);
    let last_place = 0.1_f64.powi(i32::try_from(decimals).ok()?);
    let rounded = (one.0 - other.0).abs();
    let is_of_these = (rounded - itself.0).abs() <= 1.01 * last_place && rounded > 0.5 * last_place;
    let words = format!("{rounded:.decimals$}");
    let trimmed = if decimals > 0 { words.trim_end_matches('0').trim_end_matches('.') } else { &words };
    (is_alike && is_of_these).then(|| format!("{trimmed} {}", one.2).trim_end().to_owned())
}

fn put_known(text: Option<&str>, words: &mut String) -> bool {
    words.push_str(text.unwrap_or_default());
    text.is_some()
}

/// Adds the words of a finding's subject that every pattern may use; false where there are none.
fn put_subject(finding: &Finding, name: &str, words: &mut String) -> bool {
    let before = words.len();
    match name {
        "place" => words.push_str(&finding.place.to_string()),
        "position" => words.push_str(&finding.position),
        "part" => words.push_str(&finding.part_no),
        "side" => words.push_str(finding.side.map_or("", Side::word)),
        "the_side" => match finding.side {
            None => {}
            Some(Side::Both) => words.push_str("both sides"),
            Some(side) => words.extend(["the ", side.word(), " side"]),
        },
        _ => {}
    }
    words.len() > before
}

/// A pattern with its names replaced.
///
/// * `put` – adds the words of a name; false where they are missing
fn filled(pattern: &str, put: impl Fn(&str, &mut String) -> bool) -> String {
    let mut words = String::with_capacity(pattern.len() * 2);
    let mut rest = pattern;
    while let Some((before, after)) = split(rest, b'[') {
        put_with_names(before, &put, &mut words);
        let (optional, behind) = split(after, b']').unwrap_or((after, ""));
        let so_far = words.len();
        if !put_with_names(optional, &put, &mut words) {
            words.truncate(so_far);
        }
        rest = behind;
    }
    put_with_names(rest, &put, &mut words);
    let end = words.trim_end().len();
    words.truncate(end);
    let blanks = words.len() - words.trim_start().len();
    words.drain(..blanks);
    words
}

/// Adds a text with its names replaced, by `unknown` where one is missing; false then.
fn put_with_names(text: &str, put: &impl Fn(&str, &mut String) -> bool, words: &mut String) -> bool {
    let mut rest = text;
    let mut is_complete = true;
    while let Some((before, after)) = split(rest, b'{') {
        let (name, behind) = split(after, b'}').unwrap_or((after, ""));
        words.push_str(before);
        if !put(name, words) {
            is_complete = false;
            words.push_str("unknown");
        }
        rest = behind;
    }
    words.push_str(rest);
    is_complete
}

/// What stands before and behind the first of a mark.
fn split(text: &str, mark: u8) -> Option<(&str, &str)> {
    let at = memchr::memchr(mark, text.as_bytes())?;
    Some((text.get(..at)?, text.get(at + 1..)?))
}
