//! `clampbook columns`: what the tables of a plant may hold.

use std::io::Write;

use anyhow::{Result, anyhow};
use clap::Args;

use crate::report::column_pages::columns;
use crate::tables::column::Table;
use crate::tables::escaped::escaped;

/// Show the columns of every table, or of one.
#[derive(Args, Clone, Debug)]
pub struct ColumnsArgs {
    /// The table: lists, components, circuits, stations, orders or waivers
    #[arg(value_name = "TABLE")]
    pub table: Option<String>,
}

/// Runs the command; the text goes to `out`. Gives back the exit status.
///
/// # Errors
/// Where there is no such table, exit status 2: a sentence that names them.
pub fn run(args: &ColumnsArgs, out: &mut dyn Write) -> Result<u8> {
    let text = match &args.table {
        None => columns(Table::ALL),
        Some(name) => {
            let table = Table::find(name.trim());
            columns(&[table.ok_or_else(|| {
                anyhow!("There is no table '{}'. The tables are {}.", escaped(name), Table::WORDS.join(", "))
            })?])
        }
    };
    out.write_all(text.as_bytes())?;
    Ok(0)
}
