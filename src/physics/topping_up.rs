//! How long a filling of a closed circuit lasts.

use crate::physics::formula::Formula;
use crate::physics::quantity::{Conductance, Pressure, Time, Volume};

pub static OIL_LOST: Formula = Formula {
    function: "oil_lost",
    figure: "Oil lost in a cycle",
    unit: "m³",
    formula: "w = hold_time Σ_z G_z p_z ν_ref/ν(T1) + vented",
    symbols: "G_z of each trapped zone as stated, without check and isolation valves, whose leak flows back into the circuit; vented what relief valves let out",
    validity: "pressure taken as at charge for the whole hold, so that no loss is missed",
    source: "volume balance; laminar leak, flow in a narrow gap",
};

/// Oil that a circuit loses in a cycle.
///
/// Formula, validity and source: [`OIL_LOST`].
///
/// * `hold_time` – from charging to release
/// * `zones` – of each trapped zone G as stated, without check and isolation valves, whose leak
///   flows back into the circuit, and p_z
/// * `leak_factor` – ν_ref/ν(T1)
/// * `vented` – what relief valves let out
///
/// By hand: 0.01 cm³/min at 200 bar rated, 100 bar, 8 h: 480 min × 0.005 = 2.4 cm³, and 0.6
/// vented.
/// ```
/// use clampbook::physics::{leak::leak_conductance, topping_up::oil_lost};
/// use clampbook::physics::quantity::{Flow, Pressure, Time, Volume};
/// let g = leak_conductance(Flow::from_cm3_per_min(0.01), Pressure::from_bar(200.0)).unwrap();
/// let lost = oil_lost(
///     Time::from_hours(8.0), &[(g, Pressure::from_bar(100.0))], 1.0, Volume::from_cm3(0.6));
/// assert!((lost.cm3() - 3.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn oil_lost(hold_time: Time, zones: &[(Conductance, Pressure)], leak_factor: f64, vented: Volume) -> Volume {
    let leaked: Volume =
        zones.iter().map(|(conductance, pressure)| *pressure * *conductance * hold_time * leak_factor).sum();
    leaked + vented
}

pub static CYCLES_OF_FILLING: Formula = Formula {
    function: "cycles_of_filling",
    figure: "Cycles that a filling lasts",
    unit: "1",
    formula: "cycles = max(0, reserve)/w",
    symbols: "w of all circuits of the group",
    validity: "no oil is added in between",
    source: "volume balance",
};

/// Cycles that the reserve of a charging cylinder lasts.
///
/// Formula, validity and source: [`CYCLES_OF_FILLING`].
///
/// * `reserve` – usable oil less demand; below 0 none is left
/// * `lost` – w, of all circuits of the group; nothing is returned where nothing is lost
///
/// By hand: 30 cm³ at 0.25 cm³ a cycle are 120 cycles.
/// ```
/// use clampbook::physics::{quantity::Volume, topping_up::cycles_of_filling};
/// let cycles = cycles_of_filling(Volume::from_cm3(30.0), Volume::from_cm3(0.25));
/// assert!(cycles.is_some_and(|cycles| (cycles - 120.0).abs() < 1e-9));
/// ```
#[must_use]
pub fn cycles_of_filling(reserve: Volume, lost: Volume) -> Option<f64> {
    (lost > Volume::ZERO).then(|| reserve.max(Volume::ZERO) / lost)
}

pub static DAYS_OF_FILLING: Formula = Formula {
    function: "days_of_filling",
    figure: "Days that a filling lasts",
    unit: "1",
    formula: "days = cycles/cycles_per_day",
    symbols: "cycles_per_day the highest of the group",
    validity: "no oil is added in between",
    source: "proportion",
};

/// Days that a filling lasts.
///
/// Formula, validity and source: [`DAYS_OF_FILLING`].
///
/// * `cycles` – of [`cycles_of_filling`]
/// * `cycles_per_day` – above 0, the group's highest; nothing is returned without
///
/// By hand: 120 cycles at 8 a day are 15 days.
/// ```
/// use clampbook::physics::topping_up::days_of_filling;
/// assert_eq!(days_of_filling(120.0, 8.0), Some(15.0));
/// ```
#[must_use]
pub fn days_of_filling(cycles: f64, cycles_per_day: f64) -> Option<f64> {
    (cycles_per_day > 0.0).then(|| cycles / cycles_per_day)
}
