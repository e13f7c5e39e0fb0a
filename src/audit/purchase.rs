//! The bill: what all lists and stations need of each part, against what is ordered.
//!
//! Plain decimal sums over ordered maps, not data frames: an order's quantity has as many digits
//! as its cell, and a column of 64-bit whole numbers or floats would round or overflow where the
//! sum has to be exact.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::physics::unit::UnitSystem;
use crate::remedy::need::amount;
use crate::remedy::succession::Succession;
use crate::rules::buying::{after, expected_on, is_received, order_unit};
use crate::tables::component::Component;
use crate::tables::order::Order;
use crate::tables::plant::Plant;
use crate::tables::purchase::{PurchaseRow, Replacement};
use crate::tables::trade_unit::{EACH, TradeUnit, in_packs, is_more};
use crate::tables::usage::{Taken, Usage};

#[cfg(test)]
mod tests;

/// An order row and its quantity in the part's unit; `None` where it can't be converted.
pub type PlacedOrder<'a> = (&'a Order, Option<Decimal>);

/// Order rows by part number, in the order of the table.
#[must_use]
pub fn orders_by_part(plant: &Plant) -> BTreeMap<&str, Vec<PlacedOrder<'_>>> {
    let mut by_part: BTreeMap<&str, Vec<PlacedOrder>> = BTreeMap::new();
    for order in plant.orders.iter().flatten() {
        let quantity = converted(order, plant.component_at(order.component), plant.policy.units);
        by_part.entry(&order.part_no).or_default().push((order, quantity));
    }
    by_part
}

/// An order's quantity in the part's unit: 0 where it is blank or can't be read, `None` where its
/// unit does not measure the same. A part that the component table lacks is counted as ordered.
#[must_use]
pub fn converted(order: &Order, component: Option<&Component>, system: UnitSystem) -> Option<Decimal> {
    let quantity = order.qty.unwrap_or_default();
    let Some(component) = component else { return Some(quantity) };
    order_unit(order, Some(component), system)?.convert(quantity, TradeUnit::of(component, system))
}

/// The bill: every part that is needed or ordered, in the order of part numbers.
///
/// * `usage` – indexed as the plant's components
/// * `unlisted` – of parts that only orders name
/// * `successions` – by component index, how the replacements of obsolete parts do
#[must_use]
pub fn bill(
    plant: &Plant,
    usage: &[Usage],
    unlisted: &BTreeMap<String, Usage>,
    successions: &BTreeMap<u32, Succession>,
) -> Vec<PurchaseRow> {
    let placed = orders_by_part(plant);
    let mut rows = BTreeMap::new();
    let unused = Usage::default();
    for (index, component) in (0_u32..).zip(&plant.components) {
        let usage = usage.get(index as usize).unwrap_or(&unused);
        let need = need(usage, component, plant.policy.units);
        let orders = placed.get(component.part_no.as_str()).map_or(&[][..], Vec::as_slice);
        if need.is_any() || !orders.is_empty() {
            let mut row = row(plant, component, &need, orders);
            row.component = Some(index);
            row.take_use(usage);
            row.replacement = replacement(plant, component, usage, successions.get(&index));
            if let Some(other) = successor(plant, component) {
                row.order_part.clone_from(&other.part_no);
            }
            rows.insert(component.part_no.as_str(), row);
        }
    }
    for (part_no, orders) in &placed {
        rows.entry(part_no).or_insert_with(|| {
            let mut row = unlisted_row(part_no, orders, plant.policy.units);
            row.take_use(unlisted.get(*part_no).unwrap_or(&unused));
            row
        });
    }
    share_replacements(plant, &mut rows);
    for row in rows.values_mut() {
        let of = |part: &str| placed.get(part).map_or(&[][..], Vec::as_slice);
        let others = if row.of_successor > Decimal::ZERO { of(&row.order_part) } else { &[] };
        set_dates(plant, row, of(&row.part_no), others);
    }
    rows.into_values().collect()
}

