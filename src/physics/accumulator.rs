//! Oil in gas-loaded accumulators.

use crate::physics::formula::Formula;
use crate::physics::nitrogen::{GasModel, Isotherm, precharge_density};
use crate::physics::quantity::{Pressure, Temperature, Volume};

/// Accumulators of one kind and precharge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accumulator {
    /// Of all pieces together.
    pub gas_volume: Volume,
    /// Gauge, at 20 °C.
    pub precharge: Pressure,
}

pub static ACCUMULATOR_OIL: Formula = Formula {
    function: "accumulator_oil",
    figure: "Accumulator",
    unit: "m³",
    formula: "V_g(p,T) = Σ n V_gas max(0, 1 − ρ₀/ρ(p + p_atm, T)), ρ₀ = ρ(precharge + p_atm, 293.15 K); V_acc = V_g(p, T1)",
    symbols: "V_gas gas volume; ρ density of nitrogen; precharge gauge, at 20 °C; T1 temperature at charge",
    validity: "isothermal, so the charge or the leak is slow; nothing of the gas is lost",
    source: "conservation of the gas; density by Span et al., J. Phys. Chem. Ref. Data 29 (2000) 1361, or the ideal gas",
};

/// Oil that an accumulator holds at a pressure and a temperature.
///
/// Formula, validity and source: [`ACCUMULATOR_OIL`].
///
/// * `accumulator` – gas volume above 0, precharge 0 or more, gauge at 20 °C
/// * `pressure` – p of the oil, gauge
/// * `temperature` – T, of the gas
/// * `model` – real or ideal nitrogen
///
/// By hand, ideal gas: 1 L precharged to 9 bar absolute and brought to 18 bar absolute at 20 °C
/// holds half a litre of oil.
/// ```
/// use clampbook::physics::accumulator::{Accumulator, accumulator_oil};
/// use clampbook::physics::nitrogen::GasModel;
/// use clampbook::physics::quantity::{Pressure, Temperature, Volume};
/// let bottle = Accumulator {
///     gas_volume: Volume::from_litres(1.0),
///     precharge: Pressure::from_bar(9.0).gauge(),
/// };
/// let oil = accumulator_oil(
///     bottle, Pressure::from_bar(18.0).gauge(), Temperature::from_celsius(20.0),
///     GasModel::Ideal);
/// assert!((oil.litres() - 0.5).abs() < 1e-12);
/// ```
#[must_use]
pub fn accumulator_oil(
    accumulator: Accumulator,
    pressure: Pressure,
    temperature: Temperature,
    model: GasModel,
) -> Volume {
    let precharged = precharge_density(model, accumulator.precharge);
    let now = Isotherm::kept(model, temperature).density(pressure.absolute());
    if now <= precharged {
        return Volume::ZERO;
    }
    accumulator.gas_volume * (1.0 - precharged / now)
}
