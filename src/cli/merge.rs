//! `clampbook merge`: joins the parts of a run.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Result, bail};
use chrono::NaiveDate;
use clap::Args;
use tempfile::TempDir;

use crate::audit;
use crate::audit::previous::Previous;
use crate::audit::swept::Swept;
use crate::circuit::roster::Roster;
use crate::cli::check::outputs::Outputs;
use crate::cli::check::part::{extra, parted, shared_sources};
use crate::cli::check::{CheckArgs, LimitArgs, Shard, conclude, id_over, inputs_of, previous_over};
use crate::cli::told::complain;
use crate::read::{Parting, Reading, Shares};
use crate::report::run_folder;
use crate::report::shard::{KeptRemedy, ShardState, check_parts};
use crate::report::whole_file::shown;
use crate::tables::circuit::{CircuitKey, Name};
use crate::tables::plant::Plant;

/// Joins the parts of a run with --shard into the data files of a whole run.
#[derive(Args, Clone, Debug)]
pub struct MergeArgs {
    /// The data folders of all parts
    #[arg(required = true, value_name = "DIR")]
    pub parts: Vec<PathBuf>,
    /// Write the joined data files into this folder
    #[arg(long, value_name = "DIR")]
    pub data: PathBuf,
    /// The plant, where it is no longer where the parts read it
    #[arg(long, value_name = "PLANT")]
    pub plant: Option<PathBuf>,
    /// Compare with the earlier run that the parts were compared with
    #[arg(long, value_name = "DIR")]
    pub previous: Option<PathBuf>,
    /// Append this run to a history file
    #[arg(long, value_name = "FILE.csv")]
    pub history: Option<PathBuf>,
    /// Write over files that clampbook did not write, too
    #[arg(long)]
    pub replace: bool,
}

/// Joins the parts; the rules over the whole plant are evaluated here.
///
/// # Errors
/// Where a part is missing or of another run, or an output can't be written.
pub fn run(args: &MergeArgs, out: &mut dyn Write) -> Result<u8> {
    let mut states: Vec<ShardState> =
        args.parts.iter().map(|folder| ShardState::load(folder)).collect::<Result<_>>()?;
    check_parts(&states)?;
    let Some(first) = states.first() else { bail!("No folder is given to merge.") };
    if first.has_previous != args.previous.is_some() {
        bail!(
            "The parts were audited {} --previous; merge them likewise.",
            if first.has_previous { "with" } else { "without" }
        );
    }
    let check = check_args(args, first);
    let date = first.date.parse().unwrap_or_else(|_| chrono::Local::now().date_naive());
    let reading = crate::read::open(&check.plant, check.policy.as_deref(), date)?;
    let shares = shares_of(&check, first, date)?;
    let all = run_folder::source_hashes(&reading.plant);
    let shared = shares.as_ref().map_or_else(|| all.clone(), |shares| shared_sources(&reading.plant, shares));
    let (_, policy_hash) = run_folder::policy_of(&reading.plant);
    let read_others = |state: &ShardState| {
        let (Some(own), Some(shares)) = (&state.by_file, &shares) else { return state.by_file.is_some() };
        own.sources != sources_of_part(&reading.plant, shares, state, &all)
    };
    if shared != first.sources || policy_hash != first.policy_hash || states.iter().any(read_others) {
        bail!("{}: the plant's files or its policy are not those that the parts read.", shown(&check.plant));
    }
    let (previous, id) = previous_over(&check, &reading.plant, &shared)?;
    if id != first.run {
        bail!("The parts were compared with another earlier run than --previous names; merge them with theirs.");
    }
    let id = id_over(&check, &reading.plant, &all)?;
    let mut inputs = inputs_of(&check, &reading.plant);
    args.parts.iter().for_each(|part| inputs.add_folder(part));
    let mut outputs = Outputs::open(&check, &inputs, previous.is_some(), id)?;
    states.iter_mut().try_for_each(|state| state.renumber(&all))?;
    let mut folders = args.parts.clone();
    // Its files are read until all is written.
    let extra = match &shares {
        Some(shares) => complete(&check, &reading, shares, previous.as_ref(), &mut states, &mut folders)?,
        None => None,
    };
    let (swept, remedies) = joined(&Roster::of(&reading.plant, &reading.lists), states);
    outputs.join_parts(&folders, remedies, &mut |row| {
        if let Some(previous) = &previous {
            previous.see_row(row);
        }
    })?;
    drop(extra);
    let Reading { plant, lists } = reading;
    let audit = audit::joined(plant, &lists, previous.as_ref(), swept)?;
    conclude(&check, audit, &lists, outputs, None, out)
}

/// How the lists were shared, where each part read its own.
fn shares_of(check: &CheckArgs, first: &ShardState, date: NaiveDate) -> Result<Option<Shares>> {
    let Some(own) = &first.by_file else { return Ok(None) };
    match crate::read::parting(&check.plant, check.policy.as_deref(), None, date, first.of)? {
        Parting::ByFile(shares) if shares.identity == own.identity => Ok(Some(shares)),
        _ => bail!("{}: the names or sizes of the lists are not those that the parts found.", shown(&check.plant)),
    }
}

