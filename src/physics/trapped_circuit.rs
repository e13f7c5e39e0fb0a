//! The oil that an uncoupled circuit holds between two valves or three, from charging to the end
//! of its hold.
//!
//! What a figure must not flatter starts where it is worst: heat from the oil before it settled,
//! cold and leak from what is left after settling and after a relief valve has let oil out.
//! Pressures below 1 Pa count as 0.

use std::cell::OnceCell;

use crate::physics::chain::charging_warmth;
use crate::physics::fall::{CircuitState, Fall, Leaking};
use crate::physics::formula::Formula;
use crate::physics::leak::{GONE, HoldReserve};
use crate::physics::nitrogen::GasModel;
use crate::physics::quantity::{Conductance, Pressure, Temperature, Time, Volume};
use crate::physics::zone::{ChargedIn, StiffOil, Zone, ZoneState};

/// Beyond so much of itself a setting is exceeded.
const EXCESS: f64 = 1.0 + 1e-9;

/// A zone behind a reducing valve.
#[derive(Clone, Debug, PartialEq)]
pub struct Reduced {
    pub zone: Zone,
    /// s, the lowest setting of the side's reducing valves.
    pub setting: Pressure,
}

/// A charged and uncoupled circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct TrappedCircuit {
    /// Behind the check valve; all that traps oil where there is no reducing valve.
    pub full: Zone,
    pub reduced: Option<Reduced>,
    pub oil: StiffOil,
    /// a_metal, linear, 1/K.
    pub metal_expansion: f64,
    pub gas: GasModel,
    /// p_full, 0 or more.
    pub full_pressure: Pressure,
    /// T1
    pub charge_temperature: Temperature,
    /// Σ n closing_volume of the check valves and couplings in trapped zones.
    pub closing_volume: Volume,
    /// Time for which the station stays coupled at pressure.
    pub dwell: Time,
    /// Dwell after which the oil has settled.
    pub dwell_settled: Time,
    /// Share of its setting at which an opened relief valve closes.
    pub relief_reseat: f64,
}

/// Oil that the zones hold, referred to its state at charge.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ZoneOil {
    /// N_full
    pub full: Volume,
    /// N_reduced
    pub reduced: Volume,
}

impl ZoneOil {
    /// N of both zones.
    #[must_use]
    pub fn total(&self) -> Volume {
        self.full + self.reduced
    }
}

/// Pressures of the zones of a circuit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ZonePressures {
    pub full: Pressure,
    /// What the clamps see: `reduced` where there is a reducing valve, else `full`.
    pub clamps: Pressure,
}

impl ZonePressures {
    fn settled(self) -> Self {
        Self { full: at_least_gone(self.full), clamps: at_least_gone(self.clamps) }
    }
}

/// Below 1 Pa counts as 0.
fn at_least_gone(pressure: Pressure) -> Pressure {
    if pressure < GONE { Pressure::ZERO } else { pressure }
}

/// The zone that a gauge reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrappedZone {
    Full,
    Reduced,
}

impl TrappedCircuit {
    /// p1 in the zone of the clamps, p_full ahead of a reducing valve.
    #[must_use]
    pub fn charge(&self) -> ZonePressures {
        let clamps =
            self.reduced.as_ref().map_or(self.full_pressure, |reduced| reduced.setting.min(self.full_pressure));
        ZonePressures { full: self.full_pressure, clamps }
    }

    /// The circuit at a temperature, ready for many pressures.
    #[must_use]
    pub fn at(&self, temperature: Temperature) -> CircuitState {
        let ZonePressures { full, clamps } = self.charge();
        let charged = ChargedIn {
            oil: self.oil,
            metal_expansion: self.metal_expansion,
            gas: self.gas,
            full,
            pressure: full,
            temperature: self.charge_temperature,
        };
        let reduced = self.reduced.as_ref().map(|reduced| {
            (ZoneState::new(&reduced.zone, ChargedIn { pressure: clamps, ..charged }, temperature), reduced.setting)
        });
        CircuitState::new(ZoneState::new(&self.full, charged, temperature), reduced, full)
    }

    /// The circuit over its range of temperature. Nothing is computed before it is asked for.
    ///
    /// * `lowest`, `highest` – T_min and T_max; where one is not given, or on the wrong side of
    ///   it, the charge temperature counts
    #[must_use]
    pub fn over(&self, lowest: Option<Temperature>, highest: Option<Temperature>) -> TrappedRange<'_> {
        self.over_near(lowest, highest, KnownNear::default())
    }

    /// The same of a circuit that is close to one that was worked out: the searches start at its pressures.
    #[must_use]
    pub fn over_near(
        &self,
        lowest: Option<Temperature>,
        highest: Option<Temperature>,
        near: KnownNear,
    ) -> TrappedRange<'_> {
        let charge = self.charge_temperature;
        TrappedRange {
            circuit: self,
            near: near.above_nothing(),
            cold_temperature: lowest.map_or(charge, |lowest| lowest.min(charge)),
            hot_temperature: highest.map_or(charge, |highest| highest.max(charge)),
            at_charge: OnceCell::new(),
            at_cold: OnceCell::new(),
            at_hot: OnceCell::new(),
            settled: OnceCell::new(),
            hot: OnceCell::new(),
            left: OnceCell::new(),
            cold: OnceCell::new(),
        }
    }

    fn reduced_zone(&self) -> Option<&Zone> {
        self.reduced.as_ref().map(|reduced| &reduced.zone)
    }

    fn opens(&self) -> bool {
        self.full.relief.is_some() || self.reduced_zone().is_some_and(|zone| zone.relief.is_some())
    }

    /// G of `full` and of `reduced` at a temperature.
    fn conductances(&self, temperature: Temperature) -> (Conductance, Conductance) {
        let stated = (self.full.conductance, self.reduced_zone().map_or(Conductance::ZERO, |zone| zone.conductance));
        if stated.0 + stated.1 <= Conductance::ZERO {
            return stated;
        }
        let factor = self.oil.leak_factor(temperature);
        (stated.0 * factor, stated.1 * factor)
    }

    fn is_leaking(&self) -> bool {
        self.full.conductance > Conductance::ZERO
            || self.reduced_zone().is_some_and(|zone| zone.conductance > Conductance::ZERO)
    }
}

