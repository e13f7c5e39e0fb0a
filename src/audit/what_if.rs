//! What if: cells that are taken to hold another text, and what that changes.

use std::collections::{BTreeMap, BTreeSet};

use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::circuit::roster::{Entry, Roster};
use crate::physics::limit::AT_THE_LIMIT;
use crate::read::ReadError;
use crate::tables::cell_edit::CellEdit;
use crate::tables::circuit::{Circuit, CircuitKey, Name};
use crate::tables::column::Table;
use crate::tables::escaped::escaped;
use crate::tables::finding::Finding;
use crate::tables::near_column::near_column;
use crate::tables::origin::Origin;
use crate::tables::place::named;
use crate::tables::plant::Plant;
use crate::tables::told_figures::TOLD_FIGURES;
use crate::tables::value::Value;
use crate::tables::words::{PLACE, State, Verdict, folded};

/// Why a wish can't be followed.
#[derive(Debug, thiserror::Error)]
pub enum WishError {
    #[error("{0}")]
    Words(String),
    #[error(transparent)]
    Read(#[from] ReadError),
}

/// What a change touches besides the cells.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wishes {
    pub edits: Vec<CellEdit>,
    /// Each edit in words: what is meant, where it stands.
    pub words: Vec<EditInWords>,
    /// Pallets on which a figure or a finding may change: plant and pallet.
    pub pallets: BTreeSet<(Name, Name)>,
}

/// An edit as a reader sees it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EditInWords {
    /// `Tarnholm/T02/left/2, C4: part_no`.
    pub what: String,
    pub before: String,
    pub after: String,
    /// `lists/line-3.csv, row 17`.
    pub from: String,
}

const EXPECTED: &str = "Expected PLACE:POSITION=PART, PLACE:POSITION.column=value, PLACE.column=value or \
                        STATION.column=value, such as T02/left/2:C4.qty=3.";

impl Wishes {
    /// What wishes mean in the tables of a plant.
    ///
    /// * `given` – the text that a row of a small table has in a column
    ///
    /// # Errors
    /// A wish that names nothing, or more than one thing: a sentence.
    pub fn of(
        roster: &Roster,
        wishes: &[String],
        given: &mut dyn FnMut(Origin, &str) -> Result<String, ReadError>,
    ) -> Result<Self, WishError> {
        let paths: Vec<String> = roster.all().map(|entry| entry.key.path()).collect();
        let mut all = Self::default();
        for wish in wishes {
            let (left, value) = wish
                .split_once('=')
                .ok_or_else(|| WishError::Words(format!("'{}' sets nothing. {EXPECTED}", escaped(wish))))?;
            let (left, value) = (left.trim(), value.trim());
            match left.rsplit_once(':') {
                Some((place, target)) => all.add_line(roster, &paths, place, target.trim(), value)?,
                None => all.add_row(roster, &paths, left, value, given)?,
            }
        }
        Ok(all)
    }

    fn add_line(
        &mut self,
        roster: &Roster,
        paths: &[String],
        place: &str,
        target: &str,
        value: &str,
    ) -> Result<(), WishError> {
        let entry = entry_at(roster, paths, place)?;
        let circuit = roster.circuit(&entry)?.0;
        let (position, column) = position_and_column(&circuit, target)?;
        let origin = line_at(roster.plant, &circuit, position)?;
        let before = text_of_line(roster, &entry, origin, column)?;
        let what = format!("{}, {position}: {column}", entry.key.path());
        self.add(roster.plant, what, CellEdit { origin, column, before, text: value.to_owned() })?;
        self.pallets.insert((entry.key.plant.clone(), entry.key.pallet.clone()));
        Ok(())
    }

