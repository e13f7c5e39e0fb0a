//! What circuits that are unsafe in service wait for though nothing has to be ordered: it is on order, or has come.

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use crate::audit::at_once::WantedAtOnce;
use crate::audit::purchase::{missing, orders_by_part};
use crate::rules::buying::is_received;
use crate::tables::circuit_key::CircuitKey;
use crate::tables::order::Order;
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;

/// A part of which some is wanted at once and need not be ordered.
#[derive(Clone, Debug)]
pub struct Waiting<'a> {
    pub row: &'a PurchaseRow,
    /// What of it is still to come, in the part's unit.
    pub to_come: Decimal,
    /// What of it has come.
    pub has_come: Decimal,
    /// The circuits.
    pub circuits: BTreeSet<CircuitKey>,
    /// Orders of which something is still to come.
    pub orders: Vec<&'a Order>,
}

/// Of every part of the bill, in its order; what has to be ordered is told there.
#[must_use]
pub fn waiting<'a>(plant: &'a Plant, rows: &'a [PurchaseRow], wanted: &WantedAtOnce) -> Vec<Waiting<'a>> {
    let placed = orders_by_part(plant);
    let of_row = |row: &'a PurchaseRow| {
        let part = row.component?;
        let at_once = wanted.get(&part)?;
        let short = missing(row.needed, row.ordered?);
        let to_order = at_once.to_order(plant, part, row.received, short);
        let on_order = at_once.amount(plant, part).saturating_sub(to_order);
        let has_come = on_order.min(row.received);
        let to_come = on_order.saturating_sub(has_come);
        let others = (row.of_successor > Decimal::ZERO).then_some(row.order_part.as_str());
        let names = std::iter::once(row.part_no.as_str()).chain(others);
        let open = names.flat_map(|name| placed.get(name).into_iter().flatten());
        let open = open.filter(|(order, converted)| converted.is_some() && !is_received(order));
        let orders: Vec<&Order> = open.map(|(order, _)| *order).collect();
        let circuits = at_once.circuits.clone();
        (on_order > Decimal::ZERO).then_some(Waiting { row, to_come, has_come, circuits, orders })
    };
    rows.iter().filter_map(of_row).collect()
}
