//! `clampbook check`: the main job.

mod applying;
mod arguments;
pub mod finish;
mod listed;
pub mod outputs;
mod sweeping;

use std::io::Write;
use std::path::PathBuf;

use anyhow::{Context, Result};

use crate::audit::harvest::Harvest;
use crate::audit::outcome::Audit;
use crate::audit::plant_wide::{part_standings, station_findings};
use crate::audit::previous::Previous;
use crate::audit::usage_book::UsageBook;
use crate::circuit::findings::Standing;
use crate::circuit::fixture::Ground;
use crate::circuit::roster::Roster;
use crate::circuit::waiving::Waiving;
use crate::read::Lists;
use crate::remedy::search::Searching;
use crate::report::shard::{KeptRemedy, ShardState};
use crate::tables::plant::Plant;
use crate::tables::words::Kind;

pub use arguments::{CheckArgs, Only, Shard};

use outputs::Outputs;

/// Exit status where everything conforms.
pub const CONFORMS: u8 = 0;
/// Exit status where something doesn't, or could not be assessed.
pub const DOES_NOT_CONFORM: u8 = 1;
/// Exit status where inputs, policy or command can't be used.
pub const UNUSABLE: u8 = 2;

/// Runs the check and says how it went, in the exit status too.
///
/// # Errors
/// Where inputs, policy or outputs can't be used: sentences for the user.
pub fn run(args: &CheckArgs, out: &mut dyn Write) -> Result<u8> {
    args.refuse_nothing_to_write()?;
    applying::refuse(args)?;
    let today = chrono::Local::now().date_naive();
    let reading = crate::read::open(&args.plant, args.policy.as_deref(), today)?;
    let (plant, lists) = (reading.plant, reading.lists);
    let previous = args.previous.as_deref().map(Previous::load).transpose()?;
    let inputs = input_paths(args, &plant);
    let mut outputs = Outputs::open(args, &inputs, previous.is_some())?;
    let with_curves = outputs.keeps_audits();
    let swept = on_ground(&plant, &lists, with_curves, |searching| {
        searching.settles_only = args.no_remedies;
        let harvest = sweeping::sweep_all(args, searching, previous.as_ref(), &mut outputs)?;
        match args.shard {
            Some(shard) => Ok(Swept::Part(Box::new(part_state(args, shard, &plant, harvest, previous.is_some())?))),
            None => Ok(Swept::Whole(Box::new(finish::found(searching, harvest, previous.as_ref())?))),
        }
    })?;
    match swept {
        Swept::Whole(found) => conclude(args, *found, plant, &lists, previous.as_ref(), outputs, out),
        Swept::Part(state) => {
            outputs.write_part(&state)?;
            writeln!(out, "Part {}/{} is audited. `clampbook merge` joins the parts.", state.part, state.of)?;
            Ok(CONFORMS)
        }
    }
}

/// What a sweep came to.
enum Swept {
    Whole(Box<finish::Found>),
    /// One of several parts.
    Part(Box<ShardState>),
}

/// Files that no output may take the place of.
#[must_use]
pub fn input_paths(args: &CheckArgs, plant: &Plant) -> Vec<PathBuf> {
    let of_folder = plant.sources.iter().map(|source| args.plant.join(&source.file));
    of_folder.chain([args.plant.clone()]).chain(args.policy.clone()).filter(|path| path.is_file()).collect()
}

fn part_state(
    args: &CheckArgs,
    shard: Shard,
    plant: &Plant,
    harvest: Harvest,
    has_previous: bool,
) -> Result<ShardState> {
    let absolute = |path: &PathBuf| {
        std::path::absolute(path).with_context(|| format!("{}: the path can't be made absolute", path.display()))
    };
    let (date, policy_hash) = ShardState::policy_of(plant);
    let part_no = |part: u32| plant.component_at(Some(part)).map(|part| part.part_no.clone()).unwrap_or_default();
    Ok(ShardState {
        part: shard.part,
        of: shard.of,
        plant: absolute(&args.plant)?,
        policy: args.policy.as_ref().map(absolute).transpose()?,
        date,
        policy_hash,
        sources: ShardState::source_hashes(plant),
        has_previous,
        usage: harvest.usage.kept(plant),
        matches: harvest.matches,
        counts: harvest.counts,
        set_aside: harvest.set_aside,
        obsolete: harvest.obsolete.into_iter().map(|(part, fixture)| (part_no(part), fixture)).collect(),
        remedies: harvest.remedies.iter().map(KeptRemedy::of).collect(),
        notes: harvest.notes,
    })
}

