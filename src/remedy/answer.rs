//! What a search for a remedy comes to.

use super::nearest::NearMiss;
use super::trial::Proved;

/// What a search came to for one finding.
#[derive(Clone, Debug)]
pub enum Answer {
    Proved(Proved),
    /// The change of an earlier answer of the pallet, by its place: it was proved for this finding too.
    Same(usize),
    /// None passes; the nearest, and what ended the search, where a bound did.
    None {
        nearest: NearMiss,
        ended: Option<Ended>,
    },
}

/// The bound that ended a search.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// So many changes were tried for the finding.
    Trials(u64),
    /// What was tried on the pallet had looked at so many lines: after so many changes for this finding.
    Lines { lines: u64, trials: u64 },
}
