//! Changes worth trying for a finding, before any proof.

use crate::circuit::audited::CircuitAudit;
use crate::physics::air::free_air_loss;
use crate::physics::compression::compression_of_filling;
use crate::physics::quantity::{Force, Length, Pressure, Volume};
use crate::physics::unit::UnitSystem;
use crate::physics::volume::{effective_capacity, fill};
use crate::rules::catalogue::rule;
use crate::rules::contact_force::piece_force;
use crate::rules::force::{F01, F02};
use crate::rules::holding::{H01, H04};
use crate::rules::makeup::M07;
use crate::rules::pressure::{P03, P07, P11, is_of_rating, weighs_when_weak};
use crate::rules::rating::line_rating;
use crate::rules::volume::V01;
use crate::rules::{Cure, Rule, is_above, is_below};
use crate::tables::component::Component;
use crate::tables::figures::SideFigures;
use crate::tables::finding::Finding;
use crate::tables::line::{Line, PartRef};
use crate::tables::plant::Plant;
use crate::tables::policy::Fluid;
use crate::tables::station::{Station, StationPart};
use crate::tables::value::Value;
use crate::tables::words::{Charging, Kind, Side, Zone};

use super::change::{Change, SettingColumn, StationRole};
use super::fit::{Stand, stands_in};
use super::stock::{Fitting, Stock};

/// Shares of pressure_min at which the precharge of an accumulator is tried, best first.
const PRECHARGE_SHARES: [f64; 5] = [0.9, 0.8, 0.7, 0.6, 0.5];

/// Changes worth trying: one, or every part that may come in on a line.
#[derive(Clone)]
pub enum Thought<'a> {
    Change(Change),
    Swaps {
        line: usize,
        /// The first that bears the pressures there.
        first: u32,
        fitting: Fitting<'a>,
    },
}

/// What candidates are made from.
#[derive(Clone, Copy)]
pub struct Ideas<'a> {
    pub plant: &'a Plant,
    pub stock: &'a Stock,
    pub audit: &'a CircuitAudit,
    pub finding: &'a Finding,
}

impl<'a> Ideas<'a> {
    /// Every change worth trying, in no order.
    #[must_use]
    pub fn changes(&self) -> Vec<Change> {
        self.thoughts().into_iter().flat_map(|thought| self.spelt_out(thought)).collect()
    }