    /// A cell of the circuits table, or of the load stations.
    fn add_row(
        &mut self,
        roster: &Roster,
        paths: &[String],
        left: &str,
        value: &str,
        given: &mut dyn FnMut(Origin, &str) -> Result<String, ReadError>,
    ) -> Result<(), WishError> {
        let plant = roster.plant;
        let Some((name, column)) = left.rsplit_once('.') else {
            return Err(WishError::Words(format!("'{}' names no cell. {EXPECTED}", escaped(left))));
        };
        let name = name.trim();
        let of_circuits = column_of(Table::Circuits, column).filter(|column| !PLACE.contains(column));
        if let Some(place) = column_of(Table::Circuits, column).filter(|column| PLACE.contains(column)) {
            return Err(WishError::Words(format!("{place} says where a circuit stands and can't be set here.")));
        }
        let of_stations = column_of(Table::Stations, column).filter(|column| *column != "station");
        let is_same = |station: &&crate::tables::station::Station| folded(&station.station) == folded(name);
        let station = of_stations.zip(plant.stations.iter().find(is_same));
        let circuit = of_circuits.map(|column| (column, entry_at(roster, paths, name)));
        match (station, circuit) {
            (Some(_), Some((_, Ok(entry)))) => Err(WishError::Words(format!(
                "'{}' may be the load station of that name or the circuit {}. Write more of the circuit's place.",
                escaped(name),
                escaped(&entry.key.path())
            ))),
            (Some((column, station)), _) => {
                let before = given(station.origin, column)?;
                let what = format!("load station {}: {column}", station.station);
                self.add(plant, what, CellEdit { origin: station.origin, column, before, text: value.to_owned() })?;
                let there = roster
                    .all()
                    .filter(|entry| entry.service.is_some_and(|service| service.station.as_str() == station.station));
                self.pallets.extend(there.map(|entry| (entry.key.plant, entry.key.pallet)));
                Ok(())
            }
            (None, Some((column, entry))) => {
                let entry = entry?;
                let Some(service) = entry.service else {
                    return Err(WishError::Words(format!(
                        "The circuits table has no row for {}, so that {column} has no place: add the row first.",
                        escaped(&entry.key.path())
                    )));
                };
                let before = given(service.origin, column)?;
                let what = format!("{}: {column}", entry.key.path());
                self.add(plant, what, CellEdit { origin: service.origin, column, before, text: value.to_owned() })?;
                self.pallets.insert((entry.key.plant.clone(), entry.key.pallet.clone()));
                Ok(())
            }
            (None, None) if of_stations.is_some() => {
                let names: Vec<&str> = plant.stations.iter().map(|station| station.station.as_str()).collect();
                Err(match named(name, "load station", &names) {
                    Err(error) => WishError::Words(error.to_string()),
                    Ok(_) => WishError::Words(format!(
                        "Write the whole name of the load station instead of '{}'.",
                        escaped(name)
                    )),
                })
            }
            (None, None) => {
                let near =
                    [Table::Circuits, Table::Stations].iter().find_map(|table| near_column(*table, column, |_| true));
                let near = near.map(|near| format!(" The nearest is {near}.")).unwrap_or_default();
                Err(WishError::Words(format!(
                    "'{}' is no column of the circuits or the load stations that can be set.{near} {EXPECTED}",
                    escaped(column)
                )))
            }
        }
    }

    fn add(&mut self, plant: &Plant, what: String, edit: CellEdit) -> Result<(), WishError> {
        let is_same = |other: &CellEdit| other.origin == edit.origin && other.column == edit.column;
        if let Some(earlier) = self.edits.iter().find(|other| is_same(other)) {
            return Err(WishError::Words(format!(
                "{} is set twice, to '{}' and to '{}'.",
                escaped(&what),
                escaped(&earlier.text),
                escaped(&edit.text)
            )));
        }
        let place = plant.source_place(edit.origin);
        let from = format!("{place}, row {}", edit.origin.row);
        self.words.push(EditInWords { what, before: edit.before.clone(), after: edit.text.clone(), from });
        self.edits.push(edit);
        Ok(())
    }

    /// Adds the pallets that use a part of which more, or less, is asked than before.
    ///
    /// # Errors
    /// Where a list can't be read any more.
    pub fn add_users_of(&mut self, roster: &Roster, parts: &BTreeSet<u32>) -> Result<(), ReadError> {
        if parts.is_empty() {
            return Ok(());
        }
        for entry in roster.all() {
            let is_user = |line: &crate::tables::line::Line| matches!(line.part, crate::tables::line::PartRef::Known(part) if parts.contains(&part));
            if roster.circuit(&entry)?.0.lines.iter().any(is_user) {
                self.pallets.insert((entry.key.plant.clone(), entry.key.pallet.clone()));
            }
        }
        Ok(())
    }
}

/// The known column that a text names.
fn column_of(table: Table, text: &str) -> Option<&'static str> {
    let wanted = folded(text);
    table.columns().iter().map(|column| column.name).find(|name| folded(name) == wanted)
}