/// Hashes of what a part reads.
fn sources_of_part(plant: &Plant, shares: &Shares, state: &ShardState, all: &[String]) -> Vec<String> {
    let reads_all = state.by_file.as_ref().is_some_and(|own| own.reads_all);
    let is_read = |file: &str| reads_all || shares.part_of(file).is_none_or(|part| part == state.part);
    let sources = all.iter().zip(&plant.sources);
    sources.filter(|(_, source)| is_read(&source.file)).map(|(hash, _)| hash.clone()).collect()
}

/// Audits what the parts could not, each with lists of its own, as one part more: pallets that no list names, and
/// all of the parts that read some lists of a pallet and not the others. Gives the folder in which it lies.
fn complete(
    check: &CheckArgs,
    reading: &Reading,
    shares: &Shares,
    previous: Option<&Previous>,
    states: &mut Vec<ShardState>,
    folders: &mut Vec<PathBuf>,
) -> Result<Option<TempDir>> {
    let pallets = parted(reading, shares);
    let own_of = |part: u32| {
        let state = states.iter().find(|state| state.part == part);
        state.and_then(|state| state.by_file.as_ref()).filter(|own| !own.reads_all)
    };
    let is_left = |part: u32, [plant, pallet]: [&Name; 2]| own_of(part).is_none_or(|own| own.has_left(plant, pallet));
    let again = pallets.of_spanning(is_left);
    let left: BTreeSet<[Name; 2]> =
        states.iter().filter_map(|state| state.by_file.as_ref()).flat_map(|own| own.left.iter().cloned()).collect();
    let is_missing = |key: &CircuitKey| {
        let owner = pallets.owner_of(key);
        owner.is_none_or(|part| again.contains(&part)) || left.contains(&[key.plant.clone(), key.pallet.clone()])
    };
    if !again.is_empty() {
        let named: Vec<String> = again.iter().map(|part| format!("{part}/{}", shares.of)).collect();
        complain(&format!(
            "Some pallets stand in list files of several parts, so that their parts were audited again here, with all \
             lists: {}.",
            named.join(", ")
        ));
    }
    // They go even where nothing is missing without them: what they found of pallets of others was not all.
    let kept: Vec<bool> = states.iter().map(|state| !again.contains(&state.part)).collect();
    let mut keep = kept.iter().copied();
    states.retain(|_| keep.next().unwrap_or(true));
    let mut keep = kept.into_iter();
    folders.retain(|_| keep.next().unwrap_or(true));
    let lists = &reading.lists;
    let roster = Roster::of(&reading.plant, lists);
    if !roster.fixtures.iter().any(|range| is_missing(&roster.entry(range.start).key)) {
        return Ok(None);
    }
    let of = shares.of;
    let parent = check.data.as_deref().and_then(Path::parent).filter(|parent| !parent.as_os_str().is_empty());
    let folder = tempfile::Builder::new().prefix(".clampbook-part-").tempdir_in(parent.unwrap_or(Path::new(".")))?;
    let data = folder.path().join("part");
    let of_part = CheckArgs { data: Some(data.clone()), history: None, ..check.clone() };
    let outputs = Outputs::open(&of_part, &inputs_of(&of_part, &reading.plant), previous.is_some(), String::new())?;
    extra(&of_part, Shard { part: of + 1, of }, reading, previous, outputs, &is_missing)?;
    states.push(ShardState::load(&data)?);
    folders.push(data);
    Ok(Some(folder))
}

/// The arguments of the whole run.
fn check_args(args: &MergeArgs, first: &ShardState) -> CheckArgs {
    CheckArgs {
        plant: args.plant.clone().unwrap_or_else(|| first.plant.clone()),
        components: None,
        out: None,
        data: Some(args.data.clone()),
        policy: first.policy.clone(),
        previous: args.previous.clone(),
        history: args.history.clone(),
        only: None,
        cards: None,
        apply_remedies: None,
        with_remedies: false,
        apply: Vec::new(),
        ical: None,
        replace: args.replace,
        no_remedies: !first.searches_remedies,
        sure: first.counts.sure.is_some(),
        parquet: false,
        shard: None,
        threads: None,
        limit: LimitArgs::default(),
        json: false,
        set: Vec::new(),
        all: false,
        quiet: true,
    }
}

/// What all parts brought in, without their rows.
fn joined(roster: &Roster, states: Vec<ShardState>) -> (Swept, Vec<KeptRemedy>) {
    let plant = roster.plant;
    let mut swept = Swept::default();
    let mut remedies = Vec::new();
    for state in states {
        swept.usage.add_kept(plant, state.usage);
        let obsolete = state.obsolete.into_iter();
        let in_numbers =
            |(part, circuit): (String, CircuitKey)| Some((*plant.part_index.get(&part)?, roster.fixture_of(&circuit)?));
        let part = Swept {
            matches: state.matches,
            counts: state.counts,
            due: state.due,
            set_aside: state.set_aside,
            obsolete: obsolete.filter_map(in_numbers).collect(),
            notes: state.notes,
            offered: state.remedies.iter().map(|remedy| remedy.part_to.clone()).collect(),
            ..Swept::default()
        };
        swept.add(part);
        remedies.extend(state.remedies);
    }
    swept.counts.sort();
    (swept, remedies)
}