    /// Every change worth trying, in no order; swaps of a line as what may come in for its part.
    #[must_use]
    pub fn thoughts(&self) -> Vec<Thought<'a>> {
        self.cures().iter().flat_map(|cure| self.by(*cure)).collect()
    }

    /// The changes of a thought.
    #[must_use]
    pub fn spelt_out(&self, thought: Thought) -> Vec<Change> {
        let (line, fitting) = match thought {
            Thought::Change(change) => return vec![change],
            Thought::Swaps { line, fitting, .. } => (line, fitting),
        };
        let needs = self.needs(line);
        needs.met_by(fitting).map(|to| Change::Swap { line, to }).collect()
    }

    fn cures(&self) -> &'static [Cure] {
        rule(self.finding.rule).map_or(&[][..], |rule| rule.cures)
    }

    /// The changes of one kind.
    fn by(&self, cure: Cure) -> Vec<Thought<'a>> {
        match cure {
            Cure::OtherCylinder | Cure::SmallerCylinder => self.cylinders(cure),
            Cure::OtherPart | Cure::PartActingOtherwise => self.swaps(cure),
            Cure::StrongerWeakest => self.weakest_swaps(cure),
            Cure::TighterPart => self.tighter_parts(cure),
            Cure::WiderConductor => self.wider_conductors(cure),
            _ => self.changes_by(cure).into_iter().map(Thought::Change).collect(),
        }
    }

    /// The changes of one kind that are no swaps.
    fn changes_by(&self, cure: Cure) -> Vec<Change> {
        match cure {
            Cure::OtherPump => self.station_parts(Kind::Pump, StationRole::Pump),
            Cure::OtherDriveRam => self.station_parts(Kind::DriveRam, StationRole::DriveRam),
            Cure::Addition(kind) => self.additions(kind),
            Cure::SettingNeeded => self.needed_setting(),
            Cure::ReducingSetting => self.reducing_settings(),
            Cure::LowerSetting => self.lower_settings(),
            Cure::ReliefValve => self.reliefs(),
            Cure::ReliefSetting => self.relief_settings(),
            Cure::SequenceSetting => self.sequence_settings(),
            Cure::Accumulator => self.accumulators(),
            Cure::Precharge => self.precharges(),
            // A split is searched by itself, where no part serves.
            Cure::Split
            | Cure::OtherCylinder
            | Cure::SmallerCylinder
            | Cure::OtherPart
            | Cure::PartActingOtherwise
            | Cure::StrongerWeakest
            | Cure::TighterPart
            | Cure::WiderConductor => Vec::new(),
        }
    }

    /// Those that change the side's charging cylinder.
    #[must_use]
    pub fn cylinders_changed(&self) -> Vec<Thought<'a>> {
        let cures = self.cures().iter().filter(|cure| matches!(cure, Cure::OtherCylinder | Cure::SmallerCylinder));
        cures.flat_map(|cure| self.by(*cure)).collect()
    }

    /// Parts of a kind that may come in.
    fn parts(&self, kind: Option<Kind>) -> impl Iterator<Item = (u32, &'a Component)> {
        let components = &self.plant.components;
        self.stock.of_kind(kind).filter_map(|index| Some((index, components.get(index as usize)?)))
    }

    fn side(&self) -> &'a SideFigures {
        let figures = &self.audit.figures;
        let side = self.finding.side.filter(|side| *side == Side::Unclamp);
        side.and(figures.unclamp.as_ref()).unwrap_or(&figures.clamp)
    }

    /// Other charging cylinders in the place of the side's only one.
    fn cylinders(&self, cure: Cure) -> Vec<Thought<'a>> {
        let side = self.side();
        let lines = &self.audit.circuit.lines;
        let mut fitted = side.lines.iter().filter(|index| {
            lines[**index].component(&self.plant.components).is_some_and(|part| part.is(Kind::ChargingCylinder))
        });
        let (Some(line), None) = (fitted.next(), fitted.next()) else { return Vec::new() };
        self.swaps_on(*line, cure).into_iter().collect()
    }

    /// Other parts of the same kind on the finding's line.
    fn swaps(&self, cure: Cure) -> Vec<Thought<'a>> {
        self.finding.line.and_then(|line| self.swaps_on(line, cure)).into_iter().collect()
    }

    /// Parts that may come in for the one on a line.
    fn swaps_on(&self, line: usize, cure: Cure) -> Option<Thought<'a>> {
        let listed = self.audit.circuit.lines.get(line)?;
        let PartRef::Known(from) = listed.part else { return None };
        let old = self.plant.components.get(from as usize)?;
        let stand = Stand { from, cure, holds_oil: self.holds_oil(line) };
        let fitting = self.stock.fitting(self.plant, stand, old)?;
        let first = self.bearing(line, listed, old).borne_by(fitting).next()?;
        Some(Thought::Swaps { line, first, fitting })
    }

    /// The pressures that a part in a line's place has to bear.
    fn bearing(&self, line: usize, listed: &'a Line, old: &'a Component) -> Bearing<'a> {
        let pressures = self.pressures_at(line);
        let is_of_rating = is_of_rating(self.finding);
        let is_bound = !matches!(old.kind, Some(Kind::ReducingValve | Kind::ChargingCylinder));
        let was = line_rating(listed, old, &self.plant.policy.limits);
        let weighs = weighs_when_weak(&self.plant.policy, old);
        let least = was.filter(|_| is_bound && weighs).and_then(|was| {
            let known = pressures.into_iter().flatten();
            let asked = known.filter(|pressure| is_of_rating || !is_below(was.si(), pressure.si()));
            // An arm only lowers a rating; a hair below the limit may still bear it.
            asked.reduce(Pressure::max).map(|pressure| pressure * (1.0 - 1e-6))
        });
        Bearing { plant: self.plant, listed, old, was, weighs, is_of_rating, pressures, least }
    }

    /// The pressures of a line's zone on the sides that it counts on, as far as they are known.
    fn pressures_at(&self, line: usize) -> [Option<Pressure>; 2] {
        let mut sides = self.audit.figures.sides();
        let at = |side: &SideFigures| {
            side.lines.binary_search(&line).ok().and_then(|_| side.zone(side.zone_of(line)).pressure)
        };
        [sides.next().and_then(at), sides.next().and_then(at)]
    }

    /// What a part in a line's place must have, in closed form: no trial is made of one that lacks it.
    #[must_use]
    pub fn needs(&self, line: usize) -> Needs<'a> {
        let listed = self.audit.circuit.lines.get(line);
        let old = listed.and_then(|listed| listed.component(&self.plant.components));
        let fill = old.filter(|old| old.is(Kind::ChargingCylinder)).and_then(|_| self.fill_needed(line));
        let grip = listed.and_then(|listed| self.grip_needed(line, listed));
        let bearing = listed.zip(old).map(|(listed, old)| self.bearing(line, listed, old));
        let stated = if self.finding.line == Some(line) { stated_for(self.finding.rule) } else { None };
        Needs { plant: self.plant, bearing, fill, grip, stated }
    }

    /// How a charging cylinder on the line fills its circuits, where it must not fill them too much.
    fn fill_needed(&self, line: usize) -> Option<Filling<'a>> {
        let policy = &self.plant.policy;
        let side = self.audit.figures.sides().find(|side| side.cylinder == Some(line))?;
        let was_over = side.fill.is_none_or(|fill| is_above(fill, policy.limits.fill));
        let matters = V01.is_major_or_minor(policy) && (!was_over || self.finding.rule == V01.code);
        if matters { Filling::of(self.plant, self.audit, Some(side.side), line) } else { None }
    }

    /// The highest pressure at which a clamp on the line works, and the force that it lacks: at more than the
    /// charge pressure it never works.
    fn grip_needed(&self, line: usize, listed: &'a Line) -> Option<(&'a Line, Pressure, Force)> {
        if self.finding.rule != F01.code || self.finding.line != Some(line) {
            return None;
        }
        let clamp = &self.audit.figures.clamp;
        let highest = clamp.zone(clamp.zone_of(line)).pressure? * 1.1;
        Some((listed, highest, listed.force_required?))
    }

    /// Whether a hold that is asked for hangs on a line: it sits where an uncoupled circuit traps oil.
    fn holds_oil(&self, line: usize) -> bool {
        let Some(service) = &self.audit.circuit.service else { return false };
        let clamp = &self.audit.figures.clamp;
        service.states_hold_data()
            && service.charging().is_uncoupled()
            && clamp.lines.binary_search(&line).is_ok()
            && clamp.zone_of(line) != Zone::Charge
    }

    /// Stronger parts in the place of the weakest.
    fn weakest_swaps(&self, cure: Cure) -> Vec<Thought<'a>> {
        let Some(weakest) = self.side().chain.weakest else { return Vec::new() };
        self.swaps_on(weakest.line, cure).into_iter().collect()
    }

    /// Parts that leak less, on each line that leaks.
    fn tighter_parts(&self, cure: Cure) -> Vec<Thought<'a>> {
        self.side().lines.iter().filter_map(|line| self.swaps_on(*line, cure)).collect()
    }

    fn wider_conductors(&self, cure: Cure) -> Vec<Thought<'a>> {
        let lines = self.side().lines.iter();
        let conductors = lines.filter(|line| {
            self.audit.circuit.lines[**line].component(&self.plant.components).is_some_and(Component::is_conductor)
        });
        conductors.filter_map(|line| self.swaps_on(*line, cure)).collect()
    }

    /// A further part of a kind, where the circuit's lacks one.
    fn additions(&self, kind: Kind) -> Vec<Change> {
        let side = self.finding.side.unwrap_or(Side::Clamp);
        let add = |part| Change::Add { part, side, setting: None };
        self.parts(Some(kind)).map(|(part, _)| add(part)).collect()
    }

    /// A relief valve set between charge pressure and weakest rating.
    fn reliefs(&self) -> Vec<Change> {
        let chain = &self.side().chain;
        let Some((charge, weakest)) = chain.full.zip(chain.weakest) else { return Vec::new() };
        if weakest.pressure <= charge || self.side().kinds.has(Kind::ReliefValve) {
            return Vec::new();
        }
        let mut settings = vec![self.between(charge, weakest.pressure)];
        // The higher it is set, the less oil it lets out when warm, which is missing in the cold.
        let highest = self.rounded_down(weakest.pressure);
        settings.extend((self.finding.rule == H01.code && highest > settings[0]).then_some(highest));
        let side = self.finding.side.unwrap_or(Side::Clamp);
        let valves = self.parts(Some(Kind::ReliefValve));
        let add = |part| {
            let set = |to| Change::Add { part, side, setting: Some((SettingColumn::SetPressure, to)) };
            settings.iter().copied().map(set).collect::<Vec<Change>>()
        };
        valves.flat_map(|(part, _)| add(part)).collect()
    }

    /// A relief valve's setting halfway between charge pressure and weakest rating; where it would weep there, halfway
    /// between where it doesn't and the rating.
    fn between(&self, charge: Pressure, weakest: Pressure) -> Pressure {
        let halfway = self.rounded((charge + weakest) / 2.0);
        let least = charge * (1.0 + self.plant.policy.limits.relief_margin);
        if !is_below(halfway.si(), least.si()) {
            return halfway;
        }
        // Where no whole bars are between them, what can be read off between them.
        let higher = [self.rounded((least + weakest) / 2.0), settable(self.plant, least, f64::ceil)];
        let is_within = |to: &Pressure| !is_below(to.si(), least.si()) && !is_above(to.si(), weakest.si());
        higher.into_iter().find(is_within).unwrap_or(halfway)
    }

    /// A further accumulator, its precharge a share of pressure_min.
    fn accumulators(&self) -> Vec<Change> {
        let lowest = self.audit.circuit.service.as_ref().and_then(|service| service.pressure_min);
        let Some(lowest) = lowest.or(self.audit.figures.clamp.chain.charge) else { return Vec::new() };
        let settings = self.precharges_for(lowest);
        let add = |part| {
            let set = move |to| Some((SettingColumn::Precharge, to));
            settings.iter().map(move |to| Change::Add { part, side: Side::Clamp, setting: set(*to) })
        };
        let bottles = self.parts(Some(Kind::Accumulator));
        bottles.flat_map(|(part, _)| add(part)).collect()
    }

    /// Precharges at which an accumulator is tried, best first: shares of pressure_min, and at last the bounds themselves,
    /// rounded inwards. What is beyond a bound is not tried where H04 would weigh.
    fn precharges_for(&self, lowest: Pressure) -> Vec<Pressure> {
        let limits = &self.plant.policy.limits;
        let (low, high) = (lowest * limits.precharge_low, lowest * limits.precharge_high);
        let is_stated = self.audit.circuit.service.as_ref().is_some_and(|service| service.pressure_min.is_some());
        let is_bound = is_stated && H04.is_major_or_minor(&self.plant.policy);
        let is_within = |to: Pressure| !is_below(to.si(), low.si()) && !is_above(to.si(), high.si());
        let shares = PRECHARGE_SHARES.map(|share| self.rounded(lowest * share));
        let mut all: Vec<Pressure> = shares.into_iter().filter(|to| !is_bound || is_within(*to)).collect();
        for bound in [self.rounded_down(high), self.rounded_up(low)] {
            if is_bound && is_within(bound) && !all.contains(&bound) {
                all.push(bound);
            }
        }
        // Whole bars may leave out all that is between the bounds.
        if all.is_empty() { vec![settable(self.plant, high, f64::floor)] } else { all }
    }

    fn precharges(&self) -> Vec<Change> {
        let lowest = self.audit.circuit.service.as_ref().and_then(|service| service.pressure_min);
        let Some((line, lowest)) = self.finding.line.zip(lowest) else { return Vec::new() };
        let settings = self.precharges_for(lowest).into_iter();
        settings.map(|to| Change::Setting { line, column: SettingColumn::Precharge, to }).collect()
    }

    /// The finding's relief valve, or those of its side, set between the charge pressure and the weakest rating.
    fn relief_settings(&self) -> Vec<Change> {
        let side = self.side();
        let Some((charge, weakest)) = side.chain.full.zip(side.chain.weakest) else { return Vec::new() };
        let halfway = (charge + weakest.pressure) / 2.0;
        let settings = [self.rounded(halfway), settable(self.plant, weakest.pressure, f64::floor)];
        let lines = &self.audit.circuit.lines;
        let is_relief = |line: &usize| {
            let part = lines.get(*line).and_then(|line| line.component(&self.plant.components));
            part.is_some_and(|part| part.is(Kind::ReliefValve))
        };
        let of_side = side.lines.iter().copied().filter(|line| self.finding.line.is_none() && is_relief(line));
        let valves = self.finding.line.into_iter().chain(of_side);
        let set = |line| settings.map(|to| Change::Setting { line, column: SettingColumn::SetPressure, to });
        valves.flat_map(set).collect()
    }

    fn sequence_settings(&self) -> Vec<Change> {
        let Some((charge, line)) = self.side().chain.charge.zip(self.finding.line) else { return Vec::new() };
        let highest = charge * self.plant.policy.limits.sequence_high;
        let least = self.least_of_clamps().unwrap_or(highest);
        [self.rounded((highest + least) / 2.0), settable(self.plant, highest, f64::floor)]
            .map(|to| Change::Setting { line, column: SettingColumn::SetPressure, to })
            .to_vec()
    }

    /// The lowest pressure at which the side's clamps work.
    fn least_of_clamps(&self) -> Option<Pressure> {
        let lines = &self.audit.circuit.lines;
        let parts = self.side().lines.iter().filter_map(|index| lines[*index].component(&self.plant.components));
        parts.filter(|part| part.is(Kind::Clamp)).filter_map(|part| part.min_pressure).min_by(|a, b| a.total_cmp(*b))
    }

    /// The pump setting that gives the wanted charge pressure; where it is short, at last the one at which it is near
    /// enough to the one wanted: another circuit may bear that.
    fn needed_setting(&self) -> Vec<Change> {
        let Some(needed) = self.side().chain.pump_needed.filter(|_| self.has_setting()) else { return Vec::new() };
        // What it is set to already is no change.
        let now = self.audit.circuit.station(self.plant).and_then(|station| station.pump_setting);
        let settings = [self.rounded(needed), settable(self.plant, needed, f64::round)];
        let raised = self.near_enough().filter(|_| self.finding.rule == P03.code);
        let settings = settings.into_iter().chain(raised).filter(|to| now != Some(*to));
        settings.map(|to| Change::StationSetting { to }).collect()
    }

    /// The pump setting by which the charge pressure comes just within what is wanted.
    #[must_use]
    pub fn near_enough(&self) -> Option<Pressure> {
        let needed = self.side().chain.pump_needed.filter(|_| self.has_setting())?;
        let is_short = self.finding.rule == P03.code;
        let limit = match self.finding.limit {
            Some(Value::Pressure(limit)) if is_short || self.finding.rule == P11.code => limit,
            _ => return None,
        };
        let least = self.setting_for(limit)?;
        let to = if is_short { self.rounded_up(least) } else { self.rounded_down(least) };
        let is_between = if is_short { to < needed } else { to > needed };
        is_between.then_some(to)
    }

    /// The reducing valve that holds the charge pressure, set to the one wanted.
    fn reducing_settings(&self) -> Vec<Change> {
        let valve = self.side().chain.reducing.as_ref();
        let wanted = self.audit.circuit.service.as_ref().and_then(|service| service.pressure_set);
        let Some((valve, to)) = valve.zip(wanted) else { return Vec::new() };
        vec![Change::Setting { line: valve.line, column: SettingColumn::SetPressure, to }]
    }

    /// Lower pump settings: what the wanted pressure needs, and what the limit allows.
    fn lower_settings(&self) -> Vec<Change> {
        let mut changes = self.needed_setting();
        changes.retain(|change| match change {
            Change::StationSetting { to } => self.is_lower(*to),
            _ => true,
        });
        changes.extend(self.allowed_setting().map(|to| Change::StationSetting { to }));
        changes.extend(self.excess_taken_off().map(|to| Change::StationSetting { to }));
        changes
    }

    /// The pump setting that charges to as much less as warm oil goes beyond its limit: warmth adds nearly as much to
    /// whatever is charged.
    fn excess_taken_off(&self) -> Option<Pressure> {
        let (Some(Value::Pressure(measured)), Some(Value::Pressure(limit))) =
            (self.finding.measured.as_ref(), self.finding.limit.as_ref())
        else {
            return None;
        };
        let charge = self.side().chain.full.filter(|_| self.finding.rule == H01.code)?;
        let to = self.rounded_down(self.setting_for(charge - (*measured - *limit))?);
        Some(to).filter(|to| self.is_lower(*to) && *to > Pressure::ZERO)
    }

    /// The lower pump setting that the finding's limit allows, where that may clear it.
    #[must_use]
    pub fn allowed_setting(&self) -> Option<Pressure> {
        let Some(Value::Pressure(limit)) = self.finding.limit else { return None };
        let to = settable(self.plant, self.setting_for(limit)?, f64::floor);
        Some(to).filter(|to| self.is_lower(*to) && self.is_cured_by(Cure::LowerSetting))
    }

    /// The pump setting at which the side is charged to a pressure.
    fn setting_for(&self, charge: Pressure) -> Option<Pressure> {
        let chain = &self.side().chain;
        let ratio = chain.ratio.filter(|ratio| *ratio > 0.0 && self.has_setting())?;
        Some((charge + chain.return_loss) / ratio)
    }

    /// Whether a setting is below what the pump gives, as that is read.
    fn is_lower(&self, setting: Pressure) -> bool {
        self.side().chain.pump.is_some_and(|pump| setting < settable(self.plant, pump, f64::floor))
    }

    fn is_cured_by(&self, cure: Cure) -> bool {
        rule(self.finding.rule).is_some_and(|rule| rule.cures.contains(&cure))
    }

    /// Whether the pump of its load station has a pressure that can be set.
    fn has_setting(&self) -> bool {
        self.audit.circuit.station(self.plant).is_some_and(|station| has_setting(self.plant, station))
    }

    fn station_parts(&self, kind: Kind, role: StationRole) -> Vec<Change> {
        let Some(station) = self.audit.circuit.station(self.plant) else { return Vec::new() };
        let now = match role {
            StationRole::Pump => &station.pump,
            StationRole::DriveRam => &station.drive_ram,
        };
        let StationPart::Known(now) = now else { return Vec::new() };
        let old = self.plant.component_at(Some(*now));
        let parts = self.parts(Some(kind));
        let parts = parts.filter(|(index, new)| index != now && old.is_none_or(|old| stands_in(old, new)));
        parts.map(|(to, _)| Change::StationPart { role, to }).collect()
    }

    fn rounded_down(&self, pressure: Pressure) -> Pressure {
        let near = self.rounded(pressure);
        let step = self.rounded(Pressure::ZERO);
        if is_above(near.si(), pressure.si()) { near - step } else { near }
    }

    fn rounded_up(&self, pressure: Pressure) -> Pressure {
        let near = self.rounded(pressure);
        let step = self.rounded(Pressure::ZERO);
        if is_below(near.si(), pressure.si()) { near + step } else { near }
    }

    /// A pressure that can be set: whole bars, or tens of psi.
    fn rounded(&self, pressure: Pressure) -> Pressure {
        rounded(self.plant, pressure)
    }

    /// Whether the circuit is charged by cylinder; a split makes sense only then.
    #[must_use]
    pub fn may_be_split(&self) -> bool {
        let charging =
            self.audit.circuit.service.as_ref().map_or(Charging::Cylinder, crate::tables::circuit::Service::charging);
        // Circuits of a source are filled together, whatever they are split into.
        let is_alone = self.audit.circuit.service.as_ref().is_none_or(|service| service.source.is_empty());
        self.is_cured_by(Cure::Split)
            && charging == Charging::Cylinder
            && is_alone
            && self.side().cylinder_pieces <= 1.0
    }
}

