//! A circuit that no single charging cylinder fills, in the fewest groups that do.

use std::collections::BTreeMap;

use crate::model::finding::Finding;
use crate::model::words::{Kind, Side};
use crate::physics::quantity::Volume;
use crate::physics::volume::swept_volume;

use super::change::{Change, Group};
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
    let mut cylinders: Vec<(u32, Option<Volume>)> = (0_u32..)
        .zip(&plant.components)
        .filter(|(index, part)| {
            let harms = bench.ground.parts.get(*index as usize).is_some_and(|standing| standing.counts);
            part.is(Kind::ChargingCylinder) && !part.is_obsolete() && !harms
        })
        .map(|(index, part)| (index, part.capacity))
        .collect();
    cylinders.sort_by(|(a, _), (b, _)| cheaper(plant, *a, *b));
    let total = units.iter().map(|unit| unit.swept).sum();
    let mut feasible = Feasible { bench, circuit, line, units, total, cylinders, known: BTreeMap::new() };
    let masks = if feasible.units.len() <= EXACT_UNITS { feasible.fewest() } else { feasible.first_fit() }?;
    Some(feasible.change(&masks))
}

fn cheaper(plant: &crate::model::plant::Plant, a: u32, b: u32) -> std::cmp::Ordering {
    let price = |index: u32| plant.component_at(Some(index)).and_then(|part| part.unit_price);
    let capacity = |index: u32| plant.component_at(Some(index)).and_then(|part| part.capacity).map_or(0.0, Volume::si);
    let name = |index: u32| plant.component_at(Some(index)).map_or("", |part| part.part_no.as_str());
    price(a)
        .is_none()
        .cmp(&price(b).is_none())
        .then_with(|| price(a).cmp(&price(b)))
        .then_with(|| capacity(a).total_cmp(&capacity(b)))
        .then_with(|| name(a).cmp(name(b)))
}

/// Clamps and supports of a circuit, joined where a support names a position.
fn units(bench: &Bench, circuit: usize) -> Vec<Unit> {
    let circuit = &bench.before[circuit].circuit;
    let components = &bench.ground.plant.components;
    let mut units: Vec<Unit> = Vec::new();
    for (index, line) in circuit.lines.iter().enumerate() {
        let Some(part) = line.component(components).filter(|part| part.is_actuator()) else { continue };
        let one =
            swept_volume(part.area_clamp, line.stroke_used, part.volume_clamp, part.stroke).unwrap_or(Volume::ZERO);
        let swept = one * line.qty.value().unwrap_or(0.0);
        let (joined, mut others): (Vec<Unit>, Vec<Unit>) =
            units.into_iter().partition(|unit| unit.lines.iter().any(|other| stay_together(circuit, *other, index)));
        let mut lines: Vec<usize> = joined.iter().flat_map(|unit| unit.lines.clone()).collect();
        lines.push(index);
        others.push(Unit { lines, swept: joined.iter().map(|unit| unit.swept).sum::<Volume>() + swept });
        units = others;
    }
    units.sort_by(|a, b| b.swept.total_cmp(a.swept).then_with(|| a.lines.cmp(&b.lines)));
    units
}

/// Whether two lines stay in one group: same position, or one supports the other's.
fn stay_together(circuit: &crate::model::circuit::Circuit, a: usize, b: usize) -> bool {
    let (a, b) = (&circuit.lines[a], &circuit.lines[b]);
    let names =
        |one: &crate::model::line::Line, other: &crate::model::line::Line| one.supports.contains(&other.position);
    let shares_support = a.supports.iter().any(|position| b.supports.contains(position));
    (!a.position.is_empty() && a.position == b.position) || names(a, b) || names(b, a) || shares_support
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
        let found = candidates.into_iter().find(|cylinder| {
            let groups = vec![self.group(mask, *cylinder, 0)];
            let trial = self.bench.trial(self.circuit, &Change::Split { line: self.line, groups });
            let is_full = trial.after.iter().any(|audit| audit.findings.iter().any(|finding| finding.rule == "V01"));
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

    /// Fewest groups over all ways to split: the best way for every set of units, from the best
    /// ways for what one group leaves.
    fn fewest(&mut self) -> Option<Vec<u64>> {
        let full = (1_u64 << self.units.len()) - 1;
        let mut best: BTreeMap<u64, (usize, u64)> = BTreeMap::from([(0, (0, 0))]);
        for mask in 1..=full {
            let lowest = 1 << mask.trailing_zeros();
            let rest = mask & !lowest;
            let mut part = rest;
            let mut found: Option<(usize, u64)> = None;
            loop {
                let group = part | lowest;
                let left = best.get(&(mask & !group)).map(|(count, _)| count + 1);
                if let Some(count) = left.filter(|count| found.is_none_or(|(least, _)| *count < least))
                    && self.cylinder(group).is_some()
                {
                    found = Some((count, group));
                }
                if part == 0 {
                    break;
                }
                part = (part - 1) & rest;
            }
            if let Some(found) = found {
                best.insert(mask, found);
            }
        }
        let mut groups = Vec::new();
        let mut mask = full;
        while mask != 0 {
            let (_, group) = *best.get(&mask)?;
            groups.push(group);
            mask &= !group;
        }
        Some(groups)
    }

    /// First fit decreasing, for many units: each unit into the first group that still conforms.
    fn first_fit(&mut self) -> Option<Vec<u64>> {
        let mut groups: Vec<u64> = Vec::new();
        for index in 0..self.units.len() {
            let bit = 1_u64 << index;
            let place = (0..groups.len()).find(|place| self.cylinder(groups[*place] | bit).is_some());
            if let Some(place) = place {
                groups[place] |= bit
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
