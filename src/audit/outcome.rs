//! What one run found out: everything that the outputs show.

use std::collections::BTreeMap;

use crate::tables::circuit::CircuitKey;
use crate::tables::finding::Finding;
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;
use crate::tables::words::Verdict;

use crate::audit::counts::Counts;
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

/// Counts of a run; purchasing has its own.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    pub circuits: u64,
    pub lines_read: u64,
    pub lines_set_aside: u64,
    /// Circuits by verdict.
    pub verdicts: BTreeMap<Verdict, u64>,
    /// Unwaived findings of all kinds but B and W.
    pub majors: u64,
    pub minors: u64,
    pub observations: u64,
    pub waived: u64,
    /// Unwaived B findings that are major or minor.
    pub purchase_majors: u64,
    pub purchase_minors: u64,
    /// Unwaived W findings that are major or minor.
    pub waiver_majors: u64,
    /// By state, where there is a previous run.
    pub new: u64,
    pub standing: u64,
    pub cleared: u64,
}

/// A finding of the previous run that is gone: the row of its `findings.csv`, by column.
pub type ClearedRow = Vec<String>;

/// A row of the history file: one run.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
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
}

/// Everything that one run found out.
#[derive(Clone, Debug)]
pub struct Audit {
    pub plant: Plant,
    /// In key order.
    pub circuits: Vec<CircuitAudit>,
    /// All findings, the circuits' included, in the order of `findings.csv`: place, side, position,
    /// part, rule.
    pub findings: Vec<Finding>,
    pub purchase: Vec<PurchaseRow>,
    pub remedies: Vec<RemedyRow>,
    /// Rows of the lists as given, in the order of the files.
    pub listed: Vec<ListedRow>,
    /// Rows that `listed` leaves out since it holds only those with remarks; 0 where it holds all.
    pub listed_left_out: u64,
    pub tally: Tally,
    pub counts: Counts,
    /// Whether there was a previous run to compare with.
    pub has_previous: bool,
    /// Findings of the previous run that are gone.
    pub cleared: Vec<ClearedRow>,
    /// Earlier runs and this one, oldest first; empty where no history is kept.
    pub history: Vec<HistoryRow>,
}
