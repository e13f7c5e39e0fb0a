//! Circuits that have to do with each other, with all that they use of the plant, to be altered and looked at again.

use crate::rules::catalogue::CATALOGUE;
use crate::rules::rating::LineRatings;
use crate::rules::view::{CircuitView, StationView};
use crate::rules::{Asked, At, Outcome, Rule, Weighed, lists};
use crate::tables::circuit::{Circuit, Name, Service};
use crate::tables::component::Component;
use crate::tables::figures::CircuitFigures;
use crate::tables::line::{Line, PartRef};
use crate::tables::plant::Plant;
use crate::tables::policy::{DEFAULT_FLUID, Policy};
use crate::tables::station::{Station, StationPart};
use crate::tables::words::Charging;

use super::affected::Affected;
use super::audited::CircuitAudit;
use super::fixture::neighbours_by_fixture;
use super::group::{pallet_figures, renew};
use super::near_oil::NearOil;
use super::side::CircuitInputs;
use super::trapped::trapped_oil;

/// A figure of a circuit beside a limit of a rule.
#[derive(Clone, Copy)]
pub(super) struct Compared {
    /// Index into the replica's circuits.
    pub(super) circuit: usize,
    pub(super) rule: &'static Rule,
    pub(super) at: At,
    /// The line whose rating the limit is, where the figure isn't that line's.
    rated: Option<usize>,
    pub(super) slack: f64,
}

impl Compared {
    fn is_same_as(&self, other: &Self) -> bool {
        self.circuit == other.circuit
            && std::ptr::eq(self.rule, other.rule)
            && (self.at, self.rated) == (other.at, other.rated)
    }
}

/// The circuits, and a plant of nothing but what they use.
pub(super) struct Replica {
    pub(super) plant: Box<Plant>,
    pub(super) circuits: Vec<Circuit>,
    /// Names of the fluids in use.
    pub(super) fluids: Vec<Name>,
    /// Figures as the circuits stand.
    figures: Vec<CircuitFigures>,
    /// The same, by what is affected, which is worked out again and again.
    renewed: Vec<(Affected, Vec<CircuitFigures>)>,
    /// By circuit: its oil as it stands; `None` where nothing is trapped, or something of it is unknown.
    near: Vec<Option<NearOil>>,
    /// By circuit and line, as the circuits stand.
    ratings: Vec<Vec<LineRatings>>,
}

/// What of a policy decides figures and findings.
#[must_use]
pub(super) fn deciding(policy: &Policy) -> Policy {
    Policy {
        units: policy.units,
        limits: policy.limits,
        spread: policy.spread,
        metal: policy.metal,
        gas: policy.gas,
        fluids: policy.fluids.clone(),
        rules: policy.rules.clone(),
        asked: policy.asked.clone(),
        ..Policy::at(policy.date)
    }
}

/// Parts and stations as they are taken over, with their places in the replica.
struct Taking<'a> {
    plant: &'a Plant,
    replica: Box<Plant>,
    parts: Vec<(u32, u32)>,
}

impl Taking<'_> {
    fn part(&mut self, index: u32) -> u32 {
        if let Some((_, at)) = self.parts.iter().find(|(known, _)| *known == index) {
            return *at;
        }
        let at = u32::try_from(self.replica.components.len()).unwrap_or(u32::MAX);
        self.parts.push((index, at));
        self.replica.components.extend(self.plant.component_at(Some(index)).cloned());
        at
    }

    fn station(&mut self, station: &Station) {
        let name = Name::from(station.station.as_str());
        if self.replica.station_index.contains_key(&name) {
            return;
        }
        let mut taken = station.clone();
        for part in [&mut taken.pump, &mut taken.drive_ram] {
            if let StationPart::Known(index) = part {
                *index = self.part(*index);
            }
        }
        self.replica.station_index.insert(name, self.replica.stations.len());
        self.replica.stations.push(taken);
    }
}

