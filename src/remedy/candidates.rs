//! Changes worth trying for a finding, before any proof.

use crate::circuit::audited::CircuitAudit;
use crate::physics::quantity::Pressure;
use crate::rules::Cure;
use crate::rules::catalogue::rule;
use crate::rules::rating::rating;
use crate::tables::component::Component;
use crate::tables::figures::SideFigures;
use crate::tables::finding::Finding;
use crate::tables::line::PartRef;
use crate::tables::plant::Plant;
use crate::tables::station::StationPart;
use crate::tables::words::{Charging, Kind, Side};

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
            Cure::LowerSetting => self.lower_settings(),
            Cure::OtherPart => self.swaps(fits_in_place),
            Cure::PartActingOtherwise => self.swaps(|_, _| true),
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
        self.any_swaps_on(line, |old, new| fits_in_place(old, new) && suits(old, new))
    }

    fn any_swaps_on(&self, line: usize, suits: impl Fn(&Component, &Component) -> bool) -> Vec<Change> {
        let Some(listed) = self.audit.circuit.lines.get(line) else { return Vec::new() };
        let PartRef::Known(from) = listed.part else { return Vec::new() };
        let Some(old) = self.plant.components.get(from as usize) else { return Vec::new() };
        self.parts(old.kind)
            .filter(|(index, new)| *index != from && suits(old, new))
            .map(|(to, _)| Change::Swap { line, to })
            .collect()
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
        let parts = self.parts(Some(kind)).filter(|(index, _)| index != now);
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
        self.is_cured_by(Cure::Split) && charging == Charging::Cylinder && self.side().cylinder_pieces <= 1.0
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

/// Whether a part does at least what the one in its place does: acts the same way, holds as
/// much, goes as far, fits the same tube, has everything built in.
fn fits_in_place(old: &Component, new: &Component) -> bool {
    let has_all = old.includes.iter().all(|kind| new.includes.has(kind));
    let as_much = |old: Option<f64>, new: Option<f64>| old.is_none_or(|old| new.is_some_and(|new| new >= old));
    let si = |length: Option<crate::physics::quantity::Length>| length.map(crate::physics::quantity::Length::si);
    let suits = match old.kind {
        Some(Kind::Clamp) => {
            old.is_double_acting() == new.is_double_acting()
                && as_much(
                    old.area_clamp.map(super::super::physics::quantity::Area::si),
                    new.area_clamp.map(super::super::physics::quantity::Area::si),
                )
                && as_much(si(old.stroke), si(new.stroke))
        }
        Some(Kind::WorkSupport) => as_much(
            old.support_capacity.map(super::super::physics::quantity::Force::si),
            new.support_capacity.map(super::super::physics::quantity::Force::si),
        ),
        Some(Kind::Tube) => {
            old.outer_diameter.is_none() || new.outer_diameter.is_none() || old.outer_diameter == new.outer_diameter
        }
        Some(Kind::Hose) => as_much(si(old.inner_diameter), si(new.inner_diameter)),
        _ => true,
    };
    has_all && suits
}
