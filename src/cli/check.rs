//! `clampbook check`: the main job.

mod answer;
mod applying;
mod arguments;
mod buying_answer;
pub mod outputs;
pub mod part;
pub mod what_if;

use std::collections::BTreeSet;
use std::io::Write;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use anyhow::{Context, Result};

use crate::audit::input_causes::{InputCause, gravest, input_causes, policy_key};
use crate::audit::limit::Limit;
use crate::audit::outcome::Audit;
use crate::audit::previous::Previous;
use crate::audit::sweep::RunError;
use crate::audit::{self, Wanted};
use crate::circuit::roster::Roster;
use crate::cli::progress::Progress;
use crate::cli::screen::Screen;
use crate::read::Lists;
use crate::remedy::remedy_row::RemedyRow;
use crate::report::buying_words::{in_short, of_changes};
use crate::report::plain_text::wrapped;
use crate::report::run_folder::{self, RunFolder};
use crate::report::whole_file::Inputs;
use crate::rules::relaxed::Relaxed;
use crate::tables::column::Table;
use crate::tables::counted::{counted, counted_or_no};
use crate::tables::escaped::escaped;
use crate::tables::plant::Plant;

pub use applying::Applied;
pub use arguments::{CheckArgs, LimitArgs, Only, Shard};

use answer::ToldBeside;
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
    if !args.set.is_empty() {
        return what_if::run(args, out);
    }
    args.refuse_idle_options()?;
    applying::refuse(args)?;
    let today = chrono::Local::now().date_naive();
    if let Some(shard) = args.shard {
        return part::run(args, shard, today, out);
    }
    let components = args.components.as_deref();
    let reading = crate::read::open_with_components(&args.plant, args.policy.as_deref(), components, today)?;
    let (plant, lists) = (reading.plant, reading.lists);
    let (previous, run) = previous_of(args, &plant)?;
    let inputs = inputs_of(args, &plant);
    if let Some(target) = &args.apply_remedies {
        inputs.refuse_folder(target)?;
    }
    let mut outputs = Outputs::open(args, &inputs, previous.is_some(), run)?;
    let progress = Progress::start("Auditing circuits", args.quiet);
    let words = args.limit.words();
    let limit = if words.is_empty() { None } else { Some(Limit::of(&Roster::of(&plant, &lists), &words)?) };
    let wanted = Wanted {
        remedies: !args.no_remedies,
        sure: args.sure,
        circuits: outputs.keeps_audits(),
        pallets: None,
        limit: limit.as_ref(),
        pace: args.pace(),
        progress: &|more, total| progress.advance(more, total),
        apply: None,
    };
    let applied = Mutex::new(None);
    let apply = |plant: &Plant, remedies: &mut [RemedyRow]| {
        let made = applying::apply(args, plant, &lists, remedies).map_err(|error| match error.downcast() {
            Ok(error) => error,
            Err(error) => RunError::Output(format!("{error:#}")),
        })?;
        *applied.lock().unwrap_or_else(PoisonError::into_inner) = Some(made);
        Ok(())
    };
    let wanted = Wanted { apply: if applying::is_wanted(args) { Some(&apply) } else { None }, ..wanted };
    let audit = outputs.with_rows(|rows| audit::whole(plant, &lists, previous.as_ref(), &wanted, rows))?;
    progress.finish();
    let applied = applied.into_inner().unwrap_or_else(PoisonError::into_inner);
    conclude(args, audit, &lists, outputs, applied, out)
}

/// The earlier run to compare with, and this run's id.
///
/// # Errors
/// Where the earlier run's folder can't be used, or holds files of different runs.
pub fn previous_of(args: &CheckArgs, plant: &Plant) -> Result<(Option<Previous>, String)> {
    previous_over(args, plant, &run_folder::source_hashes(plant))
}

/// The same with an id over some of the plant's sources.
///
/// # Errors
/// As [`previous_of`].
pub fn previous_over(args: &CheckArgs, plant: &Plant, sources: &[String]) -> Result<(Option<Previous>, String)> {
    let earlier = earlier_run(args)?;
    let id = id_after(earlier.as_ref(), args, plant, sources);
    let Some((folder, earlier)) = args.previous.as_ref().zip(earlier) else { return Ok((None, id)) };
    let file = earlier.file("findings.csv").context("--previous")?;
    let (_, policy) = run_folder::policy_of(plant);
    let has_other_policy = earlier.summary.policy_hash != policy;
    let previous = Previous::of(folder.join("findings.csv"), file)?.judged_by(has_other_policy);
    Ok((Some(previous), id))
}

/// The id of a run over some of the plant's sources.
///
/// # Errors
/// Where the earlier run's folder can't be used.
pub fn id_over(args: &CheckArgs, plant: &Plant, sources: &[String]) -> Result<String> {
    Ok(id_after(earlier_run(args)?.as_ref(), args, plant, sources))
}

