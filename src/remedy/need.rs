//! What a change needs of parts: what it brings in, and what it makes free on circuits that are not built.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::physics::unit::UnitSystem;
use crate::tables::circuit::Circuit;
use crate::tables::circuit_key::{CircuitKey, Name, SharedKey};
use crate::tables::component::Component;
use crate::tables::line::{Line, PartRef};
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
    pub place: Option<SharedKey>,
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

/// What lines take of each part, as far as that is known, and how many lines.
#[derive(Clone, Debug, Default)]
pub struct TakenByPart(BTreeMap<u32, (u64, Taken)>);

impl TakenByPart {
    /// Of the lines of circuits.
    #[must_use]
    pub fn of(plant: &Plant, circuits: &[Circuit]) -> Self {
        let mut all = Self::default();
        circuits.iter().flat_map(|circuit| &circuit.lines).for_each(|line| all.add(plant, line));
        all
    }

    fn of_line(plant: &Plant, line: &Line) -> Option<(u32, Taken)> {
        let PartRef::Known(part) = line.part else { return None };
        let (taken, _) = Taken::by(line, plant.component_at(Some(part))?, plant.policy.units)?;
        Some((part, taken))
    }

    fn add(&mut self, plant: &Plant, line: &Line) {
        let Some((part, taken)) = Self::of_line(plant, line) else { return };
        let (lines, sum) = self.0.entry(part).or_default();
        *lines += 1;
        *sum = sum.and(taken);
    }

    /// The parts of some lines alone, and how much less there is of each without these lines.
    fn without(&self, plant: &Plant, lines: &[&Line]) -> (Self, Self) {
        let mut alone = Self::default();
        lines.iter().for_each(|line| alone.add(plant, line));
        let mut rest = Self::default();
        for (part, (lines, taken)) in &alone.0 {
            let (all_lines, all) = self.0.get(part).copied().unwrap_or_default();
            if all_lines > *lines {
                rest.0.insert(*part, (all_lines - lines, all.less(*taken)));
            }
        }
        (alone, rest)
    }
}

/// Lengths that a split shares out add up again to the whole but for the last digits: that is no need.
const fn without_rounding(more: Taken) -> Taken {
    const MICROMETRE: i128 = 1_000_000;
    if more.picometres.abs() < MICROMETRE { Taken { picometres: 0, ..more } } else { more }
}

/// What a change of a circuit's lines needs. On a built circuit nothing becomes free: what is taken off was bought.
///
/// * `key` – the circuit's
/// * `taken` – by the circuit as it stands: that of every change is not counted anew
#[must_use]
pub fn of_circuit(
    plant: &Plant,
    circuit: &Circuit,
    key: &SharedKey,
    taken: &TakenByPart,
    change: &Change,
) -> Vec<Needed> {
    if let Change::Swap { line, .. } = change
        && let Some(line) = circuit.lines.get(*line)
        && let Some(moved) = of_swap(plant, taken, line, &change.applied_to(line))
    {
        return needed(circuit, key, moved.into_iter());
    }
    let (before, after) = match change {
        Change::Swap { line, .. } | Change::Setting { line, .. } => {
            let lines: Vec<&Line> = circuit.lines.get(*line).into_iter().collect();
            let changed = lines.first().map(|line| change.applied_to(line));
            around(plant, taken, &lines, changed.as_ref())
        }
        Change::Add { .. } => around(plant, taken, &[], change.added().as_ref()),
        Change::StationSetting { .. } | Change::StationPart { .. } => return Vec::new(),
        Change::Succeed { .. } | Change::Split { .. } => {
            (taken.clone(), TakenByPart::of(plant, &change.applied(plant, circuit)))
        }
    };
    let parts: BTreeSet<u32> = before.0.keys().chain(after.0.keys()).copied().collect();
    let of = |taken: &TakenByPart, part: u32| taken.0.get(&part).map(|(_, taken)| *taken);
    needed(circuit, key, parts.into_iter().map(|part| (part, of(&before, part), of(&after, part))))
}

/// A part with what the circuit takes of it before and after a change; `None` where no line has it.
type Moved = (u32, Option<Taken>, Option<Taken>);

/// What a circuit needs more or less of parts.
fn needed(circuit: &Circuit, key: &SharedKey, moved: impl Iterator<Item = Moved>) -> Vec<Needed> {
    let service = circuit.service.as_ref();
    let is_built = service.is_some_and(|service| service.built);
    moved
        .filter_map(|(part, before, after)| {
            let more = without_rounding(after.unwrap_or_default().less(before.unwrap_or_default()));
            let taken = if is_built { more.above_zero() } else { more };
            let need_date = service.and_then(|service| service.need_date).filter(|_| !is_built);
            let is_other = is_built || before.is_some() != after.is_some();
            let place = Some(SharedKey::clone(key));
            (taken != Taken::default()).then_some(Needed { part, taken, place, is_other, need_date })
        })
        .collect()
}

/// The two parts of a line that has another one, in order; `None` where what it takes of one of them is not known.
fn of_swap(plant: &Plant, taken: &TakenByPart, old: &Line, new: &Line) -> Option<[Moved; 2]> {
    let (from, less) = TakenByPart::of_line(plant, old)?;
    let (to, more) = TakenByPart::of_line(plant, new).filter(|(to, _)| *to != from)?;
    let of = |part: u32| taken.0.get(&part).copied();
    let left = of(from).filter(|(lines, _)| *lines > 1).map(|(_, all)| all.less(less));
    let all = |known: Option<(u64, Taken)>| known.map(|(_, taken)| taken);
    let mut moved = [(from, all(of(from)), left), (to, all(of(to)), Some(all(of(to)).unwrap_or_default().and(more)))];
    moved.sort_by_key(|(part, _, _)| *part);
    Some(moved)
}

/// What is taken before and after a line changes, as far as the parts of the two go.
fn around(plant: &Plant, taken: &TakenByPart, old: &[&Line], new: Option<&Line>) -> (TakenByPart, TakenByPart) {
    let (alone, mut after) = taken.without(plant, old);
    let mut before = TakenByPart::default();
    let brought = new.and_then(|line| TakenByPart::of_line(plant, line)).map(|(part, _)| part);
    for part in alone.0.keys().copied().chain(brought) {
        if let Some(known) = taken.0.get(&part) {
            before.0.insert(part, *known);
            if !alone.0.contains_key(&part) {
                after.0.insert(part, *known);
            }
        }
    }
    if let Some(line) = new {
        after.add(plant, line);
    }
    (before, after)
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
pub fn price_of(plant: &Plant, needed: &[Needed]) -> Option<(Decimal, Name)> {
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
    sum.map(|(sum, currency)| (sum.normalize(), currency.into()))
}

/// Adds what applied remedies need to what the lists and stations do; by component index.
pub fn add_to(plant: &Plant, usage: &mut [Usage], needed: &[Needed]) {
    let mut counted: BTreeSet<(u32, &CircuitKey)> = BTreeSet::new();
    for one in needed {
        let Some(usage) = usage.get_mut(one.part as usize) else { continue };
        usage.pieces = usage.pieces.saturating_add(one.taken.pieces);
        usage.picometres = usage.picometres.saturating_add(one.taken.picometres);
        let more = one.taken.above_zero();
        let place = one.place.as_deref().filter(|place| one.is_other && counted.insert((one.part, *place)));
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
            plant.services.names().rank_of(&place.plant).into_iter().for_each(|rank| usage.plants.insert(rank));
            usage.add_circuit(place, one.need_date);
        }
    }
}
