//! Where a formula is used beyond the range that it was made for.

use crate::physics::flow::LAMINAR_LIMIT;
use crate::physics::quantity::{KinematicViscosity, Pressure, Temperature};
use crate::physics::unit::{Dimension, Unit, UnitSystem, UnitUse};

/// A figure outside a formula's range.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outside {
    /// The formula's name.
    pub formula: &'static str,
    /// A full sentence.
    pub reason: String,
}

/// Nitrogen: checked against outside values from 1 to 700 bar absolute and −20 to 80 °C.
#[must_use]
pub fn nitrogen_outside(pressure: Pressure, temperature: Temperature, units: UnitSystem) -> Option<Outside> {
    let (low, high) = (Pressure::ZERO, Pressure::from_bar(700.0));
    let (cold, warm) = (Temperature::from_celsius(-20.0), Temperature::from_celsius(80.0));
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
    Some(Outside { formula: "density", reason })
}

/// Laminar resistance: Reynolds number up to 2300.
#[must_use]
pub fn laminar_outside(reynolds_number: f64) -> Option<Outside> {
    (reynolds_number > LAMINAR_LIMIT).then(|| Outside {
        formula: "laminar_resistance",
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
    let reason = if shown < 2.0 {
        format!("ASTM D341 is used from 2 mm²/s; here the oil has {shown:.2} mm²/s.")
    } else if shown > 2e7 {
        format!("ASTM D341 is used up to 2e7 mm²/s; here the oil has {shown:.1e} mm²/s.")
    } else {
        return None;
    };
    Some(Outside { formula: "viscosity", reason })
}

/// Bulk modulus: taken as constant, which is good to about 2 % of the compression at 700 bar.
#[must_use]
pub fn modulus_outside(pressure: Pressure, units: UnitSystem) -> Option<Outside> {
    let limit = Pressure::from_bar(700.0);
    (pressure > limit).then(|| Outside {
        formula: "compression_of_filling",
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
    fn the_reason_speaks_the_readers_units() {
        let outside = nitrogen_outside(Pressure::from_psi(20_000.0), Temperature::from_celsius(20.0), UnitSystem::Us);
        let reason = outside.map(|outside| outside.reason).unwrap_or_default();
        assert!(reason.ends_with("up to 10153 psi; here it is at 20000 psi."), "{reason}");
    }
}
