//! What a station says of its pump or drive ram.

/// A station's part: not named, in the component table, or named but not in it (L01).
#[derive(Clone, Debug, Default, PartialEq)]
pub enum StationPart {
    #[default]
    Blank,
    Known(u32),
    Unknown(String),
}

impl StationPart {
    /// Index into the component table.
    #[must_use]
    pub const fn index(&self) -> Option<u32> {
        if let Self::Known(index) = self { Some(*index) } else { None }
    }
}
