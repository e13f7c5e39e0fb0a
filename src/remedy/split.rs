//! A circuit that no single charging cylinder fills, in the fewest groups that do.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::physics::quantity::Volume;
use crate::physics::volume::swept_volume;
use crate::rules::volume::V01;
use crate::tables::component::Component;
use crate::tables::finding::Finding;
use crate::tables::words::{Kind, Side};

use super::change::{Change, Group};
use super::fit::stands_in;
use super::order::in_order;
use super::trial::Bench;

/// Units up to which every way to split is looked at; beyond, first fit decreasing.
const EXACT_UNITS: usize = 12;

/// Lines that stay together: clamps at positions that a support names, with that support.
#[derive(Clone, Debug)]
struct Unit {
    lines: Vec<usize>,
    swept: Volume,
}

/// What a group of units may be charged with: `None` where no cylinder of the table serves.
struct Feasible<'a, 'b> {
    bench: &'a Bench<'b>,
    circuit: usize,
    line: usize,
    units: Vec<Unit>,
    total: Volume,
    /// Charging cylinders, best first.
    cylinders: Vec<(u32, Option<Volume>)>,
    known: BTreeMap<u64, Option<u32>>,
}

/// The fewest groups that each conform on a charging cylinder of the table.
#[must_use]
pub fn fewest_groups(bench: &Bench, circuit: usize, finding: &Finding) -> Option<Change> {
    let audit = &bench.before[circuit];
    let plant = bench.ground.plant;
    let figures = finding.side.filter(|side| *side == Side::Unclamp).and(audit.figures.unclamp.as_ref());
    let line = figures.unwrap_or(&audit.figures.clamp).cylinder?;
    let units = units(bench, circuit);
    if units.len() < 2 || units.len() > 63 {
        return None;
    }
    let old = audit.circuit.lines.get(line).and_then(|line| line.component(&plant.components));
    let suits = |(index, part): &(u32, &Component)| {
        let harms = bench.ground.parts.get(*index as usize).is_some_and(|standing| standing.counts);
        part.is(Kind::ChargingCylinder) && !part.is_obsolete() && !harms && old.is_none_or(|old| stands_in(old, part))
    };
    let fitted = (0_u32..).zip(&plant.components).filter(suits).map(|(to, _)| Change::Swap { line, to });
    let mut swaps: Vec<Change> = fitted.collect();
    let _ = in_order(plant, &mut swaps, |change| change);
    let parts = swaps.iter().filter_map(Change::part);
    let cylinders =
        parts.map(|index| (index, plant.component_at(Some(index)).and_then(|part| part.capacity))).collect();
    let total = units.iter().map(|unit| unit.swept).sum();
    let mut feasible = Feasible { bench, circuit, line, units, total, cylinders, known: BTreeMap::new() };
    let masks = if feasible.units.len() <= EXACT_UNITS { feasible.fewest() } else { feasible.first_fit() }?;
    Some(feasible.change(&masks))
}

/// Clamps and supports of a circuit, joined where they have a position or a support in common.
fn units(bench: &Bench, circuit: usize) -> Vec<Unit> {
    let circuit = &bench.before[circuit].circuit;
    let components = &bench.ground.plant.components;
    let mut actuators: Vec<usize> = Vec::new();
    // By actuator: the later one that it is joined with, itself where there is none; and what all up to it sweep.
    let mut joined_with: Vec<usize> = Vec::new();
    let mut swept: Vec<Volume> = Vec::new();
    // By position: an actuator that stands there, or under it.
    let mut by_position: HashMap<&str, usize> = HashMap::new();
    for (index, line) in circuit.lines.iter().enumerate() {
        let Some(part) = line.component(components).filter(|part| part.is_actuator()) else { continue };
        let one =
            swept_volume(part.area_clamp, line.stroke_used, part.volume_clamp, part.stroke).unwrap_or(Volume::ZERO);
        let place = actuators.len();
        actuators.push(index);
        joined_with.push(place);
        let mut others: Vec<usize> = Vec::new();
        for position in std::iter::once(line.position.as_str()).chain(line.supports.iter().map(String::as_str)) {
            if !position.is_empty()
                && let Some(other) = by_position.insert(position, place)
            {
                others.push(last_of(&mut joined_with, other));
            }
        }
        others.sort_unstable();
        others.dedup();
        others.retain(|other| *other != place);
        swept.push(others.iter().map(|other| swept[*other]).sum::<Volume>() + one * line.qty.value().unwrap_or(0.0));
        others.into_iter().for_each(|other| joined_with[other] = place);
    }
    let mut lines: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (place, index) in actuators.iter().enumerate() {
        lines.entry(last_of(&mut joined_with, place)).or_default().push(*index);
    }
    let mut units: Vec<Unit> = lines.into_iter().map(|(last, lines)| Unit { lines, swept: swept[last] }).collect();
    units.sort_by(|a, b| b.swept.total_cmp(a.swept).then_with(|| a.lines.cmp(&b.lines)));
    units
}

/// The last actuator of those that one is joined with.
fn last_of(joined_with: &mut [usize], mut place: usize) -> usize {
    while joined_with[place] != place {
        joined_with[place] = joined_with[joined_with[place]];
        place = joined_with[place];
    }
    place
}

