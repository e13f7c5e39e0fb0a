//! What is still to be ordered, from whom and for how much: rows of the bill that come to one part, together.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::audit::at_once::WantedAtOnce;
use crate::audit::purchase::{PlacedOrder, missing, orders_by_part};
use crate::physics::unit::UnitSystem;
use crate::rules::buying::{B02, B03, order_name, uncounted};
use crate::tables::circuit_key::CircuitKey;
use crate::tables::component::Component;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::purchase::{PurchaseRow, Replacement};
use crate::tables::shown::shown;
use crate::tables::trade_unit::{TradeUnit, in_packs};
use crate::tables::value::Value;

/// One part to be ordered.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ToBuy {
    /// Its index in the component table.
    pub component: Option<u32>,
    pub part_no: String,
    pub supplier: String,
    pub currency: String,
    pub uom: &'static str,
    /// In whole packs.
    pub quantity: Decimal,
    pub price: Option<Decimal>,
    pub extended: Option<Decimal>,
    /// The earliest day on which it is needed.
    pub need_date: Option<NaiveDate>,
    /// The last day on which an order comes in time.
    pub order_by: Option<NaiveDate>,
    pub days_late: Option<i64>,
    /// Obsolete parts in whose place it is ordered.
    pub in_place_of: Vec<String>,
    /// Whether more may be needed: a line was set aside.
    pub need_is_bound: bool,
    /// What of `quantity` circuits that are unsafe in service wait for; all of it where they take up all but the packs.
    pub at_once: Decimal,
    /// These circuits.
    pub at_once_for: BTreeSet<CircuitKey>,
    /// Why it may not be ordered before something is settled or decided.
    pub held_up: Option<String>,
}

impl ToBuy {
    /// Whether all of it is wanted at once.
    #[must_use]
    pub fn is_all_at_once(&self) -> bool {
        self.at_once > Decimal::ZERO && self.at_once == self.quantity
    }

    /// When it is wanted: `at once`, `2027-02-15`, or how much at once and when the rest.
    #[must_use]
    pub fn wanted(&self) -> String {
        let date = self.need_date.map(|date| date.to_string()).unwrap_or_default();
        if self.is_all_at_once() {
            "at once".to_owned()
        } else if self.at_once > Decimal::ZERO {
            let rest = if date.is_empty() { "the rest later".to_owned() } else { format!("the rest {date}") };
            format!("{} at once, {rest}", self.at_once.normalize())
        } else {
            date
        }
    }
}

/// The order in which suppliers are told: by name, parts without one last.
fn rank(supplier: &str) -> (bool, &str) {
    (supplier.is_empty(), supplier)
}

/// Numbers on orders that may be meant for a part under another number, by the part's own.
pub type NearOrders<'a> = BTreeMap<&'a str, &'a [String]>;

/// Of the parts of which the orders name none or too few.
#[must_use]
pub fn near_orders(findings: &[Finding]) -> NearOrders<'_> {
    let of_orders = findings.iter().filter(|finding| [B02.code, B03.code].contains(&finding.rule));
    let near = of_orders.filter_map(|finding| {
        let names = finding.facts.iter().find_map(|(name, value)| match value {
            Value::List(names) if *name == "near" => Some(names.as_slice()),
            _ => None,
        });
        Some((finding.part_no.as_str(), names?))
    });
    near.collect()
}