/// What would be ordered in the place of a part.
fn replacement(plant: &Plant, part: &Component, usage: &Usage, succession: Option<&Succession>) -> Replacement {
    if !part.is_obsolete() {
        return Replacement::None;
    }
    let Some(other) = successor(plant, part) else { return Replacement::Unnamed };
    if other.is_obsolete() {
        return Replacement::AlsoObsolete;
    }
    let units = [part, other].map(|part| TradeUnit::of(part, plant.policy.units));
    if !units[0].measures_the_same_as(units[1]) {
        return Replacement::Unproved(format!(
            "one is counted in {}, the other in {}",
            units[0].symbol, units[1].symbol
        ));
    }
    match succession {
        Some(succession) if succession.may_be_bought() => Replacement::Proved(succession.words_for_buying()),
        Some(succession) => Replacement::Unproved(format!("it conforms in {}", succession.words_for_buying())),
        None if !usage.is_used => Replacement::Unproved("no circuit uses the part".to_owned()),
        None => Replacement::Unproved("it is of another kind, or findings stand against it".to_owned()),
    }
}

/// When it is to be ordered, and how late it comes.
///
/// * `others` – orders of the part that replaces it, where some of them count for it
fn set_dates(plant: &Plant, row: &mut PurchaseRow, orders: &[PlacedOrder], others: &[PlacedOrder]) {
    let today = plant.policy.date;
    let component = plant.component_at(row.component);
    // Of a part that the table lacks nothing is known.
    let lead_time = plant.component(&row.order_part).and_then(|part| part.lead_time);
    row.order_by = row.need_date.zip(lead_time).and_then(|(date, days)| days_before(date, days));
    let open = orders.iter().map(|(order, _)| *order).filter(|order| !is_received(order));
    let past = open.clone().filter_map(|order| order.promised_date).filter(|date| *date < today).min();
    row.days_overdue = past.map(|date| (today - date).num_days());
    let is_short = !row.order_qty.is_zero() || row.need_is_bound && orders.is_empty();
    let if_ordered_today = lead_time.filter(|_| is_short).and_then(|days| after(today, days));
    let of_others = others.iter().map(|(order, _)| *order).filter(|order| !is_received(order));
    let successor = plant.component(&row.order_part);
    let of_others = of_others.filter_map(|order| expected_on(order, successor, today));
    let own = open.filter_map(|order| expected_on(order, component, today));
    let last = own.chain(of_others).chain(if_ordered_today).max();
    let late = last.zip(row.need_date).map(|(comes, needed)| (comes - needed).num_days());
    row.days_late = late.filter(|days| *days > 0);
}

/// What is needed of a part, in its unit.
#[derive(Default)]
struct Need {
    amount: Decimal,
    of_remedies: Decimal,
    is_bound: bool,
}

impl Need {
    fn is_any(&self) -> bool {
        self.amount > Decimal::ZERO || self.is_bound
    }
}

fn need(usage: &Usage, component: &Component, system: UnitSystem) -> Need {
    let lines = Taken { pieces: usage.pieces, picometres: usage.picometres };
    let amount = amount(lines, component, system);
    // More than 28 digits: it is at least as much as can be written.
    let is_bound = usage.need_is_bound || amount.is_none();
    let of_remedies = amount_of_remedies(usage, component, system);
    Need { amount: amount.unwrap_or(Decimal::MAX).max(Decimal::ZERO), of_remedies, is_bound }
}

fn amount_of_remedies(usage: &Usage, component: &Component, system: UnitSystem) -> Decimal {
    amount(usage.of_remedies, component, system).unwrap_or(Decimal::MAX).max(Decimal::ZERO)
}

fn row(plant: &Plant, component: &Component, need: &Need, orders: &[PlacedOrder]) -> PurchaseRow {
    let unit = TradeUnit::of(component, plant.policy.units);
    let ordered = plant.orders.as_ref().map(|_| ordered(orders, component, plant.policy.units));
    let order_qty = in_packs(missing(need.amount, ordered.unwrap_or_default()), component.pack_qty);
    PurchaseRow {
        part_no: component.part_no.clone(),
        uom: unit.symbol,
        needed: need.amount,
        of_remedies: need.of_remedies,
        ordered,
        received: sum_of(orders, component, plant.policy.units, |order| order.received),
        order_qty,
        extended: component.unit_price.and_then(|price| order_qty.checked_mul(price)),
        need_is_bound: need.is_bound,
        order_part: component.part_no.clone(),
        promised_date: latest(orders),
        ..PurchaseRow::default()
    }
}

/// The part that replaces an obsolete one.
fn successor<'a>(plant: &'a Plant, component: &Component) -> Option<&'a Component> {
    plant.component(&component.replaced_by).filter(|_| component.is_obsolete() && !component.replaced_by.is_empty())
}

