//! Numbers in the reader's units.

use crate::physics::quantity::{Pressure, Temperature, Volume};
use crate::physics::unit::{Dimension, Unit, UnitSystem, UnitUse};
use crate::tables::value::Value;

use super::style::Digits;

/// The units of one report.
#[derive(Clone, Copy)]
pub struct Units {
    pub system: UnitSystem,
}

impl Units {
    /// The unit of a dimension.
    #[must_use]
    pub fn unit(self, dimension: Dimension) -> &'static Unit {
        Unit::default_for(dimension, self.system, UnitUse::Usual)
    }

    /// The name of a dimension's unit, as headers show it.
    #[must_use]
    pub fn name(self, dimension: Dimension) -> &'static str {
        self.unit(dimension).name
    }

    /// A header with the unit of its column.
    #[must_use]
    pub fn header(self, text: &str, dimension: Dimension) -> String {
        format!("{text} [{}]", self.name(dimension))
    }

    #[must_use]
    pub fn pressure(self, pressure: Pressure) -> f64 {
        pressure.in_unit(self.unit(Dimension::Pressure))
    }

    #[must_use]
    pub fn volume(self, volume: Volume) -> f64 {
        volume.in_unit(self.unit(Dimension::Volume))
    }

    #[must_use]
    pub fn temperature(self, temperature: Temperature) -> f64 {
        temperature.in_unit(self.unit(Dimension::Temperature))
    }

    /// Digits behind the point of a pressure.
    #[must_use]
    pub fn pressure_digits(self) -> Digits {
        if self.system == UnitSystem::Metric { Digits::One } else { Digits::Whole }
    }

    /// Digits behind the point of a volume.
    #[must_use]
    pub fn volume_digits(self) -> Digits {
        if self.system == UnitSystem::Metric { Digits::Two } else { Digits::Three }
    }

    /// A finding's value as a number with its unit and digits; `None` for text.
    #[must_use]
    pub fn number(self, value: &Value) -> Option<(f64, &str, Digits)> {
        let (dimension, digits) = match value {
            Value::Pressure(_) => (Dimension::Pressure, self.pressure_digits()),
            Value::Volume(_) => (Dimension::Volume, self.volume_digits()),
            Value::Area(_) => (Dimension::Area, self.volume_digits()),
            Value::Length(_) => (Dimension::Length, self.volume_digits()),
            Value::Force(_) => (Dimension::Force, Digits::Whole),
            Value::Flow(_) => (Dimension::Flow, Digits::Three),
            Value::Temperature(_) => (Dimension::Temperature, Digits::One),
            other => return plain_number(other),
        };
        let unit = self.unit(dimension);
        Some((unit.from_si(si(value)?), unit.name, digits))
    }
}

fn si(value: &Value) -> Option<f64> {
    Some(match value {
        Value::Pressure(value) => value.si(),
        Value::Volume(value) => value.si(),
        Value::Area(value) => value.si(),
        Value::Length(value) => value.si(),
        Value::Force(value) => value.si(),
        Value::Flow(value) => value.si(),
        Value::Temperature(value) => value.si(),
        _ => return None,
    })
}

/// What is the same number in both unit systems.
fn plain_number(value: &Value) -> Option<(f64, &str, Digits)> {
    let (number, unit) = value.metric()?;
    let digits = match value {
        Value::Seconds(_) | Value::Minutes(_) => Digits::One,
        Value::Ratio(_) => Digits::Three,
        Value::Money(..) => Digits::Money,
        Value::Count(_) => Digits::Whole,
        _ => Digits::General,
    };
    Some((number, unit, digits))
}
