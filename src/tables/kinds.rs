//! A set of kinds, small enough to copy.

use super::words::Kind;

/// Kinds present on a side, or built into a component.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Kinds(u32);

impl Kinds {
    /// The set without members.
    pub const NONE: Self = Self(0);

    /// The set with `kind` added.
    #[must_use]
    pub const fn with(self, kind: Kind) -> Self {
        Self(self.0 | 1 << kind as u32)
    }

    /// Everything in either set.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether `kind` is in the set.
    #[must_use]
    pub const fn has(self, kind: Kind) -> bool {
        self.0 & (1 << kind as u32) != 0
    }

    /// Its members in reading order.
    pub fn iter(self) -> impl Iterator<Item = Kind> {
        Kind::ALL.iter().copied().filter(move |kind| self.has(*kind))
    }

    /// Whether it has no member.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }
}
