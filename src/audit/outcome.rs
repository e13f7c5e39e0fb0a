//! What one run found out: everything that the outputs show.

use serde::{Deserialize, Serialize};

use crate::tables::circuit::CircuitKey;
use crate::tables::finding::Finding;
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;

use crate::audit::buying_doubts::BuyingDoubts;
use crate::audit::counts::Counts;
use crate::audit::due::Due;
use crate::audit::limit::Limit;
pub use crate::audit::previous::ClearedRow;
use crate::audit::to_buy::ToBuy;
use crate::circuit::audited::CircuitAudit;
use crate::remedy::remedy_row::RemedyRow;

/// A row of a list as given, for the Lines sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct ListedRow {
    pub origin: Origin,
    /// The cells as given, one for each header cell of the source, in order.
    pub cells: Vec<String>,
    /// The circuit it counts for; `None` where it can't be told or the row isn't checked.
    pub place: Option<CircuitKey>,
}

/// A row of the history file: one run.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct HistoryRow {
    /// ISO 8601.
    pub date: String,
    pub circuits: u64,
    pub conforming: u64,
    pub majors: u64,
    pub minors: u64,
    pub waived: u64,
    pub not_assessed: u64,
    pub tool: String,
    pub policy_hash: String,
    /// Circuits in service, and those of them that do not conform; not known of runs of earlier versions.
    #[serde(default)]
    pub in_service: Option<u64>,
    #[serde(default)]
    pub unsafe_in_service: Option<u64>,
}

impl HistoryRow {
    /// Circuits that do not conform.
    #[must_use]
    pub const fn not_conforming(&self) -> u64 {
        self.circuits.saturating_sub(self.conforming).saturating_sub(self.not_assessed)
    }
}

/// Everything that one run found out.
#[derive(Clone, Debug)]
pub struct Audit {
    pub plant: Plant,
    /// In key order.
    pub circuits: Vec<CircuitAudit>,
    /// Findings on parts, load stations, orders and waivers, in the order of `findings.csv`: place, side, position,
    /// part, rule. Those on circuits stand with their circuit.
    pub elsewhere: Vec<Finding>,
    pub purchase: Vec<PurchaseRow>,
    /// What is still to be ordered, by supplier.
    pub to_buy: Vec<ToBuy>,
    /// What buying rests on and could not be read or counted.
    pub buying: BuyingDoubts,
    /// The earliest first.
    pub due: Vec<Due>,
    pub remedies: Vec<RemedyRow>,
    /// Rows of the lists as given, in the order of the files.
    pub listed: Vec<ListedRow>,
    /// Rows that `listed` leaves out since it holds only those with remarks; 0 where it holds all.
    pub listed_left_out: u64,
    pub counts: Counts,
    /// The part of the plant that was looked at, where it is not all of it.
    pub limit: Option<Limit>,
    /// Whether there was a previous run to compare with.
    pub has_previous: bool,
    /// Findings of the previous run that are gone.
    pub cleared: Vec<ClearedRow>,
    /// Earlier runs and this one, oldest first; empty where no history is kept.
    pub history: Vec<HistoryRow>,
}

impl Audit {
    /// All findings, in the order of `findings.csv`: on no circuit first, then circuit by circuit.
    pub fn findings(&self) -> impl Iterator<Item = &Finding> + Clone {
        self.elsewhere.iter().chain(self.circuits.iter().flat_map(|circuit| &circuit.findings))
    }
}
