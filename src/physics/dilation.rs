//! What gives under pressure: tubes, hoses and clamps.

use std::f64::consts::PI;

use crate::physics::formula::Formula;
use crate::physics::quantity::{Area, Compliance, Expansion, Length, Pressure, Stiffness};

pub static TUBE_COMPLIANCE: Formula = Formula {
    function: "tube_compliance",
    figure: "Dilation of tubes",
    unit: "m³/Pa",
    formula: "e = n π/4 ID² L [3(1 − 2ν) ID² + 2(1 + ν) OD²]/[E (OD² − ID²)], V = p e",
    symbols: "ID, OD diameters, 0 < ID < OD; L length; E elastic modulus; ν Poisson's ratio; p pressure",
    validity: "elastic, thick wall, closed ends; without OD: 0",
    source: "Lamé's thick-walled cylinder, closed ends; Timoshenko, Strength of Materials, part II, thick-walled cylinder (quoted from memory); checked against stresses and Hooke's law",
};

/// Volume by which a piece of tube grows per pressure.
///
/// Formula, validity and source: [`TUBE_COMPLIANCE`].
///
/// * `inner_diameter`, `outer_diameter` – 0 < ID < OD
/// * `length` – of the piece
/// * `elastic_modulus` – E, 205 GPa for steel
/// * `poisson` – ν, 0 to 0.5
///
/// By hand, 6 × 1 mm, ν = 0.3, E = 206 GPa: (3·0.4·16 + 2·1.3·36)/(206 GPa·20) = 112.8/4120 per
/// GPa = 2.7379e-6 per bar; a metre holds 12.566 cm³, so 3.4405e-5 cm³ per bar.
/// ```
/// use clampbook::physics::{dilation::tube_compliance, quantity::{Length, Pressure}};
/// let tube = tube_compliance(
///     Length::from_mm(4.0), Length::from_mm(6.0), Length::new(1.0),
///     Pressure::from_gpa(206.0), 0.3);
/// assert!(((tube * Pressure::from_bar(1.0)).cm3() - 3.4405e-5).abs() < 5e-10);
/// ```
#[must_use]
pub fn tube_compliance(
    inner_diameter: Length,
    outer_diameter: Length,
    length: Length,
    elastic_modulus: Pressure,
    poisson: f64,
) -> Compliance {
    let inner = inner_diameter.si() * inner_diameter.si();
    let outer = outer_diameter.si() * outer_diameter.si();
    if outer <= inner {
        return Compliance::ZERO;
    }
    let bore = PI / 4.0 * inner * length.si();
    let give = 3.0 * (1.0 - 2.0 * poisson) * inner + 2.0 * (1.0 + poisson) * outer;
    Compliance::new(bore * give / (elastic_modulus.si() * (outer - inner)))
}

pub static HOSE_COMPLIANCE: Formula = Formula {
    function: "hose_compliance",
    figure: "Dilation of hoses",
    unit: "m³/Pa",
    formula: "e = n L × expansion/p_rated, V = p e",
    symbols: "L length; expansion volume per length at rated pressure p_rated",
    validity: "growth in proportion to pressure; a real hose gives more at first",
    source: "the measure is that of ISO 6801 (volume per length at a pressure), made linear",
};

/// Volume by which a piece of hose grows per pressure.
///
/// Formula, validity and source: [`HOSE_COMPLIANCE`].
///
/// * `length` – of the piece
/// * `expansion` – volume per length at rated pressure
/// * `rated_pressure` – above 0, else 0 is returned
///
/// By hand: 0.8 m × 1 cm³/m per 70 bar, at 210 bar: 2.4 cm³.
/// ```
/// use clampbook::physics::{dilation::hose_compliance, quantity::{Expansion, Length, Pressure}};
/// let hose = hose_compliance(
///     Length::new(0.8), Expansion::from_cm3_per_m(1.0), Pressure::from_bar(70.0));
/// assert!(((hose * Pressure::from_bar(210.0)).cm3() - 2.4).abs() < 1e-12);
/// ```
#[must_use]
pub fn hose_compliance(length: Length, expansion: Expansion, rated_pressure: Pressure) -> Compliance {
    if rated_pressure > Pressure::ZERO { expansion * length / rated_pressure } else { Compliance::ZERO }
}

pub static CLAMP_COMPLIANCE: Formula = Formula {
    function: "clamp_compliance",
    figure: "Clamp elasticity",
    unit: "m³/Pa",
    formula: "e = n A²/k, V_el = p e",
    symbols: "A piston area; k stiffness: nothing stated means rigid",
    validity: "elastic, the clamp in contact",
    source: "Hooke's law: the force p A moves the piston by p A/k, which sweeps p A²/k",
};

/// Oil that one clamp takes per pressure because it, or what it clamps, gives way.
///
/// Formula, validity and source: [`CLAMP_COMPLIANCE`].
///
/// * `area` – piston area A
/// * `stiffness` – k, above 0, else 0 is returned: nothing stated means rigid
///
/// By hand: A = 5 cm², k = 50 kN/mm; 100 bar push 5 kN, 0.1 mm, 0.05 cm³.
/// ```
/// use clampbook::physics::{dilation::clamp_compliance, quantity::{Area, Pressure, Stiffness}};
/// let clamp = clamp_compliance(Area::from_cm2(5.0), Stiffness::from_n_per_mm(50_000.0));
/// assert!(((clamp * Pressure::from_bar(100.0)).cm3() - 0.05).abs() < 1e-12);
/// ```
#[must_use]
pub fn clamp_compliance(area: Area, stiffness: Stiffness) -> Compliance {
    if stiffness > Stiffness::ZERO { Compliance::new(area.si() * area.si() / stiffness.si()) } else { Compliance::ZERO }
}
