//! A row of the component table.

use super::origin::Origin;
use super::words::{Kind, Status};

pub use super::column::Component;
pub use super::words::Uom;

impl Component {
    /// Whether it is of this kind.
    #[must_use]
    pub fn is(&self, kind: Kind) -> bool {
        self.kind == Some(kind)
    }

    /// Whether it is of this kind or has one built in.
    #[must_use]
    pub fn provides(&self, kind: Kind) -> bool {
        self.is(kind) || self.includes.has(kind)
    }

    /// A clamp with an unclamping area or volume.
    #[must_use]
    pub fn is_double_acting(&self) -> bool {
        self.is(Kind::Clamp) && (self.area_unclamp.is_some() || self.volume_unclamp.is_some())
    }

    /// Tube or hose.
    #[must_use]
    pub fn is_conductor(&self) -> bool {
        self.kind.is_some_and(Kind::is_conductor)
    }

    /// Clamp or work support.
    #[must_use]
    pub fn is_actuator(&self) -> bool {
        self.kind.is_some_and(Kind::is_actuator)
    }

    /// Settings that a part of its kind does not have: whoever filled the cell meant something.
    pub fn idle_settings(&self) -> impl Iterator<Item = (&'static str, Kind)> {
        let is_set = [Kind::ReliefValve, Kind::ReducingValve, Kind::SequenceValve].iter().any(|kind| self.is(*kind));
        let columns = [
            ("set_pressure", self.set_pressure.is_some() && !is_set),
            ("precharge", self.precharge.is_some() && !self.is(Kind::Accumulator)),
        ];
        let kind = self.kind;
        columns.into_iter().filter(|(_, is_idle)| *is_idle).filter_map(move |(column, _)| Some((column, kind?)))
    }

    /// Whether it can still be bought.
    #[must_use]
    pub fn is_obsolete(&self) -> bool {
        self.status == Some(Status::Obsolete)
    }
}

/// A part number that the table has twice with different data (L11).
#[derive(Clone, Debug, PartialEq)]
pub struct RepeatedPart {
    /// Index of the first row's component, the one that counts.
    pub first: u32,
    /// The row that repeats it.
    pub again: Origin,
    /// Names of the columns that differ.
    pub differing: Vec<&'static str>,
}
