//! The bill against the orders, one row per part.

use chrono::NaiveDate;
use rust_decimal::Decimal;

use super::circuit_key::CircuitKey;
use super::place_names::RankedNames;
use super::usage::Usage;

/// What would be ordered in the place of an obsolete part.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Replacement {
    /// The part can still be bought.
    #[default]
    None,
    /// It is obsolete, and the component table names no other, or one that it has no row for.
    Unnamed,
    /// It is obsolete, and so is the one that replaces it.
    AlsoObsolete,
    /// The one that the component table names conforms wherever the part is used.
    Proved(String),
    /// It does not, or could not be proved: why, in words.
    Unproved(String),
}

impl Replacement {
    /// Whether another part is ordered in the place of this one.
    #[must_use]
    pub const fn is_proved(&self) -> bool {
        matches!(self, Self::Proved(_))
    }
}

/// One row of `purchase.csv`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PurchaseRow {
    /// Index into the component table; `None` for a part that only orders name.
    pub component: Option<u32>,
    pub part_no: String,
    pub uom: &'static str,
    pub needed: Decimal,
    /// What of `needed` comes with remedies that are applied.
    pub of_remedies: Decimal,
    /// `None` where there is no orders table.
    pub ordered: Option<Decimal>,
    /// What of `ordered` is ordered of the part that replaces it.
    pub of_successor: Decimal,
    /// What of its orders has come, in its unit.
    pub received: Decimal,
    /// Needed less ordered, rounded up to the pack.
    pub order_qty: Decimal,
    pub extended: Option<Decimal>,
    /// Circuits that use it and are not built.
    pub circuits: u64,
    /// The first of them.
    pub first_circuits: Vec<CircuitKey>,
    /// Plants that use it.
    pub plants: RankedNames,
    /// Whether a line that enters the need is set aside.
    pub need_is_bound: bool,
    /// Whether a circuit or station that enters the need may be built already.
    pub may_be_built: bool,
    /// What would be ordered: the part, or where it is obsolete the one that replaces it.
    pub order_part: String,
    /// Whether that one is proved to conform.
    pub replacement: Replacement,
    /// The earliest of the circuits that use it and are not built.
    pub need_date: Option<NaiveDate>,
    /// The last day on which an order of `order_part` comes in time.
    pub order_by: Option<NaiveDate>,
    /// The latest of its orders.
    pub promised_date: Option<NaiveDate>,
    /// Days after `need_date` on which the last of it comes: what is ordered, and what is ordered today.
    pub days_late: Option<i64>,
    /// Days since the earliest day for which an order was promised that has not come.
    pub days_overdue: Option<i64>,
}

impl PurchaseRow {
    /// Takes over which circuits and plants use the part, and when the first of them needs it.
    pub fn take_use(&mut self, usage: &Usage) {
        self.circuits = usage.circuits;
        self.may_be_built = usage.may_be_built;
        self.first_circuits.clone_from(&usage.first_circuits);
        self.plants.clone_from(&usage.plants);
        self.need_date = usage.earliest_need.as_ref().map(|(date, _)| *date);
    }
}
