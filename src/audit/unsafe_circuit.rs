//! A circuit by the names that data files give it.

use serde::{Deserialize, Serialize};

/// A circuit in service that does not conform.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct UnsafeCircuit {
    pub plant: String,
    pub pallet: String,
    pub fixture: String,
    pub circuit: String,
}
