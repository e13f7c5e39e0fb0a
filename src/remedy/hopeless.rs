//! What is certain of a change without a trial: that it can't be offered for a finding.
//!
//! Only what follows from ratings and pressures as they stand is told; where it can't, a trial is made.

use crate::circuit::audited::CircuitAudit;
use crate::physics::chain::{PumpLimits, intensified_pressure};
use crate::physics::quantity::Pressure;
use crate::rules::holding::H01;
use crate::rules::is_above;
use crate::rules::pressure::{P03, P13};
use crate::rules::rating::line_rating;
use crate::tables::component::Component;
use crate::tables::figures::SideFigures;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::words::{Charging, Kind, Side, Zone};

use super::candidates::transmits_as;
use super::change::{Change, StationRole};
use super::stock::Fitting;

/// Far enough beyond a limit that no rounding decides.
const BEYOND: f64 = 1e-6;

/// A finding with the circuit that it stands on.
#[derive(Clone, Copy)]
pub struct Outlook<'a> {
    pub plant: &'a Plant,
    pub audit: &'a CircuitAudit,
    pub finding: &'a Finding,
}

impl Outlook<'_> {
    /// Whether a change of this circuit surely can't be offered for the finding.
    #[must_use]
    pub fn is_hopeless(&self, change: &Change) -> bool {
        match change {
            Change::StationSetting { to } => self.charges_too_little(*to),
            Change::StationPart { role: StationRole::Pump, to } => self.still_exceeds(*to),
            Change::Add { part, .. } => {
                let added = self.plant.component_at(Some(*part));
                let is_of_kind = |kind| added.is_some_and(|part| part.is(kind));
                is_of_kind(Kind::Accumulator)
                    && added.is_some_and(|part| !part.includes.has(Kind::ReliefValve))
                    && self.is_weak_but_for(None)
            }
            Change::Swap { line, to } => {
                let new = self.plant.component_at(Some(*to));
                new.is_some_and(|new| !new.includes.has(Kind::ReliefValve) && self.is_weak_without(*line, new))
            }
            _ => false,
        }
    }

    /// Whether none of the parts that fit on a line can be offered.
    #[must_use]
    pub fn are_hopeless(&self, line: usize, fitting: Fitting) -> bool {
        let Some(listed) = self.audit.circuit.lines.get(line) else { return false };
        let is_cylinder = listed.component(&self.plant.components).is_none_or(|part| part.is(Kind::ChargingCylinder));
        // What a cylinder makes of the pressures hangs on the cylinder.
        let Some(any) = fitting.first().filter(|_| !is_cylinder && !fitting.has_relief()) else { return false };
        self.plant.component_at(Some(any)).is_some_and(|part| self.is_weak_without(line, part))
    }

    /// Whether a lower pump setting leaves a side below the pressure that is wanted, where nothing does now.
    fn charges_too_little(&self, setting: Pressure) -> bool {
        let policy = &self.plant.policy;
        let Some(service) = &self.audit.circuit.service else { return false };
        let is_short = self.audit.findings.iter().any(|finding| finding.rule == P03.code);
        if is_short || !P03.is_major_or_minor(policy) || service.is_unreadable("pressure_set") {
            return false;
        }
        let Some(wanted) = service.pressure_set else { return false };
        let least = wanted * ((1.0 - policy.limits.pressure_tolerance) * (1.0 - BEYOND));
        self.audit.figures.sides().filter(|side| !side.lines.is_empty()).any(|side| {
            let chain = &side.chain;
            let (Some(ratio), Some(_), Some(_)) = (chain.ratio, chain.pump, chain.charge) else { return false };
            intensified_pressure(setting, ratio, chain.return_loss) < least
        })
    }

    /// Whether another pump could still bring a side above the weakest rating.
    fn still_exceeds(&self, pump: u32) -> bool {
        if self.finding.rule != P13.code {
            return false;
        }
        let Some((side, ratio)) = self.side().and_then(|side| Some((side, side.chain.ratio?))) else { return false };
        let station = self.audit.circuit.station(self.plant);
        let Some((station, pump)) = station.zip(self.plant.component_at(Some(pump))) else { return false };
        let air = station.air_pressure.zip(pump.air_ratio);
        let limits = PumpLimits { rating: pump.rated_pressure, relief_setting: station.relief_setting, air };
        let Some(highest) = limits.highest_pump_pressure().filter(|_| pump.faults.is_empty()) else { return false };
        let potential = intensified_pressure(highest, ratio, side.chain.return_loss);
        [Zone::Charge, Zone::Full].into_iter().any(|zone| {
            let weakest = side.zone(zone).weakest;
            weakest.is_some_and(|weakest| is_above(potential.si(), (weakest.pressure * (1.0 + BEYOND)).si()))
        })
    }

    /// Whether another line keeps the finding, whatever a part that passes pressure on as the old one does
    /// is rated for on this line.
    fn is_weak_without(&self, line: usize, new: &Component) -> bool {
        let Some(listed) = self.audit.circuit.lines.get(line) else { return false };
        let Some(old) = listed.component(&self.plant.components) else { return false };
        // What reduces the pressure, or lets oil out, may do so at another one.
        let regulates = old.is(Kind::ReducingValve) || old.is(Kind::ReliefValve) || old.includes.has(Kind::ReliefValve);
        !regulates && transmits_as(old, new) && self.is_weak_but_for(Some(line))
    }

    /// Whether a line keeps the finding by its rating, while pressures stay; one line may be left out.
    fn is_weak_but_for(&self, left_out: Option<usize>) -> bool {
        let Some(side) = self.side() else { return false };
        let is_of_potential = self.finding.rule == P13.code;
        let is_of_heat = self.finding.rule == H01.code && self.heat_raises_pressure();
        if !is_of_potential && !is_of_heat {
            return false;
        }
        let zones: &[Zone] = if is_of_potential { Zone::ALL } else { &[Zone::Full, Zone::Reduced] };
        zones.iter().any(|zone| {
            let figures = side.zone(*zone);
            // Warm trapped oil is never below the pressure that it was charged to, or that a relief valve keeps.
            let warm = || match (figures.pressure, figures.relief) {
                (Some(pressure), Some(relief)) => Some(pressure.min(relief.pressure)),
                (pressure, _) => pressure,
            };
            let least = if is_of_potential { figures.potential } else { warm() };
            let Some((least, _)) = least.zip(figures.weakest) else { return false };
            let others = figures.lines.iter().filter(|other| Some(**other) != left_out);
            others.filter_map(|other| self.rating_of(*other)).any(|rating| rating < least * (1.0 - BEYOND))
        })
    }

    /// Whether warm oil gains more room than the steel around it gives: its pressure then rises with heat.
    fn heat_raises_pressure(&self) -> bool {
        let policy = &self.plant.policy;
        let Some(service) = &self.audit.circuit.service else { return false };
        let Some(fluid) = policy.fluid(&service.fluid) else { return false };
        let grips = self.audit.circuit.lines.iter().any(|line| line.grip_length.is_some());
        let metal = policy.metal.linear_expansion;
        service.charging() != Charging::Live && !grips && fluid.thermal_expansion >= 3.0 * metal
    }

    fn rating_of(&self, line: usize) -> Option<Pressure> {
        let listed = self.audit.circuit.lines.get(line)?;
        let part = listed.component(&self.plant.components)?;
        let is_of_station = matches!(part.kind, Some(Kind::Pump | Kind::DriveRam));
        if is_of_station { None } else { line_rating(listed, part, &self.plant.policy.limits) }
    }

    fn side(&self) -> Option<&SideFigures> {
        self.audit.figures.side(self.finding.side.unwrap_or(Side::Clamp))
    }
}
