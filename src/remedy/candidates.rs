//! Changes worth trying for a finding, before any proof.

use crate::circuit::audited::CircuitAudit;
use crate::physics::air::free_air_loss;
use crate::physics::compression::compression_of_filling;
use crate::physics::leak::leak_conductance;
use crate::physics::quantity::{Conductance, Flow, Pressure, Volume};
use crate::physics::volume::{effective_capacity, fill};
use crate::rules::catalogue::rule;
use crate::rules::contact_force::piece_force;
use crate::rules::force::F01;
use crate::rules::pressure::{is_of_rating, weighs_when_weak};
use crate::rules::rating::{line_rating, rating};
use crate::rules::volume::V01;
use crate::rules::{Cure, is_above, is_below};
use crate::tables::component::Component;
use crate::tables::figures::SideFigures;
use crate::tables::finding::Finding;
use crate::tables::line::{Line, PartRef};
use crate::tables::plant::Plant;
use crate::tables::station::StationPart;
use crate::tables::words::{Charging, Kind, Side, Zone};

use super::change::{Change, SettingColumn, StationRole};
use super::stock::Stock;

/// Shares of pressure_min at which the precharge of an added accumulator is tried, best first.
const PRECHARGE_SHARES: [f64; 5] = [0.9, 0.8, 0.7, 0.6, 0.5];

