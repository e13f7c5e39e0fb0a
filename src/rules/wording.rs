//! Findings in words: the rule's pattern with the finding's numbers, in the reader's units.

mod closing;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use crate::physics::unit::UnitSystem;
use crate::rules::Rule;
use crate::rules::catalogue::{CATALOGUE, place_of};
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::value::Value;
use crate::tables::words::Side;

use closing::closes;

use crate::tables::shown::{DIGITS, add_decimal, add_shown_to, shown_apart_to, shown_to};
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
            Some((_, value)) => {
                let before = words.len();
                add_shown_to(value, units, digits(value), words);
                // Money is told to the hundredth, and its differences are exact.
                if let Some((measured, limit)) = measured.as_deref().zip(limit.as_deref())
                    && DIFFERENCES.contains(&name)
                    && !matches!(value, Value::Money(..))
                {
                    put_difference(measured, limit, before, words);
                }
                true
            }
            None => put_subject(finding, name, words),
        },
    };
    filled(rule, put)
}

/// Facts that are how far a figure is from its limit.
const DIFFERENCES: [&str; 2] = ["excess", "shortfall"];

/// A number as it is printed, with its unit.
#[derive(Clone, Copy)]
struct Printed<'a> {
    number: f64,
    /// Its digits without the point, where it has no sign and no exponent and a number holds them exactly.
    digits: Option<u64>,
    decimals: usize,
    unit: &'a str,
}

impl<'a> Printed<'a> {
    fn of(text: &'a str) -> Option<Self> {
        let (number, unit) = text.split_once(' ').unwrap_or((text, ""));
        let decimals = number.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        Some(Self { number: number.parse().ok()?, digits: exact_digits(number), decimals, unit })
    }

    /// Its digits with as many decimals.
    fn digits_to(self, decimals: usize) -> Option<u64> {
        let more = u32::try_from(decimals.checked_sub(self.decimals)?).ok()?;
        self.digits?.checked_mul(10_u64.checked_pow(more)?)
    }
}

/// The digits of a plain decimal number without its point.
fn exact_digits(number: &str) -> Option<u64> {
    /// More may not be held exactly.
    const MOST: usize = 15;
    let digit = |byte: u8| (byte != b'.').then(|| byte.checked_sub(b'0').filter(|digit| *digit < 10));
    let digits = || number.bytes().filter_map(digit);
    let all = digits().try_fold(0_u64, |so_far, digit| Some(so_far * 10 + u64::from(digit?)));
    if digits().count() > MOST { None } else { all }
}

/// Puts the difference of two figures as they are printed in the place of itself, so that who does the sum again gets it;
/// leaves it where that is not what it is the difference of, or where nothing would be left of it.
///
/// * `before` – where the difference before its operands were rounded begins, in words
fn put_difference(one: &str, other: &str, before: usize, words: &mut String) {
    let itself = words.get(before..).and_then(Printed::of);
    let (Some(one), Some(other), Some(itself)) = (Printed::of(one), Printed::of(other), itself) else { return };
    let decimals = one.decimals.max(other.decimals);
    let Ok(places) = i32::try_from(decimals) else { return };
    let last_place = 0.1_f64.powi(places);
    let rounded = (one.number - other.number).abs();
    let is_of_these = (rounded - itself.number).abs() <= 1.01 * last_place && rounded > 0.5 * last_place;
    if !is_of_these || one.unit != other.unit || one.unit != itself.unit {
        return;
    }
    words.truncate(before);
    match one.digits_to(decimals).zip(other.digits_to(decimals)) {
        Some((of_one, of_other)) => add_decimal(of_one.abs_diff(of_other), decimals, words),
        None => {
            let number = format!("{rounded:.decimals$}");
            let is_whole = decimals == 0;
            words.push_str(if is_whole { &number } else { number.trim_end_matches('0').trim_end_matches('.') });
        }
    }
    if !one.unit.is_empty() {
        words.extend([" ", one.unit]);
    }
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

/// What a pattern is made of.
#[derive(Clone, Copy)]
enum Piece {
    Text(&'static str),
    Name(&'static str),
    /// Begins a part that is left out where a name in it is missing.
    Opens,
    Closes,
}

/// The patterns of the catalogue taken apart, in its order: each serves very many findings.
static PATTERNS: LazyLock<Vec<Vec<Piece>>> =
    LazyLock::new(|| CATALOGUE.iter().map(|rule| pieces(rule.message)).collect());

fn pieces(pattern: &'static str) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut rest = pattern;
    let mut is_open = false;
    while let Some(at) = rest.find(['[', ']', '{']) {
        let (before, mark, after) = (&rest[..at], &rest[at..=at], &rest[at + 1..]);
        pieces.extend((!before.is_empty()).then_some(Piece::Text(before)));
        rest = after;
        match (mark, is_open) {
            ("{", _) => {
                let (name, behind) = after.split_once('}').unwrap_or((after, ""));
                pieces.push(Piece::Name(name));
                rest = behind;
            }
            ("[", false) => pieces.push(Piece::Opens),
            ("]", true) => pieces.push(Piece::Closes),
            _ => pieces.push(Piece::Text(mark)),
        }
        is_open = if mark == "{" { is_open } else { mark == "[" };
    }
    pieces.extend((!rest.is_empty()).then_some(Piece::Text(rest)));
    pieces
}

/// A pattern with its names replaced, by `unknown` where one is missing.
///
/// * `put` – adds the words of a name; false where they are missing
fn filled(rule: &Rule, put: impl Fn(&str, &mut String) -> bool) -> String {
    let known = CATALOGUE.get(place_of(rule.code)).zip(PATTERNS.get(place_of(rule.code)));
    match known.filter(|(known, _)| known.message == rule.message) {
        Some((_, pieces)) => put_together(pieces, put),
        None => put_together(&pieces(rule.message), put),
    }
}

fn put_together(pieces: &[Piece], put: impl Fn(&str, &mut String) -> bool) -> String {
    let mut words = String::with_capacity(USUAL_LENGTH);
    // Where the words of the part that may be left out begin.
    let mut optional: Option<usize> = None;
    let mut is_left_out = false;
    for piece in pieces {
        match piece {
            Piece::Opens => optional = Some(words.len()),
            Piece::Closes => (optional, is_left_out) = (None, false),
            _ if is_left_out => {}
            Piece::Text(text) => words.push_str(text),
            Piece::Name(name) => {
                if !put(name, &mut words) {
                    is_left_out = optional.is_some();
                    match optional {
                        Some(start) => words.truncate(start),
                        None => words.push_str("unknown"),
                    }
                }
            }
        }
    }
    let end = words.trim_end().len();
    words.truncate(end);
    let blanks = words.len() - words.trim_start().len();
    words.drain(..blanks);
    words
}

/// Letters that most reasons take.
const USUAL_LENGTH: usize = 240;
