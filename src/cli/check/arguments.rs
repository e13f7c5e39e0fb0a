//! The arguments of `clampbook check`.

use std::path::PathBuf;
use std::str::FromStr;

use anyhow::{Result, bail};
use clap::{Args, ValueEnum};
use sha2::{Digest, Sha256};

use crate::audit::limit::LimitWords;
use crate::audit::sweep::Pace;
use crate::cli::interrupt;
use crate::tables::circuit::CircuitKey;

/// A part of the outputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Only {
    /// Summary of buying, Purchase, the B findings, Sources, and a request for quotation for each supplier.
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
    /// The component table, where PLANT is one list or holds none
    #[arg(long, value_name = "FILE", conflicts_with_all = ["apply_remedies", "shard"])]
    pub components: Option<PathBuf>,
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
    /// Audit only part K of N, for `merge`: by files of lists where these are even, else by pallets
    #[arg(long, value_name = "K/N", requires = "data", conflicts_with_all = ["out", "cards", "history", "apply_remedies", "with_remedies", "ical", "parquet", "only"])]
    pub shard: Option<Shard>,
    /// Worker threads; all cores where not given
    #[arg(long, short, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    #[command(flatten)]
    pub limit: LimitArgs,
    /// What if a cell held another text: PLACE:POSITION=PART, PLACE:POSITION.qty=3, STATION.pump_setting="300 bar" or
    /// PLACE.temp_min="5 degC"; may be repeated, and nothing is written
    #[arg(long, short, value_name = "CELL=TEXT")]
    pub set: Vec<String>,
    /// Print the summary and every finding as JSON, for scripts
    #[arg(long, conflicts_with_all = ["shard", "apply_remedies"])]
    pub json: bool,
    /// Print everything, not only what fits a screen
    #[arg(long, short)]
    pub all: bool,
    /// No progress on the terminal
    #[arg(long, short)]
    pub quiet: bool,
}

/// The part of the plant that is looked at.
#[derive(Args, Clone, Debug, Default)]
pub struct LimitArgs {
    /// Look at the circuits of this plant alone
    #[arg(long = "plant", id = "limit_plant", value_name = "NAME")]
    pub plant: Option<String>,
    /// Look at the circuits of this pallet alone
    #[arg(long, value_name = "PALLET")]
    pub pallet: Option<String>,
    /// Look at this circuit alone: plant/pallet/fixture/circuit, as short as it is unambiguous
    #[arg(long, value_name = "PLACE")]
    pub circuit: Option<String>,
}

impl LimitArgs {
    /// What is asked for.
    #[must_use]
    pub fn words(&self) -> LimitWords {
        LimitWords { plant: self.plant.clone(), pallet: self.pallet.clone(), circuit: self.circuit.clone() }
    }
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
        if self.limit.words().is_empty() {
            return Ok(());
        }
        // What is written for others, or compared with, is a statement on the whole plant.
        let written = [
            ("--out", self.out.is_some()),
            ("--data", self.data.is_some()),
            ("--previous", self.previous.is_some()),
            ("--history", self.history.is_some()),
            ("--cards", self.cards.is_some()),
            ("--ical", self.ical.is_some()),
            ("--only", self.only.is_some()),
            ("--with-remedies", self.with_remedies),
            ("--apply-remedies", self.apply_remedies.is_some()),
        ];
        if let Some((option, _)) = written.into_iter().find(|(_, is_given)| *is_given) {
            bail!(
                "{option} is about the whole plant, and --plant, --pallet and --circuit look at a part of it: leave out \
                 one or the other. `clampbook explain PLANT PLACE --out FILE.xlsx` writes the calculation of one circuit."
            );
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
