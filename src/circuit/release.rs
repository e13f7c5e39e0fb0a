//! Whether the trapped oil of a circuit can be released by hand, and seen to be gone: who is told to release it has
//! to be able to.

use crate::circuit::audited::CircuitAudit;
use crate::tables::figures::SideFigures;
use crate::tables::kinds::Kinds;
use crate::tables::plant::Plant;
use crate::tables::words::{Charging, Kind, Side, Zone};

/// What the lists know of releasing a circuit's pressure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Release {
    /// By hand, and a gauge or a test point shows that it is gone.
    Seen,
    /// By hand, and nothing shows it.
    Unseen,
    /// Nothing listed lets all of it out.
    Shut,
}

impl Release {
    /// Of one circuit. What is not known to be there counts as missing, whatever rules are switched off or waived.
    #[must_use]
    pub fn of(plant: &Plant, audit: &CircuitAudit) -> Self {
        let figures = &audit.figures;
        let is_live = audit.circuit.service().charging() == Charging::Live;
        // What stays connected is released at its station.
        let is_shut = |side: &SideFigures| may_trap(side) && !lets_out(plant, audit, side);
        if !is_live && figures.sides().any(is_shut) {
            return Self::Shut;
        }
        let shows = |kinds: Kinds| kinds.has(Kind::Gauge) || kinds.has(Kind::TestPoint);
        let clamp = &figures.clamp;
        // Behind a reducing valve oil stays while a gauge ahead of it reads nothing; ahead of it none stays while one
        // behind it does, since the valve is open then.
        let is_seen = match is_live {
            true => shows(clamp.kinds),
            false if has_reduced_zone(clamp) => shows(clamp.zone(Zone::Reduced).kinds),
            false => shows(clamp.zone(Zone::Full).kinds),
        };
        if is_seen { Self::Seen } else { Self::Unseen }
    }
}

/// The unclamp side is released before the circuit is clamped, unless a check valve closes it.
fn may_trap(side: &SideFigures) -> bool {
    side.side == Side::Clamp || side.kinds.has(Kind::CheckValve) || !side.kinds_are_known
}

fn has_reduced_zone(side: &SideFigures) -> bool {
    !side.zone(Zone::Reduced).lines.is_empty()
}

/// Whether all trapped oil of a side reaches an isolation valve.
fn lets_out(plant: &Plant, audit: &CircuitAudit, side: &SideFigures) -> bool {
    let is_isolated = |zone: Zone| side.zone(zone).kinds.has(Kind::IsolationValve);
    let lets_none_back = |kind: Kind| {
        let parts = side.lines.iter().filter_map(|line| audit.circuit.lines.get(*line)?.component(&plant.components));
        parts.filter(|part| part.is(kind)).any(|part| !part.includes.has(Kind::CheckValve))
    };
    // Behind a sequence valve there is no zone of its own in which an isolation valve could be told.
    if lets_none_back(Kind::SequenceValve) {
        return false;
    }
    let is_reduced = has_reduced_zone(side);
    is_reduced && is_isolated(Zone::Reduced)
        || is_isolated(Zone::Full) && !(is_reduced && lets_none_back(Kind::ReducingValve))
}