fn entry_at<'a>(roster: &Roster<'a>, paths: &[String], place: &str) -> Result<Entry<'a>, WishError> {
    let index = named(place, "circuit", paths).map_err(|error| WishError::Words(error.to_string()))?;
    Ok(roster.entry(index))
}

/// `C4.qty` is the column qty of position C4; a position may itself have a point.
fn position_and_column<'t>(circuit: &Circuit, target: &'t str) -> Result<(&'t str, &'static str), WishError> {
    let is_there = |position: &str| circuit.lines.iter().any(|line| folded(&line.position) == folded(position));
    if is_there(target) {
        return Ok((target, "part_no"));
    }
    let Some((position, text)) = target.rsplit_once('.') else { return Ok((target, "part_no")) };
    match column_of(Table::Lists, text) {
        Some(column) if PLACE.contains(&column) => {
            Err(WishError::Words(format!("{column} says where a line stands and can't be set here.")))
        }
        Some(column) => Ok((position, column)),
        None if is_there(position) => {
            let near = near_column(Table::Lists, text, |_| true);
            let near = near.map(|near| format!(" The nearest is {near}.")).unwrap_or_default();
            Err(WishError::Words(format!("Lists have no column '{}'.{near}", escaped(text))))
        }
        None => Ok((target, "part_no")),
    }
}

/// The row of the line at a position, or of `row 16`.
fn line_at(plant: &Plant, circuit: &Circuit, position: &str) -> Result<Origin, WishError> {
    let lines = || circuit.lines.iter();
    let exact: Vec<Origin> = lines().filter(|line| line.position == position).map(|line| line.origin).collect();
    let alike = || lines().filter(|line| folded(&line.position) == folded(position)).map(|line| line.origin).collect();
    let by_row = || -> Vec<Origin> {
        let number = position.trim().to_lowercase();
        let number = number.strip_prefix("row").and_then(|number| number.trim().parse::<u32>().ok());
        lines().map(|line| line.origin).filter(|origin| Some(origin.row) == number).collect()
    };
    let mut found: Vec<Origin> = if position.is_empty() { Vec::new() } else { exact };
    if found.is_empty() && !position.is_empty() {
        found = alike();
    }
    if found.is_empty() {
        found = by_row();
    }
    let row = |origin: &Origin| {
        let place = plant.source_place(*origin);
        format!("row {} of {place}", origin.row)
    };
    match found.as_slice() {
        [one] => Ok(*one),
        [] => {
            let mut names: Vec<&str> =
                lines().map(|line| line.position.as_str()).filter(|name| !name.is_empty()).collect();
            names.dedup();
            Err(WishError::Words(format!(
                "{} has no position '{}'. Its positions are {}; a line without one is named by its row, such as 'row 16'.",
                escaped(&circuit.key.path()),
                escaped(position),
                escaped(&names.join(", "))
            )))
        }
        several => {
            let rows: Vec<String> = several.iter().map(row).collect();
            Err(WishError::Words(format!(
                "'{}' stands on {} lines: {}. Name one of them by its row, such as 'row {}'.",
                escaped(position),
                several.len(),
                escaped(&rows.join(", ")),
                several[0].row
            )))
        }
    }
}

/// The text that a line has in a column, as given.
fn text_of_line(roster: &Roster, entry: &Entry, origin: Origin, column: &str) -> Result<String, ReadError> {
    let Some(listed) = entry.listed else { return Ok(String::new()) };
    let rows = roster.lists.rows(listed)?;
    let Some(row) = rows.iter().find(|row| row.origin == origin) else { return Ok(String::new()) };
    let source = roster.plant.source(origin);
    let slot = source.and_then(|source| source.header.iter().position(|cell| cell.column == Some(column)));
    Ok(slot.and_then(|slot| row.cells.get(slot)).cloned().unwrap_or_default())
}

/// A figure of a circuit before and after.
#[derive(Clone, Debug, PartialEq)]
pub struct FigureChange {
    pub place: CircuitKey,
    pub name: &'static str,
    pub before: Option<Value>,
    pub after: Option<Value>,
}

