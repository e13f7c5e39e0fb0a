//! The bill against the orders, one row per part.

use rust_decimal::Decimal;

/// One row of `purchase.csv`.
#[derive(Clone, Debug, PartialEq)]
pub struct PurchaseRow {
    /// Index into the component table; `None` for a part that only orders name.
    pub component: Option<u32>,
    pub part_no: String,
    pub uom: &'static str,
    pub needed: Decimal,
    /// `None` where there is no orders table.
    pub ordered: Option<Decimal>,
    /// Needed less ordered, rounded up to the pack.
    pub order_qty: Decimal,
    pub extended: Option<Decimal>,
    /// Circuits that use it and are not built.
    pub circuits: u64,
    /// Plants that use it.
    pub plants: Vec<String>,
    /// Whether a line that enters the need is set aside.
    pub need_is_bound: bool,
}
