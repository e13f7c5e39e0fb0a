//! `clampbook starter`: writes a plant folder to begin with.

use std::io::Write;
use std::path::PathBuf;

use anyhow::Result;
use clap::Args;

use crate::physics::unit::UnitSystem;
use crate::report::starter::{Form, refuse_full, write};
use crate::report::whole_file::{Inputs, shown};

/// Write an empty plant folder with headers, units and one example circuit.
#[derive(Args, Clone, Debug)]
pub struct StarterArgs {
    /// The folder to write; it must be empty or not exist yet
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
    /// One workbook, plant.xlsx, instead of a CSV file for each table
    #[arg(long)]
    pub xlsx: bool,
    /// US units in the headers and in the policy, instead of metric ones
    #[arg(long)]
    pub us: bool,
}

/// Runs the command; what was written is told on `out`. Gives back the exit status.
///
/// # Errors
/// Where nothing was written, exit status 2: a sentence.
pub fn run(args: &StarterArgs, out: &mut dyn Write) -> Result<u8> {
    let form = if args.xlsx { Form::Workbook } else { Form::Csv };
    let units = if args.us { UnitSystem::Us } else { UnitSystem::Metric };
    // Of a plant's own folder this is the reason, not what the plant would read next time.
    refuse_full(&args.folder)?;
    Inputs::default().refuse_folder(&args.folder)?;
    let written = write(&args.folder, form, units)?;
    for path in &written {
        writeln!(out, "{}", shown(path))?;
    }
    writeln!(out, "{} files written. Replace the example's rows by your own.", written.len())?;
    Ok(0)
}
