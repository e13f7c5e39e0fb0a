//! Oil trapped in a circuit, at another temperature than when it was charged.
//!
//! Everything hangs on M, the volume of the trapped oil referred to its state at charge. As
//! long as nothing leaks M keeps its value, and the pressure is where the circuit holds just
//! that much.
//!
//! M rises with pressure wherever the box of oil is positive: ∂M/∂p = (V_box/K + ∂V_box/∂p) …,
//! and no part of V_box falls with pressure (clamps and hoses give, accumulators take oil, air
//! shrinks). So a pressure that holds a given M is the only one, and bisection finds it.

use std::rc::Rc;

use crate::physics::accumulator::Accumulator;
use crate::physics::air::boyle;
use crate::physics::nitrogen::{GasModel, GasState, Isotherm, precharge_density};
use crate::physics::quantity::{Compliance, Pressure, Temperature, Volume};

/// What the oil is like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Oil {
    /// K, isothermal tangent, constant.
    pub bulk_modulus: Pressure,
    /// α, volumetric, 1/K.
    pub thermal_expansion: f64,
    /// Volume fraction of undissolved air at rest.
    pub free_air: f64,
}

/// A charged and uncoupled circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct TrappedOil {
    /// V_t: conductors, dead and swept volume.
    pub volume: Volume,
    /// C_el: tubes, hoses and clamps.
    pub elasticity: Compliance,
    pub accumulators: Vec<Accumulator>,
    pub oil: Oil,
    /// Linear, 1/K.
    pub metal_expansion: f64,
    pub gas: GasModel,
    /// p1
    pub charge_pressure: Pressure,
    /// T1
    pub charge_temperature: Temperature,
}

