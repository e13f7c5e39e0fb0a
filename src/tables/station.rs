//! A load station: a pump and a drive ram, shared by many pallets.

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

pub use super::column::Station;