/// A pressure that can be set on a valve or pump: whole bars, or tens of psi.
#[must_use]
pub fn rounded(plant: &Plant, pressure: Pressure) -> Pressure {
    match plant.policy.units {
        UnitSystem::Metric => Pressure::from_bar(pressure.bar().round().max(1.0)),
        UnitSystem::Us => Pressure::from_psi((pressure.psi() / 10.0).round().max(1.0) * 10.0),
    }
}

/// A pressure as it is read, so that what is set by the book is what was proved: with a decimal in bar, whole psi, four digits
/// at most.
///
/// * `round` – to which side
pub(super) fn settable(plant: &Plant, pressure: Pressure, round: impl Fn(f64) -> f64) -> Pressure {
    let (number, least): (f64, f64) = match plant.policy.units {
        UnitSystem::Metric => (pressure.bar(), 0.1),
        UnitSystem::Us => (pressure.psi(), 1.0),
    };
    if !number.is_finite() || number < least {
        return pressure;
    }
    let mut step = least;
    while number >= 9999.5 * step {
        step *= 10.0;
    }
    // By its inverse, a whole number: a tenth has no exact form.
    let (steps, inverse) = if step < 1.0 { (number * 10.0, 10.0) } else { (number / step, 1.0 / step) };
    let near = steps.round();
    let steps = if (steps - near).abs() <= 1e-9 * near { near } else { round(steps) };
    let number = steps / inverse;
    match plant.policy.units {
        UnitSystem::Metric => Pressure::from_bar(number),
        UnitSystem::Us => Pressure::from_psi(number),
    }
}

