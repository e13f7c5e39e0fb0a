//! What findings make of a verdict.

use crate::rules::catalogue::weighs_on_circuits;
use crate::tables::finding::Finding;
use crate::tables::words::{Severity, State};

/// What stands against a circuit besides its own findings: those on its station and its parts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    /// An unwaived major or minor finding.
    pub counts: bool,
    /// An unwaived major finding.
    pub has_major: bool,
    /// A waived major or minor finding.
    pub is_waived: bool,
}

impl Standing {
    /// The standing that a finding makes.
    #[must_use]
    pub fn of(finding: &Finding) -> Self {
        let weighs = finding.is_major_or_minor() && weighs_on_circuits(finding);
        let waived = finding.state == State::Waived;
        let has_major = weighs && !waived && finding.severity == Severity::Major;
        Self { counts: weighs && !waived, has_major, is_waived: weighs && waived }
    }

    /// Both together.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self {
            counts: self.counts || other.counts,
            has_major: self.has_major || other.has_major,
            is_waived: self.is_waived || other.is_waived,
        }
    }
}
