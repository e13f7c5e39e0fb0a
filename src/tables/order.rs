//! What is ordered or in stock, and what is accepted.

use chrono::NaiveDate;

use super::circuit_key::CircuitKey;
use super::origin::{CellFault, Origin};

pub use super::column::Order;

impl Order {
    /// Whether its quantity is blank.
    #[must_use]
    pub fn lacks_quantity(&self) -> bool {
        self.qty.is_none() && !self.has_unreadable_quantity()
    }

    /// Whether its quantity can't be read, or the whole row can't.
    #[must_use]
    pub fn has_unreadable_quantity(&self) -> bool {
        self.is_unreadable("qty") || self.is_unreadable("")
    }
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

impl Waiver {
    /// Its place cells as given, `*` among them.
    #[must_use]
    pub fn place(&self) -> CircuitKey {
        CircuitKey {
            plant: self.plant.as_str().into(),
            pallet: self.pallet.as_str().into(),
            fixture: self.fixture.as_str().into(),
            circuit: self.circuit.as_str().into(),
        }
    }
}
