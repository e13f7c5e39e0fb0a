//! A load station: a pump and a drive ram, shared by many pallets.

use crate::physics::quantity::Pressure;

use super::origin::{CellFault, Origin};

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

/// One row of the stations table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Station {
    pub name: String,
    pub pump: StationPart,
    pub drive_ram: StationPart,
    pub pump_setting: Option<Pressure>,
    pub built: bool,
    pub origin: Origin,
    pub faults: Vec<CellFault>,
}

impl Station {
    /// Whether a cell of this column can't be read.
    #[must_use]
    pub fn is_unreadable(&self, column: &str) -> bool {
        self.faults.iter().any(|fault| fault.column == column)
    }
}
