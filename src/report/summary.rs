//! A run in figures: `summary.json`.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Write};

use chrono::{Months, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::audit::counts::{
    ChangeCounts, Counts, FamilyCoverage, MissingDatum, NamedFinding, PalletCounts, PalletRows, ReachCounts,
    SeverityCounts, UnassessedCircuit, UnsafeCircuit, VerdictCounts, WorstCircuit,
};
use crate::audit::outcome::HistoryRow;
use crate::audit::sure_counts::{SureCounts, SureSummary};
use crate::audit::unsafe_circuit::LapsedWaiver;
use crate::rules::relaxed::Relaxed;
use crate::tables::policy::Policy;

use super::policy_hash::policy_hash;

/// Name and version as they stand in the outputs.
pub const TOOL: &str = concat!("clampbook ", env!("CARGO_PKG_VERSION"));

/// What `summary.json` holds, in this order.
///
/// A run that is written has the rows of its pallets only on their way, since there may be very many.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct RunSummary<Pallets = Vec<PalletCounts>> {
    pub tool: String,
    /// The run's id, as it stands in all its outputs.
    #[serde(default)]
    pub run: String,
    /// ISO 8601.
    pub date: String,
    pub policy_hash: String,
    pub plants: Vec<String>,
    /// The part of the plant that was looked at, where it is not all of it: nothing here is then said of the plant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub only: Option<String>,
    pub circuits: VerdictCounts,
    /// Of these, those in service.
    #[serde(default)]
    pub in_service: VerdictCounts,
    /// Of these, those of which it can't be read whether they are; the others are planned.
    #[serde(default, skip_serializing_if = "VerdictCounts::is_empty")]
    pub may_be_in_service: VerdictCounts,
    /// What proved changes, each by itself, clear on circuits in service, and on planned ones, that do not conform.
    #[serde(default)]
    pub reach_in_service: ReachCounts,
    #[serde(default)]
    pub reach_planned: ReachCounts,
    /// By the letter of the family of rules.
    #[serde(default)]
    pub coverage: BTreeMap<String, FamilyCoverage>,
    /// Rules that the policy switches off and that would make a circuit fail.
    #[serde(default)]
    pub rules_off: Vec<String>,
    /// Fluids whose trapped oil counts softer than it is, for want of a figure.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub softer_fluids: Vec<String>,
    /// Sentences on what no verdict rests on, besides rules switched off or counted as observations.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub beside: Vec<String>,
    /// Such rules that it counts as observations.
    #[serde(default)]
    pub rules_observed: Vec<String>,
    pub lines: LineCounts,
    /// On circuits, sides, lines, parts and stations.
    pub findings: SeverityCounts,
    pub purchasing: SeverityCounts,
    /// What could not be read or counted, so that purchasing is not assessed in full: how many causes.
    #[serde(default, skip_serializing_if = "is_none_of")]
    pub purchasing_not_assessed: u64,
    /// The verdict on purchasing in a sentence, and what is past its last day to be ordered.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub buying: Vec<String>,
    pub waivers: SeverityCounts,
    /// Whether there was an earlier run to compare with.
    pub has_previous: bool,
    pub changes: ChangeCounts,
    /// Majors and minors that were open in the earlier run and are waived.
    #[serde(default, skip_serializing_if = "is_none_of")]
    pub waived_since: u64,
    /// Where they stand, the first 1000; all blank for those on a part or a load station.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub waived_since_on: BTreeSet<UnsafeCircuit>,
    /// Majors and minors that were waived in the earlier run and count again.
    #[serde(default, skip_serializing_if = "is_none_of")]
    pub waivers_lapsed: u64,
    /// The first 1000 of them.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub waivers_lapsed_on: BTreeSet<LapsedWaiver>,
    /// In the order of `findings.csv`, the first 1000.
    pub new_majors: Vec<NamedFinding>,
    pub by_pallet: Pallets,
    /// The circuits with the most majors, then minors.
    pub worst: Vec<WorstCircuit>,
    /// Circuits in service that do not conform, the first 1000.
    #[serde(default)]
    pub unsafe_in_service: Vec<UnsafeCircuit>,
    /// Rows of `remedies.csv`, from 0, that do not count beside the others: what they clear others clear, or both change
    /// the same line or load station.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub changes_apart: Vec<u64>,
    /// Files and sheets that were not read though they may hold a part of the plant.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_read: Vec<String>,
    /// The cells, or the rows of a column, that would settle most of what could not be assessed, the first ten.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<MissingCell>,
    /// Circuits not assessed, the first 1000, each with the cell that settles most of it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_assessed: Vec<UnassessedCircuit>,
    /// The earlier run that it was compared with.
    #[serde(default)]
    pub earlier: Option<EarlierRun>,
    /// The runs of the last year, this one included, where a history is kept.
    #[serde(default)]
    pub history: Vec<HistoryRow>,
    /// How sure the verdicts are, where that was asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sure: Option<SureSummary>,
    /// SHA-256 of the other data files, by name: what tells files of different runs apart.
    #[serde(default)]
    pub files: BTreeMap<String, String>,
}

/// A cell that circuits lack.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct MissingCell {
    /// `components.csv, row 4, leak`, `circuits.csv, temp_min, rows 2 to 31`, or the reason where no cell can be told.
    pub cell: String,
    pub circuits: u64,
    /// As many where that is their verdict, 0 where they do not conform as it is.
    #[serde(default)]
    pub verdicts: u64,
    pub because: String,
    /// The first of them.
    #[serde(default)]
    pub first: String,
}

