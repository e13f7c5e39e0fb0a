//! Oil trapped in one zone, the part of a side between two valves.
//!
//! Everything hangs on M, the volume of the trapped oil referred to its state at charge. As
//! long as nothing leaks M keeps its value, and the pressure is where the zone holds just that
//! much.
//!
//! M rises with pressure wherever the box of oil is positive: ∂M/∂p = (V_box/K + ∂V_box/∂p) …,
//! and no part of V_box falls with pressure (clamps and hoses give, accumulators take oil, air
//! shrinks). So a pressure that holds a given M is the only one, and a bracket finds it.

use std::rc::Rc;

use crate::physics::accumulator::Accumulator;
use crate::physics::air::boyle;
use crate::physics::flow::ViscosityLine;
use crate::physics::formula::Formula;
use crate::physics::nitrogen::{GasModel, GasState, Isotherm, precharge_density};
use crate::physics::quantity::{
    Area, Compliance, Conductance, Density, Expansivity, KinematicViscosity, Length, Pressure, Temperature, Volume,
};

/// Where a search upwards ends: beyond it no formula holds.
pub(super) const HIGHEST: Pressure = Pressure::new(1e10);

/// Trapped oil, at its stiffest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StiffOil {
    /// K, isothermal tangent, constant: the fluid's `bulk_modulus_high`.
    pub bulk_modulus: Pressure,
    /// a, volume fraction of undissolved air at rest: the fluid's `free_air_low`.
    pub free_air: f64,
    /// α, volumetric, 1/K.
    pub thermal_expansion: f64,
    pub density: Density,
    /// c, J/(kg K).
    pub specific_heat: f64,
    /// How leaks grow as the oil gets thinner; nothing where they are taken as stated.
    pub leak_viscosity: Option<LeakViscosity>,
}

/// Viscosity of the oil, and the one at which leaks are stated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeakViscosity {
    pub line: ViscosityLine,
    /// ν_ref
    pub stated_at: KinematicViscosity,
}

impl LeakViscosity {
    /// * `stated_at` – `leak_viscosity`; the oil's own at 20 °C where it is 0
    #[must_use]
    pub fn new(line: ViscosityLine, stated_at: KinematicViscosity) -> Self {
        let is_given = stated_at > KinematicViscosity::ZERO;
        Self { line, stated_at: if is_given { stated_at } else { line.at(Temperature::new(293.15)) } }
    }
}

pub static LEAK_FACTOR: Formula = Formula {
    function: "StiffOil::leak_factor",
    figure: "Leak at a temperature over the leak as stated",
    unit: "1",
    formula: "ν_ref/ν(T)",
    symbols: "ν_ref the fluid's leak_viscosity, its own at 20 °C where that is 0",
    validity: "laminar leak; viscosities of 2 mm²/s and more",
    source: "flow in a narrow gap, Q = π D a³ Δp/(12 μ L): in inverse proportion to viscosity; Fox and McDonald, Introduction to Fluid Mechanics, example 8.1",
};

impl StiffOil {
    /// A leak at a temperature over the leak as stated.
    ///
    /// Formula, validity and source: [`LEAK_FACTOR`].
    ///
    /// * `temperature` – T
    ///
    /// By hand: stated at 86.8 mm²/s, with 40.0 at 35 °C, a leak is 2.17 times as large there.
    /// ```
    /// use clampbook::physics::flow::ViscosityLine;
    /// use clampbook::physics::quantity::{Density, KinematicViscosity, Pressure, Temperature};
    /// use clampbook::physics::zone::{LeakViscosity, StiffOil};
    /// let mm2_s = KinematicViscosity::from_mm2_per_s;
    /// let at = Temperature::from_celsius;
    /// let line = ViscosityLine::through((at(20.0), mm2_s(86.8)), (at(35.0), mm2_s(40.0)));
    /// let oil = StiffOil {
    ///     bulk_modulus: Pressure::from_gpa(1.75), free_air: 0.0, thermal_expansion: 7e-4,
    ///     density: Density::new(870.0), specific_heat: 1900.0,
    ///     leak_viscosity: Some(LeakViscosity::new(line, KinematicViscosity::ZERO)),
    /// };
    /// assert!((oil.leak_factor(at(35.0)) - 2.17).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn leak_factor(&self, temperature: Temperature) -> f64 {
        self.leak_viscosity.map_or(1.0, |viscosity| viscosity.stated_at / viscosity.line.at(temperature))
    }
}

