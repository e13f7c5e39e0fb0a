//! `clampbook check --shard`: one part of a run.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::PathBuf;

use anyhow::{Context, Result};
use chrono::NaiveDate;

use crate::audit::basis::hangs_on_usage;
use crate::audit::previous::Previous;
use crate::audit::sweep::{Pace, RunError};
use crate::audit::swept::Swept;
use crate::audit::{self, Wanted};
use crate::circuit::pallet_parts::PalletParts;
use crate::circuit::roster::Roster;
use crate::cli::progress::Progress;
use crate::read::{Parting, Reading, Shares};
use crate::report::run_folder;
use crate::report::shard::{ByFile, KeptRemedy, ShardState};
use crate::report::whole_file::shown;
use crate::tables::circuit::{CircuitKey, Name};
use crate::tables::plant::Plant;

use super::outputs::Outputs;
use super::{CONFORMS, CheckArgs, Shard, inputs_of, previous_over, say};

/// Why parts are told apart by pallet where the component table asks for all lists.
pub const HANGS_ON_USAGE: &str = "the component table has clamps without area_clamp or work supports without support_capacity, of which it must be \
     known what every circuit asks of them";

/// Audits one part, of the lists reading its own where that can be done.
///
/// # Errors
/// Where inputs, policy or outputs can't be used: sentences for the user.
pub fn run(args: &CheckArgs, shard: Shard, today: NaiveDate, out: &mut dyn Write) -> Result<u8> {
    let (policy, components) = (args.policy.as_deref(), args.components.as_deref());
    let parting = crate::read::parting(&args.plant, policy, components, today, shard.of)?;
    let open = || crate::read::open_with_components(&args.plant, policy, components, today);
    let told = match parting {
        Parting::ByPallet(why) => {
            by_pallet(args, shard, &open()?)?;
            format!("It read all lists, since {why}.")
        }
        Parting::ByFile(shares) => {
            let own = crate::read::open_share(&args.plant, policy, components, today, (&shares, shard.part))?;
            if hangs_on_usage(&own.plant) {
                drop(own);
                by_pallet(args, shard, &open()?)?;
                format!("It read all lists, since {HANGS_ON_USAGE}.")
            } else {
                by_file(args, shard, &shares, own, &open)?
            }
        }
    };
    say(out, &format!("Part {}/{} is audited. `clampbook merge` joins the parts. {told}", shard.part, shard.of));
    Ok(CONFORMS)
}

/// Audits the pallets of a part by their hash.
fn by_pallet(args: &CheckArgs, shard: Shard, reading: &Reading) -> Result<()> {
    let sources = run_folder::source_hashes(&reading.plant);
    let audited = audited(args, reading, &sources, &|key| shard.has(key))??;
    audited.write(args, shard, reading, sources, None)
}

/// Audits the pallets that the part's own lists name; what the reader is told of it.
fn by_file(
    args: &CheckArgs,
    shard: Shard,
    shares: &Shares,
    own: Reading,
    open: &dyn Fn() -> Result<Reading, crate::read::ReadError>,
) -> Result<String> {
    let by_file = |reading: &Reading, left: Option<Vec<[Name; 2]>>| ByFile {
        identity: shares.identity.clone(),
        reads_all: left.is_none(),
        sources: run_folder::source_hashes(&reading.plant),
        left: left.unwrap_or_default(),
    };
    let pallets = PalletParts::of(&own.lists, |_| shard.part);
    let why = if pallets.have_nameless() {
        "some of its circuits name neither plant nor pallet, and circuits of other files may stand beside them"
            .to_owned()
    } else {
        let sources = shared_sources(&own.plant, shares);
        let state = by_file(&own, Some(PalletParts::at_edges(&own.lists)));
        let is_own = |key: &CircuitKey| pallets.owner_of(key).is_some() && !state.has_left(&key.plant, &key.pallet);
        match audited(args, &own, &sources, &is_own)? {
            Ok(audited) => {
                audited.write(args, shard, &own, sources, Some(state))?;
                let (all, of_part) = shares.counts(shard.part);
                return Ok(format!("It read {of_part} of {all} list files, its own."));
            }
            Err(RunError::Beyond(station)) => {
                format!("a change of load station {station} had to be tried on circuits in other files, too")
            }
            Err(other) => return Err(other.into()),
        }
    };
    drop((own, pallets));
    let all = open()?;
    let pallets = parted(&all, shares);
    let sources = shared_sources(&all.plant, shares);
    let audited = audited(args, &all, &sources, &|key| pallets.owner_of(key) == Some(shard.part))??;
    let state = by_file(&all, None);
    audited.write(args, shard, &all, sources, Some(state))?;
    Ok(format!("It read all lists, since {why}."))
}