/// An amount of oil, each zone's share, and the state of pressure that it makes.
#[derive(Clone, Copy, Debug)]
struct OilState {
    oil: ZoneOil,
    pressure: Pressure,
}

/// Pressures of a circuit that is much like another one, in zone `full`, as far as they are known.
#[derive(Clone, Copy, Debug, Default)]
pub struct KnownNear {
    pub settled: Option<Pressure>,
    pub hot: Option<Pressure>,
    pub cold: Option<Pressure>,
    /// At the end of the hold.
    pub held: Option<Pressure>,
}

impl KnownNear {
    /// Without those of slack clamps, from which no search gets anywhere fast.
    fn above_nothing(self) -> Self {
        let above = |known: Option<Pressure>| known.filter(|known| *known > Pressure::ZERO);
        let Self { settled, hot, cold, held } = self;
        Self { settled: above(settled), hot: above(hot), cold: above(cold), held: above(held) }
    }
}

/// A trapped circuit between its lowest and its highest temperature.
#[derive(Clone, Debug)]
pub struct TrappedRange<'a> {
    circuit: &'a TrappedCircuit,
    /// Where searches start.
    near: KnownNear,
    cold_temperature: Temperature,
    hot_temperature: Temperature,
    at_charge: OnceCell<CircuitState>,
    at_cold: OnceCell<CircuitState>,
    at_hot: OnceCell<CircuitState>,
    settled: OnceCell<OilState>,
    /// Uncapped by relief valves.
    hot: OnceCell<ZonePressures>,
    left: OnceCell<ZoneOil>,
    cold: OnceCell<Pressure>,
}

pub static CHARGED_OIL: Formula = Formula {
    function: "TrappedRange::charged_oil",
    figure: "Oil just charged",
    unit: "m³",
    formula: "N_z,0 = M_z(p_z, T1)",
    symbols: "p_z pressure of the zone after charging; T1 temperature at charge",
    validity: "as for the trapped oil of a zone",
    source: "definition of M",
};

pub static SETTLED_OIL: Formula = Formula {
    function: "TrappedRange::settled_oil",
    figure: "Oil once settled",
    unit: "m³",
    formula: "N_full = M_full(p_full,T1) exp(−α ΔT_c) − Σ n closing_volume, N_reduced = M_reduced(p1,T1) exp(−α ΔT_c); then what each zone holds in the state of both together",
    symbols: "closing_volume of check valves and couplings",
    validity: "pumped without a loss of heat; nothing flows back but the closing volumes",
    source: "conservation of the trapped oil",
};

pub static SETTLED_PRESSURE: Formula = Formula {
    function: "TrappedRange::settled_pressure",
    figure: "Settled pressure",
    unit: "Pa",
    formula: "p_settled = q(p), M(p, T1) = N_full + N_reduced",
    symbols: "solved by bracketing; 0 where the clamps are slack",
    validity: "as for the oil once settled",
    source: "conservation of the trapped oil",
};

pub static HOT_PRESSURE: Formula = Formula {
    function: "TrappedRange::hot_pressure",
    figure: "Pressure at the highest temperature",
    unit: "Pa",
    formula: "M_z(p_hot,z, T_hot) = N_z,0, each zone by itself, T_hot = max(T_max, T1); relief valves of the zone cap it",
    symbols: "N_z,0 oil just charged",
    validity: "oil and metal at one temperature, slow; nothing flows between the zones while pressure rises",
    source: "conservation of the trapped oil; worked example for MIL-H-83282 oil: 3.0e5 psi × 0.00046/°F × 50 °F = 6900 psi at constant volume",
};

pub static OIL_LEFT: Formula = Formula {
    function: "TrappedRange::oil_left",
    figure: "Oil left after a relief valve opened",
    unit: "m³",
    formula: "N_z = min(N_z, M_z(relief_reseat × set_pressure, T_hot)) of a zone whose relief valve opened",
    symbols: "relief_reseat limits.relief_reseat",
    validity: "an opened valve closes at its reseat pressure",
    source: "conservation of the trapped oil",
};

pub static COLD_PRESSURE: Formula = Formula {
    function: "TrappedRange::cold_pressure",
    figure: "Pressure at the lowest temperature",
    unit: "Pa",
    formula: "p_cold = q(p), M(p, T_cold) = Σ N_z, T_cold = min(T_min, T1); 0 where the clamps are slack",
    symbols: "N_z oil left",
    validity: "oil and metal at one temperature, slow",
    source: "conservation of the trapped oil",
};

