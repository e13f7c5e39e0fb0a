//! `clampbook find`: where a part, a position or a circuit is used, with file and row.

use std::io::Write;
use std::path::PathBuf;

use anyhow::{Result, bail};
use clap::Args;

use crate::audit::mentions::{Mention, NamedBy, mentions};
use crate::circuit::roster::Roster;
use crate::cli::check::say;
use crate::cli::screen::Screen;
use crate::report::plain_text::aligned;
use crate::tables::counted::counted;
use crate::tables::escaped::escaped;
use crate::tables::plant::Plant;

/// Say where a part, a position, a circuit or a load station is named.
#[derive(Args, Clone, Debug)]
pub struct FindArgs {
    /// The plant folder, or one workbook that stands for it
    pub plant: PathBuf,
    /// A part of the name, in any case
    #[arg(value_name = "TEXT")]
    pub text: String,
    /// Read this policy instead of the plant's policy.toml
    #[arg(long, short = 'P', value_name = "FILE.toml")]
    pub policy: Option<PathBuf>,
}

const HEADINGS: [(NamedBy, &str); 7] = [
    (NamedBy::Component, "In the component table"),
    (NamedBy::Part, "On lines, by part"),
    (NamedBy::Position, "On lines, by position"),
    (NamedBy::Circuit, "Circuits"),
    (NamedBy::Station, "Load stations"),
    (NamedBy::Order, "Orders"),
    (NamedBy::Waiver, "Waivers"),
];

/// Runs the command; what is found goes to `out`. Gives back the exit status.
///
/// # Errors
/// Where the plant can't be read, or nothing has the name: a sentence that names the nearest.
pub fn run(args: &FindArgs, out: &mut dyn Write) -> Result<u8> {
    if args.text.trim().is_empty() {
        bail!("No name is given to find. Expected a part of a part number, a position or a place.");
    }
    let today = chrono::Local::now().date_naive();
    let reading = crate::read::open(&args.plant, args.policy.as_deref(), today)?;
    let plant = &reading.plant;
    let found = mentions(&Roster::of(plant, &reading.lists), &args.text)?;
    if found.is_empty() {
        let near = plant.part_index.nearest(args.text.trim()).names;
        let near = near.first().map(|near| format!(" The nearest part is {}.", escaped(near))).unwrap_or_default();
        bail!("No part, position, circuit or load station has '{}' in its name.{near}", escaped(&args.text));
    }
    for (by, heading) in HEADINGS {
        let of_kind: Vec<&Mention> = found.iter().filter(|mention| mention.by == by).collect();
        if of_kind.is_empty() {
            continue;
        }
        say(out, &format!("{heading}: {}", counted(of_kind.len() as u64, "row")));
        let rows: Vec<Vec<String>> = of_kind.iter().map(|mention| cells(plant, mention)).collect();
        aligned(&rows, Screen::of_output().columns).iter().for_each(|line| say(out, line));
    }
    Ok(0)
}

fn cells(plant: &Plant, mention: &Mention) -> Vec<String> {
    let source = plant.source_place(mention.origin);
    let mut cells = vec![format!("  {}", mention.place.path())];
    if mention.place.path().is_empty() {
        cells.clear();
    }
    cells.extend(
        [&mention.position, &mention.part_no, &mention.says].into_iter().filter(|text| !text.is_empty()).cloned(),
    );
    cells.push(format!("{source}, row {}", mention.origin.row));
    let mut cells: Vec<String> = cells.iter().map(|cell| escaped(cell).into_owned()).collect();
    if let Some(first) = cells.first_mut()
        && !first.starts_with("  ")
    {
        first.insert_str(0, "  ");
    }
    cells
}