/// What a bill leaves to be ordered, by supplier; of each first what is wanted at once, then by part.
///
/// * `wanted` – what circuits that are unsafe in service wait for
#[must_use]
pub fn to_buy(plant: &Plant, rows: &[PurchaseRow], wanted: &WantedAtOnce, near: &NearOrders) -> Vec<ToBuy> {
    let mut by_part: BTreeMap<&str, ToBuy> = BTreeMap::new();
    let placed = orders_by_part(plant);
    let orders_of = |part: &str| placed.get(part).map_or(&[][..], Vec::as_slice);
    for row in rows.iter().filter(|row| !row.order_qty.is_zero()) {
        let Some(own) = plant.component_at(row.component) else { continue };
        let other = plant.component(&row.order_part).filter(|_| row.replacement.is_proved()).unwrap_or(own);
        let units = [own, other].map(|part| TradeUnit::of(part, plant.policy.units));
        let short = missing(row.needed, row.ordered.unwrap_or_default());
        // Units that don't measure the same never come here: such a replacement is not proved.
        let short = units[0].convert(short, units[1]).unwrap_or(short);
        let item = by_part.entry(&other.part_no).or_insert_with(|| begun(plant, other, units[1]));
        item.quantity = item.quantity.saturating_add(short);
        item.need_date = item.need_date.into_iter().chain(row.need_date).min();
        item.order_by = item.order_by.into_iter().chain(row.order_by).min();
        item.days_late = item.days_late.max(row.days_late);
        item.need_is_bound |= row.need_is_bound;
        if row.replacement.is_proved() {
            item.in_place_of.push(row.part_no.clone());
        }
        if let Some((part, at_once)) = row.component.and_then(|part| Some((part, wanted.get(&part)?))) {
            let own = missing(row.needed, row.ordered.unwrap_or_default());
            let amount = at_once.to_order(plant, part, row.received, own);
            if amount > Decimal::ZERO {
                let amount = units[0].convert(amount, units[1]).unwrap_or_default();
                item.at_once = item.at_once.saturating_add(amount);
                item.at_once_for.extend(at_once.circuits.iter().cloned());
            }
        }
        let other_orders = if row.replacement.is_proved() { orders_of(&other.part_no) } else { &[] };
        let unsettled = unsettled(row, &[orders_of(&own.part_no), other_orders]);
        let unsettled = unsettled.or_else(|| named_otherwise(row, near.get(row.part_no.as_str())?));
        item.held_up = item.held_up.take().or_else(|| unsettled.or_else(|| held_up(own, row)));
    }
    let mut items: Vec<ToBuy> = by_part.into_values().collect();
    for item in &mut items {
        let pack = plant.component_at(item.component).and_then(|part| part.pack_qty);
        let is_all_at_once = item.at_once > Decimal::ZERO && item.at_once >= item.quantity;
        item.quantity = in_packs(item.quantity, pack);
        if is_all_at_once {
            item.at_once = item.quantity;
        }
        item.extended = item.price.and_then(|price| item.quantity.checked_mul(price));
    }
    items.sort_by(|a, b| (rank(&a.supplier), a.at_once.is_zero()).cmp(&(rank(&b.supplier), b.at_once.is_zero())));
    items
}

/// Why nothing is ordered anew of a part with orders that count as 0: they may be all that is needed.
///
/// * `orders` – of the part, and of one that is ordered in its place
fn unsettled(row: &PurchaseRow, orders: &[&[PlacedOrder]]) -> Option<String> {
    let names: Vec<String> = orders.iter().flat_map(|orders| uncounted(orders)).map(order_name).collect();
    let (word, verb, they) = match names.len() {
        0 => return None,
        1 => ("Order", "counts", "it orders"),
        _ => ("Orders", "count", "they order"),
    };
    let in_words = |value: Value| shown(&value, UnitSystem::Metric);
    let (names, most) = (in_words(Value::List(names)), at_most(row));
    Some(format!(
        "{word} {names} {verb} as 0, since how much {they} can't be told in the part's unit. First settle that, then \
         order what is still short{most}."
    ))
}

/// Why nothing is ordered anew of a part that orders may name otherwise.
fn named_otherwise(row: &PurchaseRow, near: &[String]) -> Option<String> {
    let names = shown(&Value::List(near.to_vec()), UnitSystem::Metric);
    let most = at_most(row);
    (!near.is_empty()).then(|| {
        format!(
            "Orders name {names}, which may be meant for it. First settle that, then order what is still short{most}."
        )
    })
}

/// `, 4 pieces at most`; nothing where more may be needed.
fn at_most(row: &PurchaseRow) -> String {
    let most = shown(&Value::Amount(row.order_qty, row.uom), UnitSystem::Metric);
    if row.need_is_bound { String::new() } else { format!(", {most} at most") }
}

