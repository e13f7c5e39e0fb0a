//! What a change needs of parts: what it brings in, and what it makes free on circuits that are not built.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::physics::unit::UnitSystem;
use crate::tables::circuit::Circuit;
use crate::tables::circuit_key::CircuitKey;
use crate::tables::component::Component;
use crate::tables::line::PartRef;
use crate::tables::plant::Plant;
use crate::tables::trade_unit::TradeUnit;
use crate::tables::usage::{Taken, Usage};

use super::change::Change;

/// Digits after the point of a length in metres, held in 1e-12 m.
const PICO: u32 = 12;

/// How much more or less of a part is to be bought where a change is made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Needed {
    pub part: u32,
    /// Below 0 where it is no longer needed.
    pub taken: Taken,
    /// The circuit, where it is one's.
    pub place: Option<CircuitKey>,
    /// Whether the circuit needs the part with the change alone, or without it alone.
    pub is_other: bool,
    pub need_date: Option<NaiveDate>,
}

/// An amount of a part in its unit; `None` where it has more digits than can be written.
#[must_use]
pub fn amount(taken: Taken, component: &Component, system: UnitSystem) -> Option<Decimal> {
    let unit = TradeUnit::of(component, system);
    // A tube that is bought by the piece is counted in pieces.
    if component.is_conductor() && unit.is_length() {
        let metres = Decimal::try_from_i128_with_scale(taken.picometres, PICO).ok()?;
        return unit.from_base(metres);
    }
    Decimal::try_from_i128_with_scale(taken.pieces, 0).ok()
}

/// What the lines of circuits take of each part, as far as that is known.
fn taken_by(plant: &Plant, circuits: &[Circuit]) -> BTreeMap<u32, Taken> {
    let mut all: BTreeMap<u32, Taken> = BTreeMap::new();
    for line in circuits.iter().flat_map(|circuit| &circuit.lines) {
        let PartRef::Known(part) = line.part else { continue };
        let Some(component) = plant.component_at(Some(part)) else { continue };
        if let Some((taken, _)) = Taken::by(line, component, plant.policy.units) {
            let sum = all.entry(part).or_default();
            *sum = sum.and(taken);
        }
    }
    all
}

/// Lengths that a split shares out add up again to the whole but for the last digits: that is no need.
const fn without_rounding(more: Taken) -> Taken {
    const MICROMETRE: i128 = 1_000_000;
    if more.picometres.abs() < MICROMETRE { Taken { picometres: 0, ..more } } else { more }
}

/// What a change of a circuit's lines needs. On a built circuit nothing becomes free: what is taken off was bought.
#[must_use]
pub fn of_circuit(plant: &Plant, circuit: &Circuit, change: &Change) -> Vec<Needed> {
    let before = taken_by(plant, std::slice::from_ref(circuit));
    let after = taken_by(plant, &change.applied(plant, circuit));
    let service = circuit.service.as_ref();
    let is_built = service.is_some_and(|service| service.built);
    let parts: BTreeSet<u32> = before.keys().chain(after.keys()).copied().collect();
    let of = |taken: &BTreeMap<u32, Taken>, part: u32| taken.get(&part).copied().unwrap_or_default();
    parts
        .into_iter()
        .filter_map(|part| {
            let more = without_rounding(of(&after, part).less(of(&before, part)));
            let taken = if is_built { more.above_zero() } else { more };
            let need_date = service.and_then(|service| service.need_date).filter(|_| !is_built);
            let is_other = is_built || before.contains_key(&part) != after.contains_key(&part);
            let place = Some(circuit.key.clone());
            (taken != Taken::default()).then_some(Needed { part, taken, place, is_other, need_date })
        })
        .collect()
}

/// What another pump or drive ram of a load station needs.
#[must_use]
pub fn of_station(from: Option<u32>, to: u32, is_built: bool) -> Vec<Needed> {
    let one = |part: u32, pieces: i128| Needed {
        part,
        taken: Taken { pieces, picometres: 0 },
        place: None,
        is_other: false,
        need_date: None,
    };
    std::iter::once(one(to, 1)).chain(from.filter(|_| !is_built).map(|from| one(from, -1))).collect()
}

/// The price of what comes in, pieces by price, with its currency; `None` where a price is not known or the
/// currencies differ.
#[must_use]
pub fn price_of(plant: &Plant, needed: &[Needed]) -> Option<(Decimal, String)> {
    let mut sum: Option<(Decimal, &str)> = None;
    for one in needed.iter().filter(|one| one.taken.above_zero() != Taken::default()) {
        let part = plant.component_at(Some(one.part))?;
        let price = part.unit_price?.checked_mul(amount(one.taken.above_zero(), part, plant.policy.units)?)?;
        let (so_far, currency) = sum.unwrap_or((Decimal::ZERO, part.currency.trim()));
        if currency != part.currency.trim() {
            return None;
        }
        sum = Some((so_far.checked_add(price)?, currency));
    }
    sum.map(|(sum, currency)| (sum.normalize(), currency.to_owned()))
}

/// Adds what applied remedies need to what the lists and stations do; by component index.
pub fn add_to(usage: &mut [Usage], needed: &[Needed]) {
    let mut counted: BTreeSet<(u32, &CircuitKey)> = BTreeSet::new();
    for one in needed {
        let Some(usage) = usage.get_mut(one.part as usize) else { continue };
        usage.pieces = usage.pieces.saturating_add(one.taken.pieces);
        usage.picometres = usage.picometres.saturating_add(one.taken.picometres);
        let more = one.taken.above_zero();
        let place = one.place.as_ref().filter(|place| one.is_other && counted.insert((one.part, *place)));
        if more == Taken::default() {
            if let Some(place) = place {
                usage.circuits = usage.circuits.saturating_sub(1);
                usage.first_circuits.retain(|first| first != place);
            }
            continue;
        }
        usage.is_used = true;
        usage.of_remedies = usage.of_remedies.and(more);
        if let Some(place) = place {
            usage.plants.insert(place.plant.to_string());
            usage.add_circuit(place, one.need_date);
        }
    }
}
