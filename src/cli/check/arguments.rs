//! The arguments of `clampbook check`.

use std::path::PathBuf;
use std::str::FromStr;

use anyhow::{Result, bail};
use clap::{Args, ValueEnum};
use sha2::{Digest, Sha256};

use crate::audit::sweep::Pace;
use crate::cli::interrupt;
use crate::tables::circuit::CircuitKey;

/// A part of the outputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Only {
    /// Summary of buying, Purchase, a request for quotation for each supplier, the B findings and Sources.
    Purchase,
}

/// Remedies that are applied only where asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Apply {
    /// Those that clear observations alone, on circuits that are not built.
    Observations,
    /// Those on built circuits and stations, too.
    ObservationsBuilt,
}

/// Audits a plant and writes what it finds.
#[derive(Args, Clone, Debug)]
pub struct CheckArgs {
    /// The plant folder, or one workbook that stands for it
    pub plant: PathBuf,
    /// Write the workbook here
    #[arg(long, short, value_name = "FILE.xlsx")]
    pub out: Option<PathBuf>,
    /// Write the data files into this folder
    #[arg(long, short, value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// Read this policy instead of the plant's policy.toml
    #[arg(long, short = 'P', value_name = "FILE.toml")]
    pub policy: Option<PathBuf>,
    /// Compare with an earlier run's data folder
    #[arg(long, short, value_name = "DIR")]
    pub previous: Option<PathBuf>,
    /// Append this run to a history file
    #[arg(long, value_name = "FILE.csv")]
    pub history: Option<PathBuf>,
    /// Write and say only what concerns buying
    #[arg(long, value_enum)]
    pub only: Option<Only>,
    /// Write a load card for each pallet
    #[arg(long, short, value_name = "FILE.xlsx")]
    pub cards: Option<PathBuf>,
    /// Write a changed copy of the plant, proved remedies applied, and audit it
    #[arg(long, value_name = "OUTDIR")]
    pub apply_remedies: Option<PathBuf>,
    /// Write over files that clampbook did not write, too
    #[arg(long)]
    pub replace: bool,
    /// Count the parts that proved remedies need as needed, on built circuits too
    #[arg(long)]
    pub with_remedies: bool,
    /// Apply remedies that clear observations alone, too
    #[arg(long, value_enum, value_name = "WHAT")]
    pub apply: Vec<Apply>,
    /// Write what falls due into a calendar file
    #[arg(long, value_name = "FILE.ics")]
    pub ical: Option<PathBuf>,
    /// Do not search remedies
    #[arg(long, conflicts_with_all = ["apply_remedies", "with_remedies"])]
    pub no_remedies: bool,
    /// Say how sure each verdict is, by how far the data are known ([spread] of the policy)
    #[arg(long)]
    pub sure: bool,
    /// Write Parquet files beside the data files
    #[arg(long, requires = "data")]
    pub parquet: bool,
    /// Audit only the pallets of part K of N, for `merge`
    #[arg(long, value_name = "K/N", requires = "data", conflicts_with_all = ["out", "cards", "history", "apply_remedies", "with_remedies", "ical", "parquet", "only"])]
    pub shard: Option<Shard>,
    /// Worker threads; all cores where not given
    #[arg(long, short, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Print everything, not only what fits a screen
    #[arg(long, short)]
    pub all: bool,
    /// No progress on the terminal
    #[arg(long, short)]
    pub quiet: bool,
}

impl CheckArgs {
    /// Refuses options that have nothing to be about.
    ///
    /// # Errors
    /// Names the options of which one is needed.
    pub fn refuse_idle_options(&self) -> Result<()> {
        if !self.apply.is_empty() && self.apply_remedies.is_none() && !self.with_remedies {
            bail!("--apply says which remedies are applied: give --apply-remedies OUTDIR or --with-remedies too.");
        }
        Ok(())
    }

    /// The threads that are asked for; an interrupt stops them.
    #[must_use]
    pub fn pace(&self) -> Pace<'static> {
        let all = Pace::all_cores();
        Pace { threads: self.threads.map_or(all.threads, usize::from), is_interrupted: &interrupt::interrupted }
    }
}

/// Part K of N, by pallet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shard {
    /// 1 to `of`.
    pub part: u32,
    pub of: u32,
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let expected = || format!("'{text}' is no part of a whole. Expected K/N such as 2/8, K from 1 to N.");
        let (part, of) = text.split_once('/').ok_or_else(expected)?;
        let shard =
            Self { part: part.trim().parse().map_err(|_| expected())?, of: of.trim().parse().map_err(|_| expected())? };
        if shard.part >= 1 && shard.part <= shard.of && shard.of <= 100_000 { Ok(shard) } else { Err(expected()) }
    }
}

impl Shard {
    /// Whether a circuit's pallet belongs to the shard: by a hash of plant and pallet that is the
    /// same on every machine.
    #[must_use]
    pub fn has(self, key: &CircuitKey) -> bool {
        let digest = Sha256::new().chain_update(&key.plant).chain_update([0]).chain_update(&key.pallet).finalize();
        let mut bytes = [0; 8];
        bytes.copy_from_slice(&digest[..8]);
        u64::from_be_bytes(bytes) % u64::from(self.of) == u64::from(self.part - 1)
    }
}