fn begun(plant: &Plant, part: &Component, unit: TradeUnit) -> ToBuy {
    ToBuy {
        component: plant.part_index.get(&part.part_no).copied(),
        part_no: part.part_no.clone(),
        supplier: part.supplier.trim().to_owned(),
        // `eur` is no other currency than `EUR`.
        currency: part.currency.trim().to_ascii_uppercase(),
        uom: unit.symbol,
        price: part.unit_price,
        ..ToBuy::default()
    }
}

/// Why a part may not be ordered yet.
fn held_up(part: &Component, row: &PurchaseRow) -> Option<String> {
    match &row.replacement {
        // A blank in the data file: who orders the least that it may be orders too little.
        Replacement::None | Replacement::Proved(_) if row.need_is_bound => Some(format!(
            "How much is needed is not known, as a line of it was set aside: at least {} to be ordered.",
            shown(&Value::Amount(row.order_qty, row.uom), UnitSystem::Metric)
        )),
        Replacement::None | Replacement::Proved(_) => None,
        Replacement::Unnamed if part.replaced_by.is_empty() => {
            Some("It is obsolete, and the component table names no replacement.".to_owned())
        }
        Replacement::Unnamed => Some(format!(
            "It is obsolete, and the component table has no row for {}, which replaces it.",
            part.replaced_by
        )),
        Replacement::AlsoObsolete => {
            Some(format!("It is obsolete, and {}, which replaces it, is obsolete too.", part.replaced_by))
        }
        Replacement::Unproved(why) => {
            Some(format!("It is obsolete, and {} is not proved to conform in its place: {why}.", part.replaced_by))
        }
    }
}

/// What is to be ordered from one supplier in one currency; sums of different currencies are never added.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SupplierTotal {
    pub supplier: String,
    pub currency: String,
    /// Parts to be ordered, those without a price among them.
    pub parts: u64,
    /// Of these, those without a price, which the sum lacks.
    pub unpriced: u64,
    /// Of these, those that come late even if ordered today.
    pub late: u64,
    /// Of these, those of which circuits that are unsafe in service wait for some.
    pub at_once: u64,
    pub sum: Decimal,
    /// The last day to order what is not all wanted at once.
    pub order_by: Option<NaiveDate>,
}

impl SupplierTotal {
    fn add(&mut self, item: &ToBuy) {
        self.parts += 1;
        self.unpriced += u64::from(item.extended.is_none());
        self.late += u64::from(item.days_late.is_some());
        self.sum = self.sum.saturating_add(item.extended.unwrap_or_default());
        self.at_once += u64::from(item.at_once > Decimal::ZERO);
        let order_by = item.order_by.filter(|_| !item.is_all_at_once());
        self.order_by = self.order_by.into_iter().chain(order_by).min();
    }
}

/// Totals by supplier and currency, of what may be ordered.
#[must_use]
pub fn by_supplier(items: &[ToBuy]) -> Vec<SupplierTotal> {
    let mut totals: BTreeMap<((bool, &str), &str), SupplierTotal> = BTreeMap::new();
    for item in items.iter().filter(|item| item.held_up.is_none()) {
        let total = totals.entry((rank(&item.supplier), &item.currency)).or_insert_with(|| SupplierTotal {
            supplier: item.supplier.clone(),
            currency: item.currency.clone(),
            ..SupplierTotal::default()
        });
        total.add(item);
    }
    totals.into_values().collect()
}

/// Totals by currency, of all suppliers.
#[must_use]
pub fn by_currency(items: &[ToBuy]) -> Vec<SupplierTotal> {
    let mut totals: BTreeMap<&str, SupplierTotal> = BTreeMap::new();
    for item in items.iter().filter(|item| item.held_up.is_none()) {
        let blank = || SupplierTotal { currency: item.currency.clone(), ..SupplierTotal::default() };
        totals.entry(&item.currency).or_insert_with(blank).add(item);
    }
    totals.into_values().collect()
}

#[cfg(test)]
mod tests;
