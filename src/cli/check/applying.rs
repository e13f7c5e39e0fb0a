//! `--apply-remedies`: a changed copy of the plant, proved by its own audit.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use tempfile::TempDir;

use crate::audit;
use crate::audit::Wanted;
use crate::audit::basis::with_searching;
use crate::audit::outcome::Audit;
use crate::audit::sweep::sweep;
use crate::circuit::fixture::load_fixture;
use crate::circuit::off_circuit::station_findings;
use crate::read::{Lists, Reading};
use crate::remedy::edit::{Claim, Edit};
use crate::remedy::proof::{Book, Failure, failures};
use crate::remedy::remedy_row::RemedyRow;
use crate::report::applied::choice::{choose, is_applied};
use crate::report::applied::folder;
use crate::report::applied::rewriting::Rewriting;
use crate::report::whole_file::temporary_folder;
use crate::tables::circuit::CircuitKey;
use crate::tables::plant::Plant;

use super::{CheckArgs, summary_line};

/// Refuses a folder that can't take the copy, before the long work.
///
/// # Errors
/// A sentence that says why.
pub fn refuse(args: &CheckArgs) -> Result<()> {
    let Some(target) = &args.apply_remedies else { return Ok(()) };
    let outputs = [&args.out, &args.data, &args.cards, &args.history];
    let outputs: Vec<&Path> = outputs.into_iter().flatten().map(PathBuf::as_path).collect();
    folder::refuse(target, &args.plant, &outputs)
}

/// A copy that waits for its name.
pub struct Applied {
    holder: TempDir,
    /// Keeps other runs from sweeping it.
    _lock: Option<File>,
    target: PathBuf,
    /// What the audit of the copy came to, in a sentence.
    said: String,
}

impl Applied {
    /// Gives the copy its name and says what its audit came to.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn commit(self) -> Result<String> {
        let said = || format!("{}: the changed copy can't be put there", self.target.display());
        if self.target.exists() {
            fs::remove_dir(&self.target).with_context(said)?;
        }
        fs::rename(self.holder.path().join(COPY), &self.target).with_context(said)?;
        Ok(self.said)
    }
}

/// Name of the copy in the folder that holds it until it is whole.
const COPY: &str = "plant";

/// Applies what can go together, audits the copy, and leaves out what it does not bear out, until
/// it bears out all that is in it.
///
/// # Errors
/// Where a file can't be read any more or the disk refuses.
pub fn apply(args: &CheckArgs, audit: &mut Audit, lists: &Lists) -> Result<Option<Applied>> {
    let Some(target) = args.apply_remedies.clone() else { return Ok(None) };
    let parent = match target.parent() {
        Some(parent) if parent != Path::new("") => parent.to_owned(),
        _ => PathBuf::from("."),
    };
    fs::create_dir_all(&parent).with_context(|| format!("{}: the folder can't be made", parent.display()))?;
    let holder = temporary_folder(&parent);
    let (holder, lock) =
        holder.with_context(|| format!("{}: nothing can be written in this folder", parent.display()))?;
    let copy = holder.path().join(COPY);
    let mut remedies = std::mem::take(&mut audit.remedies);
    let mut refused = BTreeSet::new();
    let before = book(args, &audit.plant, lists)?;
    let reading = loop {
        fs::create_dir(&copy).with_context(|| format!("{}: the folder can't be made", copy.display()))?;
        choose(&audit.plant, &mut remedies, &refused);
        let rewriting = Rewriting::of(&audit.plant, lists, remedies.iter().filter(|row| is_applied(row)))?;
        folder::write(&args.plant, &audit.plant, lists, &rewriting, &copy)?;
        let reading = crate::read::open(&copy, args.policy.as_deref(), audit.plant.policy.date)?;
        let after = book(args, &reading.plant, &reading.lists)?;
        let out = leave_out(&audit.plant, &mut remedies, &before, &after);
        if out.is_empty() {
            break reading;
        }
        refused.extend(out);
        fs::remove_dir_all(&copy).with_context(|| format!("{}: the folder can't be cleared", copy.display()))?;
    };
    let count = remedies.iter().filter(|row| is_applied(row)).count();
    let of = remedies.len();
    audit.remedies = remedies;
    let summary = summary_of_copy(args, reading)?;
    let said = format!("{}: {count} of {of} remedies applied. {summary}", target.display());
    Ok(Some(Applied { holder, _lock: lock, target, said }))
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
    let applied = || remedies.iter().enumerate().filter(|(_, row)| is_applied(row));
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
        && let (Some(last), Some(failure)) = (remedies.iter().rposition(is_applied), failing.first())
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
        for (index, row) in remedies.iter().enumerate().filter(|(_, row)| is_applied(row)) {
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
                all.circuits.insert(place.clone(), index);
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