/// What the mail compares with.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct EarlierRun {
    /// ISO 8601.
    pub date: String,
    pub in_service: VerdictCounts,
    /// What it judged by; empty where that is not known.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub policy_hash: String,
    /// Circuits in service that did not conform, the first 1000: what became of them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unsafe_in_service: Vec<UnsafeCircuit>,
}

/// Lines of the lists.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineCounts {
    pub read: u64,
    pub set_aside: u64,
}

impl<'a> RunSummary<PalletRows<'a>> {
    /// Of a run, from its counts.
    #[must_use]
    pub fn from_counts(policy: &Policy, counts: &'a Counts, has_previous: bool) -> Self {
        let relaxed = Relaxed::of(policy);
        let owned = |codes: &[&str]| codes.iter().map(ToString::to_string).collect();
        let changes = if has_previous { counts.changes } else { ChangeCounts::default() };
        Self {
            tool: TOOL.to_owned(),
            run: String::new(),
            date: policy.date.to_string(),
            policy_hash: policy_hash(policy),
            plants: counts.plants.iter().cloned().collect(),
            only: None,
            circuits: counts.circuits,
            in_service: counts.in_service,
            may_be_in_service: counts.may_be_in_service,
            reach_in_service: counts.reach_in_service,
            reach_planned: counts.reach_planned,
            coverage: counts.coverage.clone(),
            rules_off: owned(&relaxed.off),
            softer_fluids: owned(&policy.softer_fluids()),
            beside: counts.beside.sentences(policy),
            rules_observed: owned(&relaxed.observed),
            lines: LineCounts { read: counts.lines_read, set_aside: counts.lines_set_aside },
            findings: counts.findings,
            purchasing: counts.purchasing,
            purchasing_not_assessed: 0,
            buying: Vec::new(),
            waivers: counts.waivers,
            has_previous,
            changes,
            waived_since: counts.softened.waived,
            waived_since_on: counts.softened.waived_on.clone(),
            waivers_lapsed: counts.softened.lapsed,
            waivers_lapsed_on: counts.softened.lapsed_on.clone(),
            new_majors: counts.new_majors.clone(),
            by_pallet: PalletRows(&counts.pallets),
            worst: counts.worst().to_vec(),
            unsafe_in_service: counts.unsafe_in_service.clone(),
            changes_apart: Vec::new(),
            not_read: Vec::new(),
            missing: missing(counts),
            not_assessed: counts.not_assessed.clone(),
            earlier: None,
            history: Vec::new(),
            sure: counts.sure.as_ref().map(SureCounts::summary),
            files: BTreeMap::new(),
        }
    }
}

impl<Pallets> RunSummary<Pallets> {
    /// Whether the earlier run is known to have judged by another policy.
    #[must_use]
    pub fn has_other_policy(&self) -> bool {
        let earlier = self.earlier.as_ref().map_or("", |earlier| &earlier.policy_hash);
        !earlier.is_empty() && earlier != self.policy_hash
    }

    /// Circuits that are planned.
    #[must_use]
    pub const fn planned(&self) -> VerdictCounts {
        self.circuits.less(self.in_service).less(self.may_be_in_service)
    }

    /// Keeps what is to be known of the run that this one was compared with.
    pub fn compare_with(&mut self, earlier: &RunSummary) {
        self.earlier = Some(EarlierRun {
            date: earlier.date.clone(),
            in_service: earlier.in_service,
            policy_hash: earlier.policy_hash.clone(),
            unsafe_in_service: earlier.unsafe_in_service.clone(),
        });
    }

    /// Keeps the runs of the year before this one, and this one.
    pub fn keep_year(&mut self, history: &[HistoryRow]) {
        let Ok(date) = self.date.parse::<NaiveDate>() else { return };
        let first = date.checked_sub_months(Months::new(12)).unwrap_or(date).to_string();
        self.history = history.iter().filter(|run| run.date > first && run.date <= self.date).cloned().collect();
    }

    /// Majors of all kinds that are not waived: the rows of `findings.csv`.
    #[must_use]
    pub const fn majors(&self) -> u64 {
        self.findings.majors + self.purchasing.majors + self.waivers.majors
    }

    /// Minors of all kinds that are not waived.
    #[must_use]
    pub const fn minors(&self) -> u64 {
        self.findings.minors + self.purchasing.minors + self.waivers.minors
    }

    /// Waived findings of all kinds.
    #[must_use]
    pub const fn waived(&self) -> u64 {
        self.findings.waived + self.purchasing.waived + self.waivers.waived
    }

    /// Writes `summary.json`.
    ///
    /// # Errors
    /// Where the writer fails.
    pub fn write(&self, mut writer: impl Write) -> io::Result<()>
    where
        Pallets: Serialize,
    {
        serde_json::to_writer_pretty(&mut writer, self)?;
        writer.write_all(b"\n")
    }
}

#[allow(clippy::trivially_copy_pass_by_ref, reason = "serde asks so")]
const fn is_none_of(count: &u64) -> bool {
    *count == 0
}

/// The cells that most circuits wait for.
fn missing(counts: &Counts) -> Vec<MissingCell> {
    const MOST: usize = 10;
    let of = |(cell, datum, is_verdict): (String, &MissingDatum, bool)| MissingCell {
        cell,
        circuits: datum.circuits,
        verdicts: if is_verdict { datum.circuits } else { 0 },
        because: datum.because.clone(),
        first: datum.first.clone(),
    };
    counts.missing_first().into_iter().take(MOST).map(of).collect()
}

#[cfg(test)]
mod tests;
