//! Forces of clamps and of work supports.

use crate::physics::quantity::{Area, Force, Pressure};

/// Contact force of a clamp.
///
/// F = force_ratio × A × max(0, p − p_return)
///
/// * `force_ratio` – contact force over area × pressure, 0 to 1 for friction, other with a lever
/// * `area` – clamping piston area A
/// * `pressure` – p
/// * `return_pressure` – what the return spring takes; 0 on a double-acting clamp
///
/// Validity: at rest; the spring in its clamped position.
///
/// Source: pressure acts alike on every area; US Army TM 1-1500-204-23-2, p. 2-3.
///
/// By hand: 0.9 × 10 cm² × (210 − 10) bar = 18 kN.
/// ```
/// use clampbook::physics::{force::clamp_force, quantity::{Area, Pressure}};
/// let force = clamp_force(
///     0.9, Area::from_cm2(10.0), Pressure::from_bar(210.0), Pressure::from_bar(10.0));
/// assert!((force.si() - 18_000.0).abs() < 1e-6);
/// ```
#[must_use]
pub fn clamp_force(force_ratio: f64, area: Area, pressure: Pressure, return_pressure: Pressure) -> Force {
    (pressure - return_pressure).max(Pressure::ZERO) * area * force_ratio
}

/// Force that a work support bears at a pressure.
///
/// F = F_rated p/p_rated
///
/// * `capacity` – F_rated, at rated pressure
/// * `pressure` – p
/// * `rated_pressure` – above 0, else 0 is returned
///
/// Validity: capacity in proportion to pressure (common practice, no source); a support may
/// need some pressure before it bears anything.
///
/// Source: proportion.
///
/// By hand: 10 kN at 350 bar are 6 kN at 210 bar.
/// ```
/// use clampbook::physics::{force::support_force, quantity::{Force, Pressure}};
/// let force = support_force(
///     Force::from_kn(10.0), Pressure::from_bar(210.0), Pressure::from_bar(350.0));
/// assert!((force.kn() - 6.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn support_force(capacity: Force, pressure: Pressure, rated_pressure: Pressure) -> Force {
    if rated_pressure > Pressure::ZERO { capacity * (pressure / rated_pressure) } else { Force::ZERO }
}
