//! `--apply-remedies` and `--with-remedies`: a changed copy of the plant, proved by its own audit.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use tempfile::TempDir;

use crate::audit;
use crate::audit::Wanted;
use crate::audit::basis::with_searching;
use crate::audit::sweep::sweep;
use crate::circuit::fixture::load_fixture;
use crate::circuit::off_circuit::station_findings;
use crate::read::{Lists, Reading};
use crate::remedy::choice::{Observations, choose};
use crate::remedy::edit::{Claim, Edit};
use crate::remedy::proof::{Book, Failure, failures};
use crate::remedy::remedy_row::RemedyRow;
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

/// Applies what can go together, audits the copy, and leaves out what it does not bear out, until
/// it bears out all that is in it.
///
/// # Errors
/// Where a file can't be read any more or the disk refuses.
pub fn apply(args: &CheckArgs, plant: &Plant, lists: &Lists, remedies: &mut [RemedyRow]) -> Result<Applied> {
    let target = args.apply_remedies.clone();
    let (holder, lock) = holder_of(target.as_deref())?;
    let copy = holder.path().join(COPY);
    let mut refused = BTreeSet::new();
    let before = book(args, plant, lists)?;
    let reading = loop {
        fs::create_dir(&copy).with_context(|| format!("{}: the folder can't be made", shown(&copy)))?;
        choose(plant, remedies, observations(args), &refused);
        let rewriting = Rewriting::of(plant, lists, remedies.iter().filter(|row| row.is_applied()))?;
        folder::write(&args.plant, plant, lists, &rewriting, &copy)?;
        let reading = crate::read::open(&copy, args.policy.as_deref(), plant.policy.date)?;
        let after = book(args, &reading.plant, &reading.lists)?;
        let out = leave_out(plant, remedies, &before, &after);
        if out.is_empty() {
            break reading;
        }
        refused.extend(out);
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

/// Leaves out, for each circuit and station where the copy falls short, the last remedy that
/// touches it; gives their indices.
fn leave_out(plant: &Plant, remedies: &mut [RemedyRow], before: &Book, after: &Book) -> Vec<usize> {
    let applied = || remedies.iter().enumerate().filter(|(_, row)| row.is_applied());
    let claims: BTreeSet<&Claim> = applied().flat_map(|(_, row)| &row.claims).collect();
    let groups = folder::groups_of(applied().map(|(_, row)| row));
    let failing = failures(before, after, &claims, &groups);
    if failing.is_empty() {
        return Vec::new();
    }
    let reach = Reach::of(plant, remedies);
    let mut out: BTreeMap<usize, &Failure> = BTreeMap::new();
    let mut served: BTreeSet<(&CircuitKey, &str)> = BTreeSet::new();
    for failure in &failing {
        let met = &failure.met;
        let station = if met.place == CircuitKey::default() { met.position.as_str() } else { "" };
        if served.insert((&met.place, station))
            && let Some(last) = reach.last(plant, &met.place, station)
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

/// Why a remedy that is proved by itself is left out.
fn why(row: &RemedyRow, failure: &Failure) -> String {
    let rule = failure.met.rule;
    let is_split = matches!(row.edit, Some(Edit::Split { .. }));
    match (is_split, failure.is_gained, failure.met.lacks) {
        (true, false, _) => "no: the dead volume of the groups has to be laid out first".to_owned(),
        (_, true, true) => format!("no: in the changed copy {rule} can't be assessed"),
        (_, true, false) => format!("no: in the changed copy it comes with {rule}"),
        (false, false, _) => format!("no: in the changed copy {rule} is not cleared"),
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