impl Feasible<'_, '_> {
    /// The first cylinder on which a group conforms.
    fn cylinder(&mut self, mask: u64) -> Option<u32> {
        if let Some(known) = self.known.get(&mask) {
            return *known;
        }
        let swept: Volume = self.of(mask).map(|unit| unit.swept).sum();
        let limit = self.bench.ground.plant.policy.limits.fill;
        let candidates: Vec<u32> = self
            .cylinders
            .iter()
            .filter(|(_, capacity)| capacity.is_some_and(|capacity| swept <= capacity * limit))
            .map(|(index, _)| *index)
            .collect();
        let found = candidates.into_iter().take_while(|_| !self.bench.is_spent()).find(|cylinder| {
            let groups = vec![self.group(mask, *cylinder, 0)];
            let trial = self.bench.trial(self.circuit, &Change::Split { line: self.line, groups });
            let is_full = trial.after.iter().any(|after| after.found.iter().any(|found| found.rule == V01.code));
            trial.gained.is_empty() && !is_full && trial.unassessed.is_empty()
        });
        self.known.insert(mask, found);
        found
    }

    fn of(&self, mask: u64) -> impl Iterator<Item = &Unit> {
        self.units.iter().enumerate().filter(move |(index, _)| mask & (1 << index) != 0).map(|(_, unit)| unit)
    }

    fn group(&self, mask: u64, cylinder: u32, number: usize) -> Group {
        let mut lines: Vec<usize> = self.of(mask).flat_map(|unit| unit.lines.clone()).collect();
        lines.sort_unstable();
        let swept: Volume = self.of(mask).map(|unit| unit.swept).sum();
        let share = if self.total > Volume::ZERO { swept / self.total } else { 1.0 };
        let circuit = &self.bench.before[self.circuit].circuit.key.circuit;
        let letter = char::from(b'A' + u8::try_from(number.min(25)).unwrap_or(25));
        let suffix = if number < 26 { letter.to_string() } else { number.to_string() };
        Group { name: format!("{circuit}-{suffix}"), lines, share, cylinder }
    }

    /// Fewest groups over all ways to split: one group after the other with the first unit that is
    /// left, as many groups as it takes.
    fn fewest(&mut self) -> Option<Vec<u64>> {
        let full = (1_u64 << self.units.len()) - 1;
        let largest = self.cylinders.iter().filter_map(|(_, capacity)| *capacity).max_by(|a, b| a.total_cmp(*b))?;
        let usable = largest * self.bench.ground.plant.policy.limits.fill;
        let mut hopeless = BTreeSet::new();
        (2..=self.units.len()).find_map(|count| self.cover(full, count, usable, &mut hopeless))
    }

    /// The units of `mask` in at most `count` groups.
    fn cover(
        &mut self,
        mask: u64,
        count: usize,
        usable: Volume,
        hopeless: &mut BTreeSet<(u64, usize)>,
    ) -> Option<Vec<u64>> {
        if mask == 0 {
            return Some(Vec::new());
        }
        let swept: Volume = self.of(mask).map(|unit| unit.swept).sum();
        #[allow(clippy::cast_precision_loss, reason = "a count of groups is small")]
        let most = usable * count as f64;
        if count == 0 || swept > most || hopeless.contains(&(mask, count)) {
            return None;
        }
        if count == 1 {
            return self.cylinder(mask).map(|_| vec![mask]);
        }
        let lowest = 1 << mask.trailing_zeros();
        let rest = mask & !lowest;
        let mut part = rest;
        loop {
            let group = part | lowest;
            if self.may_be(group, usable)
                && let Some(mut groups) = self.cover(mask & !group, count - 1, usable, hopeless)
                && self.cylinder(group).is_some()
            {
                groups.insert(0, group);
                return Some(groups);
            }
            if part == 0 {
                break;
            }
            part = (part - 1) & rest;
        }
        hopeless.insert((mask, count));
        None
    }

    /// Whether the swept volume alone leaves a group a cylinder.
    fn may_be(&self, mask: u64, usable: Volume) -> bool {
        self.of(mask).map(|unit| unit.swept).sum::<Volume>() <= usable
    }

    /// First fit decreasing, for many units: each unit into the first group that still conforms.
    fn first_fit(&mut self) -> Option<Vec<u64>> {
        let mut groups: Vec<u64> = Vec::new();
        for index in 0..self.units.len() {
            let bit = 1_u64 << index;
            let place = (0..groups.len()).find(|place| self.cylinder(groups[*place] | bit).is_some());
            if let Some(place) = place {
                groups[place] |= bit;
            } else {
                self.cylinder(bit)?;
                groups.push(bit);
            }
        }
        Some(groups)
    }

    fn change(&mut self, masks: &[u64]) -> Change {
        let mut groups = Vec::new();
        for (number, mask) in masks.iter().enumerate() {
            if let Some(cylinder) = self.cylinder(*mask) {
                groups.push(self.group(*mask, cylinder, number));
            }
        }
        Change::Split { line: self.line, groups }
    }
}
