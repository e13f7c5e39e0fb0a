//! Remedies tried together in memory, pallet by pallet: those that others don't bear beside them are left out.
//!
//! Each remedy is proved by itself; what several do together only an audit with all of them tells. Where that falls short,
//! they are taken in one after another, what goes first ahead, halves of them at a time: what is left out is what brings
//! something new, or undoes what one that went ahead of it clears.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use crate::circuit::fixture::{audit_fixture, load_fixture};
use crate::read::ReadError;
use crate::tables::circuit::Circuit;
use crate::tables::line::PartRef;
use crate::tables::plant::Plant;

use super::bearing::{Bearing, in_order};
use super::change::{Change, SettingColumn, StationRole};
use super::edit::{Claim, Edit};
use super::proof::{Book, Failure, Met, failures};
use super::remedy_row::RemedyRow;
use super::search::Searching;

/// Remedies that are to be applied, with the pallets that they bear on.
pub struct Together<'a, 'b> {
    searching: &'a Searching<'b>,
    rows: &'a [RemedyRow],
    /// By pallet, those that bear on it, what goes first ahead; a split is laid out in the copy alone.
    by_pallet: BTreeMap<usize, Vec<usize>>,
}

/// A pallet as the tables have it.
struct Scene {
    circuits: Vec<Circuit>,
    before: Book,
    lines: u64,
}

/// What has been taken in on a pallet.
struct Taken {
    rows: Vec<usize>,
    book: Book,
    out: Vec<(usize, String)>,
    lines: u64,
}

impl<'a, 'b> Together<'a, 'b> {
    /// Of the remedies that are marked as applied.
    #[must_use]
    pub fn of(searching: &'a Searching<'b>, rows: &'a [RemedyRow]) -> Self {
        let bearings: Vec<Bearing> = rows.iter().map(Bearing::of).collect();
        let mut by_pallet: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for index in in_order(&bearings).into_iter().filter(|index| rows[*index].is_applied()) {
            for pallet in pallets_of(searching, &rows[index]) {
                by_pallet.entry(pallet).or_default().push(index);
            }
        }
        Self { searching, rows, by_pallet }
    }

    /// The pallets on which several remedies meet, as ranges of circuits; what is alone on its pallet is proved.
    #[must_use]
    pub fn pallets(&self) -> Vec<Range<usize>> {
        let several = self.by_pallet.iter().filter(|(_, rows)| rows.len() > 1);
        several.map(|(pallet, _)| self.searching.roster.fixtures[*pallet].clone()).collect()
    }

    /// Whether a remedy bears on several pallets.
    #[must_use]
    pub fn is_shared(&self, index: usize) -> bool {
        pallets_of(self.searching, &self.rows[index]).len() > 1
    }

    /// Of the remedies of a pallet those that others don't bear beside them, and why.
    ///
    /// # Errors
    /// Where a list can't be read any more.
    pub fn left_out(&self, pallet: &Range<usize>) -> Result<Vec<(usize, String)>, ReadError> {
        let fixtures = &self.searching.roster.fixtures;
        let place = fixtures.partition_point(|range| range.end <= pallet.start);
        let Some(rows) = self.by_pallet.get(&place) else { return Ok(Vec::new()) };
        let scene = self.scene(pallet.clone())?;
        let (majors, minors): (Vec<usize>, Vec<usize>) = rows.iter().partition(|index| self.rows[**index].majors > 0);
        let mut taken = Taken { rows: Vec::new(), book: scene.before.clone(), out: Vec::new(), lines: 0 };
        self.take_in(&scene, &majors, false, &mut taken);
        self.take_in(&scene, &minors, true, &mut taken);
        Ok(taken.out)
    }

    fn scene(&self, pallet: Range<usize>) -> Result<Scene, ReadError> {
        let mut audits = load_fixture(self.searching.roster, self.searching.ground, pallet)?.audits;
        self.searching.complete(&mut audits);
        let mut before = Book::default();
        before.add_circuits(&audits);
        let circuits: Vec<Circuit> = audits.into_iter().map(|audit| audit.circuit).collect();
        let lines = circuits.iter().map(|circuit| circuit.lines.len().max(1) as u64).sum();
        Ok(Scene { circuits, before, lines })
    }

    /// What stands on a pallet with remedies made.
    fn book(&self, scene: &Scene, rows: &[usize]) -> Book {
        let mut circuits = scene.circuits.clone();
        for row in rows.iter().map(|index| &self.rows[*index]) {
            if let Some(edit) = &row.edit {
                make(self.searching.ground.plant, edit, row, &mut circuits);
            }
        }
        let mut audits = audit_fixture(self.searching.ground, circuits);
        self.searching.complete(&mut audits);
        let mut book = Book::default();
        book.add_circuits(&audits);
        book
    }

