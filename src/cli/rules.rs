//! `clampbook rules`: the catalogue as text.

use std::io::Write;

use anyhow::{Result, anyhow};
use clap::Args;

use crate::report::rule_pages::{list, nearest_code, page};
use crate::rules::catalogue::rule;

/// Show the rule catalogue, or one rule of it.
#[derive(Args, Clone, Debug)]
pub struct RulesArgs {
    /// The rule to show in full, such as P05
    #[arg(value_name = "CODE")]
    pub code: Option<String>,
}

/// Runs the command; the text goes to `out`. Gives back the exit status.
///
/// # Errors
/// Where there is no such rule, exit status 2: a sentence that names the nearest.
pub fn run(args: &RulesArgs, out: &mut dyn Write) -> Result<u8> {
    let text = match &args.code {
        None => list(),
        Some(code) => {
            let found = rule(&code.trim().to_ascii_uppercase());
            page(found.ok_or_else(|| {
                anyhow!(
                    "There is no rule '{}'. The nearest is {}; `clampbook rules` lists all.",
                    code.escape_default(),
                    nearest_code(code)
                )
            })?)
        }
    };
    out.write_all(text.as_bytes())?;
    Ok(0)
}