fn earlier_run(args: &CheckArgs) -> Result<Option<RunFolder>> {
    args.previous.as_deref().map(RunFolder::open).transpose().context("--previous")
}

fn id_after(earlier: Option<&RunFolder>, args: &CheckArgs, plant: &Plant, sources: &[String]) -> String {
    let findings = earlier.and_then(|earlier| earlier.summary.files.get("findings.csv"));
    run_folder::run_id(sources, plant, findings.map(String::as_str), !args.no_remedies)
}

/// What no output may take the place of: everything that the command reads.
#[must_use]
pub fn inputs_of(args: &CheckArgs, plant: &Plant) -> Inputs {
    let root = root_of(&args.plant);
    let policy = args.policy.clone().unwrap_or_else(|| root.join("policy.toml"));
    let mut inputs = tables_read(root, plant);
    inputs.add_file(&args.plant);
    if let Some(components) = &args.components {
        inputs.add_file(components);
    }
    if !plant.policy.mail.ca_file.is_empty() {
        inputs.add_file(&policy.parent().unwrap_or(Path::new("")).join(&plant.policy.mail.ca_file));
    }
    inputs.add_file(&policy);
    let is_one_workbook = args.plant.is_dir() && is_one_workbook(plant);
    inputs.set_plant(if root.as_os_str().is_empty() { Path::new(".") } else { root }, is_one_workbook);
    if let Some(previous) = &args.previous {
        inputs.add_folder(previous);
    }
    inputs
}

/// The folder of a plant.
#[must_use]
pub fn root_of(plant: &Path) -> &Path {
    if plant.is_file() { plant.parent().unwrap_or(Path::new("")) } else { plant }
}

/// The files that tables were read from. What is passed over is read by nobody; that it is not written over unasked is
/// looked after elsewhere.
#[must_use]
pub fn tables_read(root: &Path, plant: &Plant) -> Inputs {
    let read = plant.sources.iter().filter(|source| source.table.is_some());
    Inputs::of(read.map(|source| root.join(&source.file)))
}

/// Whether lists and components are sheets of one file.
fn is_one_workbook(plant: &Plant) -> bool {
    let file_of =
        |table: Table| plant.sources.iter().find(|source| source.table == Some(table)).map(|source| &source.file);
    file_of(Table::Components).is_some() && file_of(Table::Components) == file_of(Table::Lists)
}

/// Tells the user something that is no output: a closed pipe or a full disk behind it changes
/// neither the files nor the exit status.
pub fn say(out: &mut dyn Write, text: &str) {
    let _ = writeln!(out, "{text}");
}

/// Tables of which nothing but what is required was understood, first; then how many headers name no known column.
fn header_warnings(audit: &Audit) -> Vec<String> {
    let plant = &audit.plant;
    let bare = plant.sources.iter().filter(|source| source.knows_only_required());
    let mut lines: Vec<String> = bare
        .map(|source| {
            format!("{}: none of its headers but the required ones is known; see Input.", escaped(&source.place()))
        })
        .collect();
    lines.extend(left_out(plant));
    lines.extend(plant.rests_on().iter().map(|sentence| escaped(sentence).into_owned()));
    let beside = audit.counts.beside.sentences(&plant.policy);
    lines.extend(beside.iter().map(|sentence| escaped(sentence).into_owned()));
    lines.extend(unknown_headers(plant));
    lines
}

/// How many headers name no known column, and the first of them.
fn unknown_headers(plant: &Plant) -> Option<String> {
    const NAMED: usize = 3;
    let texts: BTreeSet<&str> = plant.unknown_headers().map(|(_, _, header)| header.text.as_str()).collect();
    let unknown = plant.unknown_headers().count();
    let named: Vec<String> = texts.iter().take(NAMED).map(|text| format!("'{}'", escaped(text))).collect();
    let more = if texts.len() > NAMED { ", ..." } else { "" };
    let (headers, name) = if unknown == 1 { ("header", "names") } else { ("headers", "name") };
    let named = named.join(", ");
    (unknown > 0)
        .then(|| format!("{unknown} {headers} {name} no known column ({named}{more}); Input names the nearest."))
}

/// That there may be more to buy than what the lists need.
fn needed_by_remedies(audit: &Audit) -> Option<String> {
    let applied = audit.remedies.iter().filter(|row| row.is_applied()).count() as u64;
    let majors = audit.counts.purchasing.majors;
    (applied > 0).then(|| {
        format!(
            "Purchasing counts what {}, too; it has {}.{}",
            if applied == 1 { "1 applied remedy needs".to_owned() } else { format!("{applied} applied remedies need") },
            counted_or_no(majors, "major"),
            of_changes(audit).map(|sentence| format!(" {sentence}")).unwrap_or_default()
        )
    })
}

