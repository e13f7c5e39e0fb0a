//! Parts that a change may bring in.

use std::sync::{PoisonError, RwLock};

use hashbrown::HashMap;

use crate::circuit::standing::Standing;
use crate::physics::quantity::{Area, Length, Pressure};
use crate::rules::rating::rating;
use crate::tables::component::Component;
use crate::tables::plant::Plant;
use crate::tables::words::Kind;

use super::fit::{Least, Stand};
use super::order::{are_priced, sort_parts};

/// Parts by kind that are not obsolete and have no finding of their own that counts, so that a
/// search looks at those alone that could serve.
#[derive(Debug, Default)]
pub struct Stock {
    shelves: Vec<Shelf>,
    /// Where on its shelf the first part stands that fits and is rated for a pressure, in bits: many circuits ask
    /// for the same. It follows from the key alone, so that it doesn't matter who asked first.
    firsts: RwLock<HashMap<(Stand, Option<u64>), usize>>,
    /// The same of what all that fits has in common.
    common: RwLock<HashMap<Stand, Common>>,
}

/// Parts of one kind, the first to be offered first where all have a price in one currency.
#[derive(Debug)]
struct Shelf {
    briefs: Vec<Brief>,
    common: Common,
    /// Places of the parts by rating, those without a known one first, then the highest.
    by_rating: Vec<usize>,
}

impl Shelf {
    fn of(briefs: Vec<Brief>, common: Common) -> Self {
        let rating = |place: &usize| briefs[*place].rating.map_or(f64::INFINITY, Pressure::si);
        let mut by_rating: Vec<usize> = (0..briefs.len()).collect();
        by_rating.sort_by(|one, other| rating(other).total_cmp(&rating(one)));
        Self { briefs, common, by_rating }
    }

    /// Places of the parts that bear a pressure, where they are few of the shelf.
    fn few_that_bear(&self, rated: Pressure) -> Option<&[usize]> {
        let bear = self.by_rating.partition_point(|place| self.briefs[*place].bears(Some(rated)));
        self.by_rating.get(..bear).filter(|bear| bear.len() < self.briefs.len() / FEW)
    }
}

/// The part of a shelf up to which some of its parts are few: they are then looked at by themselves.
const FEW: usize = 8;

/// What some parts have in common.
#[derive(Clone, Copy, Debug)]
struct Common {
    /// Whether each has a price, all in one currency.
    is_priced: bool,
    /// Whether one of them has a relief valve built in.
    has_relief: bool,
}

impl Common {
    fn of<'a>(parts: impl Iterator<Item = &'a Component> + Clone) -> Self {
        let has_relief = parts.clone().any(|part| part.includes.has(Kind::ReliefValve));
        Self { is_priced: are_priced(parts), has_relief }
    }
}

/// What of a part decides most often, side by side in memory: a shelf is gone through without a look at the parts.
#[derive(Clone, Copy, Debug)]
struct Brief {
    part: u32,
    area: Option<Area>,
    stroke: Option<Length>,
    rating: Option<Pressure>,
}

impl Brief {
    fn has(&self, least: &Least) -> bool {
        least.area.is_none_or(|least| self.area.is_some_and(|area| area >= least))
            && least.stroke.is_none_or(|least| self.stroke.is_some_and(|stroke| stroke >= least))
    }

    /// Whether it is rated for a pressure, or its rating is not known.
    fn bears(&self, rated: Option<Pressure>) -> bool {
        rated.is_none_or(|rated| self.rating.is_none_or(|rating| rating >= rated))
    }
}

/// Parts that may come in for another, in the order in which they are offered where all are priced; they are looked
/// for as far as somebody asks.
#[derive(Clone, Copy)]
pub struct Fitting<'a> {
    plant: &'a Plant,
    stock: &'a Stock,
    shelf: &'a Shelf,
    stand: Stand,
    old: &'a Component,
}

