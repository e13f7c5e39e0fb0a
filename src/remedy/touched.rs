//! What a change of a circuit leaves as it is: a trial need not look at that again.

use crate::rules::Reach;
use crate::rules::catalogue::rule;
use crate::tables::circuit::Circuit;
use crate::tables::component::Component;
use crate::tables::finding::Finding;
use crate::tables::line::{Line, PartRef};
use crate::tables::plant::Plant;
use crate::tables::words::Kind;

use super::change::{Change, SettingColumn, StationRole};

/// All that a change touches, where that is little: kinds, zones and pressures of its circuit stay as they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Touched {
    /// One line.
    Line(usize),
    /// The load station's pump, as far as it gives the same pressure.
    Pump,
}

impl Touched {
    /// What a change touches; `None` where that may be anything.
    #[must_use]
    pub fn by(plant: &Plant, circuit: &Circuit, change: &Change) -> Option<Self> {
        if matches!(change, Change::StationPart { role: StationRole::Pump, .. }) {
            return Some(Self::Pump);
        }
        let line = change.line()?;
        let listed = circuit.lines.get(line)?;
        let PartRef::Known(from) = listed.part else { return None };
        let old = plant.component_at(Some(from))?;
        let stays = match change {
            Change::Swap { to, .. } => plant.component_at(Some(*to)).is_some_and(|new| keeps_makeup(listed, old, new)),
            Change::Setting { column: SettingColumn::Precharge, .. } => true,
            Change::Setting { column: SettingColumn::SetPressure, .. } => !makes_pressures(old),
            _ => false,
        };
        stays.then_some(Self::Line(line))
    }

    /// Whether a finding stands whatever the change makes of what it touches.
    #[must_use]
    pub fn leaves(self, finding: &Finding) -> bool {
        match rule(finding.rule).filter(|rule| rule.checks.circuit.is_some()).map(|rule| rule.reach) {
            Some(Reach::Makeup) => true,
            Some(Reach::Line) => match self {
                Self::Line(line) => finding.line != Some(line),
                Self::Pump => true,
            },
            Some(Reach::Circuit) | None => false,
        }
    }
}

/// Whether a part keeps kinds, zones and pressures of the sides in another's place.
fn keeps_makeup(listed: &Line, old: &Component, new: &Component) -> bool {
    let is_sound = |part: &Component| !part.is_spoiled && !listed.is_set_aside_with(part);
    old.kind.is_some()
        && old.kind == new.kind
        && old.includes == new.includes
        && !makes_pressures(old)
        && old.is_double_acting() == new.is_double_acting()
        && is_sound(old)
        && is_sound(new)
}

/// Whether pressures of a side, or the settings that guard it, hang on a part.
fn makes_pressures(part: &Component) -> bool {
    matches!(part.kind, Some(Kind::ChargingCylinder | Kind::ReducingValve | Kind::ReliefValve))
}