    /// Takes remedies in: all, where nothing stands against them, else each half by itself.
    ///
    /// * `are_minor` – whether they clear minors alone, so that no major may get worse by them
    fn take_in(&self, scene: &Scene, batch: &[usize], are_minor: bool, taken: &mut Taken) {
        if batch.is_empty() {
            return;
        }
        let bound = self.searching.ground.plant.policy.bounds.trial_lines;
        if taken.lines >= bound {
            let why = format!(
                "no: what was tried together on its pallet before had looked at {} lines ([bounds] trial_lines)",
                taken.lines
            );
            taken.out.extend(batch.iter().map(|index| (*index, why.clone())));
            return;
        }
        taken.lines += scene.lines;
        let with: Vec<usize> = taken.rows.iter().chain(batch).copied().collect();
        let book = self.book(scene, &with);
        let claims: BTreeSet<&Claim> = with.iter().flat_map(|index| &self.rows[*index].claims).collect();
        let failing = failures(&scene.before, &book, &claims, &BTreeMap::new());
        let worse = taken.book.worse_in(&book).filter(|_| are_minor && failing.is_empty());
        match (batch, worse) {
            (_, None) if failing.is_empty() => (taken.rows, taken.book) = (with, book),
            ([one], Some(met)) => taken.out.push((*one, format!("no: it makes {} worse", met.rule))),
            ([one], None) => taken.out.push((*one, self.why(*one, &taken.rows, &failing))),
            _ => {
                let (first, rest) = batch.split_at(batch.len() / 2);
                self.take_in(scene, first, are_minor, taken);
                self.take_in(scene, rest, are_minor, taken);
            }
        }
    }

    /// Why a remedy that is proved by itself is left out beside those that were taken in.
    fn why(&self, index: usize, taken: &[usize], failing: &[Failure]) -> String {
        let claims = |row: usize, met: &Met| self.rows[row].claims.iter().any(|claim| Met::of(claim) == *met);
        if let Some(own) = failing.iter().find(|failure| claims(index, &failure.met)) {
            return format!("no: beside those that are applied {} is not cleared by it", own.met.rule);
        }
        for failure in failing {
            let rule = failure.met.rule;
            if let Some(other) = taken.iter().find(|other| claims(**other, &failure.met)) {
                let other = &self.rows[*other];
                let named = if other.part_to.is_empty() { "a setting" } else { &other.part_to };
                return format!("no: with it {rule} is not cleared by {named}");
            }
        }
        match failing.first() {
            Some(Failure { met, .. }) if met.lacks => {
                format!("no: beside those that are applied {} can't be assessed with it", met.rule)
            }
            Some(Failure { met, .. }) => format!("no: beside those that are applied it comes with {}", met.rule),
            None => "no".to_owned(),
        }
    }
}

/// The pallets whose circuits a remedy changes.
fn pallets_of(searching: &Searching, row: &RemedyRow) -> BTreeSet<usize> {
    let plant = searching.ground.plant;
    let fixture_of = |place| searching.roster.fixture_of(place);
    match &row.edit {
        Some(Edit::StationSetting { station, .. } | Edit::StationPart { station, .. }) => {
            let name = plant.stations.get(*station).map_or("", |station| station.station.as_str());
            searching.fixtures_at(name).iter().copied().collect()
        }
        Some(Edit::Succession { from, .. }) => {
            let listed = row.circuits.iter().filter_map(|place| fixture_of(place));
            listed.chain(searching.fixtures_of_station_part(*from)).collect()
        }
        Some(Edit::Split { .. }) | None => BTreeSet::new(),
        Some(_) => fixture_of(&row.place).into_iter().collect(),
    }
}

/// Makes a remedy on the circuits of a pallet, as far as it bears on them.
fn make(plant: &Plant, edit: &Edit, row: &RemedyRow, circuits: &mut [Circuit]) {
    let lines_at = |circuits: &mut [Circuit], at, change: &dyn Fn(&mut crate::tables::line::Line)| {
        let lines = circuits.iter_mut().flat_map(|circuit| &mut circuit.lines);
        lines.filter(|line| line.origin == at).for_each(change);
    };
    let on_station = |circuits: &mut [Circuit], station: usize, change: &Change| {
        let name = plant.stations.get(station).map_or("", |station| station.station.as_str());
        let uses = |circuit: &&mut Circuit| circuit.service.as_ref().is_some_and(|own| own.station == name);
        circuits.iter_mut().filter(uses).for_each(|circuit| change.change_station(plant, circuit));
    };
    match edit {
        Edit::Part { line, to, .. } => lines_at(circuits, *line, &|line| line.part = PartRef::Known(*to)),
        Edit::Setting { line, column, to, .. } => lines_at(circuits, *line, &|line| {
            let is_precharge = *column == SettingColumn::Precharge.name();
            *(if is_precharge { &mut line.precharge } else { &mut line.set_pressure }) = Some(*to);
        }),
        Edit::Addition { part, side, setting, .. } => {
            let column = |name| {
                let is_precharge = name == SettingColumn::Precharge.name();
                if is_precharge { SettingColumn::Precharge } else { SettingColumn::SetPressure }
            };
            let setting = setting.map(|(name, to)| (column(name), to));
            let added = Change::Add { part: *part, side: *side, setting }.added();
            let own = circuits.iter_mut().find(|circuit| circuit.key == *row.place);
            own.into_iter().for_each(|circuit| circuit.lines.extend(added.clone()));
        }
        Edit::Succession { from, to } => {
            let change = Change::Succeed { from: *from, to: *to };
            for circuit in circuits {
                if let Some(changed) = change.applied(plant, circuit).pop() {
                    *circuit = changed;
                }
            }
        }
        Edit::StationSetting { station, to } => on_station(circuits, *station, &Change::StationSetting { to: *to }),
        Edit::StationPart { station, column, to, .. } => {
            let role = if *column == StationRole::Pump.name() { StationRole::Pump } else { StationRole::DriveRam };
            on_station(circuits, *station, &Change::StationPart { role, to: *to });
        }
        Edit::Split { .. } => {}
    }
}
