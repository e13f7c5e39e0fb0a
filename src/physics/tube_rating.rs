//! The pressure that a tube may see.

use crate::physics::formula::Formula;
use crate::physics::quantity::{Length, Pressure};

pub static TUBE_RATING: Formula = Formula {
    function: "tube_rating",
    figure: "Tube rating by wall stress",
    unit: "Pa",
    formula: "p_tube = (R_m/S)(OD² − ID²)/(OD² + ID²)",
    symbols: "R_m tensile strength, the least of the material; S design factor, 4 as a rule; OD, ID diameters",
    validity: "straight, seamless, no allowance for bends, corrosion or tolerance of the wall; a wall without thickness holds nothing",
    source: "Lamé, hoop stress at the bore, as used for the rating tables of SAE J524/J525 tube (12 500 psi allowed, which is about a quarter of the tensile strength)",
};

/// Rated pressure of a tube by the hoop stress at its bore.
///
/// Formula, validity and source: [`TUBE_RATING`].
///
/// * `inner_diameter`, `outer_diameter` – 0 < ID < OD
/// * `tensile_strength` – R_m, the least of the material
/// * `design_factor` – S, above 0; 4 as a rule
///
/// By hand: 1/4 × 0.035 in at 12 500 psi allowed: 12 500 × (0.0625 − 0.0324)/(0.0625 + 0.0324) =
/// 3965 psi; the table prints 3950.
/// ```
/// use clampbook::physics::{quantity::{Length, Pressure}, tube_rating::tube_rating};
/// let rating = tube_rating(
///     Length::from_inches(0.18), Length::from_inches(0.25), Pressure::from_psi(50_000.0), 4.0);
/// assert!((rating.psi() - 3965.0).abs() < 0.5);
/// ```
#[must_use]
pub fn tube_rating(
    inner_diameter: Length,
    outer_diameter: Length,
    tensile_strength: Pressure,
    design_factor: f64,
) -> Pressure {
    let inner = inner_diameter.si() * inner_diameter.si();
    let outer = outer_diameter.si() * outer_diameter.si();
    if outer <= inner {
        return Pressure::ZERO;
    }
    tensile_strength / design_factor * ((outer - inner) / (outer + inner))
}
