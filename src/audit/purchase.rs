//! The bill: what all lists and stations need of each part, against what is ordered.
//!
//! Plain decimal sums over ordered maps, not data frames: an order's quantity has as many digits
//! as its cell, and a column of 64-bit whole numbers or floats would round or overflow where the
//! sum has to be exact.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use crate::physics::unit::UnitSystem;
use crate::rules::buying::order_unit;
use crate::tables::component::Component;
use crate::tables::order::Order;
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;
use crate::tables::trade_unit::{EACH, TradeUnit, in_packs, is_more};
use crate::tables::usage::Usage;

/// Digits after the point of a length in metres, held in 1e-12 m.
const PICO: u32 = 12;

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
/// `usage` is indexed as the plant's components.
#[must_use]
pub fn bill(plant: &Plant, usage: &[Usage], strangers: &BTreeMap<String, Usage>) -> Vec<PurchaseRow> {
    let placed = orders_by_part(plant);
    let mut rows = BTreeMap::new();
    for (index, component) in plant.components.iter().enumerate() {
        let need = usage.get(index).map_or_else(Need::default, |usage| need(usage, component, plant.policy.units));
        let orders = placed.get(component.part_no.as_str()).map_or(&[][..], Vec::as_slice);
        if need.is_any() || !orders.is_empty() {
            let mut row = row(plant, component, &need, orders);
            row.component = u32::try_from(index).ok();
            if let Some(usage) = usage.get(index) {
                row.circuits = usage.circuits;
                row.plants = usage.plants.iter().cloned().collect();
            }
            rows.insert(component.part_no.as_str(), row);
        }
    }
    for (part_no, orders) in &placed {
        rows.entry(part_no).or_insert_with(|| {
            let mut row = unlisted_row(part_no, orders, plant.policy.units);
            if let Some(usage) = strangers.get(*part_no) {
                row.circuits = usage.circuits;
                row.plants = usage.plants.iter().cloned().collect();
            }
            row
        });
    }
    rows.into_values().collect()
}

/// What is needed of a part, in its unit.
#[derive(Default)]
struct Need {
    amount: Decimal,
    is_bound: bool,
}

impl Need {
    fn is_any(&self) -> bool {
        self.amount > Decimal::ZERO || self.is_bound
    }
}

fn need(usage: &Usage, component: &Component, system: UnitSystem) -> Need {
    let unit = TradeUnit::of(component, system);
    // A tube that is bought by the piece is counted in pieces.
    let amount = if component.is_conductor() && unit.is_length() {
        Decimal::try_from_i128_with_scale(usage.picometres, PICO).ok().and_then(|metres| unit.from_base(metres))
    } else {
        Decimal::try_from_i128_with_scale(usage.pieces, 0).ok()
    };
    // More than 28 digits: it is at least as much as can be written.
    let is_bound = usage.need_is_bound || amount.is_none();
    Need { amount: amount.unwrap_or(Decimal::MAX), is_bound }
}

fn row(plant: &Plant, component: &Component, need: &Need, orders: &[PlacedOrder]) -> PurchaseRow {
    let unit = TradeUnit::of(component, plant.policy.units);
    let ordered = plant.orders.as_ref().map(|_| ordered(orders, component, plant.policy.units));
    let order_qty = in_packs(missing(need.amount, ordered.unwrap_or_default()), component.pack_qty);
    PurchaseRow {
        component: None,
        part_no: component.part_no.clone(),
        uom: unit.symbol,
        needed: need.amount,
        ordered,
        order_qty,
        extended: component.unit_price.and_then(|price| order_qty.checked_mul(price)),
        circuits: 0,
        plants: Vec::new(),
        need_is_bound: need.is_bound,
    }
}

/// Needed less ordered, never below 0.
fn missing(needed: Decimal, ordered: Decimal) -> Decimal {
    // By as much as counts as too little, so that the bill and B03 agree.
    if is_more(needed, ordered) { needed.saturating_sub(ordered).normalize() } else { Decimal::ZERO }
}

/// The sum of a part's orders in its unit, added up in metres so that only the sum is rounded.
fn ordered(orders: &[PlacedOrder], component: &Component, system: UnitSystem) -> Decimal {
    let unit = TradeUnit::of(component, system);
    let in_base = orders
        .iter()
        .filter(|(_, converted)| converted.is_some())
        .filter_map(|(order, _)| order_unit(order, Some(component), system)?.to_base(order.qty.unwrap_or_default()));
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
        component: None,
        part_no: part_no.to_owned(),
        uom: unit.symbol,
        needed: Decimal::ZERO,
        ordered: Some(total.normalize()),
        order_qty: Decimal::ZERO,
        extended: None,
        circuits: 0,
        plants: Vec::new(),
        need_is_bound: false,
    }
}

/// What is still to be bought in one currency.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Total {
    /// Sum of the rows with a price.
    pub extended: Decimal,
    /// Rows that it adds up.
    pub rows: u64,
}

/// What is still to be bought: a sum for each currency, never added across.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Totals {
    /// By currency as the component table writes it; empty where it gives none.
    pub by_currency: BTreeMap<String, Total>,
    /// Rows with something to order and no price, which no sum has.
    pub unpriced: u64,
    /// Rows whose need is only a lower bound.
    pub bounds: u64,
}

/// The sums of a bill.
#[must_use]
pub fn totals(plant: &Plant, rows: &[PurchaseRow]) -> Totals {
    let mut totals = Totals::default();
    for row in rows {
        totals.bounds += u64::from(row.need_is_bound);
        if row.order_qty.is_zero() {
            continue;
        }
        let Some(extended) = row.extended else {
            totals.unpriced += 1;
            continue;
        };
        let currency = plant.component_at(row.component).map_or("", |component| component.currency.trim());
        let total = totals.by_currency.entry(currency.to_owned()).or_default();
        total.extended = total.extended.saturating_add(extended);
        total.rows += 1;
    }
    totals
}