/// What candidates are made from.
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
        let cures = rule(self.finding.rule).map_or(&[][..], |rule| rule.cures);
        cures.iter().flat_map(|cure| self.by(*cure)).collect()
    }

    /// The changes of one kind.
    fn by(&self, cure: Cure) -> Vec<Change> {
        match cure {
            Cure::OtherCylinder => self.cylinders(|_, _| true),
            Cure::SmallerCylinder => self.cylinders(|old, new| new.capacity < old.capacity),
            // Searched by itself, where no part serves.
            Cure::Split => Vec::new(),
            Cure::OtherPump => self.station_parts(Kind::Pump, StationRole::Pump),
            Cure::OtherDriveRam => self.station_parts(Kind::DriveRam, StationRole::DriveRam),
            Cure::Addition(kind) => self.additions(kind),
            Cure::SettingNeeded => self.needed_setting(),
            Cure::ReducingSetting => self.reducing_settings(),
            Cure::LowerSetting => self.lower_settings(),
            Cure::OtherPart => self.swaps(fits_in_place),
            // Only the acting may differ.
            Cure::PartActingOtherwise => self.swaps(stands_in),
            Cure::StrongerWeakest => self.weakest_swaps(),
            Cure::ReliefValve => self.reliefs(),
            Cure::ReliefSetting => self.relief_settings(),
            Cure::SequenceSetting => self.sequence_settings(),
            Cure::Accumulator => self.accumulators(),
            Cure::Precharge => self.precharges(),
            Cure::TighterPart => self.tighter_parts(),
            Cure::WiderConductor => self.wider_conductors(),
        }
    }

    /// Those that change the side's charging cylinder.
    #[must_use]
    pub fn cylinders_changed(&self) -> Vec<Change> {
        let cures = rule(self.finding.rule).map_or(&[][..], |rule| rule.cures);
        let cures = cures.iter().filter(|cure| matches!(cure, Cure::OtherCylinder | Cure::SmallerCylinder));
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
    fn cylinders(&self, suits: impl Fn(&Component, &Component) -> bool) -> Vec<Change> {
        let side = self.side();
        let lines = &self.audit.circuit.lines;
        let mut fitted = side.lines.iter().filter(|index| {
            lines[**index].component(&self.plant.components).is_some_and(|part| part.is(Kind::ChargingCylinder))
        });
        let (Some(line), None) = (fitted.next(), fitted.next()) else { return Vec::new() };
        self.swaps_on(*line, suits)
    }

    /// Other parts of the same kind on the finding's line.
    fn swaps(&self, suits: impl Fn(&Component, &Component) -> bool) -> Vec<Change> {
        self.finding.line.map_or_else(Vec::new, |line| self.any_swaps_on(line, suits))
    }

    /// Parts that do what the one in their place does, and suit.
    fn swaps_on(&self, line: usize, suits: impl Fn(&Component, &Component) -> bool) -> Vec<Change> {
        self.any_swaps_on(line, |old, new| suits(old, new) && fits_in_place(old, new))
    }

    fn any_swaps_on(&self, line: usize, suits: impl Fn(&Component, &Component) -> bool) -> Vec<Change> {
        let Some(listed) = self.audit.circuit.lines.get(line) else { return Vec::new() };
        let PartRef::Known(from) = listed.part else { return Vec::new() };
        let Some(old) = self.plant.components.get(from as usize) else { return Vec::new() };
        let holds = self.holds_oil(line);
        self.parts(old.kind)
            .filter(|(index, new)| *index != from && suits(old, new) && (!holds || leaks_no_more(old, new)))
            .filter(|(_, new)| self.may_serve(line, old, new))
            .map(|(to, _)| Change::Swap { line, to })
            .collect()
    }

    /// What a part must have in any case, in closed form: no trial is made of one that lacks it.
    fn may_serve(&self, line: usize, old: &Component, new: &Component) -> bool {
        let Some(listed) = self.audit.circuit.lines.get(line) else { return true };
        self.may_bear(line, listed, old, new) && self.may_fill(line, old, new) && self.may_grip(line, listed, new)
    }

    /// Whether it is rated for the pressures where it sits, as far as these stay what they are.
    fn may_bear(&self, line: usize, listed: &Line, old: &Component, new: &Component) -> bool {
        let limits = &self.plant.policy.limits;
        if old.is(Kind::ReducingValve) || !transmits_as(old, new) {
            return true;
        }
        let Some((was, is)) = line_rating(listed, old, limits).zip(line_rating(listed, new, limits)) else {
            return true;
        };
        self.audit.figures.sides().filter(|side| side.lines.binary_search(&line).is_ok()).all(|side| {
            let Some(pressure) = side.zone(side.zone_of(line)).pressure else { return true };
            let bears = |rating: Pressure| !is_below(rating.si(), pressure.si());
            // What is rated too low before may stay so, unless that is the finding.
            bears(is) || !weighs_when_weak(&self.plant.policy, old) || (!bears(was) && !is_of_rating(self.finding))
        })
    }

    /// Whether a charging cylinder leaves its circuits filled as they must be.
    fn may_fill(&self, line: usize, old: &Component, new: &Component) -> bool {
        let policy = &self.plant.policy;
        let weighs = V01.is_major_or_minor(policy);
        if !old.is(Kind::ChargingCylinder) || !weighs {
            return true;
        }
        let Some(side) = self.audit.figures.sides().find(|side| side.cylinder == Some(line)) else { return true };
        let was_over = side.fill.is_none_or(|fill| is_above(fill, policy.limits.fill));
        if was_over && self.finding.rule != V01.code {
            return true;
        }
        let to = self.plant.part_index.get(&new.part_no).copied();
        let fill = to.and_then(|to| filled_after(self.plant, self.audit, Some(side.side), line, to));
        // Far enough above the limit that no rounding decides.
        fill.is_none_or(|fill| fill <= policy.limits.fill * (1.0 + 1e-6))
    }

    /// Whether a clamp could give the force that it lacks: at more than the charge pressure it never works.
    fn may_grip(&self, line: usize, listed: &Line, new: &Component) -> bool {
        if self.finding.rule != F01.code || self.finding.line != Some(line) {
            return true;
        }
        let clamp = &self.audit.figures.clamp;
        let highest = clamp.zone(clamp.zone_of(line)).pressure.map(|pressure| pressure * 1.1);
        let force = highest.and_then(|highest| piece_force(listed, new, highest));
        force.zip(listed.force_required).is_none_or(|(force, required)| force >= required)
    }

    /// Whether a hold that is asked for hangs on a line: it sits where an uncoupled circuit traps oil.
    fn holds_oil(&self, line: usize) -> bool {
        let Some(service) = &self.audit.circuit.service else { return false };
        let is_asked = service.pressure_min.is_some()
            || service.hold_time.is_some()
            || service.temp_min.is_some()
            || service.temp_max.is_some();
        let clamp = &self.audit.figures.clamp;
        is_asked
            && service.charging().is_uncoupled()
            && clamp.lines.binary_search(&line).is_ok()
            && clamp.zone_of(line) != Zone::Charge
    }

    /// Stronger parts in the place of the weakest.
    fn weakest_swaps(&self) -> Vec<Change> {
        let limits = &self.plant.policy.limits;
        let Some(weakest) = self.side().chain.weakest else { return Vec::new() };
        self.swaps_on(weakest.line, |old, new| rating(new, limits) > rating(old, limits))
    }

    /// Parts that leak less, on each line that leaks.
    fn tighter_parts(&self) -> Vec<Change> {
        let rate = |part: &Component| {
            let rated = part.rated_pressure.filter(|rated| rated.si() > 0.0)?;
            Some(part.leak?.si() / rated.si())
        };
        let lines = self.side().lines.iter();
        lines
            .flat_map(|line| self.swaps_on(*line, |old, new| rate(old).zip(rate(new)).is_some_and(|(a, b)| b < a)))
            .collect()
    }

    fn wider_conductors(&self) -> Vec<Change> {
        let lines = self.side().lines.iter();
        let conductors = lines.filter(|line| {
            self.audit.circuit.lines[**line].component(&self.plant.components).is_some_and(Component::is_conductor)
        });
        conductors.flat_map(|line| self.swaps_on(*line, |old, new| new.inner_diameter > old.inner_diameter)).collect()
    }

    /// A further part of a kind, where the circuit's lacks one.
    fn additions(&self, kind: Kind) -> Vec<Change> {
        let side = self.finding.side.unwrap_or(Side::Clamp);
        let add = |part| Change::Add { part, side, setting: None };
        self.parts(Some(kind)).map(|(part, _)| add(part)).collect()
    }

    /// A relief valve set halfway between charge pressure and weakest rating.
    fn reliefs(&self) -> Vec<Change> {
        let chain = &self.side().chain;
        let Some((charge, weakest)) = chain.full.zip(chain.weakest) else { return Vec::new() };
        if weakest.pressure <= charge || self.audit.figures.clamp.kinds.has(Kind::ReliefValve) {
            return Vec::new();
        }
        let to = self.rounded((charge + weakest.pressure) / 2.0);
        let setting = Some((SettingColumn::SetPressure, to));
        let side = self.finding.side.unwrap_or(Side::Clamp);
        let valves = self.parts(Some(Kind::ReliefValve));
        valves.map(|(part, _)| Change::Add { part, side, setting }).collect()
    }

    /// A further accumulator, its precharge a share of pressure_min.
    fn accumulators(&self) -> Vec<Change> {
        let lowest = self.audit.circuit.service.as_ref().and_then(|service| service.pressure_min);
        let Some(lowest) = lowest.or(self.audit.figures.clamp.chain.charge) else { return Vec::new() };
        let settings = PRECHARGE_SHARES.map(|share| Some((SettingColumn::Precharge, self.rounded(lowest * share))));
        let bottles = self.parts(Some(Kind::Accumulator));
        bottles.flat_map(|(part, _)| settings.map(|setting| Change::Add { part, side: Side::Clamp, setting })).collect()
    }

    fn precharges(&self) -> Vec<Change> {
        let lowest = self.audit.circuit.service.as_ref().and_then(|service| service.pressure_min);
        let Some((line, lowest)) = self.finding.line.zip(lowest) else { return Vec::new() };
        let shares = PRECHARGE_SHARES.into_iter();
        shares
            .map(|share| Change::Setting { line, column: SettingColumn::Precharge, to: self.rounded(lowest * share) })
            .collect()
    }

    fn relief_settings(&self) -> Vec<Change> {
        let chain = &self.side().chain;
        let Some(((charge, weakest), line)) = chain.full.zip(chain.weakest).zip(self.finding.line) else {
            return Vec::new();
        };
        let halfway = (charge + weakest.pressure) / 2.0;
        [self.rounded(halfway), weakest.pressure]
            .map(|to| Change::Setting { line, column: SettingColumn::SetPressure, to })
            .to_vec()
    }

    fn sequence_settings(&self) -> Vec<Change> {
        let Some((charge, line)) = self.side().chain.charge.zip(self.finding.line) else { return Vec::new() };
        let highest = charge * self.plant.policy.limits.sequence_high;
        let least = self.least_of_clamps().unwrap_or(highest);
        [self.rounded((highest + least) / 2.0), highest]
            .map(|to| Change::Setting { line, column: SettingColumn::SetPressure, to })
            .to_vec()
    }

    /// The lowest pressure at which the side's clamps work.
    fn least_of_clamps(&self) -> Option<Pressure> {
        let lines = &self.audit.circuit.lines;
        let parts = self.side().lines.iter().filter_map(|index| lines[*index].component(&self.plant.components));
        parts.filter(|part| part.is(Kind::Clamp)).filter_map(|part| part.min_pressure).min_by(|a, b| a.total_cmp(*b))
    }

    /// The pump setting that gives the wanted charge pressure.
    fn needed_setting(&self) -> Vec<Change> {
        let Some(needed) = self.side().chain.pump_needed.filter(|_| self.has_station()) else { return Vec::new() };
        [self.rounded(needed), needed].map(|to| Change::StationSetting { to }).to_vec()
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
        let chain = &self.side().chain;
        let mut changes = self.needed_setting();
        let limit = match self.finding.limit {
            Some(crate::tables::value::Value::Pressure(limit)) => Some(limit),
            _ => None,
        };
        if let Some(((limit, ratio), _)) = limit.zip(chain.ratio).zip(chain.pump)
            && self.has_station()
            && ratio > 0.0
        {
            changes.push(Change::StationSetting { to: (limit + chain.return_loss) / ratio });
        }
        changes.retain(|change| match change {
            Change::StationSetting { to } => chain.pump.is_some_and(|pump| *to < pump),
            _ => true,
        });
        changes
    }

    fn is_cured_by(&self, cure: Cure) -> bool {
        rule(self.finding.rule).is_some_and(|rule| rule.cures.contains(&cure))
    }

    fn has_station(&self) -> bool {
        self.audit.circuit.station(self.plant).is_some()
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
        crate::physics::unit::UnitSystem::Metric => Pressure::from_bar(pressure.bar().round().max(1.0)),
        crate::physics::unit::UnitSystem::Us => Pressure::from_psi((pressure.psi() / 10.0).round().max(1.0) * 10.0),
    }
}