impl TrappedOil {
    /// The circuit at a temperature, ready for many pressures.
    #[must_use]
    pub fn at(&self, temperature: Temperature) -> TrappedState<'_> {
        TrappedState::new(self, temperature)
    }

    /// M(p1, T1), what was trapped.
    #[must_use]
    pub fn charged(&self) -> Volume {
        self.at(self.charge_temperature).referred_oil(self.charge_pressure)
    }

    /// Temperature of the coldest state: the charge is part of the range.
    #[must_use]
    pub fn cold_temperature(&self, lowest: Option<Temperature>) -> Temperature {
        lowest.map_or(self.charge_temperature, |lowest| lowest.min(self.charge_temperature))
    }

    /// Temperature of the hottest state.
    #[must_use]
    pub fn hot_temperature(&self, highest: Option<Temperature>) -> Temperature {
        highest.map_or(self.charge_temperature, |highest| highest.max(self.charge_temperature))
    }

    /// Highest pressure of the warm circuit, p_hot.
    ///
    /// M(p, T_hot) = M(p1, T1), T_hot = max(T_max, T1); a relief valve caps p.
    ///
    /// * `highest` – T_max
    /// * `relief` – the lowest setting of the side's relief valves
    ///
    /// Validity: oil and metal at one temperature, slow.
    ///
    /// Source: conservation of the trapped oil; worked example for MIL-H-83282 oil: 3.0e5
    /// psi × 0.00046/°F × 50 °F = 6900 psi at constant volume.
    ///
    /// By hand: a rigid circuit without air, α 7e-4/K, steel 11.7e-6/K, 10 K: exp(p/K) rises by
    /// 0.007 − 3 × 11.7e-5 = 0.00665 at K = 1.5 GPa, so about 99.7 bar more.
    /// ```
    /// use clampbook::physics::nitrogen::GasModel;
    /// use clampbook::physics::quantity::{Compliance, Pressure, Temperature, Volume};
    /// use clampbook::physics::trapped::{Oil, TrappedOil};
    /// let rigid = TrappedOil {
    ///     volume: Volume::from_cm3(500.0),
    ///     elasticity: Compliance::ZERO,
    ///     accumulators: Vec::new(),
    ///     oil: Oil {
    ///         bulk_modulus: Pressure::from_gpa(1.5), thermal_expansion: 7e-4, free_air: 0.0 },
    ///     metal_expansion: 11.7e-6,
    ///     gas: GasModel::Real,
    ///     charge_pressure: Pressure::from_bar(200.0),
    ///     charge_temperature: Temperature::from_celsius(20.0),
    /// };
    /// let hot = rigid.hot_pressure(Temperature::from_celsius(30.0), None);
    /// assert!((hot.bar() - 299.7).abs() < 0.1);
    /// ```
    #[must_use]
    pub fn hot_pressure(&self, highest: Temperature, relief: Option<Pressure>) -> Pressure {
        self.hot_pressure_of(self.charged(), highest, relief)
    }

    /// [`TrappedOil::hot_pressure`] with [`TrappedOil::charged`] at hand.
    pub(crate) fn hot_pressure_of(&self, charged: Volume, highest: Temperature, relief: Option<Pressure>) -> Pressure {
        let hot = self.at(self.hot_temperature(Some(highest)));
        let free = hot.pressure_for(charged);
        relief.map_or(free, |setting| free.min(setting))
    }

    /// Oil that is left for the cold: what a relief valve let out at the hottest is missing.
    ///
    /// The lower of M(p1, T1) and M(set_pressure, T_hot).
    ///
    /// * `highest` – T_max; the charge temperature counts where none is given
    /// * `relief` – the lowest setting of the side's relief valves
    ///
    /// Validity: the valve closes at its setting.
    ///
    /// Source: conservation of the trapped oil.
    ///
    /// By hand: without a relief valve nothing is missing.
    /// ```
    /// # use clampbook::physics::nitrogen::GasModel;
    /// # use clampbook::physics::quantity::{Compliance, Pressure, Temperature, Volume};
    /// # use clampbook::physics::trapped::{Oil, TrappedOil};
    /// # let rigid = TrappedOil {
    /// #     volume: Volume::from_cm3(500.0), elasticity: Compliance::ZERO,
    /// #     accumulators: Vec::new(),
    /// #     oil: Oil { bulk_modulus: Pressure::from_gpa(1.5), thermal_expansion: 7e-4,
    /// #         free_air: 0.0 },
    /// #     metal_expansion: 11.7e-6, gas: GasModel::Real,
    /// #     charge_pressure: Pressure::from_bar(200.0),
    /// #     charge_temperature: Temperature::from_celsius(20.0) };
    /// let warm = Some(Temperature::from_celsius(30.0));
    /// assert_eq!(rigid.oil_left(warm, None), rigid.charged());
    /// assert!(rigid.oil_left(warm, Some(Pressure::from_bar(250.0))) < rigid.charged());
    /// ```
    #[must_use]
    pub fn oil_left(&self, highest: Option<Temperature>, relief: Option<Pressure>) -> Volume {
        self.oil_left_of(self.charged(), highest, relief)
    }

    fn oil_left_of(&self, charged: Volume, highest: Option<Temperature>, relief: Option<Pressure>) -> Volume {
        relief.map_or(charged, |setting| {
            let hot = self.at(self.hot_temperature(highest));
            charged.min(hot.referred_oil(setting))
        })
    }

    /// Pressure of the cold circuit, p_cold, before any leak.
    ///
    /// M(p, T_cold) = the oil left, T_cold = min(T_min, T1); 0 where the clamps go slack.
    ///
    /// * `lowest` – T_min; the charge temperature counts where none is given
    /// * `highest`, `relief` – as for [`TrappedOil::oil_left`]
    ///
    /// Validity: oil and metal at one temperature, slow.
    ///
    /// Source: conservation of the trapped oil, as for [`TrappedOil::hot_pressure`].
    ///
    /// By hand: 10 K down at 9.97 bar/K from 200 bar leave 100.3 bar; 30 K leave nothing.
    /// ```
    /// # use clampbook::physics::nitrogen::GasModel;
    /// # use clampbook::physics::quantity::{Compliance, Pressure, Temperature, Volume};
    /// # use clampbook::physics::trapped::{Oil, TrappedOil};
    /// # let rigid = TrappedOil {
    /// #     volume: Volume::from_cm3(500.0), elasticity: Compliance::ZERO,
    /// #     accumulators: Vec::new(),
    /// #     oil: Oil { bulk_modulus: Pressure::from_gpa(1.5), thermal_expansion: 7e-4,
    /// #         free_air: 0.0 },
    /// #     metal_expansion: 11.7e-6, gas: GasModel::Real,
    /// #     charge_pressure: Pressure::from_bar(200.0),
    /// #     charge_temperature: Temperature::from_celsius(20.0) };
    /// let cold = rigid.cold_pressure(Some(Temperature::from_celsius(10.0)), None, None);
    /// assert!((cold.bar() - 100.3).abs() < 0.1);
    /// let slack = rigid.cold_pressure(Some(Temperature::from_celsius(-10.0)), None, None);
    /// assert_eq!(slack, Pressure::ZERO);
    /// ```
    #[must_use]
    pub fn cold_pressure(
        &self,
        lowest: Option<Temperature>,
        highest: Option<Temperature>,
        relief: Option<Pressure>,
    ) -> Pressure {
        self.cold_pressure_of(|| self.charged(), lowest, highest, relief)
    }

    /// [`TrappedOil::cold_pressure`], with [`TrappedOil::charged`] from where it may be at hand.
    pub(crate) fn cold_pressure_of(
        &self,
        charged: impl FnOnce() -> Volume,
        lowest: Option<Temperature>,
        highest: Option<Temperature>,
        relief: Option<Pressure>,
    ) -> Pressure {
        let temperature = self.cold_temperature(lowest);
        if relief.is_none() && temperature == self.charge_temperature && self.charge_pressure >= Pressure::ZERO {
            // Nothing was let out and nothing changed.
            return self.charge_pressure;
        }
        self.at(temperature).pressure_for(self.oil_left_of(charged(), highest, relief))
    }
}

