//! `--apply-remedies` and `--with-remedies`: a changed copy of the plant, proved by its own audit.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use tempfile::TempDir;

use crate::audit;
use crate::audit::Wanted;
use crate::audit::basis::with_searching;
use crate::audit::sweep::{RunError, sweep};
use crate::circuit::fixture::load_fixture;
use crate::circuit::off_circuit::station_findings;
use crate::read::{Lists, Reading};
use crate::remedy::choice::{Observations, choose};
use crate::remedy::edit::{Claim, Edit};
use crate::remedy::proof::{Book, Failure, Met, failures};
use crate::remedy::remedy_row::RemedyRow;
use crate::remedy::search::Searching;
use crate::remedy::together::Together;
use crate::report::applied::folder;
use crate::report::applied::rewriting::Rewriting;
use crate::report::whole_file::{shown, temporary_folder};
use crate::tables::circuit_key::CircuitKey;
use crate::tables::plant::Plant;

use super::arguments::Apply;
use super::{CheckArgs, summary_line};

/// Refuses a folder that can't take the copy, before the long work.
///
/// # Errors
/// A sentence that says why.
pub fn refuse(args: &CheckArgs) -> Result<()> {
    let Some(target) = &args.apply_remedies else { return Ok(()) };
    let outputs = [&args.out, &args.data, &args.cards, &args.history, &args.ical];
    let outputs: Vec<&Path> = outputs.into_iter().flatten().map(PathBuf::as_path).collect();
    folder::refuse(target, &args.plant, &outputs)
}

/// A copy that waits for its name.
pub struct Applied {
    holder: TempDir,
    /// Keeps other runs from sweeping it.
    _lock: Option<File>,
    /// Where it goes; nowhere where only the parts that its remedies need were asked for.
    target: Option<PathBuf>,
    /// What the audit of the copy came to, in a sentence.
    said: String,
}

impl Applied {
    /// Gives the copy its name and says what its audit came to.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn commit(self) -> Result<String> {
        let Some(target) = self.target else { return Ok(self.said) };
        let said = || format!("{}: the changed copy can't be put there", shown(&target));
        if target.exists() {
            fs::remove_dir(&target).with_context(said)?;
        }
        fs::rename(self.holder.path().join(COPY), &target).with_context(said)?;
        Ok(self.said)
    }
}

/// Name of the copy in the folder that holds it until it is whole.
const COPY: &str = "plant";

/// Where the copy is made: beside its place, so that it takes it by a rename; else where temporary files are.
fn holder_of(target: Option<&Path>) -> Result<(TempDir, Option<File>)> {
    let parent = match target.map(Path::parent) {
        Some(Some(parent)) if parent != Path::new("") => parent.to_owned(),
        Some(_) => PathBuf::from("."),
        None => std::env::temp_dir(),
    };
    fs::create_dir_all(&parent).with_context(|| format!("{}: the folder can't be made", shown(&parent)))?;
    temporary_folder(&parent).with_context(|| format!("{}: nothing can be written in this folder", shown(&parent)))
}

/// Whether remedies are applied, if only to know what they need.
#[must_use]
pub const fn is_wanted(args: &CheckArgs) -> bool {
    args.apply_remedies.is_some() || args.with_remedies
}

/// Times that remedies are chosen anew after some were left out: what those kept out may come in.
const ROUNDS: usize = 8;

/// Copies that are written and audited; after these nothing is applied.
const COPIES: usize = 12;

/// Applies what goes together, and audits the copy: should it not bear out what was tried in memory, what does not hold is
/// left out until it bears out all that is in it.
///
/// # Errors
/// Where a file can't be read any more or the disk refuses.
pub fn apply(args: &CheckArgs, plant: &Plant, lists: &Lists, remedies: &mut [RemedyRow]) -> Result<Applied> {
    let target = args.apply_remedies.clone();
    let (holder, lock) = holder_of(target.as_deref())?;
    let copy = holder.path().join(COPY);
    let mut refused = BTreeSet::new();
    choose_together(args, plant, lists, remedies, &mut refused)?;
    let before = book(args, plant, lists)?;
    let mut copies = 0;
    let reading = loop {
        fs::create_dir(&copy).with_context(|| format!("{}: the folder can't be made", shown(&copy)))?;
        copies += 1;
        let rewriting = Rewriting::of(plant, lists, remedies.iter().filter(|row| row.is_applied()))?;
        folder::write(&args.plant, plant, lists, &rewriting, &copy)?;
        let reading = crate::read::open(&copy, args.policy.as_deref(), plant.policy.date)?;
        let after = book(args, &reading.plant, &reading.lists)?;
        let out = leave_out(plant, remedies, &before, &after, copies < COPIES);
        if out.is_empty() {
            break reading;
        }
        refused.extend(out);
        if copies < COPIES / 2 {
            choose_together(args, plant, lists, remedies, &mut refused)?;
        } else {
            keep_out_newcomers(remedies, |remedies| choose(plant, remedies, observations(args), &refused));
        }
        fs::remove_dir_all(&copy).with_context(|| format!("{}: the folder can't be cleared", shown(&copy)))?;
    };
    let count = remedies.iter().filter(|row| row.is_applied()).count();
    let applied = format!("{count} of {} remedies applied.", remedies.len());
    let summary = summary_of_copy(args, reading)?;
    let said = match &target {
        Some(target) => format!("{}: {applied} {summary}", shown(target)),
        None => format!("With remedies: {applied} {summary}"),
    };
    Ok(Applied { holder, _lock: lock, target, said })
}

