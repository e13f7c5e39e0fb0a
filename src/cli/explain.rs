//! `clampbook explain`: the calculation of one circuit.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Result, bail};
use clap::Args;

use crate::audit::limit::{Limit, LimitWords};
use crate::audit::outcome::Audit;
use crate::audit::what_if::difference;
use crate::audit::{self, Wanted};
use crate::circuit::roster::Roster;
use crate::cli::check::what_if::{
    BothReadings, audited, both_readings, changes_as_json, changes_in_text, edits_in_text,
};
use crate::cli::check::{root_of, say, tables_read};
use crate::cli::interrupt;
use crate::cli::screen::Screen;
use crate::read::Reading;
use crate::report::explanation::Explanation;
use crate::report::whole_file::{Batch, Mark, WholeFile, refuse_foreign, shown};
use crate::report::workbook::WorkbookOptions;
use crate::report::workbook::calculation::write_calculation;
use crate::tables::circuit::CircuitKey;
use crate::tables::escaped::escaped;

/// Show the calculation of one circuit: figures with formula, numbers and rows, and what the rules make of them.
#[derive(Args, Clone, Debug)]
pub struct ExplainArgs {
    /// The plant folder, or one workbook that stands for it
    pub plant: PathBuf,
    /// The circuit: plant/pallet/fixture/circuit, as short as it is unambiguous
    #[arg(value_name = "PLACE")]
    pub place: String,
    /// Read this policy instead of the plant's policy.toml
    #[arg(long, short = 'P', value_name = "FILE.toml")]
    pub policy: Option<PathBuf>,
    /// What if a cell held another text, as for `check`; may be repeated, and nothing is written
    #[arg(long, short, value_name = "CELL=TEXT")]
    pub set: Vec<String>,
    /// Say how sure the verdict is, by how far the data are known
    #[arg(long)]
    pub sure: bool,
    /// Write the calculation as one printed sheet
    #[arg(long, short, value_name = "FILE.xlsx")]
    pub out: Option<PathBuf>,
    /// Write over a file that clampbook did not write, too
    #[arg(long)]
    pub replace: bool,
    /// Print it as JSON, for scripts
    #[arg(long)]
    pub json: bool,
}

/// Runs the command; the calculation goes to `out`. Gives back the exit status.
///
/// # Errors
/// Where the plant can't be read, the place is none or more than one, or the sheet can't be written.
pub fn run(args: &ExplainArgs, out: &mut dyn Write) -> Result<u8> {
    let today = chrono::Local::now().date_naive();
    if !args.set.is_empty() {
        return run_what_if(args, today, out);
    }
    let reading = crate::read::open(&args.plant, args.policy.as_deref(), today)?;
    let file = args.out.as_deref().map(|path| opened(args, path, &reading)).transpose()?;
    let key = circuit_at(&reading, &args.place)?;
    let audit = pallet_audited(reading, &key, args.sure)?;
    let explanation = explained(&audit, &key)?;
    if let Some(mut file) = file {
        let written = write_calculation(&audit, &explanation, &WorkbookOptions::default(), &mut file);
        if let Some(failure) = file.failure() {
            return Err(failure.into());
        }
        written?;
        let mut batch = Batch::new();
        batch.add(file)?;
        batch.commit()?;
    }
    if args.json {
        let text = serde_json::to_string_pretty(&explanation.as_json())?;
        say(out, &text);
    } else {
        let lines = explanation.as_text(audit.plant.policy.units, Screen::of_output().columns);
        lines.iter().for_each(|line| say(out, line));
    }
    Ok(0)
}

