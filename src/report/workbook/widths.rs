//! How wide the columns of names must be.

use crate::audit::outcome::Audit;

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
        let mut longest = [LEAST; 4];
        for circuit in &audit.circuits {
            let key = &circuit.circuit.key;
            for (length, name) in longest.iter_mut().zip([&key.plant, &key.pallet, &key.fixture, &key.circuit]) {
                // Bytes: never fewer than characters, and quicker.
                *length = (*length).max(name.len());
            }
        }
        let part = audit.plant.components.iter().map(|part| part.part_no.len()).fold(10, usize::max);
        let [plant, pallet, fixture, circuit] = longest.map(width);
        Self { plant, pallet, fixture, circuit, part: width(part) }
    }
}

#[allow(clippy::cast_precision_loss, reason = "at most 40")]
fn width(length: usize) -> f64 {
    length.min(MOST) as f64 + 2.0
}
