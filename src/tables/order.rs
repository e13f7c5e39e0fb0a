//! What is ordered or in stock, and what is accepted.

use chrono::NaiveDate;
use rust_decimal::Decimal;

use super::origin::{CellFault, Origin};

/// One row of the orders table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Order {
    pub part_no: String,
    /// Index into the component table, where it has the part.
    pub component: Option<u32>,
    /// `None` where blank or unreadable: counts as 0.
    pub qty: Option<Decimal>,
    pub uom: String,
    pub order_no: String,
    pub supplier: String,
    pub unit_price: Option<Decimal>,
    pub currency: String,
    pub promised_date: Option<NaiveDate>,
    pub origin: Origin,
    pub faults: Vec<CellFault>,
}

/// One row of the waivers table: accepted nonconformities.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Waiver {
    pub plant: String,
    pub pallet: String,
    pub fixture: String,
    pub circuit: String,
    pub position: String,
    /// The rule's code as given.
    pub rule: String,
    pub reason: String,
    pub approved_by: String,
    pub expires: Option<NaiveDate>,
    pub origin: Origin,
    pub faults: Vec<CellFault>,
}
