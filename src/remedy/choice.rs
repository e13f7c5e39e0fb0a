//! Which remedies can be applied together, by what they touch and clear: the first in order.

use std::collections::{BTreeSet, HashSet};

use crate::rules::catalogue::rule;
use crate::tables::circuit_key::{CircuitKey, SharedKey};
use crate::tables::origin::{Origin, Source};
use crate::tables::plant::Plant;
use crate::tables::words::Side;

use super::bearing::{Bearing, in_order};
use super::edit::Edit;
use super::remedy_row::{APPLIED, RemedyRow};

/// Which remedies of observations are wanted; those of majors and minors always are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Observations {
    /// On circuits and stations that are not built.
    pub planned: bool,
    /// On those that are built: what works there is left alone unless asked.
    pub built: bool,
}

impl Observations {
    /// Why a remedy is not wanted.
    fn against(self, plant: &Plant, row: &RemedyRow) -> Option<&'static str> {
        if !clears_observations_alone(plant, row) {
            return None;
        }
        if is_on_built(plant, row) {
            (!self.built).then_some("no: it clears an observation alone, on what is built")
        } else {
            (!self.planned).then_some("no: it clears an observation alone")
        }
    }
}

fn clears_observations_alone(plant: &Plant, row: &RemedyRow) -> bool {
    row.rules.iter().all(|code| !rule(code).is_some_and(|rule| rule.is_major_or_minor(&plant.policy)))
}

fn is_on_built(plant: &Plant, row: &RemedyRow) -> bool {
    let is_built = |place: &CircuitKey| plant.service(place).is_some_and(|service| service.built);
    let of_station = match &row.edit {
        Some(Edit::StationSetting { station, .. } | Edit::StationPart { station, .. }) => {
            plant.stations.get(*station).is_some_and(|station| station.built)
        }
        _ => false,
    };
    of_station || is_built(&row.place) || row.circuits.iter().any(|place| is_built(place))
}

/// What a remedy touches.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Touched {
    Line(Origin),
    Part(u32),
    Station(usize),
    Circuit(SharedKey),
}

impl Touched {
    const fn word(&self) -> &'static str {
        match self {
            Self::Line(_) => "line",
            Self::Part(_) => "part",
            Self::Station(_) => "load station",
            Self::Circuit(_) => "circuit",
        }
    }
}

/// What a remedy has for itself, and what it shares with others.
fn touched(plant: &Plant, row: &RemedyRow, edit: &Edit) -> (Vec<Touched>, Vec<Touched>) {
    let circuit = || Touched::Circuit(row.place.clone());
    match edit {
        Edit::Part { line, from, .. } => (vec![Touched::Line(*line)], vec![Touched::Part(*from), circuit()]),
        Edit::Setting { line, part, .. } => {
            (vec![Touched::Line(*line)], part.map(Touched::Part).into_iter().chain([circuit()]).collect())
        }
        Edit::Addition { .. } => (Vec::new(), vec![circuit()]),
        Edit::Split { .. } => (vec![circuit()], Vec::new()),
        Edit::StationSetting { station, .. } => (vec![Touched::Station(*station)], Vec::new()),
        Edit::StationPart { station, from, .. } => {
            (vec![Touched::Station(*station)], from.map(Touched::Part).into_iter().collect())
        }
        Edit::Succession { from, .. } => {
            let has = |index: &usize| {
                let station = &plant.stations[*index];
                station.parts().into_iter().any(|part| part.index() == Some(*from))
            };
            let stations = (0..plant.stations.len()).filter(has).map(Touched::Station);
            let own = std::iter::once(Touched::Part(*from)).chain(stations).collect();
            (own, row.circuits.iter().cloned().map(Touched::Circuit).collect())
        }
    }
}

/// Whether the tables can take a change: a row of a matrix serves several circuits, and its columns are circuits.
fn has_a_place(plant: &Plant, edit: &Edit) -> bool {
    let takes = |line: Origin, column: &str| {
        plant.source(line).is_none_or(|source| !source.is_matrix() || source.letter_of(column).is_some())
    };
    match edit {
        Edit::Setting { line, column, .. } => takes(*line, column),
        Edit::Addition { beside, side, setting, .. } => {
            (*side == Side::Clamp || takes(*beside, "side")) && setting.is_none_or(|(column, _)| takes(*beside, column))
        }
        Edit::Split { groups, .. } => {
            groups.iter().flat_map(|group| &group.lines).all(|line| !plant.source(*line).is_some_and(Source::is_matrix))
        }
        Edit::Part { .. } | Edit::StationSetting { .. } | Edit::StationPart { .. } | Edit::Succession { .. } => true,
    }
}

/// Marks each remedy `yes`, or `no` where one that goes ahead of it changes the same, or clears all that it clears, or
/// where it makes worse what nothing clears; `refused` are those that others don't bear beside them, and stay as they
/// are marked.
pub fn choose(plant: &Plant, rows: &mut [RemedyRow], wanted: Observations, refused: &BTreeSet<usize>) {
    let bearings: Vec<Bearing> = rows.iter().map(Bearing::of).collect();
    let (mut taken, mut shared) = (BTreeSet::new(), BTreeSet::new());
    let mut cleared: HashSet<u64> = HashSet::new();
    for index in in_order(&bearings).into_iter().filter(|index| !refused.contains(index)) {
        let (row, bearing) = (&mut rows[index], &bearings[index]);
        let Some(edit) = row.edit.as_ref().filter(|edit| has_a_place(plant, edit)) else {
            "no: the tables have no place for it".clone_into(&mut row.applied);
            continue;
        };
        if let Some(reason) = wanted.against(plant, row) {
            reason.clone_into(&mut row.applied);
            continue;
        }
        let (own, others) = touched(plant, row, edit);
        let hit = own
            .iter()
            .find(|one| taken.contains(*one) || shared.contains(*one))
            .or_else(|| others.iter().find(|one| taken.contains(*one)));
        if let Some(hit) = hit {
            row.applied = format!("no: another remedy changes the same {}", hit.word());
            continue;
        }
        if !bearing.claims.is_empty() && bearing.claims.iter().all(|claim| cleared.contains(claim)) {
            "no: others that are applied clear all that it clears".clone_into(&mut row.applied);
            continue;
        }
        if bearing.does_harm(|worse| cleared.contains(worse)) {
            let rule = row.worsens.first().map_or("a major", |claim| claim.rule);
            row.applied = format!("no: it makes {rule} worse");
            continue;
        }
        cleared.extend(&bearing.claims);
        taken.extend(own);
        shared.extend(others);
        APPLIED.clone_into(&mut row.applied);
    }
}
