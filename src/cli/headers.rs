//! `clampbook headers`: what the files of a plant seem to hold, and what its policy should say.

use std::fmt::Write as _;
use std::io::Write;
use std::path::PathBuf;

use anyhow::{Context, Result};
use clap::Args;

use crate::read::headers::{Seen, SeenSheet, look};
use crate::report::whole_file::WholeFile;
use crate::tables::counted::counted;
use crate::tables::escaped::escaped;

/// Say which file is which table and which header which column.
#[derive(Args, Clone, Debug)]
pub struct HeadersArgs {
    /// The plant folder
    #[arg(value_name = "PLANT")]
    pub plant: PathBuf,
    /// Put what is proposed into the plant's policy.toml, never over a value that is there
    #[arg(long)]
    pub write: bool,
}

/// Runs the command; the text goes to `out`. Gives back the exit status.
///
/// # Errors
/// Where the folder can't be read or the policy can't be written.
pub fn run(args: &HeadersArgs, out: &mut dyn Write) -> Result<u8> {
    let seen = look(&args.plant, chrono::Local::now().date_naive())?;
    out.write_all(text(&seen).as_bytes())?;
    let proposal = seen.proposal.to_toml();
    if proposal.trim().is_empty() {
        writeln!(out, "\nThe policy needs no entry: every header and file is known by its name, or is carried along.")?;
        return Ok(0);
    }
    if !args.write {
        out.write_all(format!("\npolicy.toml:\n\n{proposal}").as_bytes())?;
        return Ok(0);
    }
    let path = args.plant.join("policy.toml");
    let shown = || format!("{}: the policy can't be written", escaped(&path.display().to_string()));
    let before = if path.exists() { std::fs::read_to_string(&path).with_context(shown)? } else { String::new() };
    let mut file = WholeFile::create(&path)?;
    file.write_all(seen.proposal.written_into(&before).as_bytes()).with_context(shown)?;
    file.commit()?;
    writeln!(out, "\n{} has what was proposed.", escaped(&path.display().to_string()))?;
    Ok(0)
}

fn text(seen: &Seen) -> String {
    let mut text = String::new();
    for sheet in &seen.sheets {
        let _ = writeln!(text, "{}: {}", escaped(&sheet.place()), table(sheet));
        for header in &sheet.headers {
            let what = match header.column {
                Some(column) => format!("{column}, by {}", header.by),
                None if header.candidates.is_empty() => "no column of the table; carried along".to_owned(),
                None => format!("may be {}; not matched", header.candidates.join(" or ")),
            };
            let _ = writeln!(
                text,
                "  {} '{}' ({}): {what}",
                header.letter,
                escaped(&header.text),
                counted(u64::try_from(header.cells).unwrap_or(u64::MAX), "cell")
            );
        }
    }
    text
}

fn table(sheet: &SeenSheet) -> String {
    match sheet.table {
        None if sheet.is_matrix => {
            format!("seems to hold quantities by part and circuit, header in row {}", sheet.row)
        }
        Some(table) => format!("seems to be {table}, header in row {}", sheet.row),
        None => {
            let tables: Vec<String> = sheet.candidates.iter().map(ToString::to_string).collect();
            format!("may be {}", tables.join(" or "))
        }
    }
}
