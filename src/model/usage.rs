//! What the lists use of each part, over the whole plant.

use chrono::NaiveDate;

use super::circuit::CircuitKey;

/// Use of one part over all lists and stations.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Usage {
    /// Circuits that use it, built ones included.
    pub circuits: u64,
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
