//! What a remedy changes in the tables, free of the audit that proved it.

use crate::physics::quantity::Pressure;
use crate::tables::circuit_key::{Name, SharedKey};
use crate::tables::origin::Origin;
use crate::tables::words::Side;

/// A change of the tables as given.
#[derive(Clone, Debug, PartialEq)]
pub enum Edit {
    /// Another part on a line.
    Part { line: Origin, from: u32, to: u32 },
    /// Another setting on a line.
    Setting { line: Origin, part: Option<u32>, column: &'static str, to: Pressure },
    /// A further line in the list that holds the circuit's last one.
    Addition { beside: Origin, part: u32, side: Side, setting: Option<(&'static str, Pressure)> },
    /// Another part wherever one is used.
    Succession { from: u32, to: u32 },
    /// Another pump setting of a station, by its index.
    StationSetting { station: usize, to: Pressure },
    /// Another pump or drive ram of a station.
    StationPart { station: usize, column: &'static str, from: Option<u32>, to: u32 },
    /// A circuit in groups; `cylinder` is the line of its charging cylinder.
    Split { cylinder: Origin, groups: Vec<EditGroup> },
}

/// One group of a split.
#[derive(Clone, Debug, PartialEq)]
pub struct EditGroup {
    /// Name of the circuit that it becomes.
    pub name: String,
    /// Lines of its clamps and work supports.
    pub lines: Vec<Origin>,
    /// Share of the length of each conductor.
    pub share: f64,
    /// Its charging cylinder.
    pub cylinder: u32,
}

/// A finding that a remedy says it clears.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Claim {
    pub place: SharedKey,
    pub rule: &'static str,
    pub side: Option<Side>,
    /// Of the line, or the station's name.
    pub position: Name,
    /// Row of the line, for findings on lines.
    pub line: Option<Origin>,
}
