//! From the pump to the circuit.

use crate::physics::formula::Formula;
use crate::physics::quantity::{Area, Density, Pressure, Temperature};

pub static PRESSURE_RATIO: Formula = Formula {
    function: "pressure_ratio",
    figure: "Pressure ratio",
    unit: "1",
    formula: "r = A_ram/A_cylinder",
    symbols: "piston areas of the drive ram and the charging cylinder; without them the ratio as stated, else limits.pressure_ratio",
    validity: "ram and charging cylinder in line, without friction",
    source: "Esposito, Fluid Power with Applications, example 11-1 (intensifier)",
};

/// Pressure ratio of a drive ram on a charging cylinder.
///
/// Formula, validity and source: [`PRESSURE_RATIO`].
///
/// * `ram_area`, `cylinder_area` – above 0
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

pub static INTENSIFIED_PRESSURE: Formula = Formula {
    function: "intensified_pressure",
    figure: "Pressure behind the charging cylinder",
    unit: "Pa",
    formula: "p_full = p_pump r − return_loss; potential = highest pump pressure × r − return_loss",
    symbols: "r pressure ratio, 1 for a coupler; return_loss to the return spring and seals of the charging cylinder",
    validity: "friction as one constant; below 0 no pressure is reached",
    source: "balance of forces on the two pistons; Esposito, Fluid Power with Applications, example 11-1",
};

/// Pressure that a pump pressure gives behind the charging cylinder.
///
/// Formula, validity and source: [`INTENSIFIED_PRESSURE`].
///
/// * `pump_pressure` – what the pump is set to, or rated for: the potential pressure
/// * `ratio` – circuit over pump pressure; 1 for a coupler
/// * `return_loss` – pressure lost to the return spring and seals; 0 for a coupler
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

pub static PUMP_PRESSURE_NEEDED: Formula = Formula {
    function: "pump_pressure_needed",
    figure: "Pump pressure needed",
    unit: "Pa",
    formula: "p_pump = (pressure_set + return_loss)/r",
    symbols: "pressure_set the wanted charge pressure",
    validity: "friction as one constant; below 0 no pressure is reached",
    source: "balance of forces on the two pistons; Esposito, Fluid Power with Applications, example 11-1, solved for the pump",
};

/// Pump pressure that a wanted circuit pressure needs.
///
/// Formula, validity and source: [`PUMP_PRESSURE_NEEDED`].
///
/// * `wanted` – the circuit pressure
/// * `ratio` – above 0
/// * `return_loss` – 0 or more
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

/// What limits a pump's pressure.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PumpLimits {
    pub rating: Option<Pressure>,
    /// Of the station's locked relief valve.
    pub relief_setting: Option<Pressure>,
    /// Air pressure and oil over air pressure of an air-driven pump.
    pub air: Option<(Pressure, f64)>,
}

pub static HIGHEST_PUMP_PRESSURE: Formula = Formula {
    function: "PumpLimits::highest_pump_pressure",
    figure: "Highest pump pressure",
    unit: "Pa",
    formula: "p = min(rated_pressure, relief_setting, air_pressure × air_ratio), what isn't given left out",
    symbols: "rated_pressure of the pump; relief_setting of the station's locked valve",
    validity: "an air-driven pump at its stall pressure, without friction",
    source: "balance of forces on the two pistons of an air-driven pump; Esposito, Fluid Power with Applications, example 11-1 (intensifier)",
};

pub static PUMP_PRESSURE: Formula = Formula {
    function: "PumpLimits::pump_pressure",
    figure: "Pump pressure",
    unit: "Pa",
    formula: "p_pump = min(pump_setting, rated_pressure, relief_setting, air_pressure × air_ratio)",
    symbols: "as for the highest pump pressure",
    validity: "an air-driven pump at its stall pressure, without friction",
    source: "balance of forces on the two pistons of an air-driven pump; Esposito, Fluid Power with Applications, example 11-1 (intensifier)",
};

impl PumpLimits {
    /// Highest pressure that a pump can bring.
    ///
    /// Formula, validity and source: [`HIGHEST_PUMP_PRESSURE`].
    ///
    /// By hand: 5.0 bar of air × 60 are 300 bar, less than a rating of 700.
    /// ```
    /// use clampbook::physics::{chain::PumpLimits, quantity::Pressure};
    /// let bar = Pressure::from_bar;
    /// let limits = PumpLimits {
    ///     rating: Some(bar(700.0)), relief_setting: None, air: Some((bar(5.0), 60.0)) };
    /// assert_eq!(limits.highest_pump_pressure(), Some(bar(300.0)));
    /// ```
    #[must_use]
    pub fn highest_pump_pressure(&self) -> Option<Pressure> {
        let air = self.air.map(|(pressure, ratio)| pressure * ratio);
        [self.rating, self.relief_setting, air].into_iter().flatten().reduce(Pressure::min)
    }

