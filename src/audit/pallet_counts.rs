//! Circuits by verdict, of a plant or of one of its pallets.

use std::cmp::Reverse;

use serde::{Deserialize, Serialize};

use crate::circuit::audited::CircuitAudit;
use crate::tables::counted::failing;
use crate::tables::words::Verdict;

/// Circuits by verdict.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct VerdictCounts {
    pub total: u64,
    pub conforms: u64,
    pub conforms_with_waivers: u64,
    pub does_not_conform: u64,
    /// Of these, those that fail by minors alone.
    #[serde(default)]
    pub by_minors: u64,
    pub not_assessed: u64,
}

/// A pallet's circuits and what stands against them.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PalletCounts {
    pub plant: String,
    pub pallet: String,
    pub circuits: VerdictCounts,
    /// Of these, those in service.
    #[serde(default)]
    pub in_service: VerdictCounts,
    /// Of these, those of which it can't be read whether they are in service.
    #[serde(default, skip_serializing_if = "VerdictCounts::is_empty")]
    pub may_be_in_service: VerdictCounts,
    pub majors: u64,
    pub minors: u64,
}

impl VerdictCounts {
    /// Without those of another count: the planned ones, of all without those in service.
    #[must_use]
    pub const fn less(self, other: Self) -> Self {
        Self {
            total: self.total.saturating_sub(other.total),
            conforms: self.conforms.saturating_sub(other.conforms),
            conforms_with_waivers: self.conforms_with_waivers.saturating_sub(other.conforms_with_waivers),
            does_not_conform: self.does_not_conform.saturating_sub(other.does_not_conform),
            by_minors: self.by_minors.saturating_sub(other.by_minors),
            not_assessed: self.not_assessed.saturating_sub(other.not_assessed),
        }
    }

    pub fn add(&mut self, other: Self) {
        self.total += other.total;
        self.conforms += other.conforms;
        self.conforms_with_waivers += other.conforms_with_waivers;
        self.does_not_conform += other.does_not_conform;
        self.by_minors += other.by_minors;
        self.not_assessed += other.not_assessed;
    }

    /// Counts a circuit.
    pub fn count(&mut self, audit: &CircuitAudit) {
        self.total += 1;
        self.by_minors += u64::from(audit.fails_by_minors());
        match audit.verdict {
            Verdict::Conforms => self.conforms += 1,
            Verdict::ConformsWithWaivers => self.conforms_with_waivers += 1,
            Verdict::DoesNotConform => self.does_not_conform += 1,
            Verdict::NotAssessed => self.not_assessed += 1,
        }
    }

    /// Those that fail by a major.
    #[must_use]
    pub const fn by_majors(&self) -> u64 {
        self.does_not_conform.saturating_sub(self.by_minors)
    }

    /// `25 do not conform (21 by majors, 4 by minors alone)`.
    #[must_use]
    pub fn failing(&self) -> String {
        let by = match (self.by_majors(), self.by_minors) {
            (_, 0) => String::new(),
            (0, _) => " (by minors alone)".to_owned(),
            (majors, minors) => format!(" ({majors} by majors, {minors} by minors alone)"),
        };
        format!("{}{by}", failing(self.does_not_conform))
    }

    /// Whether there is no circuit.
    #[must_use]
    #[allow(clippy::trivially_copy_pass_by_ref, reason = "serde asks so")]
    pub const fn is_empty(&self) -> bool {
        self.total == 0
    }

    /// Circuits that conform, with waivers or without.
    #[must_use]
    pub const fn conforming(&self) -> u64 {
        self.conforms + self.conforms_with_waivers
    }
}

impl PalletCounts {
    /// The order in which pallets are told, wherever they are: those first that have most circuits in service which do not
    /// conform, then most majors.
    #[must_use]
    pub fn gravity(&self) -> impl Ord + use<> {
        pallet_gravity(&self.in_service, self.majors, &self.circuits)
    }

    /// Adds what was counted elsewhere of the same pallet.
    pub fn add(&mut self, other: &Self) {
        self.circuits.add(other.circuits);
        self.in_service.add(other.in_service);
        self.may_be_in_service.add(other.may_be_in_service);
        self.majors += other.majors;
        self.minors += other.minors;
    }

    /// Its planned circuits.
    #[must_use]
    pub const fn planned(&self) -> VerdictCounts {
        self.circuits.less(self.in_service).less(self.may_be_in_service)
    }
}

/// See [`PalletCounts::gravity`].
#[must_use]
pub fn pallet_gravity(in_service: &VerdictCounts, majors: u64, all: &VerdictCounts) -> impl Ord + use<> {
    let of = |verdicts: &VerdictCounts| (verdicts.does_not_conform, verdicts.not_assessed);
    Reverse((of(in_service), majors, of(all)))
}