impl Replica {
    /// Of circuits of a pallet, in key order; `policy` is that of [`deciding`].
    pub(super) fn of<'a>(plant: &Plant, policy: Policy, audits: impl Iterator<Item = &'a CircuitAudit>) -> Self {
        let mut taking = Taking { plant, replica: Box::new(Plant::empty(policy)), parts: Vec::new() };
        let mut circuits: Vec<Circuit> = audits.map(|audit| audit.circuit.clone()).collect();
        let mut fluids: Vec<Name> = Vec::new();
        for circuit in &mut circuits {
            for line in &mut circuit.lines {
                if let PartRef::Known(index) = &mut line.part {
                    *index = taking.part(*index);
                }
            }
            if let Some(station) = circuit.station(plant) {
                taking.station(station);
            }
            let fluid = circuit.service.as_ref().map_or("", |service| service.fluid.as_str());
            let fluid = Name::from(if fluid.is_empty() { DEFAULT_FLUID } else { fluid });
            if !fluids.contains(&fluid) {
                fluids.push(fluid);
            }
        }
        Self {
            plant: taking.replica,
            circuits,
            fluids,
            figures: Vec::new(),
            renewed: Vec::new(),
            near: Vec::new(),
            ratings: Vec::new(),
        }
    }

    /// The part of a line.
    pub(super) fn part(&self, circuit: usize, line: usize) -> Option<&Component> {
        self.circuits.get(circuit)?.lines.get(line)?.component(&self.plant.components)
    }

    /// The rules that could decide on a circuit; what lists say is taken as it stands, without a spread.
    pub(super) fn weighing_rules(&self) -> Vec<&'static Rule> {
        let policy = &self.plant.policy;
        let weighs = |rule: &&Rule| rule.weighs_on_circuits() && rule.is_major_or_minor(policy);
        let weighs = |rule: &&Rule| weighs(rule) && rule.family.letter != lists::FAMILY.letter;
        CATALOGUE.iter().copied().filter(weighs).collect()
    }

    /// Works out all figures as the circuits stand, and gives those that one of these rules compares with a limit.
    pub(super) fn first_look(&mut self, rules: &[&'static Rule], into: &mut Vec<Compared>) {
        self.figures = pallet_figures(&self.plant, &self.circuits, Asked::by(rules));
        let near = self.circuits.iter().zip(&self.figures).map(|(circuit, figures)| {
            let service = circuit.service();
            if service.charging() == Charging::Live {
                return None;
            }
            let oil = trapped_oil(&CircuitInputs::of(&self.plant, circuit, &service), figures).ok()?;
            Some(NearOil::of(oil, &service))
        });
        self.near = near.collect();
        let ratings_of = |line: &Line| {
            let ratings = |part| LineRatings::of(line, part, &self.plant.policy.limits);
            line.component(&self.plant.components).map(ratings).unwrap_or_default()
        };
        self.ratings = self.circuits.iter().map(|circuit| circuit.lines.iter().map(ratings_of).collect()).collect();
        self.renewed.clear();
        into.clear();
        self.compared_in(&self.figures, Affected::default(), rules, into);
    }

    /// Every figure that one of these rules compares with a limit, after something was moved.
    ///
    /// * `affected` – by what was moved: nothing else is worked out again
    /// * `is_near` – whether it was moved a little, so that trapped oil may be interpolated
    pub(super) fn compared(
        &mut self,
        rules: &[&'static Rule],
        asked: Asked,
        affected: Affected,
        is_near: bool,
        into: &mut Vec<Compared>,
    ) {
        into.clear();
        let affected = affected.within(asked);
        if !affected.moves_figures() {
            return self.compared_in(&self.figures, affected, rules, into);
        }
        // What is not affected is not worked out again: each kind has figures of its own, in which it stands as it is.
        let place = self.renewed.iter().position(|(known, _)| *known == affected).unwrap_or_else(|| {
            self.renewed.push((affected, self.figures.clone()));
            self.renewed.len() - 1
        });
        let near: &[Option<NearOil>] = if is_near { &self.near } else { &[] };
        renew(&self.plant, &self.circuits, &mut self.renewed[place].1, affected, asked, near);
        self.compared_in(&self.renewed[place].1, affected, rules, into);
    }

    /// The same, all figures worked out from nothing.
    #[cfg(test)]
    pub(super) fn compared_afresh(&self, rules: &[&'static Rule], asked: Asked, into: &mut Vec<Compared>) {
        into.clear();
        self.compared_in(&pallet_figures(&self.plant, &self.circuits, asked), Affected::ALL, rules, into);
    }

    fn compared_in(
        &self,
        figures: &[CircuitFigures],
        affected: Affected,
        rules: &[&'static Rule],
        into: &mut Vec<Compared>,
    ) {
        let neighbours = neighbours_by_fixture(&self.plant, &self.circuits, figures);
        let blank = Service::default();
        let mut outcome = Outcome::weighing_apart();
        for (index, (circuit, figures)) in self.circuits.iter().zip(figures).enumerate() {
            if circuit.lines.is_empty() {
                continue;
            }
            let service = circuit.service.as_ref().unwrap_or(&blank);
            let beside = &neighbours[index];
            let view = CircuitView::of(&self.plant, circuit, service, figures).beside(&beside.clamps, &beside.supports);
            // What moves a rating moves everything.
            let view = if affected.chain { view } else { view.rated(&self.ratings[index]) };
            let station = view.station().map(|station| StationView {
                plant: &self.plant,
                station,
                pump: self.plant.pump_of(station),
                drive_ram: self.plant.drive_ram_of(station),
            });
            for rule in rules {
                if let Some(check) = rule.checks.circuit {
                    check(&view, &mut outcome);
                }
                if let Some((check, station)) = rule.checks.station.zip(station.as_ref()) {
                    check(station, &mut outcome);
                }
                if let Some(weighed) = &mut outcome.weighed {
                    let compared =
                        |Weighed { at, rated, slack, .. }| Compared { circuit: index, rule, at, rated, slack };
                    into.extend(weighed.drain(..).map(compared));
                }
                outcome.hits.clear();
                outcome.lacks.clear();
            }
        }
    }
}

/// The slacks of `now` for some places that they had `then`, in this order; no number where a figure is not known any more.
pub(super) fn put_slacks(then: &[Compared], places: &[usize], now: &[Compared], into: &mut Vec<f64>) {
    into.clear();
    let is_alike = |(place, one): (&usize, &Compared)| then[*place].is_same_as(one);
    if places.len() == now.len() && places.iter().zip(now).all(is_alike) {
        into.extend(now.iter().map(|one| one.slack));
        return;
    }
    into.extend(places.iter().map(|place| {
        let same = now.iter().find(|one| one.is_same_as(&then[*place]));
        same.map_or(f64::NAN, |one| one.slack)
    }));
}