/// Whether the pump of a load station has a pressure that can be set: one that air drives has none, but that of the air,
/// where none is stated.
pub(super) fn has_setting(plant: &Plant, station: &Station) -> bool {
    plant.air_ratio_of(station).is_none()
}

/// Whether a part stands between station and circuit as another does: what is not a charging cylinder always,
/// a cylinder with the same areas, ratio and loss.
pub(super) fn transmits_as(old: &Component, new: &Component) -> bool {
    !old.is(Kind::ChargingCylinder)
        || (old.piston_area == new.piston_area
            && old.pressure_ratio == new.pressure_ratio
            && old.return_loss == new.return_loss)
}

/// What fills a side's group with another charging cylinder in the place of the only one, in closed form.
pub struct Filling<'a> {
    old: &'a Component,
    pieces: f64,
    fluid: &'a Fluid,
    pressure: Pressure,
    ram_stroke: Option<Length>,
    /// Demand of the group without what the oil in the cylinder itself takes.
    others: Volume,
}

impl<'a> Filling<'a> {
    /// `None` where something is not known, or where the cylinder is not the only one.
    pub(super) fn of(plant: &'a Plant, audit: &'a CircuitAudit, side: Option<Side>, line: usize) -> Option<Self> {
        let side = audit.figures.side(side?)?;
        let listed = audit.circuit.lines.get(line)?;
        let old = listed.component(&plant.components)?;
        let pieces = listed.qty.value()?;
        let is_only = (side.group.cylinder_pieces - pieces).abs() < 0.5;
        if !is_only || !old.is(Kind::ChargingCylinder) || side.zone_of(line) == Zone::Reduced {
            return None;
        }
        let fluid = plant.policy.fluid(audit.circuit.service.as_ref().map_or("", |service| &service.fluid))?;
        let ram = audit.circuit.station(plant).and_then(|station| plant.component_at(station.drive_ram.index()));
        let ram_stroke = ram.and_then(|ram| ram.stroke);
        let demand = side.group.demand?;
        let pressure = side.chain.full?;
        let mut filling = Self { old, pieces, fluid, pressure, ram_stroke, others: demand };
        filling.others = demand - filling.own(old, filling.capacity(old)?);
        Some(filling)
    }

