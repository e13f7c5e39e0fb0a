//! `clampbook rules`: the catalogue as text.

use std::io::Write;

use anyhow::{Result, bail};
use clap::Args;

use crate::report::rule_pages::{about, list, nearest_code, page};
use crate::rules::catalogue::{CATALOGUE, rule};
use crate::tables::escaped::escaped;

/// Show the rule catalogue, or one rule of it.
#[derive(Args, Clone, Debug)]
pub struct RulesArgs {
    /// The rule to show in full, such as P05, or a word: the rules that are about it
    #[arg(value_name = "CODE or WORD")]
    pub word: Option<String>,
}

/// Runs the command; the text goes to `out`. Gives back the exit status.
///
/// # Errors
/// Where there is no such rule, exit status 2: a sentence that names the nearest.
pub fn run(args: &RulesArgs, out: &mut dyn Write) -> Result<u8> {
    let text = match &args.word {
        None => list(CATALOGUE),
        Some(word) => match (rule(&word.trim().to_ascii_uppercase()), about(word).as_slice()) {
            (Some(one), _) | (None, &[one]) => page(one),
            (None, []) => bail!(
                "No rule is about '{}'. The nearest code is {}; `clampbook rules` lists all.",
                escaped(word),
                nearest_code(word)
            ),
            (None, rules) => list(rules),
        },
    };
    out.write_all(text.as_bytes())?;
    Ok(0)
}
