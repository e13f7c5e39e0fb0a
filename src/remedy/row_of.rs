//! Proved changes as rows, in the order of the reports.

use std::cmp::Reverse;

use hashbrown::HashMap;

use crate::circuit::audited::CircuitAudit;
use crate::circuit::findings::part_no;
use crate::remedy::change::{Change, StationRole};
use crate::remedy::edit::{Claim, Edit};
use crate::remedy::edits;
use crate::remedy::edits::Standings;
use crate::remedy::need::{self, Needed, TakenByPart};
use crate::remedy::remedy_row::RemedyRow;
use crate::remedy::station;
use crate::remedy::succession::Succession;
use crate::remedy::trial::Proved;
use crate::remedy::words;
use crate::rules::buying::B01;
use crate::rules::catalogue::rule;
use crate::tables::circuit_key::{Name, SharedKey};
use crate::tables::plant::Plant;
use crate::tables::station_part::StationPart;
use crate::tables::value::Value;
use crate::tables::words::Severity;

/// Most findings cleared first, then by place.
pub fn sort(rows: &mut [RemedyRow]) {
    rows.sort_by(|a, b| in_order(a).cmp(&in_order(b)));
}

/// Rows with the same change of a load station as one: it is made once, for all that it clears.
#[must_use]
pub fn gathered(plant: &Plant, mut rows: Vec<RemedyRow>) -> Vec<RemedyRow> {
    let mut gathered: Vec<RemedyRow> = Vec::new();
    let mut of_station: HashMap<String, usize> = HashMap::new();
    for row in rows.extract_if(.., |row| is_of_station(row)) {
        let key = format!("{:?}", row.edit);
        let Some(place) = of_station.get(&key) else {
            of_station.insert(key, gathered.len());
            gathered.push(row);
            continue;
        };
        let known = &mut gathered[*place];
        known.cleared += row.cleared;
        known.majors += row.majors;
        known.worsens.extend(row.worsens);
        known.rules.extend(row.rules);
        known.circuits.extend(row.circuits);
        known.claims.extend(row.claims);
        known.place = SharedKey::default();
    }
    for row in &mut gathered {
        row.rules.sort_by_key(|code| crate::rules::catalogue::place_of(code));
        row.rules.dedup();
        row.circuits.sort();
        row.circuits.dedup();
        if row.circuits.len() > 1 {
            row.words = for_all(plant, row);
        }
    }
    rows.extend(gathered);
    rows
}

fn is_of_station(row: &RemedyRow) -> bool {
    matches!(row.edit, Some(Edit::StationSetting { .. } | Edit::StationPart { .. }))
}

/// A change of a load station that clears findings of several circuits, as a sentence.
fn for_all(plant: &Plant, row: &RemedyRow) -> String {
    let sentence = match &row.edit {
        Some(Edit::StationSetting { station, to }) => {
            station::sentence(plant, *station, &Change::StationSetting { to: *to })
        }
        Some(Edit::StationPart { station, column, to, .. }) => {
            let role = if *column == StationRole::Pump.name() { StationRole::Pump } else { StationRole::DriveRam };
            station::sentence(plant, *station, &Change::StationPart { role, to: *to })
        }
        _ => row.words.clone(),
    };
    format!("{sentence} It clears {} findings on {} circuits.", row.cleared, row.circuits.len())
}

fn in_order(row: &RemedyRow) -> impl Ord + '_ {
    (Reverse(row.cleared), &row.place, &row.position, &row.part_from, &row.part_to)
}

/// The proved changes of a fixture as rows.
#[must_use]
pub fn rows_of(plant: &Plant, audits: &[CircuitAudit], proved: Vec<Proved>) -> Vec<RemedyRow> {
    if proved.is_empty() {
        return Vec::new();
    }
    let standings = Standings::of(audits);
    let mut taken: HashMap<usize, TakenByPart> = HashMap::new();
    let mut rows = Vec::with_capacity(proved.len());
    for proved in proved {
        let Some(audit) = audits.get(proved.circuit) else { continue };
        let of_circuit = || TakenByPart::of(plant, std::slice::from_ref(&audit.circuit));
        let taken = taken.entry(proved.circuit).or_insert_with(of_circuit);
        rows.push(circuit_row(plant, &standings, audit, taken, proved));
    }
    rows
}

fn circuit_row(
    plant: &Plant,
    standings: &Standings,
    audit: &CircuitAudit,
    taken: &TakenByPart,
    proved: Proved,
) -> RemedyRow {
    let line = match &proved.change {
        Change::Swap { line, .. } | Change::Setting { line, .. } | Change::Split { line, .. } => {
            audit.circuit.lines.get(*line)
        }
        _ => None,
    };
    let mut row = blank(plant, &proved.change);
    row.place = standings.key_of(proved.circuit);
    row.position = line.map(|line| line.position.as_str().into()).unwrap_or_default();
    row.part_from = line.map(|line| part_no(plant, line).into()).unwrap_or_default();
    if proved.change.is_of_station() {
        let station = audit.circuit.station(plant);
        row.position = station.map(|station| station.station.as_str().into()).unwrap_or_default();
        row.part_from = match (&proved.change, station) {
            (Change::StationPart { role: StationRole::Pump, .. }, Some(station)) => name(plant, station.pump.index()),
            (Change::StationPart { role: StationRole::DriveRam, .. }, Some(station)) => {
                name(plant, station.drive_ram.index())
            }
            _ => Name::default(),
        };
    }
    let mut rules: Vec<&'static str> = proved.cleared.iter().map(|problem| problem.rule).collect();
    rules.sort_by_key(|code| crate::rules::catalogue::place_of(code));
    rules.dedup();
    row.rules = rules;
    row.cleared = proved.cleared.len() as u64;
    row.majors = proved.cleared.iter().filter(|problem| is_major(plant, problem.rule)).count() as u64;
    row.worsens = standings.named(&proved.worsens);
    row.circuits = vec![SharedKey::clone(&row.place)];
    row.edit = edits::edit_of(plant, audit, &proved.change);
    row.claims = standings.claims_of(&proved);
    let needs = match &row.edit {
        Some(edit @ (Edit::StationPart { .. } | Edit::StationSetting { .. })) => needs_of_station(plant, edit),
        _ => need::of_circuit(plant, &audit.circuit, &row.place, taken, &proved.change),
    };
    row.words = match proved.sentence {
        Some(sentence) => sentence,
        None => words::sentence(plant, audit, &proved),
    };
    needing(row, plant, needs)
}