    /// Pressure of a pump that is set.
    ///
    /// Formula, validity and source: [`PUMP_PRESSURE`].
    ///
    /// * `setting` – pump_setting
    ///
    /// By hand: set to 326 bar with a relief valve of 310, it brings 310.
    /// ```
    /// use clampbook::physics::{chain::PumpLimits, quantity::Pressure};
    /// let bar = Pressure::from_bar;
    /// let limits = PumpLimits { relief_setting: Some(bar(310.0)), ..PumpLimits::default() };
    /// assert_eq!(limits.pump_pressure(Some(bar(326.0))), Some(bar(310.0)));
    /// ```
    #[must_use]
    pub fn pump_pressure(&self, setting: Option<Pressure>) -> Option<Pressure> {
        [setting, self.highest_pump_pressure()].into_iter().flatten().reduce(Pressure::min)
    }
}

pub static CHARGING_WARMTH: Formula = Formula {
    function: "charging_warmth",
    figure: "Warming of the oil as it is pumped",
    unit: "K",
    formula: "ΔT_c = α T1 p_full/(ρ c)",
    symbols: "α volumetric expansion; ρ density; c specific heat; 0 after a dwell of limits.dwell_settled",
    validity: "without loss of heat to the walls; properties constant over the rise",
    source: "isentropic compression, (∂T/∂p)_s = α T/(ρ c_p), a Maxwell relation; e.g. Moran and Shapiro, Fundamentals of Engineering Thermodynamics, chapter 11 (chapter quoted from memory)",
};

/// How much oil warms as it is brought to pressure.
///
/// Formula, validity and source: [`CHARGING_WARMTH`].
///
/// * `thermal_expansion` – α, volumetric, 1/K
/// * `temperature` – T1, of the oil before
/// * `pressure` – p_full
/// * `density`, `specific_heat` – ρ, c in J/(kg K)
///
/// By hand: 7e-4/K × 293.15 K × 160e5 Pa/(870 kg/m³ × 1900 J/(kg K)) = 1.986 K.
/// ```
/// use clampbook::physics::chain::charging_warmth;
/// use clampbook::physics::quantity::{Density, Pressure, Temperature};
/// let warmth = charging_warmth(
///     7e-4, Temperature::new(293.15), Pressure::from_bar(160.0), Density::new(870.0), 1900.0);
/// assert!((warmth.si() - 1.986).abs() < 5e-4);
/// ```
#[must_use]
pub fn charging_warmth(
    thermal_expansion: f64,
    temperature: Temperature,
    pressure: Pressure,
    density: Density,
    specific_heat: f64,
) -> Temperature {
    temperature * (thermal_expansion * pressure.si() / (density.si() * specific_heat))
}

pub static ROD_SIDE_PRESSURE: Formula = Formula {
    function: "rod_side_pressure",
    figure: "Pressure of a blocked rod side",
    unit: "Pa",
    formula: "p = p1 A_clamp/A_unclamp",
    symbols: "p1 on the piston side; areas of a double-acting clamp",
    validity: "the piston at rest between both oils, without a load",
    source: "balance of forces on a piston; ISO 4413, pressure intensification to be allowed for",
};

/// Pressure of a blocked rod side.
///
/// Formula, validity and source: [`ROD_SIDE_PRESSURE`].
///
/// * `pressure` – p1 on the piston side
/// * `area_clamp`, `area_unclamp` – above 0
///
/// By hand: 160 bar on 800 mm² against 400 mm²: 320 bar.
/// ```
/// use clampbook::physics::{chain::rod_side_pressure, quantity::{Area, Pressure}};
/// let rod = rod_side_pressure(
///     Pressure::from_bar(160.0), Area::from_mm2(800.0), Area::from_mm2(400.0));
/// assert!((rod.bar() - 320.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn rod_side_pressure(pressure: Pressure, area_clamp: Area, area_unclamp: Area) -> Pressure {
    pressure * (area_clamp / area_unclamp)
}