    fn capacity(&self, part: &Component) -> Option<Volume> {
        Some(effective_capacity(part.capacity?, self.ram_stroke, part.stroke) * self.pieces)
    }

    /// What the oil in the cylinder itself takes, dead volume included.
    fn own(&self, part: &Component, capacity: Volume) -> Volume {
        let held = capacity + part.dead_volume.unwrap_or(Volume::ZERO) * self.pieces;
        compression_of_filling(held, self.pressure, self.fluid.bulk_modulus)
            + free_air_loss(self.fluid.free_air, held, self.pressure)
    }

    /// The fill with another cylinder; `None` where pressures would change, or something is not known.
    pub(super) fn with(&self, new: &Component) -> Option<f64> {
        if !transmits_as(self.old, new) {
            return None;
        }
        let capacity = self.capacity(new)?;
        fill(self.others + self.own(new, capacity), capacity)
    }
}

/// The pressures where a line sits, which a part in its place has to bear.
struct Bearing<'a> {
    plant: &'a Plant,
    listed: &'a Line,
    old: &'a Component,
    /// The rating there as it stands.
    was: Option<Pressure>,
    /// Whether a rating that is too low weighs.
    weighs: bool,
    is_of_rating: bool,
    pressures: [Option<Pressure>; 2],
    /// What a part that bears them is rated for at least.
    least: Option<Pressure>,
}

