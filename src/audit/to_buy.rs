//! What is still to be ordered, from whom and for how much: rows of the bill that come to one part, together.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::audit::purchase::missing;
use crate::physics::unit::UnitSystem;
use crate::tables::component::Component;
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
    /// Why it may not be ordered before the engineer has decided.
    pub held_up: Option<String>,
}

/// The order in which suppliers are told: by name, parts without one last.
fn rank(supplier: &str) -> (bool, &str) {
    (supplier.is_empty(), supplier)
}

/// What a bill leaves to be ordered, by supplier and part.
#[must_use]
pub fn to_buy(plant: &Plant, rows: &[PurchaseRow]) -> Vec<ToBuy> {
    let mut by_part: BTreeMap<&str, ToBuy> = BTreeMap::new();
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
        item.held_up = item.held_up.take().or_else(|| held_up(own, row));
    }
    let mut items: Vec<ToBuy> = by_part.into_values().collect();
    for item in &mut items {
        let pack = plant.component_at(item.component).and_then(|part| part.pack_qty);
        item.quantity = in_packs(item.quantity, pack);
        item.extended = item.price.and_then(|price| item.quantity.checked_mul(price));
    }
    items.sort_by(|a, b| rank(&a.supplier).cmp(&rank(&b.supplier)));
    items
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
    pub sum: Decimal,
    pub order_by: Option<NaiveDate>,
}

impl SupplierTotal {
    fn add(&mut self, item: &ToBuy) {
        self.parts += 1;
        self.unpriced += u64::from(item.extended.is_none());
        self.late += u64::from(item.days_late.is_some());
        self.sum = self.sum.saturating_add(item.extended.unwrap_or_default());
        self.order_by = self.order_by.into_iter().chain(item.order_by).min();
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