pub static LOWEST_READING: Formula = Formula {
    function: "TrappedRange::lowest_reading",
    figure: "Lowest reading of the gauge",
    unit: "Pa",
    formula: "p_low(T) = q(p), M(p, T) = N_low, + accuracy × full_scale",
    symbols: "accuracy and full_scale of the gauge; q where it stands behind the reducing valve",
    validity: "as for the holding pressure",
    source: "conservation of the trapped oil",
};

pub static HIGHEST_READING: Formula = Formula {
    function: "TrappedRange::highest_reading",
    figure: "Highest reading of the gauge",
    unit: "Pa",
    formula: "p_high(T): M_z(p_high, T) = M_z(rating, T_hot), − accuracy × full_scale",
    symbols: "rating the weakest of the zone",
    validity: "as for the pressure at the highest temperature",
    source: "conservation of the trapped oil",
};

impl TrappedRange<'_> {
    /// T_cold, the coldest state: the charge is part of the range.
    #[must_use]
    pub const fn cold_temperature(&self) -> Temperature {
        self.cold_temperature
    }

    /// T_hot
    #[must_use]
    pub const fn hot_temperature(&self) -> Temperature {
        self.hot_temperature
    }

    fn at_charge(&self) -> &CircuitState {
        self.at_charge.get_or_init(|| self.circuit.at(self.circuit.charge_temperature))
    }

    fn at_cold(&self) -> &CircuitState {
        if self.cold_temperature == self.circuit.charge_temperature {
            return self.at_charge();
        }
        self.at_cold.get_or_init(|| self.circuit.at(self.cold_temperature))
    }

    fn at_hot(&self) -> &CircuitState {
        if self.hot_temperature == self.circuit.charge_temperature {
            return self.at_charge();
        }
        self.at_hot.get_or_init(|| self.circuit.at(self.hot_temperature))
    }

    fn pressures(&self, state: Pressure) -> ZonePressures {
        let setting = self.circuit.reduced.as_ref().map(|reduced| reduced.setting);
        ZonePressures { full: state, clamps: setting.map_or(state, |setting| state.min(setting)) }.settled()
    }

    /// Oil just charged, before it settles.
    ///
    /// Formula, validity and source: [`CHARGED_OIL`].
    #[must_use]
    pub fn charged_oil(&self) -> ZoneOil {
        self.settling().0
    }

    /// N_z,0, and what is left of it while both zones are still apart.
    fn settling(&self) -> (ZoneOil, ZoneOil) {
        let circuit = self.circuit;
        let charge = circuit.charge();
        let state = self.at_charge();
        let reduced = state.reduced.as_ref().map_or(Volume::ZERO, |zone| zone.referred_oil(charge.clamps));
        let charged = ZoneOil { full: state.full.referred_oil(charge.full), reduced };
        let warmth = if circuit.dwell >= circuit.dwell_settled {
            Temperature::ZERO
        } else {
            let oil = &circuit.oil;
            charging_warmth(
                oil.thermal_expansion,
                circuit.charge_temperature,
                charge.full,
                oil.density,
                oil.specific_heat,
            )
        };
        let shrinks = (-circuit.oil.thermal_expansion * warmth.si()).exp();
        let left =
            ZoneOil { full: charged.full * shrinks - circuit.closing_volume, reduced: charged.reduced * shrinks };
        (charged, left)
    }

    fn settled(&self) -> OilState {
        *self.settled.get_or_init(|| {
            let (charged, left) = self.settling();
            if charged == left {
                return OilState { oil: left, pressure: self.circuit.full_pressure };
            }
            let pressure = self.at_charge().state_from(left.total(), self.near.settled);
            let oil = if pressure > Pressure::ZERO { self.shared(left.total(), pressure) } else { left };
            OilState { oil, pressure }
        })
    }

    /// What each zone holds of an amount of oil in its state of pressure at T1.
    fn shared(&self, oil: Volume, pressure: Pressure) -> ZoneOil {
        let state = self.at_charge();
        let reduced = state.reduced.as_ref();
        let reduced = reduced.map_or(Volume::ZERO, |zone| zone.referred_oil(state.at_clamps(pressure)));
        ZoneOil { full: oil - reduced, reduced }
    }

    /// Oil once the check valve has closed and the oil has the fixture's temperature.
    ///
    /// Formula, validity and source: [`SETTLED_OIL`].
    ///
    /// By hand: 500 cm³ warmed by 2 K lose 500 cm³ × (1 − exp(−0.0014)) = 0.6995 cm³; see
    /// [`TrappedRange::settled_pressure`].
    #[must_use]
    pub fn settled_oil(&self) -> ZoneOil {
        self.settled().oil
    }

    /// Pressures of the settled circuit at the charge temperature, p_settled.
    ///
    /// Formula, validity and source: [`SETTLED_PRESSURE`].
    ///
    /// By hand: a rigid circuit without air, warmed by 2.0 K, K = 1.75 GPa: ln(M/M0) = −α ΔT, so
    /// the pressure falls by K α ΔT = 1.75e4 bar × 7e-4 × 2 = 24.5 bar.
    /// ```
    /// # use clampbook::physics::nitrogen::GasModel;
    /// # use clampbook::physics::quantity::{Density, Pressure, Temperature, Time, Volume};
    /// # use clampbook::physics::trapped_circuit::TrappedCircuit;
    /// # use clampbook::physics::zone::{StiffOil, Zone};
    /// let circuit = TrappedCircuit {
    ///     full: Zone { volume: Volume::from_cm3(500.0), ..Zone::default() },
    ///     reduced: None,
    ///     oil: StiffOil { bulk_modulus: Pressure::from_gpa(1.75), free_air: 0.0,
    ///         thermal_expansion: 7e-4, density: Density::new(870.0),
    ///         specific_heat: 7e-4 * 293.15 * 160e5 / 870.0 / 2.0, leak_viscosity: None },
    ///     metal_expansion: 11.7e-6, gas: GasModel::Real,
    ///     full_pressure: Pressure::from_bar(160.0),
    ///     charge_temperature: Temperature::from_celsius(20.0),
    ///     closing_volume: Volume::ZERO, dwell: Time::ZERO, dwell_settled: Time::new(30.0),
    ///     relief_reseat: 0.9,
    /// };
    /// let settled = circuit.over(None, None).settled_pressure();
    /// assert!((settled.clamps.bar() - 135.5).abs() < 1e-6);
    /// let long = TrappedCircuit { dwell: Time::new(30.0), ..circuit };
    /// assert_eq!(long.over(None, None).settled_pressure().clamps.bar(), 160.0);
    /// ```
    #[must_use]
    pub fn settled_pressure(&self) -> ZonePressures {
        self.pressures(self.settled().pressure)
    }

    fn hot_by_itself(&self) -> ZonePressures {
        *self.hot.get_or_init(|| {
            let charge = self.circuit.charge();
            if self.hot_temperature == self.circuit.charge_temperature {
                return charge;
            }
            let state = self.at_hot();
            let oil = self.charged_oil();
            let full = state.full.pressure_from(oil.full, self.near.hot.unwrap_or(charge.full));
            let clamps = state.reduced.as_ref().map_or(full, |zone| zone.pressure_for(oil.reduced));
            ZonePressures { full, clamps }
        })
    }

    /// Highest pressures of the warm circuit, p_hot_full and p_hot.
    ///
    /// Formula, validity and source: [`HOT_PRESSURE`].
    ///
    /// By hand: a rigid circuit without air, α 7e-4/K, steel 11.7e-6/K, 10 K: exp(p/K) rises by
    /// 0.007 − 3 × 11.7e-5 = 0.00665 at K = 1.5 GPa, so about 99.7 bar more.
    /// ```
    /// # use clampbook::physics::nitrogen::GasModel;
    /// # use clampbook::physics::quantity::{Density, Pressure, Temperature, Time, Volume};
    /// # use clampbook::physics::trapped_circuit::TrappedCircuit;
    /// # use clampbook::physics::zone::{StiffOil, Zone};
    /// let mut circuit = TrappedCircuit {
    ///     full: Zone { volume: Volume::from_cm3(500.0), ..Zone::default() },
    ///     reduced: None,
    ///     oil: StiffOil { bulk_modulus: Pressure::from_gpa(1.5), free_air: 0.0,
    ///         thermal_expansion: 7e-4, density: Density::new(870.0), specific_heat: 1900.0,
    ///         leak_viscosity: None },
    ///     metal_expansion: 11.7e-6, gas: GasModel::Real,
    ///     full_pressure: Pressure::from_bar(200.0),
    ///     charge_temperature: Temperature::from_celsius(20.0),
    ///     closing_volume: Volume::ZERO, dwell: Time::ZERO, dwell_settled: Time::ZERO,
    ///     relief_reseat: 0.9,
    /// };
    /// let warm = Some(Temperature::from_celsius(30.0));
    /// assert!((circuit.over(None, warm).hot_pressure().clamps.bar() - 299.7).abs() < 0.1);
    /// circuit.full.relief = Some(Pressure::from_bar(250.0));
    /// assert_eq!(circuit.over(None, warm).hot_pressure().clamps.bar(), 250.0);
    /// ```
    #[must_use]
    pub fn hot_pressure(&self) -> ZonePressures {
        let free = self.hot_by_itself();
        let capped = |free: Pressure, zone: &Zone| zone.relief.map_or(free, |setting| free.min(setting));
        let full = capped(free.full, &self.circuit.full);
        let clamps = self.circuit.reduced_zone().map_or(full, |zone| capped(free.clamps, zone));
        ZonePressures { full, clamps }.settled()
    }

    /// Oil that is left for the cold and for the hold: what relief valves let out at the hottest
    /// is missing.
    ///
    /// Formula, validity and source: [`OIL_LEFT`].
    ///
    /// By hand: without a relief valve nothing is missing, see [`TrappedRange::settled_oil`].
    #[must_use]
    pub fn oil_left(&self) -> ZoneOil {
        *self.left.get_or_init(|| {
            let settled = self.settled_oil();
            if !self.circuit.opens() {
                return settled;
            }
            let hot = self.hot_by_itself();
            let left = |held: Volume, zone: &Zone, pressure: Pressure, state: Option<&ZoneState>| {
                let opened = zone.relief.filter(|setting| pressure > *setting * EXCESS);
                let reseated = opened.map(|setting| setting * self.circuit.relief_reseat);
                let kept = reseated.and_then(|reseat| state.map(|state| state.referred_oil(reseat)));
                kept.map_or(held, |kept| held.min(kept))
            };
            let state = self.at_hot();
            let reduced = self
                .circuit
                .reduced_zone()
                .map_or(settled.reduced, |zone| left(settled.reduced, zone, hot.clamps, state.reduced.as_ref()));
            ZoneOil { full: left(settled.full, &self.circuit.full, hot.full, Some(&state.full)), reduced }
        })
    }

    /// Oil that relief valves let out as the circuit gets hot, at p_full.
    #[must_use]
    pub fn vented_oil(&self) -> Volume {
        self.settled_oil().total() - self.oil_left().total()
    }

    fn cold_state(&self) -> Pressure {
        *self.cold.get_or_init(|| {
            let left = self.oil_left();
            let settled = self.settled();
            if self.cold_temperature == self.circuit.charge_temperature && left == settled.oil {
                return settled.pressure;
            }
            self.at_cold().state_from(left.total(), self.near.cold)
        })
    }

    /// Pressures of the cold circuit before any leak, p_cold.
    ///
    /// Formula, validity and source: [`COLD_PRESSURE`].
    ///
    /// By hand: 10 K down at 9.97 bar/K from 200 bar leave 100.3 bar; 30 K leave nothing.
    /// ```
    /// # use clampbook::physics::nitrogen::GasModel;
    /// # use clampbook::physics::quantity::{Density, Pressure, Temperature, Time, Volume};
    /// # use clampbook::physics::trapped_circuit::TrappedCircuit;
    /// # use clampbook::physics::zone::{StiffOil, Zone};
    /// # let circuit = TrappedCircuit {
    /// #     full: Zone { volume: Volume::from_cm3(500.0), ..Zone::default() },
    /// #     reduced: None,
    /// #     oil: StiffOil { bulk_modulus: Pressure::from_gpa(1.5), free_air: 0.0,
    /// #         thermal_expansion: 7e-4, density: Density::new(870.0), specific_heat: 1900.0,
    /// #         leak_viscosity: None },
    /// #     metal_expansion: 11.7e-6, gas: GasModel::Real,
    /// #     full_pressure: Pressure::from_bar(200.0),
    /// #     charge_temperature: Temperature::from_celsius(20.0),
    /// #     closing_volume: Volume::ZERO, dwell: Time::ZERO, dwell_settled: Time::ZERO,
    /// #     relief_reseat: 0.9,
    /// # };
    /// let cold = |celsius| {
    ///     circuit.over(Some(Temperature::from_celsius(celsius)), None).cold_pressure().clamps
    /// };
    /// assert!((cold(10.0).bar() - 100.3).abs() < 0.1);
    /// assert_eq!(cold(-10.0), Pressure::ZERO);
    /// ```
    #[must_use]
    pub fn cold_pressure(&self) -> ZonePressures {
        self.pressures(self.cold_state())
    }

    /// Pressures of the settled circuit at any temperature before it has been as hot as it may get: what it reads as
    /// it leaves the load station.
    #[must_use]
    pub fn settled_pressure_at(&self, temperature: Temperature) -> ZonePressures {
        self.pressures(self.circuit.at(temperature).state_of(self.settled_oil().total()))
    }

    /// Pressures with all of the settled oil at any temperature, in one state of both zones.
    #[must_use]
    pub fn pressure_at(&self, temperature: Temperature) -> ZonePressures {
        self.pressures(self.circuit.at(temperature).state_of(self.oil_left().total()))
    }

    /// The leak, ready for times and pressures.
    #[must_use]
    pub fn leak(&self) -> TrappedLeak<'_> {
        TrappedLeak::new(self)
    }

    /// Lowest state of pressure at a temperature with which a hold still ends at the lowest
    /// pressure.
    ///
    /// Formula, validity and source: [`LOWEST_READING`].
    ///
    /// * `oil` – N_low
    /// * `zone` – that of the gauge
    /// * `accuracy` – accuracy × full_scale of the gauge, which is added
    ///
    /// By hand: where nothing leaks and nothing warms, it is the lowest pressure itself.
    #[must_use]
    pub fn lowest_reading(
        &self,
        oil: Volume,
        temperature: Temperature,
        zone: TrappedZone,
        accuracy: Pressure,
    ) -> Pressure {
        let state = self.pressures(self.circuit.at(temperature).state_of(oil));
        let read = match zone {
            TrappedZone::Full => state.full,
            TrappedZone::Reduced => state.clamps,
        };
        read + accuracy
    }

    /// Highest pressure of a zone at a temperature with which it is at its weakest rating at T_hot.
    ///
    /// Formula, validity and source: [`HIGHEST_READING`].
    ///
    /// * `rating` – weakest rating of the zone
    /// * `zone` – that of the gauge; `full` where there is no `reduced`
    /// * `accuracy` – accuracy × full_scale of the gauge
    ///
    /// By hand: at T_hot it is the rating itself; 10 K below, in the circuit of
    /// [`TrappedRange::hot_pressure`], about 99.7 bar less.
    #[must_use]
    pub fn highest_reading(
        &self,
        rating: Pressure,
        temperature: Temperature,
        zone: TrappedZone,
        accuracy: Pressure,
    ) -> Pressure {
        let of = |state: &CircuitState| match (zone, &state.reduced) {
            (TrappedZone::Reduced, Some(reduced)) => reduced.clone(),
            _ => state.full.clone(),
        };
        let held = of(self.at_hot()).referred_oil(rating);
        at_least_gone(of(&self.circuit.at(temperature)).pressure_from(held, rating) - accuracy)
    }
}

