//! What gauges may read, as it stands on a card.

use crate::physics::quantity::Pressure;

/// What a gauge of a circuit may read at each temperature of a card.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GaugeRows {
    /// Of its line; empty where it has none.
    pub position: String,
    pub is_gauge: bool,
    pub is_test_point: bool,
    pub has_accuracy: bool,
    /// Just after charging, in its zone.
    pub charged: Option<Pressure>,
    /// Once the check valve has closed; `None` also where a gauge does not show the clamps' zone.
    pub settled: Option<Pressure>,
    /// What it may read at the temperature at which the circuit is charged.
    pub at_charge: GaugeRow,
    pub readings: Vec<GaugeRow>,
}

/// What a gauge may read at a temperature; `None` is unknown.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GaugeRow {
    pub lowest: Option<Pressure>,
    pub highest: Option<Pressure>,
    /// What stands there once the circuit has settled, charged as stated.
    pub settled: Option<Pressure>,
    /// Whether the circuit is made for the temperature.
    pub is_within: bool,
}

/// Whether a pressure is above another beyond what rounding takes; not where one of them is unknown.
fn is_above(one: Option<Pressure>, other: Option<Pressure>) -> bool {
    one.zip(other).is_some_and(|(one, other)| one.si() > other.si() * (1.0 + 1e-9))
}

impl GaugeRow {
    /// Whether the circuit, charged as stated, settles below the lowest that holds.
    pub(super) fn is_beyond_charging(&self) -> bool {
        self.is_within && is_above(self.lowest, self.settled)
    }

    pub(super) fn is_unknown(&self) -> bool {
        self.is_within && (self.lowest.is_none() || self.highest.is_none())
    }
}

impl GaugeRows {
    /// Whether the circuit has neither a gauge nor a test point in its trapped zones.
    pub(super) const fn is_of_none(&self) -> bool {
        !self.is_gauge && !self.is_test_point
    }

    /// Whether at some temperature nothing lies between the lowest and the highest, or what the circuit is charged to
    /// does not.
    pub(super) fn is_contradictory(&self) -> bool {
        let is_crossed =
            |row: &GaugeRow| row.is_within && (is_above(row.lowest, row.highest) || row.is_beyond_charging());
        let at_charge = &self.at_charge;
        self.readings.iter().any(is_crossed)
            || is_above(at_charge.lowest, self.settled)
            || is_above(self.charged, at_charge.highest)
    }

    /// Whether at a temperature for which the circuit is made it is not known what it may read.
    pub(super) fn is_unknown(&self) -> bool {
        self.readings.iter().any(GaugeRow::is_unknown)
    }
}
