//! The order in which changes are offered: fewest changed lines, then the lowest unit price where
//! all are known in one currency, then the lowest rating, then the part number.

use std::cmp::Ordering;

use rust_decimal::Decimal;

use crate::physics::quantity::Pressure;
use crate::rules::rating::rating;
use crate::tables::component::Component;
use crate::tables::plant::Plant;

use super::change::Change;

/// What a change is ranked by.
struct Rank<'a> {
    lines: usize,
    /// The part that comes in; a setting buys nothing and goes first.
    part: Option<&'a Component>,
    rating: Option<Pressure>,
}

fn rank<'a>(plant: &'a Plant, change: &Change) -> Rank<'a> {
    let part = plant.component_at(change.part());
    let rating = part.and_then(|part| rating(part, &plant.policy.limits));
    Rank { lines: change.changed_lines(), part, rating }
}

/// Whether all prices are known, and in one currency.
pub(super) fn are_priced<'a>(parts: impl Iterator<Item = &'a Component>) -> bool {
    let mut currency: Option<&str> = None;
    for part in parts {
        if part.unit_price.is_none() || currency.is_some_and(|known| known != part.currency) {
            return false;
        }
        currency = Some(&part.currency);
    }
    true
}

fn name<'a>(rank: &Rank<'a>) -> &'a str {
    rank.part.map_or("", |part| part.part_no.as_str())
}

fn compare(a: &Rank, b: &Rank, by_price: bool) -> Ordering {
    let price = |rank: &Rank| rank.part.and_then(|part| part.unit_price).unwrap_or(Decimal::ZERO);
    let rated = |rank: &Rank| rank.rating.map_or(f64::INFINITY, Pressure::si);
    a.lines
        .cmp(&b.lines)
        .then_with(|| a.part.is_some().cmp(&b.part.is_some()))
        .then_with(|| if by_price { price(a).cmp(&price(b)) } else { Ordering::Equal })
        .then_with(|| rated(a).total_cmp(&rated(b)))
        .then_with(|| name(a).cmp(name(b)))
}

/// Sorts parts by what they cost, then by rating and number.
pub(super) fn sort_parts(plant: &Plant, parts: &mut [u32]) {
    let rank = |part: &u32| rank(plant, &Change::Swap { line: 0, to: *part });
    parts.sort_by(|a, b| compare(&rank(a), &rank(b), true));
}

/// Sorts candidates, those of equal rank as they were thought of; true where the order holds
/// whatever passes, so that the first that passes is the one.
pub fn in_order<T>(plant: &Plant, changes: &mut Vec<T>, change: impl Fn(&T) -> &Change) -> bool {
    let mut ranked: Vec<(Rank, T)> = changes.drain(..).map(|one| (rank(plant, change(&one)), one)).collect();
    let by_price = are_priced(ranked.iter().filter_map(|(rank, _)| rank.part));
    ranked.sort_by(|(a, _), (b, _)| compare(a, b, by_price));
    changes.extend(ranked.into_iter().map(|(_, one)| one));
    by_price
}

/// The first of what passed, where the prices of those that did not may have hidden the order.
#[must_use]
pub fn first<T>(plant: &Plant, mut passing: Vec<T>, change: impl Fn(&T) -> &Change) -> Option<T> {
    let by_price = are_priced(passing.iter().filter_map(|one| rank(plant, change(one)).part));
    passing.sort_by(|a, b| compare(&rank(plant, change(a)), &rank(plant, change(b)), by_price));
    passing.into_iter().next()
}
