//! Where a formula is used beyond the range that it was made for.

use std::fmt;

use crate::physics::compression::COMPRESSION_OF_FILLING;
use crate::physics::flow::{LAMINAR_LIMIT, LAMINAR_RESISTANCE, VISCOSITY_AT};
use crate::physics::formula::Formula;
use crate::physics::nitrogen::NITROGEN_DENSITY;
use crate::physics::quantity::{KinematicViscosity, Pressure, Temperature};
use crate::physics::unit::{Dimension, Unit, UnitSystem, UnitUse};

/// Up to which nitrogen was checked and the bulk modulus is taken as constant.
const HIGHEST_BAR: f64 = 700.0;
/// From and to which nitrogen was checked.
const NITROGEN_CELSIUS: [f64; 2] = [-20.0, 80.0];
/// From and to which ASTM D341 is used without its correction terms.
const D341_MM2_PER_S: [f64; 2] = [2.0, 2e7];

/// A figure outside a formula's range.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outside {
    pub formula: &'static Formula,
    /// A full sentence.
    pub reason: String,
}

impl fmt::Display for Outside {
    fn fmt(&self, to: &mut fmt::Formatter) -> fmt::Result {
        write!(to, "{}: {}", self.formula.figure, self.reason)
    }
}

/// Nitrogen: checked against outside values from 1 to 700 bar absolute and −20 to 80 °C.
#[must_use]
pub fn nitrogen_outside(pressure: Pressure, temperature: Temperature, units: UnitSystem) -> Option<Outside> {
    let (low, high) = (Pressure::ZERO, Pressure::from_bar(HIGHEST_BAR));
    let [cold, warm] = NITROGEN_CELSIUS.map(Temperature::from_celsius);
    let reason = if pressure < low || pressure > high {
        format!(
            "The density of nitrogen was checked up to {}; here it is at {}.",
            shown_pressure(high, units),
            shown_pressure(pressure, units)
        )
    } else if temperature < cold || temperature > warm {
        format!(
            "The density of nitrogen was checked from {} to {}; here it is at {}.",
            shown_temperature(cold, units),
            shown_temperature(warm, units),
            shown_temperature(temperature, units)
        )
    } else {
        return None;
    };
    Some(Outside { formula: &NITROGEN_DENSITY, reason })
}

/// Laminar resistance: Reynolds number up to 2300.
#[must_use]
pub fn laminar_outside(reynolds_number: f64) -> Option<Outside> {
    (reynolds_number > LAMINAR_LIMIT).then(|| Outside {
        formula: &LAMINAR_RESISTANCE,
        reason: format!(
            "The flow is not laminar: the Reynolds number is {reynolds_number:.0}, above \
             {LAMINAR_LIMIT:.0}, so it takes longer than stated."
        ),
    })
}

/// ASTM D341 without its correction terms: 2 mm²/s and more.
#[must_use]
pub fn viscosity_outside(viscosity: KinematicViscosity) -> Option<Outside> {
    let shown = viscosity.mm2_per_s();
    let [least, most] = D341_MM2_PER_S;
    let reason = if shown < least {
        format!("ASTM D341 is used from {least} mm²/s; here the oil has {shown:.2} mm²/s.")
    } else if shown > most {
        format!("ASTM D341 is used up to {most:e} mm²/s; here the oil has {shown:.1e} mm²/s.")
    } else {
        return None;
    };
    Some(Outside { formula: &VISCOSITY_AT, reason })
}

/// Bulk modulus: taken as constant, which is good to about 2 % of the compression at 700 bar.
#[must_use]
pub fn modulus_outside(pressure: Pressure, units: UnitSystem) -> Option<Outside> {
    let limit = Pressure::from_bar(HIGHEST_BAR);
    (pressure > limit).then(|| Outside {
        formula: &COMPRESSION_OF_FILLING,
        reason: format!(
            "The bulk modulus is taken as constant, which is meant for pressures up to {}; here \
             it is {}.",
            shown_pressure(limit, units),
            shown_pressure(pressure, units)
        ),
    })
}

fn shown_pressure(pressure: Pressure, units: UnitSystem) -> String {
    let unit = Unit::default_for(Dimension::Pressure, units, UnitUse::Usual);
    format!("{:.0} {}", pressure.in_unit(unit), unit.name)
}

fn shown_temperature(temperature: Temperature, units: UnitSystem) -> String {
    let unit = Unit::default_for(Dimension::Temperature, units, UnitUse::Usual);
    format!("{:.0} {}", temperature.in_unit(unit), unit.name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_the_end_of_its_range_a_formula_holds() {
        let (bar, celsius) = (Pressure::from_bar, Temperature::from_celsius);
        for (p, t) in [(0.0, -20.0), (700.0, 80.0), (350.0, 20.0)] {
            assert_eq!(nitrogen_outside(bar(p), celsius(t), UnitSystem::Metric), None);
        }
        for (p, t) in [(701.0, 20.0), (100.0, -21.0), (100.0, 81.0), (-1.0, 20.0)] {
            assert!(nitrogen_outside(bar(p), celsius(t), UnitSystem::Us).is_some());
        }
        assert_eq!(laminar_outside(2300.0), None);
        assert!(laminar_outside(2301.0).is_some());
        assert_eq!(viscosity_outside(KinematicViscosity::from_mm2_per_s(2.0)), None);
        assert!(viscosity_outside(KinematicViscosity::from_mm2_per_s(1.99)).is_some());
        assert_eq!(modulus_outside(bar(700.0), UnitSystem::Metric), None);
    }

    #[test]
    fn each_formula_says_its_range_in_words() {
        let [cold, warm] = NITROGEN_CELSIUS;
        let [least, most] = D341_MM2_PER_S;
        let nitrogen = format!("{HIGHEST_BAR} bar and {cold} to {warm} °C").replace('-', "−");
        for (formula, range) in [
            (&NITROGEN_DENSITY, nitrogen),
            (&COMPRESSION_OF_FILLING, format!("up to {HIGHEST_BAR} bar")),
            (&LAMINAR_RESISTANCE, format!("Re up to {LAMINAR_LIMIT}")),
            (&VISCOSITY_AT, format!("{least} mm²/s to {most:e} mm²/s")),
        ] {
            assert!(formula.validity.contains(&range), "{range}: {}", formula.validity);
        }
    }

    #[test]
    fn the_reason_speaks_the_readers_units() {
        let outside = nitrogen_outside(Pressure::from_psi(20_000.0), Temperature::from_celsius(20.0), UnitSystem::Us);
        let reason = outside.map(|outside| outside.reason).unwrap_or_default();
        assert!(reason.ends_with("up to 10153 psi; here it is at 20000 psi."), "{reason}");
    }
}