/// Completes the audit, writes the outputs and says how it went.
///
/// # Errors
/// Where an output can't be written.
pub fn conclude(
    args: &CheckArgs,
    found: finish::Found,
    mut plant: Plant,
    lists: &Lists,
    previous: Option<&Previous>,
    outputs: Outputs,
    out: &mut dyn Write,
) -> Result<u8> {
    found.complete_sources(&mut plant);
    let mut audit = found.into_audit(plant, previous, lists, outputs.keeps_audits())?;
    let applied = applying::apply(args, &mut audit, lists)?;
    let status = status_of(&audit);
    let history = outputs.write(args, &audit)?;
    writeln!(out, "{}", summary_line(&audit))?;
    if let Some(applied) = applied {
        writeln!(out, "{}", applied.commit()?)?;
    }
    if let Some(warning) = history {
        writeln!(out, "{warning}")?;
    }
    // To give back very much memory takes long, and the process may end before it is done.
    let _ = std::thread::Builder::new().spawn(move || drop(audit));
    Ok(status)
}

/// Lays the ground for audits of a plant, and calls `work` on it.
///
/// # Errors
/// Where a list can't be read any more, and those of `work`.
pub fn on_ground<T>(
    plant: &Plant,
    lists: &Lists,
    with_curves: bool,
    work: impl FnOnce(&mut Searching) -> Result<T>,
) -> Result<T> {
    let waiving = Waiving::new(&plant.waivers, plant.policy.date);
    let roster = Roster::of(plant, lists);
    let usage = asked_of_parts(plant, &roster)?;
    let of_stations = (0..plant.stations.len()).map(|index| station_findings(plant, index));
    let (findings, station_lacks): (Vec<_>, Vec<_>) = of_stations.unzip();
    let stations = findings
        .into_iter()
        .map(|mut findings| {
            let _ = waiving.mark(&mut findings);
            findings.iter().map(Standing::of).fold(Standing::default(), Standing::and)
        })
        .collect();
    let ground = Ground {
        plant,
        waiving: &waiving,
        parts: part_standings(plant, &usage.by_component(plant), &waiving),
        stations,
        station_lacks,
        with_curves,
    };
    work(&mut Searching::over(&roster, &ground))
}

/// What is asked of parts as far as verdicts hang on it: only where the table has parts that
/// could lack an area or a support capacity that only some circuits ask for.
fn asked_of_parts(plant: &Plant, roster: &Roster) -> Result<UsageBook> {
    let mut usage = UsageBook::default();
    let may_lack = plant.components.iter().any(|part| {
        (part.is(Kind::Clamp) && part.area_clamp.is_none())
            || (part.is(Kind::WorkSupport) && part.support_capacity.is_none())
    });
    if may_lack {
        for fixture in &roster.fixtures {
            let mut circuits = Vec::with_capacity(fixture.len());
            for entry in &roster.entries[fixture.clone()] {
                circuits.push(roster.circuit(entry)?.0);
            }
            usage.add_fixture(plant, circuits.iter());
        }
    }
    Ok(usage)
}

fn status_of(audit: &Audit) -> u8 {
    use crate::tables::words::Verdict;
    let of = |verdict: Verdict| audit.tally.verdicts.get(&verdict).copied().unwrap_or(0);
    let open = audit.tally.majors + audit.tally.minors + audit.tally.purchase_majors + audit.tally.purchase_minors;
    let fails = of(Verdict::DoesNotConform) + of(Verdict::NotAssessed) + open + audit.tally.waiver_majors;
    if fails > 0 { DOES_NOT_CONFORM } else { CONFORMS }
}

/// `38 circuits: 22 conform, 1 with waivers, 14 do not conform, 1 not assessed. …`
fn summary_line(audit: &Audit) -> String {
    use crate::tables::words::Verdict;
    let tally = &audit.tally;
    let of = |verdict: Verdict| tally.verdicts.get(&verdict).copied().unwrap_or(0);
    let checked = tally.lines_read - tally.lines_set_aside;
    format!(
        "{} circuits: {} conform, {} conform with waivers, {} do not conform, {} not assessed. \
         {} majors, {} minors, {} observations, {} waived. \
         {} lines read, {} set aside, {checked} checked.",
        tally.circuits,
        of(Verdict::Conforms),
        of(Verdict::ConformsWithWaivers),
        of(Verdict::DoesNotConform),
        of(Verdict::NotAssessed),
        tally.majors + tally.purchase_majors + tally.waiver_majors,
        tally.minors + tally.purchase_minors,
        tally.observations,
        tally.waived,
        tally.lines_read,
        tally.lines_set_aside,
    )
}
