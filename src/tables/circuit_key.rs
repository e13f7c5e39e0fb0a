//! What names a circuit.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

/// Text that is mostly short: up to 24 bytes of it need no memory of their own.
pub type Name = compact_str::CompactString;

/// What names a circuit. Keys sort as text, plant first.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct CircuitKey {
    pub plant: Name,
    pub pallet: Name,
    pub fixture: Name,
    pub circuit: Name,
}

/// A key that much of one circuit names, held once.
pub type SharedKey = Arc<CircuitKey>;

impl CircuitKey {
    /// Plant, pallet, fixture and circuit.
    #[must_use]
    pub fn names(&self) -> [String; 4] {
        [&self.plant, &self.pallet, &self.fixture, &self.circuit].map(ToString::to_string)
    }
}

impl std::fmt::Display for CircuitKey {
    /// `plant / pallet / fixture / circuit`, without what is empty.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let parts = [&self.plant, &self.pallet, &self.fixture, &self.circuit];
        let named: Vec<&str> = parts.into_iter().map(Name::as_str).filter(|part| !part.is_empty()).collect();
        f.write_str(&named.join(" / "))
    }
}
