//! Oil that goes into compressing oil.
//!
//! The bulk modulus is a constant tangent modulus, K = −V dp/dV. At 350 bar the shop rule
//! V p/K differs from it by about 1 %, at 700 bar by more than 2 %.

use crate::physics::formula::Formula;
use crate::physics::quantity::{Pressure, Volume};

pub static COMPRESSION_OF_FILLING: Formula = Formula {
    function: "compression_of_filling",
    figure: "Compression, charged by cylinder",
    unit: "m³",
    formula: "V_comp = V₀ (1 − exp(−p/K))",
    symbols: "V₀ oil at rest: conductors, dead volume and charging cylinder; p pressure of its zone; K bulk modulus, tangent, isothermal, 0.8 to 3.5 GPa",
    validity: "up to 700 bar: K doesn't depend on pressure here; a real oil stiffens by 5 to 6 Pa per Pa",
    source: "definition of the tangent modulus, integrated; Merritt, Hydraulic Control Systems, 1967, chapter 2, for the definition (chapter quoted from memory)",
};

/// Volume that a fixed amount of oil loses under pressure.
///
/// Formula, validity and source: [`COMPRESSION_OF_FILLING`].
///
/// * `rest_volume` – V₀, the oil at rest: conductors, dead volume and the charging cylinder
/// * `pressure` – p, 0 or more
/// * `bulk_modulus` – K, isothermal tangent, 0.8 to 3.5 GPa
///
/// By hand: p/K = 0.02, 1000 cm³ × (0.02 − 0.02²/2 + 0.02³/6) = 19.8013 cm³.
/// ```
/// use clampbook::physics::{compression::compression_of_filling, quantity::{Pressure, Volume}};
/// let lost = compression_of_filling(
///     Volume::from_cm3(1000.0), Pressure::from_bar(300.0), Pressure::from_gpa(1.5));
/// assert!((lost.cm3() - 19.8013).abs() < 5e-5);
/// ```
#[must_use]
pub fn compression_of_filling(rest_volume: Volume, pressure: Pressure, bulk_modulus: Pressure) -> Volume {
    rest_volume * -(-(pressure / bulk_modulus)).exp_m1()
}

pub static COMPRESSION_OF_CHAMBER: Formula = Formula {
    function: "compression_of_chamber",
    figure: "Compression, coupler and live",
    unit: "m³",
    formula: "V_comp = V₀ (exp(p/K) − 1)",
    symbols: "V₀ conductors, dead volume and swept volume; p, K as for a charging cylinder",
    validity: "up to 700 bar, as for a charging cylinder; the chamber itself is rigid",
    source: "definition of the tangent modulus, integrated; Merritt, Hydraulic Control Systems, 1967, chapter 2, for the definition (chapter quoted from memory)",
};

/// Oil, measured at rest, that must be added to a full chamber to bring it to a pressure.
///
/// Formula, validity and source: [`COMPRESSION_OF_CHAMBER`].
///
/// * `chamber` – V₀, conductors, dead volume and swept volume
/// * `pressure` – p, 0 or more
/// * `bulk_modulus` – K, isothermal tangent, 0.8 to 3.5 GPa
///
/// By hand: p/K = 0.02, 1000 cm³ × (0.02 + 0.02²/2 + 0.02³/6) = 20.2013 cm³.
/// ```
/// use clampbook::physics::{compression::compression_of_chamber, quantity::{Pressure, Volume}};
/// let added = compression_of_chamber(
///     Volume::from_cm3(1000.0), Pressure::from_bar(300.0), Pressure::from_gpa(1.5));
/// assert!((added.cm3() - 20.2013).abs() < 5e-5);
/// ```
#[must_use]
pub fn compression_of_chamber(chamber: Volume, pressure: Pressure, bulk_modulus: Pressure) -> Volume {
    chamber * (pressure / bulk_modulus).exp_m1()
}
