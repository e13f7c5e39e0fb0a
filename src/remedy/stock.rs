//! Parts that a change may bring in.

use std::collections::HashMap;
use std::sync::{Arc, PoisonError, RwLock};

use crate::circuit::findings::Standing;
use crate::physics::quantity::{Area, Length, Pressure};
use crate::rules::Cure;
use crate::rules::rating::rating;
use crate::tables::plant::Plant;
use crate::tables::words::Kind;

use super::order::{are_priced, sort_parts};

/// Parts by kind that are not obsolete and have no finding of their own that counts, so that a
/// search looks at those alone that could serve.
#[derive(Debug, Default)]
pub struct Stock {
    shelves: Vec<Vec<Brief>>,
    /// By component index.
    ratings: Arc<[Option<Pressure>]>,
    /// What was found to fit, since the same part stands at the same pressure in many circuits.
    fitting: RwLock<HashMap<Stand, Arc<Fitting>>>,
}

/// What of a part decides most often, side by side in memory: a shelf is gone through without a look at the parts.
#[derive(Clone, Copy, Debug)]
struct Brief {
    part: u32,
    area: Option<Area>,
    stroke: Option<Length>,
}

/// What a part must have at least; what is not asked for is `None`.
#[derive(Clone, Copy, Debug, Default)]
pub struct Least {
    pub area: Option<Area>,
    pub stroke: Option<Length>,
}

impl Brief {
    fn has(&self, least: &Least) -> bool {
        least.area.is_none_or(|least| self.area.is_some_and(|area| area >= least))
            && least.stroke.is_none_or(|least| self.stroke.is_some_and(|stroke| stroke >= least))
    }
}

/// Where a part stands, as far as that decides which others may come in for it whatever the pressure is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Stand {
    pub from: u32,
    /// How another one has to differ.
    pub cure: Cure,
    pub holds_oil: bool,
}

/// Parts that may come in for another, in the order in which they are offered where all are priced.
#[derive(Debug)]
pub struct Fitting {
    parts: Vec<u32>,
    ratings: Arc<[Option<Pressure>]>,
    /// The highest of the ratings, where all are known.
    strongest: Option<Pressure>,
    /// Whether each has a price, all in one currency.
    pub is_priced: bool,
    /// Whether one of them has a relief valve built in.
    pub has_relief: bool,
}

impl Fitting {
    /// Parts that are rated for a pressure, or whose rating is not known; all where none is asked for.
    pub fn rated(&self, least: Option<Pressure>) -> impl Iterator<Item = u32> + '_ {
        let is_in_vain = least.zip(self.strongest).is_some_and(|(least, strongest)| strongest < least);
        let parts: &[u32] = if is_in_vain { &[] } else { &self.parts };
        let rating = |part: u32| self.ratings.get(part as usize).copied().flatten();
        let bears = move |part: u32| least.is_none_or(|least| rating(part).is_none_or(|is| is >= least));
        parts.iter().copied().filter(move |part| bears(*part))
    }

    /// The first of the parts, rated for whatever pressure.
    #[must_use]
    pub fn first(&self) -> Option<u32> {
        self.parts.first().copied()
    }
}

/// Stands that are kept; beyond, they are found anew.
const KEPT_STANDS: usize = 20_000;

impl Stock {
    /// * `standings` – by component index: findings on the part
    #[must_use]
    pub fn of(plant: &Plant, standings: &[Standing]) -> Self {
        let components = &plant.components;
        let mut parts = vec![Vec::new(); Kind::ALL.len() + 1];
        for (index, component) in (0_u32..).zip(components) {
            let counts = standings.get(index as usize).is_some_and(|standing| standing.counts);
            if !component.is_obsolete() && !counts {
                parts[shelf(component.kind)].push(index);
            }
        }
        let brief = |part: u32| {
            let component = &components[part as usize];
            Brief { part, area: component.area_clamp, stroke: component.stroke }
        };
        let shelved = |mut parts: Vec<u32>| {
            sort_parts(plant, &mut parts);
            parts.into_iter().map(brief).collect()
        };
        let ratings = components.iter().map(|component| rating(component, &plant.policy.limits)).collect();
        Self { shelves: parts.into_iter().map(shelved).collect(), ratings, fitting: RwLock::default() }
    }

    /// Indices of the parts of a kind, the first to be offered first where all have a price in one
    /// currency: candidates are then almost in order.
    pub fn of_kind(&self, kind: Option<Kind>) -> impl Iterator<Item = u32> + '_ {
        self.of_kind_with(kind, Least::default())
    }

    /// Those of them that have at least so much.
    pub fn of_kind_with(&self, kind: Option<Kind>, least: Least) -> impl Iterator<Item = u32> + '_ {
        let shelf = self.shelves.get(shelf(kind)).into_iter().flatten();
        shelf.filter(move |brief| brief.has(&least)).map(|brief| brief.part)
    }

    /// The parts that fit where one stands; found by `find` where they are not known.
    pub(super) fn fitting(&self, plant: &Plant, stand: Stand, find: impl FnOnce() -> Vec<u32>) -> Arc<Fitting> {
        let known = self.fitting.read().unwrap_or_else(PoisonError::into_inner).get(&stand).cloned();
        if let Some(known) = known {
            return known;
        }
        let parts = find();
        let components = || parts.iter().filter_map(|index| plant.component_at(Some(*index)));
        let is_priced = are_priced(components());
        let has_relief = components().any(|part| part.includes.has(Kind::ReliefValve));
        let ratings: Option<Vec<Pressure>> = parts.iter().map(|part| self.ratings[*part as usize]).collect();
        let strongest = ratings.and_then(|ratings| ratings.into_iter().reduce(Pressure::max));
        let fitting = Arc::new(Fitting { parts, ratings: Arc::clone(&self.ratings), strongest, is_priced, has_relief });
        let mut all = self.fitting.write().unwrap_or_else(PoisonError::into_inner);
        if all.len() < KEPT_STANDS {
            all.insert(stand, fitting.clone());
        }
        fitting
    }
}

/// Parts without a kind come first.
fn shelf(kind: Option<Kind>) -> usize {
    kind.map_or(0, |kind| kind as usize + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::component::Component;
    use crate::tables::policy::Policy;
    use crate::tables::words::Status;

    #[test]
    fn only_parts_that_may_be_bought_are_offered_by_kind() {
        let part = |kind, status| Component { kind, status, ..Component::default() };
        let mut plant = Plant::empty(Policy::at(chrono::NaiveDate::default()));
        plant.components = vec![
            part(Some(Kind::Clamp), None),
            part(Some(Kind::Other), None),
            part(Some(Kind::Clamp), Some(Status::Obsolete)),
            part(None, None),
            part(Some(Kind::Clamp), None),
            part(Some(Kind::Clamp), Some(Status::Active)),
        ];
        let mut standings = [Standing::default(); 5];
        standings[4].counts = true;
        let stock = Stock::of(&plant, &standings);
        assert_eq!(stock.of_kind(Some(Kind::Clamp)).collect::<Vec<u32>>(), [0, 5]);
        assert_eq!(stock.of_kind(Some(Kind::Other)).collect::<Vec<u32>>(), [1]);
        assert_eq!(stock.of_kind(None).collect::<Vec<u32>>(), [3]);
        assert_eq!(stock.of_kind(Some(Kind::Pump)).count(), 0);
    }
}
