//! One circuit, audited.

use crate::rules::coverage::Coverage;
use crate::rules::makeup::M03;
use crate::tables::circuit::Circuit;
use crate::tables::figures::CircuitFigures;
use crate::tables::finding::Finding;
use crate::tables::origin::Origin;
use crate::tables::words::{Kind, Verdict};

use super::standing::Standing;

/// A rule that could not be assessed on a circuit, with the datum that is missing.
#[derive(Clone, Debug, PartialEq)]
pub struct Unassessed {
    /// The rule's code.
    pub rule: &'static str,
    /// What is missing, e.g. `charge pressure: no station and no pressure_set`.
    pub because: String,
    /// The row and column of the one cell that would settle it, where that can be told.
    pub cell: Option<(Origin, &'static str)>,
}

/// One circuit, audited.
#[derive(Clone, Debug)]
pub struct CircuitAudit {
    pub circuit: Circuit,
    pub figures: CircuitFigures,
    pub verdict: Verdict,
    /// What stands against it besides its own findings.
    pub elsewhere: Standing,
    /// Families of rules that it was asked.
    pub coverage: Coverage,
    /// In the order of the catalogue, one entry a rule.
    pub not_assessed: Vec<Unassessed>,
    /// Findings on the circuit, its sides and lines.
    pub findings: Vec<Finding>,
}

impl CircuitAudit {
    /// Whether it does not conform by minors alone, a part's or a load station's among them.
    #[must_use]
    pub fn fails_by_minors(&self) -> bool {
        let is_major = |finding: &Finding| Standing::of(finding).has_major;
        self.verdict == Verdict::DoesNotConform && !self.elsewhere.has_major && !self.findings.iter().any(is_major)
    }

    /// What is computed of its hold counts on a check valve that is not there: the words that say so.
    #[must_use]
    pub fn counts_on_check_valve(&self) -> Option<String> {
        let clamp = &self.figures.clamp;
        let is_uncoupled = self.circuit.service().charging().is_uncoupled();
        let lacks_it = !self.circuit.lines.is_empty() && clamp.kinds_are_known && !clamp.kinds.has(Kind::CheckValve);
        (is_uncoupled && lacks_it).then(|| format!("only once a check valve is fitted ({})", M03.code))
    }

    /// Whether the pressure that it holds, and how long, are at most what was computed: a temperature that is not
    /// stated, or a leak, can only take from them.
    #[must_use]
    pub fn holds_at_most(&self) -> bool {
        let service = self.circuit.service();
        service.temp_min.is_none() || service.temp_max.is_none() || self.figures.holding.hold_is_bound
    }

    /// How far proved changes reach: as far as its own findings go, each by itself.
    #[must_use]
    pub fn reach(&self) -> ChangeReach {
        let counting = || self.findings.iter().filter(|finding| Standing::of(finding).counts);
        match (counting().count(), counting().filter(|finding| finding.has_change).count()) {
            (0, _) => ChangeReach::Elsewhere,
            (_, 0) => ChangeReach::None,
            (all, some) if all > some || self.elsewhere.counts => ChangeReach::Some,
            _ => ChangeReach::All,
        }
    }
}

/// How many of the findings that a circuit fails by a proved change clears, this or another circuit's.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChangeReach {
    All,
    Some,
    None,
    /// It fails by a part or a load station alone.
    Elsewhere,
}