/// A row with what it needs, and the price of that.
fn needing(row: RemedyRow, plant: &Plant, needs: Vec<Needed>) -> RemedyRow {
    let (price, currency) =
        need::price_of(plant, &needs).map_or((None, Name::default()), |(price, currency)| (Some(price), currency));
    RemedyRow { price, currency, needs, ..row }
}

fn needs_of_station(plant: &Plant, edit: &Edit) -> Vec<Needed> {
    let Edit::StationPart { station, from, to, .. } = edit else { return Vec::new() };
    need::of_station(*from, *to, plant.stations.get(*station).is_some_and(|station| station.built))
}

fn name(plant: &Plant, part: Option<u32>) -> Name {
    plant.component_at(part).map(|part| part.part_no.as_str().into()).unwrap_or_default()
}

/// A row with what the change itself says.
fn blank(plant: &Plant, change: &Change) -> RemedyRow {
    let part = plant.component_at(change.part());
    let (kind, setting) = match change {
        Change::Swap { .. } | Change::Succeed { .. } | Change::StationPart { .. } => ("part", None),
        Change::Setting { to, .. } | Change::StationSetting { to } => ("setting", Some(Value::Pressure(*to))),
        Change::Add { setting, .. } => {
            let is_accumulator = part.is_some_and(|part| part.is(crate::tables::words::Kind::Accumulator));
            (if is_accumulator { "accumulator" } else { "addition" }, setting.map(|(_, to)| Value::Pressure(to)))
        }
        Change::Split { .. } => ("split", None),
    };
    let cylinders = match change {
        Change::Split { groups, .. } => {
            let cylinders = groups.iter().map(|group| name(plant, Some(group.cylinder)));
            Some(cylinders.collect::<Vec<Name>>().join(" ").into())
        }
        _ => None,
    };
    RemedyRow {
        change: kind,
        part_from: Name::default(),
        part_to: cylinders.unwrap_or_else(|| name(plant, change.part())),
        setting,
        place: SharedKey::default(),
        position: Name::default(),
        rules: Vec::new(),
        cleared: 0,
        majors: 0,
        circuits: Vec::new(),
        price: None,
        currency: Name::default(),
        words: String::new(),
        applied: String::new(),
        needs: Vec::new(),
        edit: None,
        claims: Vec::new(),
        worsens: Vec::new(),
    }
}

fn is_major(plant: &Plant, code: &str) -> bool {
    rule(code).is_some_and(|rule| plant.policy.severity(code, rule.severity) == Some(Severity::Major))
}

/// The replacement of an obsolete part everywhere.
#[must_use]
pub fn succession_row(plant: &Plant, succession: &Succession) -> RemedyRow {
    let change = Change::Succeed { from: succession.from, to: succession.to };
    let from = name(plant, Some(succession.from));
    let words = format!(
        "Replace {from} by {} wherever it is used: the replacement conforms in {}.",
        name(plant, Some(succession.to)),
        succession.words()
    );
    let row = RemedyRow {
        part_from: from,
        rules: vec![B01.code],
        cleared: 1,
        circuits: succession.circuits.clone(),
        words,
        edit: Some(Edit::Succession { from: succession.from, to: succession.to }),
        ..blank(plant, &change)
    };
    let has = |part: &StationPart| part.index() == Some(succession.from);
    let places = plant.stations.iter().flat_map(|station| station.parts().map(|part| (station, part)));
    let of_stations = places
        .filter(|(_, part)| has(part))
        .flat_map(|(station, _)| need::of_station(Some(succession.from), succession.to, station.built));
    let needs = succession.needs.iter().cloned().chain(of_stations).collect();
    needing(row, plant, needs)
}

/// A change of a load station.
#[must_use]
pub fn station_row(plant: &Plant, index: usize, rule: &'static str, change: &Change) -> RemedyRow {
    let row = &plant.stations[index];
    let part_from = match change {
        Change::StationPart { role: StationRole::Pump, .. } => name(plant, row.pump.index()),
        Change::StationPart { role: StationRole::DriveRam, .. } => name(plant, row.drive_ram.index()),
        _ => Name::default(),
    };
    let row = RemedyRow {
        part_from,
        position: row.station.as_str().into(),
        rules: vec![rule],
        cleared: 1,
        majors: u64::from(is_major(plant, rule)),
        words: station::sentence(plant, index, change),
        edit: edits::station_edit(plant, index, change),
        claims: vec![Claim {
            place: SharedKey::default(),
            rule,
            side: None,
            position: row.station.as_str().into(),
            line: None,
        }],
        ..blank(plant, change)
    };
    let needs = row.edit.as_ref().map(|edit| needs_of_station(plant, edit)).unwrap_or_default();
    needing(row, plant, needs)
}