/// How the pressure of a trapped circuit falls: held cold, or held hot and cooled at the end.
#[derive(Clone, Debug)]
pub struct TrappedLeak<'a> {
    range: &'a TrappedRange<'a>,
    cold_way: Option<Fall<'a>>,
    hot_way: Option<HotWay<'a>>,
}

pub static HOLDING_PRESSURE: Formula = Formula {
    function: "TrappedLeak::holding_pressure",
    figure: "Holding pressure",
    unit: "Pa",
    formula: "the lower of both ways: t = ∫ (∂M/∂p)/Q dp from p_cold at T_cold, or at T_hot and then cooled to T_cold; Q = G_full(T) p + G_reduced(T) q(p), G(T) = G ν_ref/ν(T)",
    symbols: "t hold time. While the reduced zone by itself stands above its setting at T_hot each zone leaks by itself",
    validity: "laminar leak, oil at one temperature from start to end",
    source: "dM/dt = −Q, separated; for constant ∂M/∂p = C and one zone it is p_cold exp(−t G/C)",
};

pub static HOLD_RESERVE: Formula = Formula {
    function: "TrappedLeak::hold_reserve",
    figure: "Hold reserve",
    unit: "s",
    formula: "the t at which the holding pressure is pressure_min, the shorter of both ways",
    symbols: "0 where p_cold is below it, leak or not; without end where nothing leaks",
    validity: "laminar leak, oil at one temperature from start to end",
    source: "dM/dt = −Q, separated; for constant ∂M/∂p = C and one zone it is p_cold exp(−t G/C)",
};

