//! One circuit, audited.

use crate::tables::circuit::Circuit;
use crate::tables::figures::CircuitFigures;
use crate::tables::finding::Finding;
use crate::tables::words::Verdict;

/// A rule that could not be assessed on a circuit, with the datum that is missing.
#[derive(Clone, Debug, PartialEq)]
pub struct Unassessed {
    /// The rule's code.
    pub rule: &'static str,
    /// What is missing, e.g. `charge pressure: no station and no pressure_set`.
    pub because: String,
}

/// One circuit, audited.
#[derive(Clone, Debug)]
pub struct CircuitAudit {
    pub circuit: Circuit,
    pub figures: CircuitFigures,
    pub verdict: Verdict,
    /// In the order of the catalogue, one entry a rule.
    pub not_assessed: Vec<Unassessed>,
    /// Findings on the circuit, its sides and lines.
    pub findings: Vec<Finding>,
}
