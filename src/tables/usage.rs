//! What the lists use of each part, over the whole plant.

use chrono::NaiveDate;

use crate::physics::unit::UnitSystem;

use super::circuit_key::CircuitKey;
use super::component::Component;
use super::line::Line;
use super::place_names::RankedNames;
use super::trade_unit::TradeUnit;

/// Circuits that are named where a part is needed; the others are counted.
pub const NAMED_CIRCUITS: usize = 3;

/// Use of one part over all lists and stations.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Usage {
    /// Circuits that use it and are not built; a pump or drive ram through its station.
    pub circuits: u64,
    /// The same with those that are built.
    pub all_circuits: u64,
    /// The first, in key order, of the circuits that use it and are not built.
    pub first_circuits: Vec<CircuitKey>,
    /// Plants of all circuits that use it.
    pub plants: RankedNames,
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
    /// What remedies that are applied bring into `pieces` and `picometres`.
    pub of_remedies: Taken,
    /// Whether a line that enters the need is set aside: the need is then a lower bound.
    pub need_is_bound: bool,
    /// Whether a circuit or station that enters the need may be built: its `built` can't be read.
    pub may_be_built: bool,
    /// The part that was meant by a number which the component table lacks and a spreadsheet has altered.
    pub meant: Option<String>,
    /// Earliest need date of the circuits that use it and are not built, and that circuit.
    pub earliest_need: Option<(NaiveDate, CircuitKey)>,
}

/// How much of a part lines take.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Taken {
    /// 0 of what is bought by length.
    pub pieces: i128,
    /// Length in 1e-12 m, of tubes and hoses that are bought by length.
    pub picometres: i128,
}

impl Taken {
    /// What a line takes; `None` where it is set aside. A length that is missing is the second answer's `true`.
    #[must_use]
    pub fn by(line: &Line, component: &Component, system: UnitSystem) -> Option<(Self, bool)> {
        let pieces = whole(line.qty.value().filter(|_| line.has_quantity())?);
        if !component.is_conductor() || !TradeUnit::of(component, system).is_length() {
            return Some((Self { pieces, picometres: 0 }, false));
        }
        let length = line.length.value();
        let picometres = length.map_or(0, |length| pieces.saturating_mul(whole(length.si() * 1e12)));
        Some((Self { pieces: 0, picometres }, length.is_none()))
    }

    /// Both together.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self {
            pieces: self.pieces.saturating_add(other.pieces),
            picometres: self.picometres.saturating_add(other.picometres),
        }
    }

    /// So much less, below 0 too.
    #[must_use]
    pub const fn less(self, other: Self) -> Self {
        Self {
            pieces: self.pieces.saturating_sub(other.pieces),
            picometres: self.picometres.saturating_sub(other.picometres),
        }
    }

    /// The part of it that is above 0.
    #[must_use]
    pub fn above_zero(self) -> Self {
        Self { pieces: self.pieces.max(0), picometres: self.picometres.max(0) }
    }
}

/// A number that is whole, or whole after rounding, as an exact integer.
#[allow(clippy::cast_possible_truncation, reason = "rounded before; `as` saturates beyond the range")]
fn whole(number: f64) -> i128 {
    // Most numbers are whole already, and 64 bits hold them.
    let as_given = number as i64;
    #[allow(clippy::cast_precision_loss, clippy::float_cmp, reason = "below 2^53 the way back is exact")]
    let is_whole = number.abs() < 9e15 && as_given as f64 == number;
    if is_whole { i128::from(as_given) } else { number.round() as i128 }
}

impl Usage {
    /// Counts a circuit that is not built.
    pub fn add_circuit(&mut self, key: &CircuitKey, need_date: Option<NaiveDate>) {
        self.circuits += 1;
        self.name(key);
        let Some(date) = need_date else { return };
        if self.earliest_need.as_ref().is_none_or(|(earliest, place)| (date, key) < (*earliest, place)) {
            self.earliest_need = Some((date, key.clone()));
        }
    }

    /// Keeps a circuit's name, where it is one of the first.
    fn name(&mut self, key: &CircuitKey) {
        let is_full = self.first_circuits.len() == NAMED_CIRCUITS;
        if is_full && self.first_circuits.last().is_some_and(|last| last <= key) {
            return;
        }
        if let Err(at) = self.first_circuits.binary_search(key) {
            self.first_circuits.insert(at, key.clone());
            self.first_circuits.truncate(NAMED_CIRCUITS);
        }
    }

    /// Adds what another share of the circuits uses; the order doesn't matter.
    pub fn add(&mut self, other: Self) {
        self.circuits += other.circuits;
        self.all_circuits += other.all_circuits;
        self.plants.add(&other.plants);
        other.first_circuits.iter().for_each(|key| self.name(key));
        self.is_used |= other.is_used;
        self.force_is_asked |= other.force_is_asked;
        self.supports |= other.supports;
        self.pieces = self.pieces.saturating_add(other.pieces);
        self.picometres = self.picometres.saturating_add(other.picometres);
        self.of_remedies = self.of_remedies.and(other.of_remedies);
        self.need_is_bound |= other.need_is_bound;
        self.may_be_built |= other.may_be_built;
        self.meant = self.meant.take().or(other.meant);
        self.earliest_need = match (self.earliest_need.take(), other.earliest_need) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
    }
}
