//! What each line brings into the oil of its side: the items of which the sums are made, for who follows them by hand.

use crate::physics::accumulator::Accumulator;
use crate::physics::quantity::{Compliance, Volume};
use crate::physics::volume::conductor_volume;
use crate::tables::figures::SideFigures;
use crate::tables::words::{Kind, Zone};

use super::side::{CircuitInputs, JoinedLine, bottle, capacity_in_reach, conductor_compliance, swept_by, yielding};

/// A line's part in the oil of a side, all its pieces together; what its kind doesn't have is 0.
pub struct LineOil<'a> {
    pub joined: JoinedLine<'a>,
    pub zone: Zone,
    pub swept: Option<Volume>,
    pub line: Option<Volume>,
    pub dead: Volume,
    /// Of a tube or hose.
    pub conductor: Option<Compliance>,
    /// Of a clamp with a stiffness.
    pub clamp: Option<Compliance>,
    pub bottle: Option<Accumulator>,
    /// Of a charging cylinder, as far as the drive ram reaches.
    pub capacity: Option<Volume>,
}

/// The items of a side, in the order of its lines.
#[must_use]
pub fn line_oils<'a>(inputs: &CircuitInputs<'a>, figures: &SideFigures) -> Vec<LineOil<'a>> {
    let side = figures.side;
    let item = |joined: JoinedLine<'a>| {
        let (component, pieces) = (joined.component, joined.pieces);
        let is = |kind: Kind| component.is(kind);
        let none = Some(Volume::ZERO);
        LineOil {
            joined,
            zone: joined.line.zone_on(component, figures.has_reducing_valve),
            swept: if component.is_actuator() { swept_by(joined, side).map(|v| v * pieces) } else { none },
            line: if component.is_conductor() {
                component.inner_diameter.map(|bore| conductor_volume(bore, joined.length) * pieces)
            } else {
                none
            },
            dead: component.dead_volume.unwrap_or(Volume::ZERO) * pieces,
            conductor: if component.is_conductor() {
                conductor_compliance(component, joined.length).map(|e| e * pieces)
            } else {
                Some(Compliance::ZERO)
            },
            clamp: if is(Kind::Clamp) { yielding(component, side).map(|e| e * pieces) } else { Some(Compliance::ZERO) },
            bottle: bottle(joined).filter(|_| is(Kind::Accumulator)),
            capacity: if is(Kind::ChargingCylinder) {
                capacity_in_reach(inputs, component).map(|capacity| capacity * pieces)
            } else {
                none
            },
        }
    };
    inputs.joined_on(side).map(item).collect()
}