impl<'a> Fitting<'a> {
    /// Parts that are rated for a pressure, or whose rating is not known; all where none is asked for.
    pub fn rated(self, rated: Option<Pressure>) -> impl Iterator<Item = u32> + 'a {
        self.from(self.start(rated), rated).map(|(_, part)| part)
    }

    /// The first of the parts, rated for whatever pressure.
    #[must_use]
    pub fn first(self) -> Option<u32> {
        self.rated(None).next()
    }

    /// Whether each has a price, all in one currency.
    #[must_use]
    pub fn is_priced(self) -> bool {
        self.shelf.common.is_priced || self.common().is_priced
    }

    /// Whether one of them has a relief valve built in.
    #[must_use]
    pub fn has_relief(self) -> bool {
        self.shelf.common.has_relief && self.common().has_relief
    }

    /// The parts from a place of the shelf on, with their places.
    fn from(self, start: usize, rated: Option<Pressure>) -> impl Iterator<Item = (usize, u32)> + 'a {
        let briefs = self.shelf.briefs.iter().enumerate().skip(start);
        let fits = self.fits();
        briefs.filter(move |(_, brief)| brief.bears(rated) && fits(brief)).map(|(place, brief)| (place, brief.part))
    }

    /// Whether a part may come in.
    fn fits(self) -> impl Fn(&Brief) -> bool + 'a {
        let Self { plant, stand, old, .. } = self;
        let least = stand.least(old);
        move |brief| {
            brief.has(&least)
                && plant
                    .component_at(Some(brief.part))
                    .is_some_and(|new| stand.admits(&plant.policy.limits, old, (brief.part, new)))
        }
    }

    fn start(self, rated: Option<Pressure>) -> usize {
        let briefs = &self.shelf.briefs;
        let first = || match rated.and_then(|rated| self.shelf.few_that_bear(rated)) {
            Some(few) => {
                let fits = self.fits();
                few.iter().copied().filter(|place| fits(&briefs[*place])).min()
            }
            None => self.from(0, rated).next().map(|(place, _)| place),
        };
        let find = || first().unwrap_or(briefs.len());
        kept(&self.stock.firsts, (self.stand, rated.map(|rated| rated.si().to_bits())), find)
    }

    fn common(self) -> Common {
        let parts = || self.from(0, None).filter_map(|(_, part)| self.plant.component_at(Some(part)));
        let find = || Common::of(parts().collect::<Vec<&Component>>().into_iter());
        kept(&self.stock.common, self.stand, find)
    }
}

/// Answers that are kept of a kind; beyond, they are found anew.
const KEPT: usize = 20_000;

/// An answer that hangs on the key alone, found where it is not known.
fn kept<K: Eq + std::hash::Hash, V: Copy>(known: &RwLock<HashMap<K, V>>, key: K, find: impl FnOnce() -> V) -> V {
    if let Some(known) = known.read().unwrap_or_else(PoisonError::into_inner).get(&key) {
        return *known;
    }
    let found = find();
    let mut known = known.write().unwrap_or_else(PoisonError::into_inner);
    if known.len() < KEPT {
        known.insert(key, found);
    }
    found
}

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
            let rating = rating(component, &plant.policy.limits);
            Brief { part, area: component.area_clamp, stroke: component.stroke, rating }
        };
        let shelved = |mut parts: Vec<u32>| {
            sort_parts(plant, &mut parts);
            let common = Common::of(parts.iter().map(|part| &components[*part as usize]));
            Shelf::of(parts.into_iter().map(brief).collect(), common)
        };
        let shelves = parts.into_iter().map(shelved).collect();
        Self { shelves, firsts: RwLock::default(), common: RwLock::default() }
    }

    /// Indices of the parts of a kind, the first to be offered first where all have a price in one
    /// currency: candidates are then almost in order.
    pub fn of_kind(&self, kind: Option<Kind>) -> impl Iterator<Item = u32> + '_ {
        let shelf = self.shelves.get(shelf(kind)).into_iter();
        shelf.flat_map(|shelf| &shelf.briefs).map(|brief| brief.part)
    }

    /// The parts that may come in for an old one; `None` where there is no shelf for its kind.
    pub(super) fn fitting<'a>(&'a self, plant: &'a Plant, stand: Stand, old: &'a Component) -> Option<Fitting<'a>> {
        let shelf = self.shelves.get(shelf(old.kind))?;
        Some(Fitting { plant, stock: self, shelf, stand, old })
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
