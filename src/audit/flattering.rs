//! Blank data that count as nothing by the contract, on which a pass may rest: told beside the verdict.

use serde::{Deserialize, Serialize};

use crate::circuit::side::USUAL_TEMPERATURE;
use crate::physics::quantity::Length;
use crate::physics::unit::UnitSystem;
use crate::rules::contact_force::arm;
use crate::tables::circuit::Service;
use crate::tables::component::Component;
use crate::tables::counted::counted;
use crate::tables::line::Line;
use crate::tables::shown::shown;
use crate::tables::value::Value;
use crate::tables::words::{Kind, Zone};

/// A datum whose blank flatters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Flattering {
    /// Oil that slips back while a valve closes.
    ClosingVolume,
    /// What a hose takes in more under pressure.
    Expansion,
    /// The oil in a manifold's bores.
    DeadVolume,
    /// What a charging cylinder loses on its way back.
    ReturnLoss,
    /// What an arm that is longer than rated loses of its force.
    ArmFactor,
    /// The temperature from which warmth and cold count.
    TempCharge,
}

impl Flattering {
    /// The datum, and what it stands for.
    const fn datum(self) -> &'static str {
        match self {
            Self::ClosingVolume => "closing_volume of check valves or couplings",
            Self::Expansion => "expansion of hoses",
            Self::DeadVolume => "dead_volume of manifolds",
            Self::ReturnLoss => "return_loss of charging cylinders",
            Self::ArmFactor => "arm_factor of long arms",
            Self::TempCharge => "temp_charge",
        }
    }

    /// Blank data as sentences: those that count as 0, and the temperature that another one is taken for.
    ///
    /// * `blank` – how often each is blank, and the first part or circuit
    #[must_use]
    pub fn sentence<'a>(blank: impl Iterator<Item = (Self, u64, &'a str)>, units: UnitSystem) -> Option<String> {
        let mut sentences = Vec::new();
        let mut of_nothing = Vec::new();
        for (datum, number, first) in blank {
            if datum == Self::TempCharge {
                let usual = shown(&Value::Temperature(USUAL_TEMPERATURE), units);
                let circuits = counted(number, "circuit");
                sentences.push(format!("Blank {} is taken as {usual} on {circuits} (first {first}).", datum.datum()));
            } else {
                of_nothing.push(format!("{} on {} (first {first})", datum.datum(), counted(number, "line")));
            }
        }
        if !of_nothing.is_empty() {
            sentences.insert(0, format!("Blank data count as 0, which flatters: {}.", of_nothing.join("; ")));
        }
        (!sentences.is_empty()).then(|| sentences.join(" "))
    }
}

/// The datum of a line that is blank and flatters, if there is one.
///
/// * `is_held` – whether anything is asked of the oil once the circuit is uncoupled
#[must_use]
pub fn on_line(line: &Line, part: &Component, is_held: bool) -> Option<Flattering> {
    let is_blank = |is_given: bool, column: &str| !is_given && !part.is_unreadable(column);
    match part.kind? {
        Kind::CheckValve | Kind::Coupling if is_held && line.zone_on(part, true) != Zone::Charge => {
            is_blank(part.closing_volume.is_some(), "closing_volume").then_some(Flattering::ClosingVolume)
        }
        Kind::Hose if line.length.value().is_some_and(|length| length > Length::ZERO) => {
            is_blank(part.expansion.is_some(), "expansion").then_some(Flattering::Expansion)
        }
        Kind::Manifold => is_blank(part.dead_volume.is_some(), "dead_volume").then_some(Flattering::DeadVolume),
        Kind::ChargingCylinder => is_blank(part.return_loss.is_some(), "return_loss").then_some(Flattering::ReturnLoss),
        Kind::Clamp if line.arm_length.is_some() => {
            let is_long = arm(line, part).is_some();
            (is_long && is_blank(part.arm_factor.is_some(), "arm_factor")).then_some(Flattering::ArmFactor)
        }
        _ => None,
    }
}

/// Whether the usual temperature stands for that at which an uncoupled circuit was charged.
#[must_use]
pub fn takes_usual_temperature(service: &Service) -> bool {
    let is_given = service.temp_charge.is_some() || service.is_unreadable("temp_charge");
    service.charging().is_uncoupled() && !is_given && (service.temp_min.is_some() || service.temp_max.is_some())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::quantity::Volume;

    fn part(kind: Kind) -> Component {
        Component { kind: Some(kind), ..Component::default() }
    }

    /// The contract: blank closing_volume, expansion, dead_volume and return_loss count as 0; 0 itself is a statement.
    #[test]
    fn a_blank_that_counts_as_nothing_is_told_and_a_zero_is_a_statement() {
        let line = Line::of_part(0);
        for (kind, datum) in [
            (Kind::CheckValve, Flattering::ClosingVolume),
            (Kind::Manifold, Flattering::DeadVolume),
            (Kind::ChargingCylinder, Flattering::ReturnLoss),
        ] {
            assert_eq!(on_line(&line, &part(kind), true), Some(datum));
        }
        assert_eq!(on_line(&line, &part(Kind::CheckValve), false), None, "nothing is held");
        let sharp = Component { closing_volume: Some(Volume::ZERO), ..part(Kind::CheckValve) };
        assert_eq!(on_line(&line, &sharp, true), None);
        assert_eq!(on_line(&line, &part(Kind::Gauge), true), None);
    }
}