/// The pallets of a whole plant with the parts that read their files.
#[must_use]
pub fn parted(reading: &Reading, shares: &Shares) -> PalletParts {
    let file = |source: u32| reading.plant.sources.get(source as usize).map(|source| source.file.as_str());
    PalletParts::of(&reading.lists, |source| file(source).and_then(|file| shares.part_of(file)).unwrap_or_default())
}

/// Hashes of the sources that every part reads: all but the lists.
#[must_use]
pub fn shared_sources(plant: &Plant, shares: &Shares) -> Vec<String> {
    let hashes = run_folder::source_hashes(plant).into_iter().zip(&plant.sources);
    hashes.filter(|(_, source)| shares.part_of(&source.file).is_none()).map(|(hash, _)| hash).collect()
}

/// A part, audited, and what it is written to.
struct AuditedPart {
    swept: Swept,
    outputs: Outputs,
}

/// Audits the pallets that are asked for; the inner error is one of the audit itself.
///
/// * `sources` – hashes of what all parts read
fn audited(
    args: &CheckArgs,
    reading: &Reading,
    sources: &[String],
    pallets: &(dyn Fn(&CircuitKey) -> bool + Sync),
) -> Result<Result<AuditedPart, RunError>> {
    let (previous, run) = previous_over(args, &reading.plant, sources)?;
    let inputs = inputs_of(args, &reading.plant);
    let outputs = Outputs::open(args, &inputs, previous.is_some(), run)?;
    let progress = Progress::start("Auditing circuits", args.quiet);
    let tell = |more, total| progress.advance(more, total);
    let done = swept(args, reading, previous.as_ref(), pallets, args.pace(), &tell, outputs);
    progress.finish();
    Ok(done)
}

fn swept(
    args: &CheckArgs,
    reading: &Reading,
    previous: Option<&Previous>,
    pallets: &(dyn Fn(&CircuitKey) -> bool + Sync),
    pace: Pace,
    progress: &(dyn Fn(u64, u64) + Sync),
    mut outputs: Outputs,
) -> Result<AuditedPart, RunError> {
    let Reading { plant, lists } = reading;
    let wanted = Wanted {
        remedies: !args.no_remedies,
        sure: args.sure,
        circuits: false,
        pallets: Some(pallets),
        pace,
        progress,
        ..Wanted::default()
    };
    let swept = outputs.with_rows(|rows| audit::part(plant, lists, previous, &wanted, rows))?;
    lists.unchanged()?;
    Ok(AuditedPart { swept, outputs })
}

/// Audits pallets that no part of a run audited, as a part of their own in the folder that `args` name.
///
/// # Errors
/// Where a list can't be read any more or the disk refuses.
pub fn extra(
    args: &CheckArgs,
    shard: Shard,
    reading: &Reading,
    previous: Option<&Previous>,
    outputs: Outputs,
    pallets: &(dyn Fn(&CircuitKey) -> bool + Sync),
) -> Result<()> {
    let audited = swept(args, reading, previous, pallets, args.pace(), &|_, _| (), outputs)?;
    audited.write(args, shard, reading, run_folder::source_hashes(&reading.plant), None)
}

impl AuditedPart {
    /// Leaves the part for the merge.
    fn write(
        self,
        args: &CheckArgs,
        shard: Shard,
        reading: &Reading,
        sources: Vec<String>,
        by_file: Option<ByFile>,
    ) -> Result<()> {
        let Self { swept, outputs } = self;
        let plant = &reading.plant;
        let absolute = |path: &PathBuf| {
            std::path::absolute(path).with_context(|| format!("{}: the path can't be made absolute", shown(path)))
        };
        let (date, policy_hash) = run_folder::policy_of(plant);
        let part_no = |part: u32| plant.component_at(Some(part)).map(|part| part.part_no.clone()).unwrap_or_default();
        let roster = Roster::of(plant, &reading.lists);
        let first_of = |fixture: usize| {
            let range = roster.fixtures.get(fixture);
            range.map(|range| roster.entry(range.start).key).unwrap_or_default()
        };
        let state = ShardState {
            part: shard.part,
            of: shard.of,
            plant: absolute(&args.plant)?,
            policy: args.policy.as_ref().map(absolute).transpose()?,
            date,
            policy_hash,
            sources,
            has_previous: outputs.has_previous(),
            searches_remedies: !args.no_remedies,
            by_file,
            run: outputs.run().to_owned(),
            files: BTreeMap::new(),
            usage: swept.usage.kept(plant),
            matches: swept.matches,
            counts: swept.counts,
            due: swept.due,
            set_aside: swept.set_aside,
            obsolete: swept.obsolete.into_iter().map(|(part, fixture)| (part_no(part), first_of(fixture))).collect(),
            remedies: swept.remedies.iter().map(KeptRemedy::of).collect(),
            notes: swept.notes,
        };
        outputs.write_part(state)
    }
}