/// The gas of the accumulators of one precharge.
#[derive(Clone, Copy, Debug)]
struct Charge {
    gas_volume: f64,
    /// ρ₀, at the precharge.
    density: f64,
    /// Gauge pressure at which the last oil leaves, at the temperature of the state.
    empty: Pressure,
}

/// M and its slope at one pressure, with the state of the gas, which is a start for the next.
#[derive(Clone, Copy, Debug)]
pub(crate) struct OilPoint {
    pub referred: f64,
    pub slope: f64,
    pub gas: Option<GasState>,
}

/// Trapped oil at one temperature.
#[derive(Clone, Debug)]
pub struct TrappedState<'a> {
    trapped: &'a TrappedOil,
    gas: Rc<Isotherm>,
    charges: Vec<Charge>,
    /// V_t (1 + 3 a ΔT)
    box_volume: f64,
    /// free_air V_t T/T1
    air: f64,
    /// exp(−α ΔT)
    contraction: f64,
}

impl<'a> TrappedState<'a> {
    fn new(trapped: &'a TrappedOil, temperature: Temperature) -> Self {
        let gas = Isotherm::kept(trapped.gas, temperature);
        let charges = trapped.accumulators.iter().map(|accumulator| {
            let density = precharge_density(trapped.gas, accumulator.precharge);
            Charge {
                gas_volume: accumulator.gas_volume.si(),
                density: density.si(),
                empty: gas.kept_pressure(density).gauge(),
            }
        });
        let charges = charges.collect();
        let rise = (temperature - trapped.charge_temperature).si();
        let volume = trapped.volume.si();
        Self {
            trapped,
            gas,
            charges,
            box_volume: volume * (1.0 + 3.0 * trapped.metal_expansion * rise),
            air: trapped.oil.free_air * volume * (temperature / trapped.charge_temperature),
            contraction: (-trapped.oil.thermal_expansion * rise).exp(),
        }
    }

