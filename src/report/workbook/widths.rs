//! How wide the columns of names must be.

use crate::audit::outcome::Audit;

use super::style::width_for;

/// Narrowest and widest column of a name.
const LEAST: usize = 7;
const MOST: usize = 40;

/// Widths of the columns that many sheets share.
#[derive(Clone, Copy, Debug)]
pub struct Widths {
    pub plant: f64,
    pub pallet: f64,
    pub fixture: f64,
    pub circuit: f64,
    pub part: f64,
}

impl Widths {
    /// By the longest names.
    #[must_use]
    pub fn of(audit: &Audit) -> Self {
        let mut longest = [width(LEAST); 4];
        for circuit in &audit.circuits {
            let key = &circuit.circuit.key;
            for (length, name) in longest.iter_mut().zip([&key.plant, &key.pallet, &key.fixture, &key.circuit]) {
                *length = length.max(width_of(name));
            }
        }
        let parts = audit.plant.components.iter().map(|part| width_of(&part.part_no));
        let [plant, pallet, fixture, circuit] = longest;
        Self { plant, pallet, fixture, circuit, part: parts.fold(width(10), f64::max) }
    }
}

/// Of a name: capitals are wider than digits.
fn width_of(name: &str) -> f64 {
    width(name.chars().count()).max(width_for(name).min(width(MOST)))
}

#[allow(clippy::cast_precision_loss, reason = "at most 40")]
fn width(length: usize) -> f64 {
    length.min(MOST) as f64 + 2.0
}
