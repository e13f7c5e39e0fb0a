//! Leaks, and how long a pressure is held.

use crate::physics::formula::Formula;
use crate::physics::quantity::{Conductance, Flow, Pressure, Time};

/// Below this pressure nothing is held any more.
pub const GONE: Pressure = Pressure::new(1.0);

pub static LEAK_CONDUCTANCE: Formula = Formula {
    function: "leak_conductance",
    figure: "Leak per pressure",
    unit: "m³/(s Pa)",
    formula: "G = Σ n leak/p_rated",
    symbols: "leak flow at rated pressure p_rated",
    validity: "a laminar leak, in proportion to pressure, at the viscosity of its statement",
    source: "flow in a narrow gap, Q = π D a³ Δp/(12 μ L); Fox and McDonald, Introduction to Fluid Mechanics, example 8.1",
};

/// Conductance of the leaks of one component.
///
/// Formula, validity and source: [`LEAK_CONDUCTANCE`].
///
/// * `leak` – flow at rated pressure, of all pieces of a line
/// * `rated_pressure` – above 0; nothing is returned without one
///
/// By hand: 0.06 cm³/min at 100 bar are 1e-9 m³/s per 1e7 Pa, 1e-16 m³/(s Pa).
/// ```
/// use clampbook::physics::{leak::leak_conductance, quantity::{Flow, Pressure}};
/// let g = leak_conductance(Flow::from_cm3_per_min(0.06), Pressure::from_bar(100.0));
/// assert!(g.is_some_and(|g| (g.si() / 1e-16 - 1.0).abs() < 1e-12));
/// ```
#[must_use]
pub fn leak_conductance(leak: Flow, rated_pressure: Pressure) -> Option<Conductance> {
    (rated_pressure > Pressure::ZERO).then(|| leak / rated_pressure)
}

/// How long a pressure is held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HoldReserve {
    /// Until then.
    Ends(Time),
    /// Nothing leaks.
    Endless,
}

impl HoldReserve {
    /// The time, where there is an end.
    #[must_use]
    pub const fn time(self) -> Option<Time> {
        match self {
            Self::Ends(time) => Some(time),
            Self::Endless => None,
        }
    }
}
