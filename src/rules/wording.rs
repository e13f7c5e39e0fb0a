//! Findings in words: the rule's pattern with the finding's numbers, in the reader's units.

mod closing;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use crate::physics::unit::UnitSystem;
use crate::rules::Rule;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::value::Value;
use crate::tables::words::Side;

use closing::closes;

use crate::tables::shown::{DIGITS, add_shown_to, shown_apart_to, shown_to};
pub use crate::tables::shown::{shown, shown_apart};

/// Code and name of a rule, which always stand together.
#[must_use]
pub fn headline(rule: &Rule) -> String {
    format!("{} {}", rule.code, rule.name)
}

/// Why the rule isn't met, with the arithmetic.
///
/// What stands between `[` and `]` in the rule's message is left out where a value in it is missing.
///
/// Figures have four digits, and as many more as it takes for its sums to come out as they are printed.
#[must_use]
pub fn reason(finding: &Finding, rule: &Rule, plant: &Plant) -> String {
    const MOST: usize = 3;
    let units = plant.policy.units;
    let usual = reason_to(finding, rule, units, &|_| DIGITS);
    if closes(&usual) {
        return usual;
    }
    let wholes = WholePlaces::of(finding, units);
    let with_more = |more| reason_to(finding, rule, units, &|value| wholes.digits(value, units, more));
    (1..=MOST).map(with_more).find(|words| closes(words)).unwrap_or(usual)
}

/// Of each unit in a finding, the places before the point of its greatest figure.
struct WholePlaces(BTreeMap<String, usize>);

impl WholePlaces {
    fn of(finding: &Finding, units: UnitSystem) -> Self {
        let mut all = BTreeMap::new();
        let facts = finding.facts.iter().map(|(_, value)| value);
        for (places, unit) in facts.chain(&finding.measured).chain(&finding.limit).filter_map(|one| places(one, units))
        {
            let known = all.entry(unit).or_default();
            *known = places.max(*known);
        }
        Self(all)
    }

    /// Digits of a figure, so that it has as many decimals as the greatest of its unit has with so many more digits.
    fn digits(&self, value: &Value, units: UnitSystem, more: usize) -> usize {
        let Some((places, unit)) = places(value, units) else { return DIGITS };
        let greatest = self.0.get(&unit).copied().unwrap_or(places);
        DIGITS + more.saturating_sub(greatest.saturating_sub(places))
    }
}

/// Places before the point of a figure as it is shown, and its unit; `None` of what is no figure.
fn places(value: &Value, units: UnitSystem) -> Option<(usize, String)> {
    let is_exact =
        matches!(value, Value::Amount(..) | Value::Money(..) | Value::Text(_) | Value::List(_) | Value::Date(_));
    let words = shown(value, units);
    let (number, unit) = words.split_once(' ').unwrap_or((&words, ""));
    let _: f64 = number.parse().ok().filter(|_| !is_exact)?;
    let whole = number.trim_start_matches('-').split('.').next().unwrap_or_default();
    Some((if whole == "0" { 0 } else { whole.len() }, unit.to_owned()))
}

/// * `digits` – of each value
fn reason_to(finding: &Finding, rule: &Rule, units: UnitSystem, digits: &dyn Fn(&Value) -> usize) -> String {
    let shown = |value: &Value| shown_to(value, units, digits(value));
    let (measured, limit) = match (&finding.measured, &finding.limit) {
        (Some(measured), Some(limit)) => {
            let (measured, limit) = shown_apart_to((measured, digits(measured)), (limit, digits(limit)), units);
            (Some(measured), Some(limit))
        }
        (measured, limit) => (measured.as_ref().map(shown), limit.as_ref().map(shown)),
    };
    let put = |name: &str, words: &mut String| match name {
        "measured" => put_known(measured.as_deref(), words),
        "limit" => put_known(limit.as_deref(), words),
        _ => match finding.facts.iter().find(|(fact, _)| *fact == name) {
            Some((_, Value::Text(text))) => put_known(Some(text), words),
            // Money is told to the hundredth, and its differences are exact.
            Some((_, value)) if DIFFERENCES.contains(&name) && !matches!(value, Value::Money(..)) => {
                let printed = measured.as_deref().zip(limit.as_deref());
                match printed.and_then(|(measured, limit)| difference(measured, limit, &shown(value))) {
                    Some(difference) => words.push_str(&difference),
                    None => add_shown_to(value, units, digits(value), words),
                }
                true
            }
            Some((_, value)) => {
                add_shown_to(value, units, digits(value), words);
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
