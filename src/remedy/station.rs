//! Findings on load stations: another setting, pump or drive ram, proved on every circuit there.

use crate::circuit::fixture::Ground;
use crate::circuit::off_circuit::station_findings;
use crate::physics::quantity::Pressure;
use crate::rules::Cure;
use crate::rules::catalogue::rule;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::shown::shown_apart;
use crate::tables::station::{Station, StationPart};
use crate::tables::words::Kind;

use super::candidates::{has_setting, settable};
use super::change::{Change, StationRole};
use super::fit::stands_in;

/// A plant with one station changed, for rules of stations alone: no tables but those that they
/// look at.
fn changed(plant: &Plant, index: usize, change: &Change) -> Option<Plant> {
    let mut station: Station = plant.stations.get(index)?.clone();
    match change {
        Change::StationSetting { to } => station.pump_setting = Some(*to),
        Change::StationPart { role: StationRole::Pump, to } => station.pump = StationPart::Known(*to),
        Change::StationPart { role: StationRole::DriveRam, to } => station.drive_ram = StationPart::Known(*to),
        _ => return None,
    }
    let mut small = Plant::empty(plant.policy.clone());
    let parts = station.parts().map(|part| plant.component_at(part.index()).cloned());
    let renumbered = |part: &StationPart, to: u32| match part {
        StationPart::Known(_) => StationPart::Known(to),
        other => other.clone(),
    };
    small.components = parts.into_iter().map(Option::unwrap_or_default).collect();
    (station.pump, station.drive_ram) = (renumbered(&station.pump, 0), renumbered(&station.drive_ram, 1));
    small.station_index.insert(station.station.as_str().into(), 0);
    small.stations.push(station);
    Some(small)
}

/// Findings of a station after a change.
fn after(plant: &Plant, index: usize, change: &Change) -> Option<Vec<Finding>> {
    changed(plant, index, change).map(|small| station_findings(&small, 0).0)
}

/// Whether a change gains no major or minor finding on the station itself.
#[must_use]
pub fn gains_nothing(ground: &Ground, station: &str, change: &Change) -> bool {
    let is_known = ground.plant.station_index.get(station).is_some_and(|index| ground.plant.stations.len() > *index);
    is_known && gained(ground, station, change).is_none()
}

/// The first major or minor finding that a change gains on the station itself.
#[must_use]
pub fn gained(ground: &Ground, station: &str, change: &Change) -> Option<Finding> {
    let index = *ground.plant.station_index.get(station)?;
    let before = station_findings(ground.plant, index).0;
    let is_new = |finding: &Finding| finding.is_major_or_minor() && before.iter().all(|old| old.rule != finding.rule);
    after(ground.plant, index, change)?.into_iter().find(is_new)
}

/// Changes worth trying for a finding on a station, in no order.
#[must_use]
pub fn changes(ground: &Ground, index: usize, finding: &Finding) -> Vec<Change> {
    let plant = ground.plant;
    let Some(station) = plant.stations.get(index) else { return Vec::new() };
    let rated = |part: &StationPart| plant.component_at(part.index()).and_then(|part| part.rated_pressure);
    let (pump, ram) = (rated(&station.pump), rated(&station.drive_ram));
    // One setting that both bear clears both findings.
    let both = pump.into_iter().chain(ram).min_by(|a, b| a.total_cmp(*b));
    let cures = rule(finding.rule).map_or(&[][..], |rule| rule.cures);
    let is_of_ram = cures.contains(&Cure::OtherDriveRam);
    let own = if is_of_ram { ram } else { pump };
    let lower = both.into_iter().chain(own).filter(|_| has_setting(plant, station));
    let lower: Vec<Pressure> = lower.map(|to| settable(plant, to, f64::floor)).collect();
    let mut changes: Vec<Change> = lower.into_iter().map(|to| Change::StationSetting { to }).collect();
    let (kind, role) =
        if is_of_ram { (Kind::DriveRam, StationRole::DriveRam) } else { (Kind::Pump, StationRole::Pump) };
    let old = plant.component_at(if is_of_ram { station.drive_ram.index() } else { station.pump.index() });
    let parts = (0_u32..).zip(&plant.components).filter(|(index, part)| {
        let harms = ground.parts.get(*index as usize).is_some_and(|standing| standing.counts);
        part.is(kind) && !part.is_obsolete() && !harms && old.is_none_or(|old| stands_in(old, part))
    });
    changes.extend(parts.map(|(to, _)| Change::StationPart { role, to }));
    changes
}

/// Whether a change clears a finding of the station and gains nothing on it.
#[must_use]
pub fn clears(ground: &Ground, index: usize, finding: &Finding, change: &Change) -> bool {
    let Some(station) = ground.plant.stations.get(index) else { return false };
    let cleared =
        after(ground.plant, index, change).is_some_and(|after| after.iter().all(|other| other.rule != finding.rule));
    cleared && gains_nothing(ground, &station.station, change)
}

/// Majors and minors of the station that a change leaves: sentences, each after a blank.
pub(super) fn left_standing(plant: &Plant, index: usize, change: &Change) -> Vec<String> {
    let name = plant.stations.get(index).map_or("", |station| station.station.as_str());
    let told = |finding: &Finding| {
        let (measured, limit) = (finding.measured.as_ref()?, finding.limit.as_ref()?);
        let (measured, limit) = shown_apart(measured, limit, plant.policy.units);
        Some(format!(" {} stays on load station {name}: {measured} against {limit}.", finding.rule))
    };
    let stays = after(plant, index, change).unwrap_or_default();
    stays.iter().filter(|finding| finding.is_major_or_minor()).filter_map(told).collect()
}

/// A change of a load station as a sentence, and what it leaves standing there.
#[must_use]
pub fn sentence(plant: &Plant, index: usize, change: &Change) -> String {
    let name = plant.stations.get(index).map_or("", |station| station.station.as_str());
    let part = |index: u32| plant.component_at(Some(index)).map_or("", |part| part.part_no.as_str());
    let shown = |pressure: Pressure| {
        crate::tables::shown::shown(&crate::tables::value::Value::Pressure(pressure), plant.policy.units)
    };
    let clause = match change {
        Change::StationSetting { to } => format!("Set the pump of load station {name} to {}.", shown(*to)),
        Change::StationPart { role: StationRole::Pump, to } => {
            format!("Use {} as the pump of load station {name}.", part(*to))
        }
        Change::StationPart { role: StationRole::DriveRam, to } => {
            format!("Use {} as the drive ram of load station {name}.", part(*to))
        }
        _ => return String::new(),
    };
    clause + &left_standing(plant, index, change).concat()
}

/// What the reader is told of a search on a station: the change, or how many were tried.
#[must_use]
pub fn in_words(
    plant: &Plant,
    index: usize,
    finding: &Finding,
    found: Result<Change, u64>,
) -> (String, Option<Change>) {
    match found {
        Ok(change) => (sentence(plant, index, &change), Some(change)),
        Err(tried) => {
            let nearest = match tried {
                0 => super::words::UNTRIED.to_owned(),
                1 => "the one change tried does not pass".to_owned(),
                tried => format!("of {tried} changes tried none passes"),
            };
            let air = super::words::air_untried(plant, plant.stations.get(index), finding);
            (super::words::no_change(&nearest, None) + &air, None)
        }
    }
}