    /// M, the trapped oil referred to its state at charge.
    ///
    /// M(p,T) = V_box exp(−α ΔT) exp((p − p1)/K), V_box = V_t (1 + 3 a ΔT) + C_el (p − p1) +
    /// V_g(p,T) − V_x(p,T), V_x = free_air V_t p_atm/(p + p_atm) T/T1
    ///
    /// * `pressure` – p, gauge, 0 or more
    ///
    /// Validity: K and α constant; oil, metal and gas at one temperature; no air dissolves.
    ///
    /// Source: volume balance of the parts above; each part by its own function.
    ///
    /// By hand: at p1 and T1, without gas and air, it is V_t itself.
    /// ```
    /// # use clampbook::physics::nitrogen::GasModel;
    /// # use clampbook::physics::quantity::{Compliance, Pressure, Temperature, Volume};
    /// # use clampbook::physics::trapped::{Oil, TrappedOil};
    /// # let rigid = TrappedOil {
    /// #     volume: Volume::from_cm3(500.0), elasticity: Compliance::ZERO,
    /// #     accumulators: Vec::new(),
    /// #     oil: Oil { bulk_modulus: Pressure::from_gpa(1.5), thermal_expansion: 7e-4,
    /// #         free_air: 0.0 },
    /// #     metal_expansion: 11.7e-6, gas: GasModel::Real,
    /// #     charge_pressure: Pressure::from_bar(200.0),
    /// #     charge_temperature: Temperature::from_celsius(20.0) };
    /// let charged = rigid.at(Temperature::from_celsius(20.0));
    /// assert_eq!(charged.referred_oil(Pressure::from_bar(200.0)), Volume::from_cm3(500.0));
    /// ```
    #[must_use]
    pub fn referred_oil(&self, pressure: Pressure) -> Volume {
        Volume::new(self.point(pressure, None).referred)
    }

    /// ∂M/∂p, the oil that leaves for a small drop of pressure.
    #[must_use]
    pub fn oil_per_pressure(&self, pressure: Pressure) -> Compliance {
        Compliance::new(self.point(pressure, None).slope)
    }

    /// Pressure at which the circuit holds a given M; 0 where even without pressure it would
    /// hold more.
    #[must_use]
    pub fn pressure_for(&self, referred: Volume) -> Pressure {
        let target = referred.si();
        if target.is_nan() || self.referred_oil(Pressure::ZERO).si() > target {
            return Pressure::ZERO;
        }
        let (mut low, mut high) = (0.0, f64::INFINITY);
        let mut pressure = self.trapped.charge_pressure.si().max(0.0);
        let mut close = None;
        let mut last_step = f64::INFINITY;
        for _ in 0..300 {
            let point = self.point(Pressure::new(pressure), close);
            close = point.gas;
            let excess = point.referred - target;
            if excess == 0.0 {
                break;
            }
            if excess < 0.0 {
                low = pressure;
            } else {
                high = pressure;
            }
            let step = -excess / point.slope;
            let newton = pressure + step;
            // What is left after a Newton step this small is its square.
            if step.abs() <= 1e-9 * pressure + 2e-8 {
                return Pressure::new(newton.max(0.0));
            }
            // Across the bend of an empty accumulator Newton's method can swing for ever.
            let shrinks = step.abs() < 0.5 * last_step;
            last_step = step.abs();
            let next = if shrinks && newton > low && newton < high {
                newton
            } else if high.is_finite() {
                f64::midpoint(low, high)
            } else {
                2.0 * pressure + 1e5
            };
            if high - low <= 1e-15 * low {
                break;
            }
            pressure = next;
        }
        Pressure::new(pressure)
    }

    /// Gauge pressures above 0 at which accumulators run empty, where pressure falls at once
    /// faster.
    pub fn empty_pressures(&self) -> impl Iterator<Item = Pressure> + '_ {
        self.charges
            .iter()
            .filter(|charge| charge.gas_volume > 0.0 && charge.empty > Pressure::ZERO)
            .map(|charge| charge.empty)
    }

    pub(crate) fn point(&self, pressure: Pressure, close: Option<GasState>) -> OilPoint {
        let trapped = self.trapped;
        let relative = pressure - trapped.charge_pressure;
        let air_left = self.air * boyle(pressure);
        let mut oil_box = self.box_volume + (trapped.elasticity * relative).si() - air_left;
        let mut slope = trapped.elasticity.si() + air_left / pressure.absolute().si();
        let mut gas = close;
        if self.charges.iter().any(|charge| pressure > charge.empty) {
            let state = self.gas.state(pressure.absolute(), close);
            gas = Some(state);
            let density = state.density.si();
            let squeeze = state.slope / density;
            for charge in self.charges.iter().filter(|charge| density > charge.density) {
                let gas_left = charge.gas_volume * charge.density / density;
                oil_box += charge.gas_volume - gas_left;
                slope += gas_left * squeeze;
            }
        }
        let modulus = trapped.oil.bulk_modulus;
        let factor = self.contraction * (relative / modulus).exp();
        OilPoint { referred: oil_box * factor, slope: (oil_box / modulus.si() + slope) * factor, gas }
    }
}