/// Whether a part stands between station and circuit as another does: what is not a charging cylinder always,
/// a cylinder with the same areas, ratio and loss.
fn transmits_as(old: &Component, new: &Component) -> bool {
    !old.is(Kind::ChargingCylinder)
        || (old.piston_area == new.piston_area
            && old.pressure_ratio == new.pressure_ratio
            && old.return_loss == new.return_loss)
}

/// Fill of a side's group with another charging cylinder in the place of the only one, in closed form; `None`
/// where pressures would change, or something is not known.
pub(super) fn filled_after(
    plant: &Plant,
    audit: &CircuitAudit,
    side: Option<Side>,
    line: usize,
    to: u32,
) -> Option<f64> {
    let side = audit.figures.side(side?)?;
    let listed = audit.circuit.lines.get(line)?;
    let (old, new) = (listed.component(&plant.components)?, plant.component_at(Some(to))?);
    let is_only = (side.group.cylinder_pieces - listed.qty.value()?).abs() < 0.5;
    if !is_only || !transmits_as(old, new) || !old.is(Kind::ChargingCylinder) || side.zone_of(line) == Zone::Reduced {
        return None;
    }
    let fluid = plant.policy.fluid(audit.circuit.service.as_ref().map_or("", |service| &service.fluid))?;
    let pressure = side.chain.full?;
    let ram = audit.circuit.station(plant).and_then(|station| plant.component_at(station.drive_ram.index()));
    let ram_stroke = ram.and_then(|ram| ram.stroke);
    let pieces = listed.qty.value()?;
    let capacity = |part: &Component| Some(effective_capacity(part.capacity?, ram_stroke, part.stroke) * pieces);
    // What the oil in the cylinder itself takes, dead volume included.
    let own = |part: &Component, capacity: Volume| {
        let held = capacity + part.dead_volume.unwrap_or(Volume::ZERO) * pieces;
        compression_of_filling(held, pressure, fluid.bulk_modulus) + free_air_loss(fluid.free_air, held, pressure)
    };
    let (was, is) = (capacity(old)?, capacity(new)?);
    let demand = side.group.demand? - own(old, was) + own(new, is);
    fill(demand, is)
}

