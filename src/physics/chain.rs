//! From the pump to the circuit.

use crate::physics::quantity::{Area, Pressure};

/// Pressure ratio of a drive ram on a charging cylinder.
///
/// i = A_ram/A_cylinder
///
/// * `ram_area`, `cylinder_area` – above 0
///
/// Source: Esposito, Fluid Power with Applications, example 11-1 (intensifier).
///
/// By hand: a ram of 10 cm² on a cylinder of 20 cm² gives 0.5: the circuit works at half the
/// pump's pressure.
/// ```
/// use clampbook::physics::{chain::pressure_ratio, quantity::Area};
/// let ratio = pressure_ratio(Area::from_cm2(10.0), Area::from_cm2(20.0));
/// assert!((ratio - 0.5).abs() < 1e-12);
/// ```
#[must_use]
pub fn pressure_ratio(ram_area: Area, cylinder_area: Area) -> f64 {
    ram_area / cylinder_area
}

/// Pressure that a pump pressure gives behind the charging cylinder.
///
/// p = p_pump × ratio − return_loss
///
/// * `pump_pressure` – what the pump is set to, or rated for: the potential pressure
/// * `ratio` – circuit over pump pressure; 1 for a coupler
/// * `return_loss` – pressure lost to the return spring and seals; 0 for a coupler
///
/// Validity: friction as one constant; below 0 no pressure is reached.
///
/// Source: balance of forces on the two pistons; Esposito, Fluid Power with Applications,
/// example 11-1.
///
/// By hand: 700 bar × 0.5 − 10 bar = 340 bar.
/// ```
/// use clampbook::physics::{chain::intensified_pressure, quantity::Pressure};
/// let p = intensified_pressure(Pressure::from_bar(700.0), 0.5, Pressure::from_bar(10.0));
/// assert!((p.bar() - 340.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn intensified_pressure(pump_pressure: Pressure, ratio: f64, return_loss: Pressure) -> Pressure {
    pump_pressure * ratio - return_loss
}

/// Highest pressure that a circuit can get, should the pump go to its rating.
///
/// p = p_rated × ratio − return_loss
///
/// * `pump_rating`, `ratio`, `return_loss` – as for [`intensified_pressure`]
///
/// Validity: as for [`intensified_pressure`].
///
/// Source: as for [`intensified_pressure`]; pumps of 5000 and 10 000 psi serve circuits to 2500
/// and 5000 psi (common practice, no source).
///
/// By hand: 10 000 psi × 0.5 = 5000 psi.
/// ```
/// use clampbook::physics::{chain::potential_pressure, quantity::Pressure};
/// let p = potential_pressure(Pressure::from_psi(10_000.0), 0.5, Pressure::ZERO);
/// assert!((p.psi() - 5000.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn potential_pressure(pump_rating: Pressure, ratio: f64, return_loss: Pressure) -> Pressure {
    intensified_pressure(pump_rating, ratio, return_loss)
}

/// Pump pressure that a wanted circuit pressure needs.
///
/// p_pump = (p + return_loss)/ratio
///
/// * `wanted` – the circuit pressure
/// * `ratio` – above 0
/// * `return_loss` – 0 or more
///
/// Validity: as for [`intensified_pressure`].
///
/// Source: as for [`intensified_pressure`], solved for the pump.
///
/// By hand: (340 + 10) bar/0.5 = 700 bar.
/// ```
/// use clampbook::physics::{chain::pump_pressure_needed, quantity::Pressure};
/// let p = pump_pressure_needed(Pressure::from_bar(340.0), 0.5, Pressure::from_bar(10.0));
/// assert!((p.bar() - 700.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn pump_pressure_needed(wanted: Pressure, ratio: f64, return_loss: Pressure) -> Pressure {
    (wanted + return_loss) / ratio
}