/// What a zone is made of.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Zone {
    /// V_t: conductors, dead and swept volume.
    pub volume: Volume,
    /// C_el: tubes, hoses and clamps.
    pub elasticity: Compliance,
    pub accumulators: Vec<Accumulator>,
    /// Lowest setting of its relief valves.
    pub relief: Option<Pressure>,
    /// V_grip per temperature, of all clamps: see [`grip_expansion`].
    pub grip: Expansivity,
    /// G of all its leaks, as stated.
    pub conductance: Conductance,
}

pub static GRIP_EXPANSION: Formula = Formula {
    function: "grip_expansion",
    figure: "Growth of the clamped part",
    unit: "m³/K",
    formula: "V_grip/ΔT = n area_clamp grip_length (a_metal − a_part)",
    symbols: "grip_length of the clamped part; a_metal, a_part linear expansion of fixture and part; below 0 where the part grows more, and pushes oil back",
    validity: "part and fixture at one temperature",
    source: "linear expansion, ΔL = a L ΔT, times the area of the piston that follows it",
};

/// Volume that clamps take in per temperature as the clamped part grows less than the fixture.
///
/// Formula, validity and source: [`GRIP_EXPANSION`].
///
/// * `pieces` – n
/// * `area` – area_clamp
/// * `grip_length` – length of the clamped part
/// * `metal_expansion`, `part_expansion` – linear, 1/K, of fixture and part
///
/// Below 0 where the part grows more, and pushes oil back.
///
/// By hand: 4 clamps of 5 cm² on 100 mm of aluminium, 23e-6/K, in steel, 11.7e-6/K: 4 × 5 cm² ×
/// 10 cm × −11.3e-6/K = −0.00226 cm³/K.
/// ```
/// use clampbook::physics::{quantity::{Area, Length}, zone::grip_expansion};
/// let grip = grip_expansion(4.0, Area::from_cm2(5.0), Length::from_mm(100.0), 11.7e-6, 23e-6);
/// assert!((grip.si() * 1e6 + 0.00226).abs() < 1e-12);
/// ```
#[must_use]
pub fn grip_expansion(
    pieces: f64,
    area: Area,
    grip_length: Length,
    metal_expansion: f64,
    part_expansion: f64,
) -> Expansivity {
    Expansivity::new((area * grip_length).si() * pieces * (metal_expansion - part_expansion))
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
pub(super) struct OilPoint {
    pub(super) referred: f64,
    pub(super) slope: f64,
    pub(super) gas: Option<GasState>,
}

/// The state that a zone was charged in, and what its oil and metal are like.
#[derive(Clone, Copy, Debug)]
pub(super) struct ChargedIn {
    pub(super) oil: StiffOil,
    pub(super) metal_expansion: f64,
    pub(super) gas: GasModel,
    /// p_full, to which M is referred.
    pub(super) full: Pressure,
    /// p_z
    pub(super) pressure: Pressure,
    /// T1
    pub(super) temperature: Temperature,
}

/// A zone at one temperature.
#[derive(Clone, Debug)]
pub struct ZoneState {
    charged: ChargedIn,
    elasticity: f64,
    gas: Rc<Isotherm>,
    charges: Vec<Charge>,
    /// V_t (1 + 3 a_metal ΔT) + V_grip
    box_volume: f64,
    /// free_air V_t T/T1
    air: f64,
    /// exp(−α ΔT)
    contraction: f64,
}

pub static REFERRED_OIL: Formula = Formula {
    function: "ZoneState::referred_oil",
    figure: "Trapped oil of a zone",
    unit: "m³",
    formula: "M_z(p,T) = V_box exp(−α ΔT) exp((p − p_full)/K), V_box = V_t (1 + 3 a_metal ΔT) + V_grip + C_el (p − p_z) + V_g(p,T) − V_x(p,T), V_x = x V_t p_atm/(p + p_atm) T/T1",
    symbols: "M referred to the state at charge; V_t conductors, dead and swept volume; α expansion of the oil; a_metal of the metal; C_el compliance of tubes, hoses and clamps; V_g oil in accumulators; x free air; p_z pressure of the zone, T1 temperature at charge; K, x those of oil at its stiffest",
    validity: "K and α constant; oil, metal and gas at one temperature; no air dissolves",
    source: "volume balance of the parts above; each part by its own function",
};

impl ZoneState {
    pub(super) fn new(zone: &Zone, charged: ChargedIn, temperature: Temperature) -> Self {
        let gas = Isotherm::kept(charged.gas, temperature);
        let charges = zone.accumulators.iter().map(|accumulator| {
            let density = precharge_density(charged.gas, accumulator.precharge);
            Charge {
                gas_volume: accumulator.gas_volume.si(),
                density: density.si(),
                empty: gas.kept_pressure(density).gauge(),
            }
        });
        let charges = charges.collect();
        let rise = temperature - charged.temperature;
        let volume = zone.volume.si();
        Self {
            charged,
            elasticity: zone.elasticity.si(),
            gas,
            charges,
            box_volume: volume * (1.0 + 3.0 * charged.metal_expansion * rise.si()) + (zone.grip * rise).si(),
            air: charged.oil.free_air * volume * (temperature / charged.temperature),
            contraction: (-charged.oil.thermal_expansion * rise.si()).exp(),
        }
    }

    /// M, the trapped oil of the zone referred to the state at charge.
    ///
    /// Formula, validity and source: [`REFERRED_OIL`].
    ///
    /// * `pressure` – p, gauge, 0 or more
    ///
    /// By hand: at p_full and T1, without gas and air, it is V_t itself; behind a reducing valve
    /// of 120 bar, with 300 bar ahead of it, 500 cm³ × exp(−0.012) = 494.04 cm³.
    /// ```
    /// # use clampbook::physics::nitrogen::GasModel;
    /// # use clampbook::physics::quantity::{Density, Pressure, Temperature, Time, Volume};
    /// # use clampbook::physics::trapped_circuit::{Reduced, TrappedCircuit};
    /// # use clampbook::physics::zone::{StiffOil, Zone};
    /// let zone = Zone { volume: Volume::from_cm3(500.0), ..Zone::default() };
    /// let circuit = TrappedCircuit {
    ///     full: zone.clone(),
    ///     reduced: Some(Reduced { zone, setting: Pressure::from_bar(120.0) }),
    ///     oil: StiffOil { bulk_modulus: Pressure::from_gpa(1.5), free_air: 0.0,
    ///         thermal_expansion: 7e-4, density: Density::new(870.0), specific_heat: 1900.0,
    ///         leak_viscosity: None },
    ///     metal_expansion: 11.7e-6, gas: GasModel::Real,
    ///     full_pressure: Pressure::from_bar(300.0),
    ///     charge_temperature: Temperature::from_celsius(20.0),
    ///     closing_volume: Volume::ZERO, dwell: Time::ZERO, dwell_settled: Time::new(30.0),
    ///     relief_reseat: 0.9,
    /// };
    /// let state = circuit.at(Temperature::from_celsius(20.0));
    /// let full = state.full.referred_oil(Pressure::from_bar(300.0));
    /// assert_eq!(full, Volume::from_cm3(500.0));
    /// let reduced = state.reduced.unwrap().referred_oil(Pressure::from_bar(120.0));
    /// assert!((reduced.cm3() - 494.0359).abs() < 1e-4);
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

    /// Pressure at which the zone by itself holds a given M; 0 where even without pressure it
    /// would hold more.
    #[must_use]
    pub fn pressure_for(&self, referred: Volume) -> Pressure {
        self.pressure_from(referred, self.charged.pressure.max(Pressure::ZERO))
    }

    /// [`ZoneState::pressure_for`] with the pressure where the search starts.
    pub(super) fn pressure_from(&self, referred: Volume, start: Pressure) -> Pressure {
        Pressure::new(root(referred.si(), start.si(), 0.0, f64::INFINITY, |p, close| self.point(p, close)))
    }

    /// Gauge pressures above 0 at which accumulators run empty, where pressure falls at once
    /// faster.
    pub fn empty_pressures(&self) -> impl Iterator<Item = Pressure> + '_ {
        self.charges
            .iter()
            .filter(|charge| charge.gas_volume > 0.0 && charge.empty > Pressure::ZERO)
            .map(|charge| charge.empty)
    }

    pub(super) fn point(&self, pressure: Pressure, close: Option<GasState>) -> OilPoint {
        let charged = &self.charged;
        let air_left = self.air * boyle(pressure);
        let mut oil_box = self.box_volume + self.elasticity * (pressure - charged.pressure).si() - air_left;
        let mut slope = self.elasticity + air_left / pressure.absolute().si();
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
        let modulus = charged.oil.bulk_modulus;
        let factor = self.contraction * ((pressure - charged.full) / modulus).exp();
        OilPoint { referred: oil_box * factor, slope: (oil_box / modulus.si() + slope) * factor, gas }
    }

    /// The box without gas, without pressure: the smallest that M can stand on.
    pub(super) fn smallest_box(&self) -> f64 {
        self.box_volume - self.elasticity * self.charged.pressure.si().max(0.0) - self.air
    }
}

