//! `clampbook merge`: joins the parts of a run.

use std::io::Write;
use std::path::PathBuf;

use anyhow::{Result, bail};
use clap::Args;

use crate::audit;
use crate::audit::swept::Swept;
use crate::cli::check::outputs::Outputs;
use crate::cli::check::{CheckArgs, LimitArgs, conclude, inputs_of, previous_of};
use crate::report::run_folder;
use crate::report::shard::{KeptRemedy, ShardState, check_parts};
use crate::report::whole_file::shown;
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
    let states: Vec<ShardState> = args.parts.iter().map(|folder| ShardState::load(folder)).collect::<Result<_>>()?;
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
    let (plant, lists) = (reading.plant, reading.lists);
    let (_, policy_hash) = run_folder::policy_of(&plant);
    if run_folder::source_hashes(&plant) != first.sources || policy_hash != first.policy_hash {
        bail!("{}: the plant's files or its policy are not those that the parts read.", shown(&check.plant));
    }
    let (previous, id) = previous_of(&check, &plant)?;
    if id != first.run {
        bail!("The parts were compared with another earlier run than --previous names; merge them with theirs.");
    }
    let mut inputs = inputs_of(&check, &plant);
    args.parts.iter().for_each(|part| inputs.add_folder(part));
    let mut outputs = Outputs::open(&check, &inputs, previous.is_some(), id)?;
    let (swept, remedies) = joined(&plant, states);
    outputs.join_parts(&args.parts, remedies, &mut |row| {
        if let Some(previous) = &previous {
            previous.see_row(row);
        }
    })?;
    let audit = audit::joined(plant, &lists, previous.as_ref(), swept)?;
    conclude(&check, audit, &lists, outputs, None, out)
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
        no_remedies: false,
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
fn joined(plant: &Plant, states: Vec<ShardState>) -> (Swept, Vec<KeptRemedy>) {
    let mut swept = Swept::default();
    let mut remedies = Vec::new();
    for state in states {
        swept.usage.add_kept(plant, state.usage);
        let obsolete = state.obsolete.into_iter();
        let part = Swept {
            matches: state.matches,
            counts: state.counts,
            due: state.due,
            set_aside: state.set_aside,
            obsolete: obsolete.filter_map(|(part, fixture)| Some((*plant.part_index.get(&part)?, fixture))).collect(),
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
