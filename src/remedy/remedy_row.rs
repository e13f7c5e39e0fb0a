//! A proved change as the reports show it.

use crate::tables::circuit_key::{Name, SharedKey};

use super::edit::{Claim, Edit};
use super::need::Needed;

/// A proved change on the Remedies sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct RemedyRow {
    /// `part`, `setting`, `accumulator` or `split`.
    pub change: &'static str,
    pub part_from: Name,
    pub part_to: Name,
    /// New setting or precharge, with its unit, where the change is one.
    pub setting: Option<crate::tables::value::Value>,
    pub place: SharedKey,
    pub position: Name,
    /// Codes of the rules it clears, in order.
    pub rules: Vec<&'static str>,
    /// Findings it clears.
    pub cleared: u64,
    /// Of these, majors.
    pub majors: u64,
    /// Circuits it clears findings of.
    pub circuits: Vec<SharedKey>,
    /// Of the parts that come in, pieces by price.
    pub price: Option<rust_decimal::Decimal>,
    pub currency: Name,
    /// The change in words, with the figures before and after.
    pub words: String,
    /// [`APPLIED`], `no: ...` or empty where nothing was applied.
    pub applied: String,
    /// What it needs of parts.
    pub needs: Vec<Needed>,
    /// What it changes in the tables.
    pub edit: Option<Edit>,
    /// The findings it clears, one by one.
    pub claims: Vec<Claim>,
    /// Majors that it leaves further from their limit.
    pub worsens: Vec<Claim>,
}

/// What stands beside a remedy that is applied.
pub const APPLIED: &str = "yes";

impl RemedyRow {
    /// Whether it is applied.
    #[must_use]
    pub fn is_applied(&self) -> bool {
        self.applied == APPLIED
    }
}
