//! Of changes that can't be offered the one that comes nearest.

use crate::tables::finding::Finding;

use super::change::Change;
use super::trial::{Problem, Trial, is_nearer, short_of};

/// What stands against a change, and how far it leaves the finding from its limit; the less, the nearer.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub(super) struct Fault {
    /// Findings that it gains, rules that can't be assessed any more, and the finding itself where it stays.
    pub(super) count: usize,
    /// From the limit, in the figure's own unit; 0 where the finding is gone, endless where that can't be told.
    short: f64,
}

impl Fault {
    pub(super) fn of(trial: &Trial, problem: &Problem, finding: &Finding) -> Self {
        let is_gone = trial.clears(problem);
        let count = trial.gained.len() + usize::from(!is_gone) + trial.unassessed.len();
        if is_gone {
            // What can't be told any more is not cleared.
            let is_lost = trial.unassessed.contains(&problem.rule);
            return Self { count, short: if is_lost { f64::INFINITY } else { 0.0 } };
        }
        let short = trial.still(finding).map_or(f64::INFINITY, |(measured, limit)| short_of(measured, limit));
        Self { count, short }
    }

    /// That of a change after which the finding stays, and nothing else is found.
    pub(super) const fn staying(short: f64) -> Self {
        Self { count: 1, short }
    }

    /// Whether the finding is gone, or nearer to its limit than it stood, by more than rounding.
    pub(super) fn is_nearer_than(&self, finding: &Finding) -> bool {
        is_nearer(self.short, finding)
    }
}

/// What is told where nothing passes.
#[derive(Clone, Debug)]
pub enum NearMiss {
    /// There was nothing to try.
    Untried,
    /// What was tried leaves the finding where it stands.
    NoneNearer,
    /// The change that fails by the least.
    Change(NearestChange),
}

/// The change that fails by the least.
#[derive(Clone, Debug)]
pub struct NearestChange {
    /// Index of the circuit in its pallet.
    pub circuit: usize,
    pub change: Change,
    /// `which fails P05 by 12 bar`.
    pub failing: String,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::quantity::Pressure;
    use crate::remedy::trial::{After, FoundAfter};
    use crate::tables::figures::{CircuitFigures, SideFigures};
    use crate::tables::finding::Subject;
    use crate::tables::value::Value;
    use crate::tables::words::{Acting, Severity, Side};

    fn bar(bar: f64) -> Value {
        Value::Pressure(Pressure::from_bar(bar))
    }

    fn finding() -> Finding {
        Finding {
            side: Some(Side::Clamp),
            measured: Some(bar(171.0)),
            limit: Some(bar(175.0)),
            ..Finding::blank("H02", Severity::Major, Subject::Circuit)
        }
    }

    fn trial(cleared: bool, unassessed: &[&'static str], now: Option<f64>) -> Trial {
        let finding = finding();
        let found = FoundAfter {
            rule: finding.rule,
            side: finding.side,
            line: None,
            origin: None,
            measured: now.map(bar),
            limit: finding.limit.clone(),
        };
        let after = After {
            name: "1".into(),
            figures: CircuitFigures::blank(Acting::Single, SideFigures::blank(Side::Clamp)),
            found: now.map(|_| found).into_iter().collect(),
        };
        let cleared = if cleared { vec![Problem::of(0, &finding)] } else { Vec::new() };
        Trial { after: vec![after], cleared, gained: Vec::new(), unassessed: unassessed.to_vec(), touched: None }
    }

    fn fault(trial: &Trial) -> Fault {
        Fault::of(trial, &Problem::of(0, &finding()), &finding())
    }

    /// 4 bar short as it stands: 3 bar are nearer, 4 and 5 are not, and what can't be told is not either.
    #[test]
    fn what_leaves_a_finding_where_it_stands_is_not_nearer() {
        let is_nearer = |now: Option<f64>| fault(&trial(false, &[], now)).is_nearer_than(&finding());
        assert!(is_nearer(Some(172.0)));
        assert!(!is_nearer(Some(171.0)));
        assert!(!is_nearer(Some(170.0)));
        assert!(!is_nearer(None));
        assert!(fault(&trial(true, &["F01"], None)).is_nearer_than(&finding()));
        assert!(!fault(&trial(true, &["H02"], None)).is_nearer_than(&finding()));
    }

    #[test]
    fn the_fewest_faults_come_first_then_what_is_left() {
        let (near, far) = (fault(&trial(false, &[], Some(174.0))), fault(&trial(false, &[], Some(172.0))));
        assert!(near < far);
        assert!(far < fault(&trial(false, &["F01"], Some(174.9))));
        // Cleared at the price of one rule that can't be assessed: as many faults, and nothing left.
        assert!(fault(&trial(true, &["F01"], None)) < near);
    }
}