pub static LOWEST_OIL: Formula = Formula {
    function: "TrappedLeak::lowest_oil",
    figure: "Oil from which a hold ends at the lowest pressure",
    unit: "m³",
    formula: "N_low: the greater N, of both ways, that leaves pressure_min at T_cold after the hold time",
    symbols: "as for the holding pressure",
    validity: "laminar leak, oil at one temperature from start to end; no relief valve opens",
    source: "dM/dt = −Q, separated; for constant ∂M/∂p = C and one zone it is p_cold exp(−t G/C); backwards in time",
};

impl<'a> TrappedLeak<'a> {
    fn new(range: &'a TrappedRange<'a>) -> Self {
        let none = Self { range, cold_way: None, hot_way: None };
        if !range.circuit.is_leaking() {
            return none;
        }
        if range.hot_temperature == range.cold_temperature {
            return Self { cold_way: Some(cold_fall(range)), ..none };
        }
        let hot_way = HotWay::new(range, range.oil_left());
        let cold_way = if hot_way.is_apart() || !warmth_speeds_the_leak(range) { Some(cold_fall(range)) } else { None };
        Self { range, cold_way, hot_way: Some(hot_way) }
    }

    fn leaks(&self) -> bool {
        self.cold_way.is_some() || self.hot_way.is_some()
    }

