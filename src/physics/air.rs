//! Undissolved air in the oil.

use crate::physics::formula::Formula;
use crate::physics::quantity::{ATMOSPHERE, Pressure, Volume};

pub static FREE_AIR_LOSS: Formula = Formula {
    function: "free_air_loss",
    figure: "Free air",
    unit: "m³",
    formula: "V_air = x V₀ (1 − p_atm/(p + p_atm))",
    symbols: "x volume fraction of undissolved air at rest, 0 to 0.05; V₀ oil at rest; p_atm 101 325 Pa",
    validity: "slow, so Boyle's law holds; no air goes into solution, which would leave less",
    source: "Boyle's law; e.g. Esposito, Fluid Power with Applications, chapter on gas laws",
};

/// Volume that the free air in the oil loses under pressure.
///
/// Formula, validity and source: [`FREE_AIR_LOSS`].
///
/// * `free_air` – x, volume fraction of undissolved air at rest, 0 to 0.05
/// * `rest_volume` – V₀, the volume of oil at rest
/// * `pressure` – p, 0 or more
///
/// By hand: 0.5 % of 1000 cm³ is 5 cm³ of air; at 9 atm gauge a tenth of it is left, 4.5 cm³
/// are gone.
/// ```
/// use clampbook::physics::{air::free_air_loss, quantity::{ATMOSPHERE, Volume}};
/// let lost = free_air_loss(0.005, Volume::from_cm3(1000.0), ATMOSPHERE * 9.0);
/// assert!((lost.cm3() - 4.5).abs() < 1e-9);
/// ```
#[must_use]
pub fn free_air_loss(free_air: f64, rest_volume: Volume, pressure: Pressure) -> Volume {
    rest_volume * (free_air * (pressure / pressure.absolute()))
}

/// What is left of a volume of gas, measured at rest, at a gauge pressure.
pub(crate) fn boyle(pressure: Pressure) -> f64 {
    ATMOSPHERE / pressure.absolute()
}