impl Bearing<'_> {
    /// Whether a part is rated for the pressures, as far as these stay what they are.
    fn is_borne_by(&self, new: &Component) -> bool {
        if self.old.is(Kind::ReducingValve) || !transmits_as(self.old, new) {
            return true;
        }
        let is = line_rating(self.listed, new, &self.plant.policy.limits);
        let Some((was, is)) = self.was.zip(is) else { return true };
        self.pressures.into_iter().flatten().all(|pressure| {
            let bears = |rating: Pressure| !is_below(rating.si(), pressure.si());
            // What is rated too low before may stay so, unless that is the finding.
            bears(is) || !self.weighs || (!bears(was) && !self.is_of_rating)
        })
    }

    /// The parts that are.
    fn borne_by<'b>(&'b self, fitting: Fitting<'b>) -> impl Iterator<Item = u32> + 'b {
        let is_borne = |part: &u32| self.plant.component_at(Some(*part)).is_none_or(|part| self.is_borne_by(part));
        fitting.rated(self.least).filter(is_borne)
    }
}

/// What a part in a line's place must have.
pub struct Needs<'a> {
    plant: &'a Plant,
    bearing: Option<Bearing<'a>>,
    fill: Option<Filling<'a>>,
    grip: Option<(&'a Line, Pressure, Force)>,
    /// Whether a part states what the finding is about: a blank clears nothing, it only says nothing.
    stated: Option<fn(&Component) -> bool>,
}

