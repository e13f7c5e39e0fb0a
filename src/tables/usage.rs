//! What the lists use of each part, over the whole plant.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use super::circuit_key::CircuitKey;

/// Use of one part over all lists and stations.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Usage {
    /// Circuits that use it and are not built; a pump or drive ram through its station.
    pub circuits: u64,
    /// The same with those that are built.
    pub all_circuits: u64,
    /// Plants of all circuits that use it.
    pub plants: BTreeSet<String>,
    /// Whether a line on a list or a station uses it.
    pub is_used: bool,
    /// Whether a force is asked of it (`force_required` on a line, or its `force_max`).
    pub force_is_asked: bool,
    /// Whether a line of it stands under a position.
    pub supports: bool,
    /// Pieces needed, circuits and stations with `built` left out.
    pub pieces: i128,
    /// Length needed in 1e-12 m, tubes and hoses only.
    pub picometres: i128,
    /// Whether a line that enters the need is set aside: the need is then a lower bound.
    pub need_is_bound: bool,
    /// Earliest need date of the circuits that use it and are not built, and that circuit.
    pub earliest_need: Option<(NaiveDate, CircuitKey)>,
}

impl Usage {
    /// Adds what another share of the circuits uses; the order doesn't matter.
    pub fn add(&mut self, other: Self) {
        self.circuits += other.circuits;
        self.all_circuits += other.all_circuits;
        for plant in other.plants {
            if !self.plants.contains(&plant) {
                self.plants.insert(plant);
            }
        }
        self.is_used |= other.is_used;
        self.force_is_asked |= other.force_is_asked;
        self.supports |= other.supports;
        self.pieces = self.pieces.saturating_add(other.pieces);
        self.picometres = self.picometres.saturating_add(other.picometres);
        self.need_is_bound |= other.need_is_bound;
        self.earliest_need = match (self.earliest_need.take(), other.earliest_need) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
    }
}