/// Chooses what goes together, and adds what others don't bear beside them to what is refused.
fn choose_together(
    args: &CheckArgs,
    plant: &Plant,
    lists: &Lists,
    remedies: &mut [RemedyRow],
    refused: &mut BTreeSet<usize>,
) -> Result<()> {
    with_searching(plant, lists, false, |searching| {
        searching.settles_only = true;
        let mut choose_again = |remedies: &mut [RemedyRow], out: BTreeMap<usize, String>| {
            for (index, why) in out {
                remedies[index].applied = why;
                refused.insert(index);
            }
            choose(plant, remedies, observations(args), refused);
        };
        choose_again(remedies, BTreeMap::new());
        // Should it never come to rest, the copy tells what does not hold.
        for round in 0..2 * ROUNDS {
            let out = left_out(args, searching, remedies)?;
            if out.is_empty() {
                break;
            }
            if round < ROUNDS {
                choose_again(remedies, out);
            } else {
                // What is left out lets nothing else in: each round leaves fewer.
                keep_out_newcomers(remedies, |remedies| choose_again(remedies, out));
            }
        }
        Ok(())
    })?;
    Ok(())
}

/// Has remedies chosen anew, and of them only those that were applied before.
fn keep_out_newcomers(remedies: &mut [RemedyRow], choose: impl FnOnce(&mut [RemedyRow])) {
    let was: Vec<bool> = remedies.iter().map(RemedyRow::is_applied).collect();
    choose(remedies);
    for (row, _) in remedies.iter_mut().zip(was).filter(|(row, was)| row.is_applied() && !was) {
        "no: not tried in the place of what was left out".clone_into(&mut row.applied);
    }
}

/// Of the remedies marked as applied those that others don't bear beside them. Where one is of several pallets it goes
/// ahead: what it kept out on one of them is looked at again without it.
fn left_out(
    args: &CheckArgs,
    searching: &Searching,
    remedies: &[RemedyRow],
) -> std::result::Result<BTreeMap<usize, String>, RunError> {
    let together = Together::of(searching, remedies);
    let mut all: BTreeMap<usize, String> = BTreeMap::new();
    sweep(
        &together.pallets(),
        args.pace(),
        &|pallets| {
            let mut out = Vec::new();
            for pallet in pallets {
                out.extend(together.left_out(pallet)?);
            }
            Ok(out)
        },
        &mut |out: Vec<(usize, String)>| {
            for (index, why) in out {
                all.entry(index).or_insert(why);
            }
            Ok(())
        },
    )?;
    let shared: BTreeSet<usize> = all.keys().copied().filter(|index| together.is_shared(*index)).collect();
    if !shared.is_empty() {
        all.retain(|index, _| shared.contains(index));
    }
    Ok(all)
}

/// Which remedies of observations are asked for.
fn observations(args: &CheckArgs) -> Observations {
    let has = |what| args.apply.contains(&what);
    Observations {
        planned: has(Apply::Observations) || has(Apply::ObservationsBuilt),
        built: has(Apply::ObservationsBuilt),
    }
}

/// What a plant's circuits and stations fail.
fn book(args: &CheckArgs, plant: &Plant, lists: &Lists) -> Result<Book> {
    let book = with_searching(plant, lists, false, |searching| {
        searching.settles_only = true;
        let roster = searching.roster;
        let mut all = Book::default();
        sweep(
            &roster.fixtures,
            args.pace(),
            &|ranges| {
                let mut part = Book::default();
                for range in ranges {
                    let mut audit = load_fixture(roster, searching.ground, range.clone())?;
                    searching.complete(&mut audit.audits);
                    part.add_circuits(&audit.audits);
                }
                Ok(part)
            },
            &mut |part| {
                all.join(part);
                Ok(())
            },
        )?;
        (0..plant.stations.len()).for_each(|index| all.add_findings(&station_findings(plant, index).0));
        Ok(all)
    })?;
    Ok(book)
}