/// What changes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WhatChanged {
    pub verdicts: Vec<(CircuitKey, Verdict, Verdict)>,
    pub figures: Vec<FigureChange>,
    pub gone: Vec<Finding>,
    pub come: Vec<Finding>,
    /// Findings that stand with other numbers: before and after.
    pub other_numbers: Vec<(Finding, Finding)>,
    /// Rules that can be assessed after, and could not before; and the reverse.
    pub now_assessed: Vec<(CircuitKey, &'static str, String)>,
    pub not_assessed_any_more: Vec<(CircuitKey, &'static str, String)>,
    /// Circuits of which nothing changes.
    pub unchanged: u64,
}

/// What two audits of the same circuits differ in.
#[must_use]
pub fn difference(before: &Audit, after: &Audit) -> WhatChanged {
    let mut all = WhatChanged::default();
    let later: BTreeMap<&CircuitKey, &CircuitAudit> =
        after.circuits.iter().map(|audit| (&audit.circuit.key, audit)).collect();
    for one in &before.circuits {
        let Some(other) = later.get(&one.circuit.key) else { continue };
        let (figures, lacks) = (all.figures.len(), all.now_assessed.len() + all.not_assessed_any_more.len());
        let key = &one.circuit.key;
        if one.verdict != other.verdict {
            all.verdicts.push((key.clone(), one.verdict, other.verdict));
        }
        for told in TOLD_FIGURES {
            let (before, after) = ((told.read)(&one.figures), (told.read)(&other.figures));
            if !is_same_value(before.as_ref(), after.as_ref()) {
                all.figures.push(FigureChange { place: key.clone(), name: told.name, before, after });
            }
        }
        lacks_compared(key, one, other, &mut all.now_assessed);
        lacks_compared(key, other, one, &mut all.not_assessed_any_more);
        let findings_before = all.gone.len() + all.come.len() + all.other_numbers.len();
        findings_compared(&one.findings, &other.findings, &mut all);
        let is_same = one.verdict == other.verdict
            && figures == all.figures.len()
            && lacks == all.now_assessed.len() + all.not_assessed_any_more.len()
            && findings_before == all.gone.len() + all.come.len() + all.other_numbers.len();
        all.unchanged += u64::from(is_same);
    }
    findings_compared(&before.elsewhere, &after.elsewhere, &mut all);
    all
}

/// Rules that one could not be assessed by, and the other can.
fn lacks_compared(
    key: &CircuitKey,
    one: &CircuitAudit,
    other: &CircuitAudit,
    into: &mut Vec<(CircuitKey, &'static str, String)>,
) {
    let is_lacking = |rule: &str| other.not_assessed.iter().any(|lack| lack.rule == rule);
    let only = one.not_assessed.iter().filter(|lack| !is_lacking(lack.rule));
    into.extend(only.map(|lack| (key.clone(), lack.rule, lack.because.clone())));
}

/// Whether two values are the same but for what rounding does to a solved one.
fn is_same_value(one: Option<&Value>, other: Option<&Value>) -> bool {
    match (one.and_then(Value::metric), other.and_then(Value::metric)) {
        (Some((one, _)), Some((other, _))) => (one - other).abs() <= AT_THE_LIMIT * one.abs().max(other.abs()),
        _ => one == other,
    }
}

/// What makes two findings the same: on a line its row, since the part may be another.
fn identity(finding: &Finding) -> (&'static str, Option<&'static str>, Option<Origin>, String, bool) {
    let line = finding.line.and(finding.origin);
    let named = if line.is_some() { String::new() } else { format!("{}\0{}", finding.position, finding.part_no) };
    (finding.rule, finding.side.map(crate::tables::words::Side::word), line, named, finding.state == State::Waived)
}

fn findings_compared(before: &[Finding], after: &[Finding], all: &mut WhatChanged) {
    let mut left: Vec<&Finding> = after.iter().collect();
    for finding in before {
        match left.iter().position(|other| identity(other) == identity(finding)) {
            Some(at) => {
                let other = left.remove(at);
                let is_same = is_same_value(finding.measured.as_ref(), other.measured.as_ref())
                    && is_same_value(finding.limit.as_ref(), other.limit.as_ref());
                if !is_same || other.part_no != finding.part_no {
                    all.other_numbers.push((finding.clone(), other.clone()));
                }
            }
            None => all.gone.push(finding.clone()),
        }
    }
    all.come.extend(left.into_iter().cloned());
}
