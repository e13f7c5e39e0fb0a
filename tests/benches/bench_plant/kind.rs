//! What the circuits of a bench plant have in common.

use clap::ValueEnum;

/// The kind of plant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Kind {
    /// One circuit of twenty has a fault, the faults take turns
    Mixed,
    /// All conform
    Quiet,
    /// A charging cylinder far too large on every circuit
    LowFill,
    /// Six clamps of every circuit are rated too low; the table has 3,000, a third of them rated high enough
    WeakParts,
    /// The same, and no clamp of the table is rated high enough
    NoCure,
    /// One load station charges all, set too low for every one of them
    LowStation,
    /// One circuit has all lines
    OneCircuit,
    /// One fixture has all circuits
    OneFixture,
    /// Three lines a circuit
    ThreeLines,
    /// Quiet, the rows of the lists in no order
    Shuffled,
    /// An accumulator, leaks, heat and cold on every circuit
    Holding,
}

impl Kind {
    /// Whether every circuit has something wrong.
    #[must_use]
    pub const fn fails(self) -> bool {
        matches!(self, Self::LowFill | Self::WeakParts | Self::NoCure | Self::LowStation)
    }

    /// Clamps of every circuit that are rated too low.
    #[must_use]
    pub const fn weak_clamps(self) -> usize {
        match self {
            Self::WeakParts | Self::NoCure => 6,
            _ => 0,
        }
    }
}