    /// State of pressure after a time, the lower by both ways.
    fn after(&self, time: Time) -> Pressure {
        let range = self.range;
        let cooled = |oil: Volume| range.at_cold().state_from(oil, range.near.held);
        let cold = self.cold_way.as_ref().map(|fall| fall.pressure_after(time.si()));
        let hot = self.hot_way.as_ref().map(|way| way.left_after(time.si()).map_or(Pressure::ZERO, cooled));
        match (cold, hot) {
            (Some(cold), Some(hot)) => cold.min(hot),
            (Some(one), None) | (None, Some(one)) => one,
            (None, None) => self.range.cold_state(),
        }
    }

    /// Pressures at the end of the hold, p_hold; 0 where the pressure is gone sooner.
    ///
    /// Formula, validity and source: [`HOLDING_PRESSURE`].
    ///
    /// * `time` – hold_time. Without one nothing is returned where something leaks, unless the
    ///   pressure is gone before
    ///
    /// By hand: 500 cm³ at K = 1.4 GPa, almost C = 3.5714e-13 m³/Pa, G = 0.05 cm³/min per 350
    /// bar: after 30 min 350 bar × exp(−0.12) = 310.42 bar, with C as it is at charge.
    /// ```
    /// # use clampbook::physics::leak::{HoldReserve, leak_conductance};
    /// # use clampbook::physics::nitrogen::GasModel;
    /// # use clampbook::physics::quantity::{Density, Flow, Pressure, Temperature, Time, Volume};
    /// # use clampbook::physics::trapped_circuit::TrappedCircuit;
    /// # use clampbook::physics::zone::{StiffOil, Zone};
    /// let start = Pressure::from_bar(350.0);
    /// let leak = leak_conductance(Flow::from_cm3_per_min(0.05), start).unwrap();
    /// let circuit = TrappedCircuit {
    ///     full: Zone { volume: Volume::from_cm3(500.0), conductance: leak, ..Zone::default() },
    ///     reduced: None,
    ///     oil: StiffOil { bulk_modulus: Pressure::from_gpa(1.4), free_air: 0.0,
    ///         thermal_expansion: 7e-4, density: Density::new(870.0), specific_heat: 1900.0,
    ///         leak_viscosity: None },
    ///     metal_expansion: 11.7e-6, gas: GasModel::Real, full_pressure: start,
    ///     charge_temperature: Temperature::from_celsius(20.0),
    ///     closing_volume: Volume::ZERO, dwell: Time::ZERO, dwell_settled: Time::ZERO,
    ///     relief_reseat: 0.9,
    /// };
    /// let range = circuit.over(None, None);
    /// let held = range.leak().holding_pressure(Some(Time::from_minutes(30.0))).unwrap();
    /// assert!((held.clamps.bar() - 310.42).abs() < 0.1);
    /// // 90 % of it are left after 250 min × 0.105361 = 26.34 min.
    /// let HoldReserve::Ends(time) = range.leak().hold_reserve(start * 0.9)
    ///     else { panic!("a leak has an end") };
    /// assert!((time.minutes() - 26.34).abs() < 0.05);
    /// ```
    #[must_use]
    pub fn holding_pressure(&self, time: Option<Time>) -> Option<ZonePressures> {
        if !self.leaks() {
            return Some(self.range.cold_pressure());
        }
        let cold = self.range.cold_pressure();
        if cold.clamps == Pressure::ZERO {
            return Some(cold);
        }
        time.map(|time| self.range.pressures(self.after(time)))
    }

