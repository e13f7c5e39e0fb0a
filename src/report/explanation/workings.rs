//! What the chapters of a calculation are written from.

use crate::circuit::audited::CircuitAudit;
use crate::circuit::side::{CircuitInputs, JoinedLine};
use crate::physics::quantity::{Area, Force, Length, Pressure, Temperature, Time, Volume};
use crate::physics::unit::{Dimension, Unit, UnitSystem, UnitUse};
use crate::tables::circuit::{Circuit, Service};
use crate::tables::figures::{CircuitFigures, Figure, SideFigures};
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;
use crate::tables::shown::shown;
use crate::tables::value::Value;

/// A circuit with its pallet, its figures and the plant's units.
pub(super) struct Workings<'a> {
    pub plant: &'a Plant,
    pub pallet: &'a [CircuitAudit],
    pub audit: &'a CircuitAudit,
    pub circuit: &'a Circuit,
    pub service: &'a Service,
    pub figures: &'a CircuitFigures,
    pub inputs: CircuitInputs<'a>,
}

impl<'a> Workings<'a> {
    pub(super) fn of(
        plant: &'a Plant,
        pallet: &'a [CircuitAudit],
        audit: &'a CircuitAudit,
        service: &'a Service,
    ) -> Self {
        let circuit = &audit.circuit;
        let inputs = CircuitInputs::of(plant, circuit, service);
        Self { plant, pallet, audit, circuit, service, figures: &audit.figures, inputs }
    }

    /// Circuits that the same charging cylinder fills, this one among them.
    pub(super) fn group(&self) -> Vec<&'a CircuitAudit> {
        let source = &self.service.source;
        if source.is_empty() || self.figures.clamp.group.members < 2 {
            return vec![self.audit];
        }
        let is_member = |audit: &&CircuitAudit| {
            let service = audit.circuit.service();
            service.source == *source && service.charging() == self.service.charging()
        };
        self.pallet.iter().filter(is_member).collect()
    }

    pub(super) fn shown(&self, value: &Value) -> String {
        shown(value, self.plant.policy.units)
    }

    pub(super) fn pressure(&self, value: Pressure) -> String {
        self.shown(&Value::Pressure(value))
    }

    pub(super) fn volume(&self, value: Volume) -> String {
        self.shown(&Value::Volume(value))
    }

    /// A round pressure for which is told what gives: 100 bar, or 1000 psi.
    pub(super) fn round_pressure(&self) -> Pressure {
        let unit = Unit::default_for(Dimension::Pressure, self.plant.policy.units, UnitUse::Usual);
        let number = if self.plant.policy.units == UnitSystem::Us { 1000.0 } else { 100.0 };
        Pressure::from_unit(number, unit)
    }

    pub(super) fn area(&self, value: Area) -> String {
        self.shown(&Value::Area(value))
    }

    pub(super) fn length(&self, value: Length) -> String {
        self.shown(&Value::Length(value))
    }

    pub(super) fn force(&self, value: Force) -> String {
        self.shown(&Value::Force(value))
    }

    pub(super) fn temperature(&self, value: Temperature) -> String {
        self.shown(&Value::Temperature(value))
    }

    pub(super) fn minutes(&self, value: Time) -> String {
        self.shown(&Value::Minutes(value))
    }

    pub(super) fn number(&self, value: f64) -> String {
        self.shown(&Value::Number(value))
    }

    pub(super) fn optional(&self, value: Option<Pressure>) -> String {
        value.map_or_else(|| "unknown".to_owned(), |value| self.pressure(value))
    }

    /// `lists/line-3.xlsx, sheet 'Fixture 12', row 14`.
    pub(super) fn row(&self, origin: Origin) -> String {
        match self.plant.source(origin) {
            Some(source) if origin.row > 0 => format!("{}, row {}", source.place(), origin.row),
            _ => String::new(),
        }
    }

    /// The row of the circuits table, where it has one.
    pub(super) fn own_row(&self) -> String {
        self.circuit.service.as_ref().map(|service| self.row(service.origin)).unwrap_or_default()
    }

    /// The rows of a line and of its part.
    pub(super) fn rows(&self, joined: &JoinedLine) -> [String; 2] {
        [self.row(joined.line.origin), self.row(joined.component.origin)]
    }

    /// `C4 PLOVER-20`, or the part alone.
    pub(super) fn named(&self, joined: &JoinedLine) -> String {
        self.named_line(joined.index)
    }

    pub(super) fn named_line(&self, index: usize) -> String {
        let Some(line) = self.circuit.lines.get(index) else { return String::new() };
        let part = crate::circuit::findings::part_no(self.plant, line);
        if line.position.is_empty() { part.to_owned() } else { format!("{} {part}", line.position) }
    }

    /// Why a figure of a side is unknown.
    pub(super) fn gap(&self, side: &SideFigures, figure: Figure) -> String {
        let of_side = side.gaps.iter().find(|gap| gap.figure == figure);
        of_side.or_else(|| self.figures.gap(figure)).map(|gap| gap.because.clone()).unwrap_or_default()
    }
}

/// `2 × ` of several pieces, nothing of one.
pub(super) fn times(pieces: f64) -> String {
    if (pieces - 1.0).abs() < f64::EPSILON { String::new() } else { format!("{pieces} × ") }
}