/// What keeps a plant without a circuit from looking as if it conformed.
fn empty_warning(audit: &Audit) -> Option<String> {
    let aside = match audit.counts.lines_set_aside {
        0 => String::new(),
        1 => " 1 line was set aside, and its circuit can't be told; see Input.".to_owned(),
        more => format!(" {more} lines were set aside, and their circuits can't be told; see Input."),
    };
    (audit.counts.circuits.total == 0).then(|| format!("The lists name no circuit, so that none was checked.{aside}"))
}

/// What of the input matters most, in a row each: how many cells, where, what was found and what mends it.
fn input_rows(plant: &Plant, all: bool) -> Vec<String> {
    const MOST: usize = 3;
    let causes = input_causes(&plant.notes);
    let row = |cause: &&InputCause| {
        let note = &cause.note;
        let place = plant.source_place(note.origin);
        let what = match (note.column.is_empty(), note.found.is_empty()) {
            (true, true) => String::new(),
            (false, true) => format!("{}: ", note.column),
            (true, false) => format!("'{}': ", note.found),
            (false, false) => format!("{} '{}': ", note.column, note.found),
        };
        let way = policy_key(&note.message).map_or_else(|| note.message.clone(), |key| format!("{key} of the policy"));
        let cells = counted(cause.cells, if note.letter.is_empty() { "row" } else { "cell" });
        escaped(&format!("{cells}: {what}{way} ({place} {}{})", note.letter, note.origin.row)).into_owned()
    };
    gravest(&causes).iter().take(if all { usize::MAX } else { MOST }).map(row).collect()
}

/// What was not read though it may hold a part of the plant.
fn left_out(plant: &Plant) -> Option<String> {
    plant.not_read_in_words().map(|sentence| escaped(&sentence).into_owned())
}

/// Writes the outputs and says how it went.
///
/// # Errors
/// Where an output can't be written.
pub fn conclude(
    args: &CheckArgs,
    mut audit: Audit,
    lists: &Lists,
    outputs: Outputs,
    applied: Option<Applied>,
    out: &mut dyn Write,
) -> Result<u8> {
    // The last reading is done: the report certifies the bytes that it used.
    lists.unchanged()?;
    let status = status_of(&audit);
    let written = outputs.write(args, &mut audit)?;
    let applied = applied.map(Applied::commit).transpose()?;
    if let Some(json) = &written.json {
        // What is no answer stays out of what a script reads.
        let warnings = empty_warning(&audit).into_iter().chain(header_warnings(&audit));
        warnings.chain(written.warning).for_each(|line| eprintln!("{line}"));
        let _ = out.write_all(json);
    } else {
        let relaxed = Relaxed::of(&audit.plant.policy).sentence();
        let (limit, has_previous) = (audit.limit.as_ref(), audit.has_previous);
        let screen = Screen::of_output();
        let warnings =
            empty_warning(&audit).into_iter().chain(header_warnings(&audit)).chain(needed_by_remedies(&audit));
        // Who reads a file or a pipe finds each sentence in one row.
        let columns = if screen.cuts { screen.columns } else { usize::MAX };
        let warnings: Vec<String> = warnings.flat_map(|line| wrapped(&line, columns, 0)).collect();
        // The answer itself has room for one row more.
        let screen = Screen { rows: (screen.rows + 1).saturating_sub(warnings.len().max(1)), ..screen };
        let lines = match args.only {
            Some(Only::Purchase) => buying_answer::answer(&audit, relaxed, screen, args.all),
            None => {
                let input = input_rows(&audit.plant, args.all);
                let buying = in_short(&audit);
                let told = ToldBeside { limit, buying: &buying, relaxed: relaxed.as_deref(), has_previous };
                answer::answer(&audit.counts, told, input, screen, args.all)
            }
        };
        warnings.into_iter().chain(lines).for_each(|line| say(out, &line));
        applied.iter().chain(&written.warning).for_each(|text| say(out, text));
    }
    // To give back very much memory takes long, and the process may end before it is done.
    let _ = std::thread::Builder::new().spawn(move || drop(audit));
    Ok(status)
}

fn status_of(audit: &Audit) -> u8 {
    let (circuits, findings) = (audit.counts.circuits, audit.counts.all_findings());
    let fails = circuits.does_not_conform + circuits.not_assessed + findings.majors + findings.minors;
    // What could not be read has not passed, and where there is nothing nothing has.
    let is_unsure = audit.counts.lines_set_aside > 0 || circuits.total == 0 || !audit.buying.lacks.is_empty();
    if fails > 0 || is_unsure { DOES_NOT_CONFORM } else { CONFORMS }
}

/// `38 circuits: 22 conform, 1 with waivers, 14 do not conform, 1 not assessed. …`
fn summary_line(audit: &Audit) -> String {
    answer::counts_in_words(&audit.counts).join(" ")
}