    /// Time after which what is left makes the lowest pressure at T_cold, the shorter of both
    /// ways.
    ///
    /// Formula, validity and source: [`HOLD_RESERVE`].
    ///
    /// * `pressure` – pressure_min; below 1 Pa counts as 1 Pa
    ///
    /// 0 where p_cold is below it, leak or not; without a leak there is no end.
    ///
    /// By hand: see there.
    #[must_use]
    pub fn hold_reserve(&self, pressure: Pressure) -> HoldReserve {
        let cold = self.range.cold_pressure().clamps;
        if cold < pressure || cold < GONE {
            return HoldReserve::Ends(Time::ZERO);
        }
        let pressure = pressure.max(GONE);
        let by_cold = self.cold_way.as_ref().map_or(f64::INFINITY, |fall| fall.seconds_to(pressure));
        let by_hot =
            self.hot_way.as_ref().map_or(f64::INFINITY, |way| way.seconds_to(self.range.at_cold().oil_at(pressure)));
        let seconds = by_cold.min(by_hot);
        if seconds.is_finite() { HoldReserve::Ends(Time::new(seconds)) } else { HoldReserve::Endless }
    }

    /// What is left at T_cold should the hold end sooner, evenly spaced in time, for a chart.
    ///
    /// * `until` – the end of the chart
    /// * `points` – at least 2
    #[must_use]
    pub fn curve(&self, until: Time, points: u16) -> Vec<(Time, ZonePressures)> {
        let steps = points.max(2) - 1;
        let time = |step: u16| until * (f64::from(step) / f64::from(steps));
        (0..=steps).map(|step| (time(step), self.range.pressures(self.after(time(step))))).collect()
    }

    /// Oil from which a hold ends exactly at the lowest pressure, N_low, the greater of both ways;
    /// nothing where no oil does, or where something leaks and no time is given.
    ///
    /// Formula, validity and source: [`LOWEST_OIL`].
    ///
    /// * `time` – hold_time
    /// * `pressure` – pressure_min; below 1 Pa counts as 1 Pa
    ///
    /// By hand: without a leak it is M(pressure_min, T_cold).
    #[must_use]
    pub fn lowest_oil(&self, time: Option<Time>, pressure: Pressure) -> Option<Volume> {
        let range = self.range;
        let pressure = pressure.max(GONE);
        let cold = range.at_cold();
        if pressure > cold.at_clamps(pressure) * EXCESS {
            return None;
        }
        let needed = cold.oil_at(pressure);
        if !self.leaks() {
            return Some(needed);
        }
        let time = time?;
        let by_cold = if self.hot_way.is_none() || !warmth_speeds_the_leak(range) || cold.reduced.is_some() {
            let (full, reduced) = range.circuit.conductances(range.cold_temperature);
            let start = Leaking::Circuit(cold, full, reduced).start_for(pressure, time)?;
            Some(cold.oil_at(start))
        } else {
            None
        };
        let by_hot = if self.hot_way.is_some() { Some(self.lowest_oil_hot(time, needed)?) } else { None };
        match (by_cold, by_hot) {
            (Some(cold), Some(hot)) => Some(cold.max(hot)),
            (one, other) => one.or(other),
        }
    }

    /// N of which `needed` is left after the time at T_hot.
    fn lowest_oil_hot(&self, time: Time, needed: Volume) -> Option<Volume> {
        let range = self.range;
        let hot = range.at_hot();
        let (full, reduced) = range.circuit.conductances(range.hot_temperature);
        let start = Leaking::Circuit(hot, full, reduced).start_for(hot.state_of(needed), time)?;
        let together = hot.oil_at(start);
        let way = |oil: Volume| HotWay::new(range, range.shared(oil, range.at_charge().state_of(oil)));
        if hot.reduced.is_none() || !way(together).is_apart() {
            return Some(together);
        }
        // Apart at first: what is left is known only forwards.
        let excess = |oil: Volume| {
            let left = way(oil).left_after(time.si()).unwrap_or(Volume::ZERO);
            (left - needed).si()
        };
        let (mut low, mut high) = (needed, together.max(needed));
        let mut step = (high - low).max(needed * 1e-6);
        for _ in 0..60 {
            if excess(high) >= 0.0 {
                break;
            }
            (low, high) = (high, high + step);
            step = step * 2.0;
        }
        if excess(high) < 0.0 {
            return None;
        }
        Some(Volume::new(bisected(low.si(), high.si(), |oil| excess(Volume::new(oil)))))
    }
}

/// The root of a rising function between two ends, by the Illinois method.
fn bisected(low: f64, high: f64, rising: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (low, high);
    let (mut below, mut above) = (rising(low), rising(high));
    if below >= 0.0 {
        return low;
    }
    for _ in 0..200 {
        if above == 0.0 || high - low <= 1e-14 * high.abs() {
            break;
        }
        let chord = high - above * (high - low) / (above - below);
        let next = if chord > low && chord < high { chord } else { f64::midpoint(low, high) };
        let value = rising(next);
        if value < 0.0 {
            (low, below) = (next, value);
            above *= 0.5;
        } else {
            high = next;
            (above, below) = (value, below * 0.5);
            if value == 0.0 {
                break;
            }
        }
    }
    high
}