/// The calculation as it would be, after what changes.
fn run_what_if(args: &ExplainArgs, today: chrono::NaiveDate, out: &mut dyn Write) -> Result<u8> {
    if args.out.is_some() {
        bail!("--out is about the plant as it is, and --set about one that isn't: leave out one or the other.");
    }
    let BothReadings { before, after, wishes } = both_readings(&args.plant, args.policy.as_deref(), today, &args.set)?;
    let key = circuit_at(&before, &args.place)?;
    let before = pallet_audited(before, &key, args.sure)?;
    let after = pallet_audited(after, &key, args.sure)?;
    let only = |mut audit: Audit| {
        audit.circuits.retain(|audit| audit.circuit.key == key);
        audit
    };
    let explanation = explained(&after, &key)?;
    let units = after.plant.policy.units;
    let (before, after) = (only(before), only(after));
    let changed = difference(&before, &after);
    if args.json {
        let edits = wishes.words.iter().map(|edit| {
            serde_json::json!({ "what": edit.what, "before": edit.before, "after": edit.after, "from": edit.from })
        });
        let all = serde_json::json!({
            "edits": edits.collect::<Vec<_>>(),
            "changed": changes_as_json(&before.plant, &after.plant, &changed)?,
            "after": explanation.as_json(),
        });
        say(out, &serde_json::to_string_pretty(&all)?);
        return Ok(0);
    }
    let mut lines = edits_in_text(&wishes.words, Screen::of_output().columns);
    lines.extend(changes_in_text(&before.plant, &after.plant, &changed, Screen::of_output().columns));
    lines.extend([String::new(), "The calculation as it would be:".to_owned(), String::new()]);
    lines.iter().for_each(|line| say(out, &escaped(line)));
    explanation.as_text(units, Screen::of_output().columns).iter().for_each(|line| say(out, line));
    Ok(0)
}

/// The circuit that a place names.
///
/// # Errors
/// Where it names none, or more than one.
pub fn circuit_at(reading: &Reading, place: &str) -> Result<CircuitKey> {
    let roster = Roster::of(&reading.plant, &reading.lists);
    let words = LimitWords { circuit: Some(place.to_owned()), ..LimitWords::default() };
    match Limit::of(&roster, &words)?.circuit() {
        Some(key) => Ok(key.clone()),
        None => bail!("'{place}' names no circuit."),
    }
}

/// The pallet of a circuit, audited with all that the circuit hangs on.
///
/// # Errors
/// Where a list can't be read any more.
pub fn pallet_audited(reading: Reading, key: &CircuitKey, sure: bool) -> Result<Audit> {
    let limit = Limit::to_pallet(&Roster::of(&reading.plant, &reading.lists), key);
    let pace = audit::sweep::Pace { is_interrupted: &interrupt::interrupted, ..audit::sweep::Pace::all_cores() };
    let wanted = Wanted { sure, limit: Some(&limit), pace, ..Wanted::default() };
    audited(reading, &wanted)
}

/// The calculation of a circuit of an audit.
///
/// # Errors
/// Where the audit has no such circuit.
pub fn explained(audit: &Audit, key: &CircuitKey) -> Result<Explanation> {
    let Some(circuit) = audit.circuits.iter().find(|circuit| circuit.circuit.key == *key) else {
        bail!("The circuit {} is not there any more.", key.path());
    };
    let explanation = Explanation::of(&audit.plant, &audit.circuits, circuit, &audit.elsewhere);
    let is_asked = audit.counts.sure.is_some();
    Ok(if is_asked { explanation.with_sureness(&audit.plant, circuit) } else { explanation })
}

/// The sheet's file, opened before the work; nothing that is read may be in its place.
fn opened(args: &ExplainArgs, path: &Path, reading: &Reading) -> Result<WholeFile> {
    if path.extension().is_none_or(|ending| !ending.eq_ignore_ascii_case("xlsx")) {
        bail!("{}: a workbook is written here, whose name ends in .xlsx. Choose another name.", shown(path));
    }
    let root = root_of(&args.plant);
    let mut inputs = tables_read(root, &reading.plant);
    inputs.add_file(&args.plant);
    inputs.add_file(&args.policy.clone().unwrap_or_else(|| root.join("policy.toml")));
    inputs.add_folder(&args.plant.join("lists"));
    inputs.refuse(path)?;
    refuse_foreign(path, Mark::Workbook, args.replace)?;
    Ok(WholeFile::create(path)?)
}
