//! Which remedies can be applied together: where two touch the same, the first in order.

use std::collections::BTreeSet;

use crate::remedy::edit::Edit;
use crate::remedy::remedy_row::RemedyRow;
use crate::tables::circuit::CircuitKey;
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;

/// What a remedy touches.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Touched {
    Line(Origin),
    Part(u32),
    Station(usize),
    Circuit(CircuitKey),
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

/// Marks each remedy `yes`, or `no` where an earlier one touches the same; `refused` are those
/// that a copy has not borne out, and stay as they are marked.
pub fn choose(plant: &Plant, rows: &mut [RemedyRow], refused: &BTreeSet<usize>) {
    let (mut taken, mut shared) = (BTreeSet::new(), BTreeSet::new());
    for (_, row) in rows.iter_mut().enumerate().filter(|(index, _)| !refused.contains(index)) {
        let Some(edit) = &row.edit else {
            "no: the tables have no place for it".clone_into(&mut row.applied);
            continue;
        };
        let (own, others) = touched(plant, row, edit);
        let hit = own
            .iter()
            .find(|one| taken.contains(*one) || shared.contains(*one))
            .or_else(|| others.iter().find(|one| taken.contains(*one)));
        if let Some(hit) = hit {
            row.applied = format!("no: an earlier remedy changes the same {}", hit.word());
            continue;
        }
        taken.extend(own);
        shared.extend(others);
        "yes".clone_into(&mut row.applied);
    }
}

/// Whether a remedy is applied.
#[must_use]
pub fn is_applied(row: &RemedyRow) -> bool {
    row.applied == "yes"
}
