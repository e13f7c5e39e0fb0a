//! A load station: a pump and a drive ram, shared by many pallets.

pub use super::column::Station;
pub use super::station_part::StationPart;

impl Station {
    /// Pump and drive ram.
    #[must_use]
    pub const fn parts(&self) -> [&StationPart; 2] {
        [&self.pump, &self.drive_ram]
    }
}