fn cold_fall<'a>(range: &'a TrappedRange<'a>) -> Fall<'a> {
    let (full, reduced) = range.circuit.conductances(range.cold_temperature);
    Fall::new(Leaking::Circuit(range.at_cold(), full, reduced), range.cold_state())
}

/// Whether every amount of oil has at least as much pressure at T_hot, and leaks at least as fast
/// there: then the hot way is the lower and the shorter one, as long as both zones have one state.
///
/// M falls with temperature at a given pressure where the box grows less than the oil: 3 a_metal
/// V_t + V_grip/ΔT <= α V_box; gas only takes room from the oil as it gets warm.
fn warmth_speeds_the_leak(range: &TrappedRange) -> bool {
    let circuit = range.circuit;
    let factor = |temperature| circuit.oil.leak_factor(temperature);
    let thinner = factor(range.hot_temperature) >= factor(range.cold_temperature);
    let alpha = circuit.oil.thermal_expansion;
    let shrinks = |zone: &Zone, cold: &ZoneState, hot: &ZoneState| {
        let growth = 3.0 * circuit.metal_expansion * zone.volume.si() + zone.grip.si();
        growth <= alpha * cold.smallest_box().min(hot.smallest_box())
    };
    let (cold, hot) = (range.at_cold(), range.at_hot());
    let both = match (circuit.reduced_zone(), &cold.reduced, &hot.reduced) {
        (Some(zone), Some(cold), Some(hot)) => shrinks(zone, cold, hot),
        _ => true,
    };
    thinner && both && shrinks(&circuit.full, &cold.full, &hot.full)
}

/// The hold at T_hot.
#[derive(Clone, Debug)]
struct HotWay<'a> {
    state: &'a CircuitState,
    conductances: (Conductance, Conductance),
    apart: Option<Apart<'a>>,
    together: Fall<'a>,
}

/// Each zone leaks by itself while `reduced` stands above its setting.
#[derive(Clone, Debug)]
struct Apart<'a> {
    full: (&'a ZoneState, Fall<'a>),
    reduced: (&'a ZoneState, Fall<'a>),
    /// Seconds until `reduced` is down to the setting.
    end: f64,
}

impl Apart<'_> {
    fn left_after(&self, seconds: f64) -> Volume {
        let of = |(state, fall): &(&ZoneState, Fall)| state.referred_oil(fall.pressure_after(seconds));
        of(&self.full) + of(&self.reduced)
    }
}

impl<'a> HotWay<'a> {
    fn new(range: &'a TrappedRange<'a>, oil: ZoneOil) -> Self {
        let circuit = range.circuit;
        let state = range.at_hot();
        let conductances = circuit.conductances(range.hot_temperature);
        let apart = circuit.reduced.as_ref().zip(state.reduced.as_ref()).and_then(|(reduced, zone)| {
            let stands_at = zone.pressure_for(oil.reduced);
            (stands_at > reduced.setting * EXCESS).then(|| {
                let alone = Fall::new(Leaking::Zone(zone, conductances.1), stands_at);
                let full = state.full.pressure_for(oil.full);
                Apart {
                    full: (&state.full, Fall::new(Leaking::Zone(&state.full, conductances.0), full)),
                    end: alone.seconds_to(reduced.setting),
                    reduced: (zone, alone),
                }
            })
        });
        let at_first = match &apart {
            Some(apart) if apart.end.is_finite() => apart.left_after(apart.end),
            _ => oil.total(),
        };
        let start = state.state_from(at_first, range.near.hot);
        let together = Fall::new(Leaking::Circuit(state, conductances.0, conductances.1), start);
        Self { state, conductances, apart, together }
    }

    fn is_apart(&self) -> bool {
        self.apart.is_some()
    }

    /// Oil left after some seconds; nothing where the pressure is gone sooner.
    fn left_after(&self, seconds: f64) -> Option<Volume> {
        let since = match &self.apart {
            Some(apart) if seconds <= apart.end => return Some(apart.left_after(seconds)),
            Some(apart) => seconds - apart.end,
            None => seconds,
        };
        let pressure = self.together.pressure_after(since);
        (pressure > Pressure::ZERO).then(|| self.state.oil_at(pressure))
    }

    /// Seconds until so much oil is left.
    fn seconds_to(&self, oil: Volume) -> f64 {
        let before = match &self.apart {
            None => 0.0,
            Some(apart) => {
                let ends = apart.end.is_finite();
                if ends && apart.left_after(apart.end) >= oil {
                    apart.end
                } else {
                    return self.seconds_apart(apart, oil);
                }
            }
        };
        before + self.together.seconds_to(self.state.state_of(oil))
    }

    fn seconds_apart(&self, apart: &Apart, oil: Volume) -> f64 {
        let missing = |seconds: f64| (oil - apart.left_after(seconds)).si();
        if missing(0.0) >= 0.0 {
            return 0.0;
        }
        let mut end = apart.end;
        if !end.is_finite() {
            // Only `full` leaks.
            end = apart.full.1.seconds_to(GONE);
            if self.conductances.0 <= Conductance::ZERO || missing(end) < 0.0 {
                return f64::INFINITY;
            }
        }
        bisected(0.0, end, missing)
    }
}