/// Whether a part states the figure by which a rule would be kept, of rules that a blank lets go by.
fn stated_for(code: &str) -> Option<fn(&Component) -> bool> {
    let all: [(&Rule, fn(&Component) -> bool); 3] = [
        (&M07, |part| !part.seal.is_empty()),
        (&P07, |part| part.min_pressure.is_some()),
        (&F02, |part| part.force_max.is_some()),
    ];
    all.into_iter().find(|(rule, _)| rule.code == code).map(|(_, stated)| stated)
}

impl Needs<'_> {
    /// The parts that have it, of those that fit.
    pub fn met_by<'b>(&'b self, fitting: Fitting<'b>) -> impl Iterator<Item = u32> + 'b {
        let bearing = self.bearing.iter().flat_map(move |bearing| bearing.borne_by(fitting));
        bearing.filter(|part| self.has_room_and_force(*part))
    }

    /// Whether a part fills its circuits and grips as is asked.
    fn has_room_and_force(&self, part: u32) -> bool {
        let Some(part) = self.plant.component_at(Some(part)) else { return true };
        if self.stated.is_some_and(|stated| !stated(part)) {
            return false;
        }
        // Far enough above the limit that no rounding decides.
        let most = self.plant.policy.limits.fill * (1.0 + 1e-6);
        self.fill.as_ref().and_then(|filling| filling.with(part)).is_none_or(|fill| fill <= most)
            && self.grip.is_none_or(|(line, highest, required)| {
                piece_force(line, part, highest).is_none_or(|force| force >= required)
            })
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::tables::policy::Policy;

    fn plant(units: UnitSystem) -> Plant {
        Plant::empty(Policy { units, ..Policy::at(NaiveDate::default()) })
    }

    /// What a reader sees of a pressure is the pressure: 800/3 bar would be read as 266.7 bar, which is more.
    #[test]
    fn a_setting_is_what_is_read_of_it() {
        let metric = plant(UnitSystem::Metric);
        let down = |bar: f64| settable(&metric, Pressure::from_bar(bar), f64::floor);
        assert_eq!(down(800.0 / 3.0), Pressure::from_bar(266.6));
        assert_eq!(down(227.199_999_999_999_96), Pressure::from_bar(227.2));
        assert_eq!(down(1234.5), Pressure::from_bar(1234.0));
        assert_eq!(down(99.99), Pressure::from_bar(99.9));
        assert_eq!(down(0.04), Pressure::from_bar(0.04));
        assert_eq!(settable(&metric, Pressure::from_bar(64.47), f64::round), Pressure::from_bar(64.5));
        let us = plant(UnitSystem::Us);
        assert_eq!(settable(&us, Pressure::from_psi(2250.7), f64::floor), Pressure::from_psi(2250.0));
        assert_eq!(settable(&us, Pressure::from_psi(12_345.0), f64::floor), Pressure::from_psi(12_340.0));
    }
}