/// What is ordered of a replacement beyond its own need counts for the obsolete parts, in the order of part numbers.
fn share_replacements(plant: &Plant, rows: &mut BTreeMap<&str, PurchaseRow>) {
    let obsolete: Vec<(&str, &Component, &Component)> = plant
        .components
        .iter()
        .filter_map(|part| Some((part.part_no.as_str(), part, successor(plant, part)?)))
        .filter(|(name, ..)| rows.get(name).is_some_and(|row| row.needed > Decimal::ZERO && !row.need_is_bound))
        .collect();
    let mut in_order = obsolete;
    in_order.sort_by_key(|(name, ..)| *name);
    let mut left: BTreeMap<&str, Decimal> = BTreeMap::new();
    for (name, part, successor) in in_order {
        let units = (TradeUnit::of(part, plant.policy.units), TradeUnit::of(successor, plant.policy.units));
        let surplus = rows
            .get(successor.part_no.as_str())
            .filter(|row| !row.need_is_bound)
            .map_or(Decimal::ZERO, |row| row.ordered.unwrap_or_default().saturating_sub(row.needed).max(Decimal::ZERO));
        let left = left.entry(successor.part_no.as_str()).or_insert(surplus);
        let Some(row) = rows.get_mut(name) else { continue };
        let Some(ordered) = row.ordered else { continue };
        let Some(available) = units.1.convert(*left, units.0) else { continue };
        let taken = missing(row.needed, ordered).min(available);
        if taken > Decimal::ZERO {
            *left = units.0.convert(taken, units.1).map_or(Decimal::ZERO, |taken| left.saturating_sub(taken));
            let ordered = ordered.saturating_add(taken);
            row.ordered = Some(ordered);
            row.of_successor = taken;
            row.order_qty = in_packs(missing(row.needed, ordered), part.pack_qty);
            row.extended = part.unit_price.and_then(|price| row.order_qty.checked_mul(price));
        }
    }
}

fn latest(orders: &[PlacedOrder]) -> Option<NaiveDate> {
    orders.iter().filter_map(|(order, _)| order.promised_date).max()
}

/// The day so many days before, begun days counted whole.
fn days_before(date: NaiveDate, days: f64) -> Option<NaiveDate> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and a million")]
    let days = days.clamp(0.0, 1e6).ceil() as u64;
    date.checked_sub_days(chrono::Days::new(days))
}

/// Needed less ordered, never below 0.
#[must_use]
pub fn missing(needed: Decimal, ordered: Decimal) -> Decimal {
    // By as much as counts as too little, so that the bill and B03 agree.
    if is_more(needed, ordered) { needed.saturating_sub(ordered).normalize() } else { Decimal::ZERO }
}

/// The sum of a part's orders in its unit.
fn ordered(orders: &[PlacedOrder], component: &Component, system: UnitSystem) -> Decimal {
    sum_of(orders, component, system, |order| order.qty)
}

/// A sum over a part's orders in its unit, added up in metres so that only the sum is rounded.
fn sum_of(
    orders: &[PlacedOrder],
    component: &Component,
    system: UnitSystem,
    of: impl Fn(&Order) -> Option<Decimal>,
) -> Decimal {
    let unit = TradeUnit::of(component, system);
    let in_base = orders
        .iter()
        .filter(|(_, converted)| converted.is_some())
        .filter_map(|(order, _)| order_unit(order, Some(component), system)?.to_base(of(order).unwrap_or_default()));
    let total = in_base.fold(Decimal::ZERO, Decimal::saturating_add);
    unit.from_base(total).unwrap_or(Decimal::MAX)
}

/// A part that only orders name: in the unit of its first order that has one.
fn unlisted_row(part_no: &str, orders: &[PlacedOrder], system: UnitSystem) -> PurchaseRow {
    let units: Vec<Option<TradeUnit>> = orders.iter().map(|(order, _)| order_unit(order, None, system)).collect();
    let unit = units.iter().copied().flatten().next().unwrap_or(EACH);
    let total = orders
        .iter()
        .zip(&units)
        .filter_map(|((order, _), own)| (*own)?.convert(order.qty.unwrap_or_default(), unit))
        .fold(Decimal::ZERO, Decimal::saturating_add);
    PurchaseRow {
        part_no: part_no.to_owned(),
        uom: unit.symbol,
        ordered: Some(total.normalize()),
        order_part: part_no.to_owned(),
        promised_date: latest(orders),
        ..PurchaseRow::default()
    }
}