/// The pressure between `low` and `high` where M meets a target; `low` where M is above it there.
pub(super) fn root(
    target: f64,
    start: f64,
    low: f64,
    high: f64,
    mut point: impl FnMut(Pressure, Option<GasState>) -> OilPoint,
) -> f64 {
    if target.is_nan() {
        return low;
    }
    let (lowest, mut low, mut high) = (low, low, high);
    let mut pressure = start;
    let mut close = None;
    let mut last_step = f64::INFINITY;
    let mut before: Option<(f64, f64)> = None;
    let mut is_above_lowest = false;
    for _ in 0..300 {
        let OilPoint { referred, slope, gas } = point(Pressure::new(pressure), close);
        close = gas;
        let excess = referred - target;
        if excess == 0.0 {
            break;
        }
        if excess < 0.0 {
            (low, is_above_lowest) = (pressure, true);
        } else {
            high = pressure;
        }
        let step = -excess / slope;
        // How M bends, by the two slopes known last, tells what a Newton step is short of.
        let bend = before.map_or(0.0, |(its_pressure, its_slope)| (slope - its_slope) / (pressure - its_pressure));
        let short = -0.5 * bend * step * step / slope;
        let newton = if short.abs() < 0.25 * step.abs() { pressure + step + short } else { pressure + step };
        // What is left after a Newton step this small is its square, and less where the bend is known: across the bend
        // of an empty accumulator it is not, and `short` would be larger.
        let is_close = before.is_some() && step.abs() <= 3e-7 * pressure && short.abs() <= 3e-14 * pressure;
        if is_close || step.abs() <= 1e-9 * pressure + 2e-8 {
            return newton.max(lowest);
        }
        before = Some((pressure, slope));
        if slope == 0.0 && excess > 0.0 {
            return lowest;
        }
        if slope == 0.0 && pressure > HIGHEST.si() {
            // An empty accumulator takes oil from some pressure on; a zone without anything has every pressure.
            return start;
        }
        if newton <= lowest && !is_above_lowest {
            if point(Pressure::new(lowest), None).referred > target {
                return lowest;
            }
            is_above_lowest = true;
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
    pressure
}