/// Leaves out, for each circuit and station where the copy falls short, its split or else the last remedy that
/// touches it; gives their indices.
///
/// * `one_by_one` – else all that is applied
fn leave_out(plant: &Plant, remedies: &mut [RemedyRow], before: &Book, after: &Book, one_by_one: bool) -> Vec<usize> {
    let applied = || remedies.iter().enumerate().filter(|(_, row)| row.is_applied());
    let claims: BTreeSet<&Claim> = applied().flat_map(|(_, row)| &row.claims).collect();
    let groups = folder::groups_of(applied().map(|(_, row)| row));
    let failing = failures(before, after, &claims, &groups);
    if failing.is_empty() {
        return Vec::new();
    }
    if !one_by_one {
        let all: Vec<usize> = applied().map(|(index, _)| index).collect();
        for index in &all {
            "no: the changed copy bears out too little".clone_into(&mut remedies[*index].applied);
        }
        return all;
    }
    let reach = Reach::of(plant, remedies);
    let mut out: BTreeMap<usize, &Failure> = BTreeMap::new();
    let mut served: BTreeSet<(&CircuitKey, &str)> = BTreeSet::new();
    for failure in &failing {
        let met = &failure.met;
        let station = if met.place == CircuitKey::default() { met.position.as_str() } else { "" };
        if served.insert((&met.place, station))
            && let Some(last) = split_of(remedies, &met.place).or_else(|| reach.last(plant, &met.place, station))
        {
            out.entry(last).or_insert(failure);
        }
    }
    // What no remedy is seen to reach still has a cause among them.
    if out.is_empty()
        && let (Some(last), Some(failure)) = (remedies.iter().rposition(RemedyRow::is_applied), failing.first())
    {
        out.insert(last, failure);
    }
    for (index, failure) in &out {
        remedies[*index].applied = why(&remedies[*index], failure);
    }
    out.into_keys().collect()
}

/// The split of a circuit, where it is applied.
fn split_of(remedies: &[RemedyRow], place: &CircuitKey) -> Option<usize> {
    let is_it = |row: &RemedyRow| {
        row.is_applied() && matches!(row.edit, Some(Edit::Split { .. })) && CircuitKey::clone(&row.place) == *place
    };
    remedies.iter().position(is_it)
}

/// Why a remedy that is proved by itself is left out.
fn why(row: &RemedyRow, failure: &Failure) -> String {
    let rule = failure.met.rule;
    let is_split = matches!(row.edit, Some(Edit::Split { .. }));
    let is_own = row.claims.iter().any(|claim| Met::of(claim) == failure.met);
    match (is_split, failure.is_gained, failure.met.lacks) {
        (true, false, _) => "no: the dead volume of the groups has to be laid out first".to_owned(),
        (_, true, true) => format!("no: in the changed copy {rule} can't be assessed"),
        (_, true, false) => format!("no: in the changed copy it comes with {rule}"),
        (false, false, _) if is_own => format!("no: in the changed copy {rule} is not cleared"),
        (false, false, _) => format!("no: in the changed copy {rule} stands, which another remedy clears"),
    }
}

/// The last applied remedy by what it reaches.
#[derive(Default)]
struct Reach {
    circuits: BTreeMap<CircuitKey, usize>,
    /// By plant, pallet and fixture: a support stands under clamps of other circuits.
    fixtures: BTreeMap<CircuitKey, usize>,
    stations: BTreeMap<String, usize>,
}

impl Reach {
    fn of(plant: &Plant, remedies: &[RemedyRow]) -> Self {
        let mut all = Self::default();
        for (index, row) in remedies.iter().enumerate().filter(|(_, row)| row.is_applied()) {
            let of_station = match &row.edit {
                Some(Edit::StationSetting { station, .. } | Edit::StationPart { station, .. }) => {
                    plant.stations.get(*station)
                }
                _ => None,
            };
            if let Some(station) = of_station {
                all.stations.insert(station.station.clone(), index);
            }
            if let Some(Edit::Succession { from, .. }) = &row.edit {
                let has = |part: &crate::tables::station::StationPart| part.index() == Some(*from);
                let stations = plant.stations.iter().filter(|station| has(&station.pump) || has(&station.drive_ram));
                all.stations.extend(stations.map(|station| (station.station.clone(), index)));
            }
            let claimed = row.claims.iter().map(|claim| &claim.place);
            for place in row.circuits.iter().chain(claimed).chain([&row.place]) {
                all.circuits.insert(CircuitKey::clone(place), index);
                all.fixtures.insert(fixture(place), index);
            }
        }
        all.circuits.remove(&CircuitKey::default());
        all
    }

    fn last(&self, plant: &Plant, place: &CircuitKey, station: &str) -> Option<usize> {
        if *place == CircuitKey::default() {
            return self.stations.get(station).copied();
        }
        let station = plant.service(place).and_then(|service| self.stations.get(service.station.as_str()));
        let near = self.circuits.get(place).max(station).copied();
        near.or_else(|| self.fixtures.get(&fixture(place)).copied())
    }
}

fn fixture(place: &CircuitKey) -> CircuitKey {
    CircuitKey { circuit: crate::tables::circuit::Name::default(), ..place.clone() }
}

/// The summary line of the whole audit of a copy.
fn summary_of_copy(args: &CheckArgs, reading: Reading) -> Result<String> {
    let wanted = Wanted { remedies: false, circuits: false, pace: args.pace(), ..Wanted::default() };
    Ok(summary_line(&audit::whole_without_rows(reading, &wanted)?))
}