/// Whether a part may come in for another: of the same family, where the one in place states one, with
/// everything built in, and with its leak stated where that is.
pub(super) fn stands_in(old: &Component, new: &Component) -> bool {
    (old.family.is_empty() || old.family == new.family)
        && old.includes.iter().all(|kind| new.includes.has(kind))
        && (old.leak.is_none() || new.leak.is_some())
}

/// Whether a part leaks at most as much as the one in its place, where that states how much.
fn leaks_no_more(old: &Component, new: &Component) -> bool {
    let Some(was) = conductance(old) else { return true };
    conductance(new).is_some_and(|is| is <= was)
}

/// What a part leaks per pressure; a part that leaks nothing needs no rating for that.
fn conductance(part: &Component) -> Option<Conductance> {
    let leak = part.leak?;
    if leak == Flow::ZERO { Some(Conductance::ZERO) } else { leak_conductance(leak, part.rated_pressure?) }
}

/// Whether a part does at least what the one in its place does: stands in for it, acts the same way, holds
/// as much, goes as far, fits the same tube.
fn fits_in_place(old: &Component, new: &Component) -> bool {
    fn as_much<T: PartialOrd>(old: Option<T>, new: Option<T>) -> bool {
        old.is_none_or(|old| new.is_some_and(|new| new >= old))
    }
    let suits = match old.kind {
        Some(Kind::Clamp) => {
            old.is_double_acting() == new.is_double_acting()
                && as_much(old.area_clamp, new.area_clamp)
                && as_much(old.stroke, new.stroke)
        }
        Some(Kind::WorkSupport) => as_much(old.support_capacity, new.support_capacity),
        Some(Kind::Tube) => {
            old.outer_diameter.is_none() || new.outer_diameter.is_none() || old.outer_diameter == new.outer_diameter
        }
        Some(Kind::Hose) => as_much(old.inner_diameter, new.inner_diameter),
        _ => true,
    };
    stands_in(old, new) && suits
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clamp(family: &str, leak: Option<f64>) -> Component {
        Component {
            kind: Some(Kind::Clamp),
            family: family.into(),
            leak: leak.map(Flow::from_cm3_per_min),
            rated_pressure: Some(Pressure::from_bar(350.0)),
            ..Component::default()
        }
    }

    /// The words of the contract: the family where one is stated, and a leak where one is stated.
    #[test]
    fn a_part_keeps_the_family_and_states_its_leak() {
        let swing = clamp("swing clamp 25", Some(0.1));
        assert!(fits_in_place(&swing, &clamp("swing clamp 25", Some(0.4))));
        assert!(!fits_in_place(&swing, &clamp("push clamp", Some(0.1))));
        assert!(!fits_in_place(&swing, &clamp("", Some(0.1))));
        assert!(!fits_in_place(&swing, &clamp("swing clamp 25", None)));
        assert!(fits_in_place(&clamp("", None), &clamp("push clamp", Some(0.1))));
    }

    /// By hand: 0.1 cm3/min at 350 bar is more per bar than 0.1 at 400 bar, less than 0.1 at 300 bar.
    #[test]
    fn a_leak_counts_per_pressure() {
        let rated = |bar, leak| Component { rated_pressure: Some(Pressure::from_bar(bar)), ..clamp("", leak) };
        let old = rated(350.0, Some(0.1));
        assert!(leaks_no_more(&old, &rated(400.0, Some(0.1))));
        assert!(leaks_no_more(&old, &rated(350.0, Some(0.1))));
        assert!(!leaks_no_more(&old, &rated(300.0, Some(0.1))));
        assert!(!leaks_no_more(&old, &rated(350.0, None)));
        assert!(leaks_no_more(&rated(350.0, None), &rated(350.0, Some(9.0))));
        assert!(leaks_no_more(&rated(350.0, Some(0.0)), &rated(300.0, Some(0.0))));
        assert!(!leaks_no_more(&rated(350.0, Some(0.0)), &old));
    }
}
