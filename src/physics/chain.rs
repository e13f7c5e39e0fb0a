//! From the pump to the circuit.

use crate::physics::quantity::{Area, Density, Pressure, Temperature};

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

/// What limits a pump's pressure.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PumpLimits {
    pub rating: Option<Pressure>,
    /// Of the station's locked relief valve.
    pub relief_setting: Option<Pressure>,
    /// Air pressure and oil over air pressure of an air-driven pump.
    pub air: Option<(Pressure, f64)>,
}

impl PumpLimits {
    /// Highest pressure that a pump can bring.
    ///
    /// min(rated_pressure, relief_setting, air_pressure × air_ratio), what isn't given left out;
    /// nothing where none is.
    ///
    /// Validity: an air-driven pump at its stall pressure, without friction.
    ///
    /// Source: balance of forces on the two pistons of an air-driven pump, as for
    /// [`pressure_ratio`].
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
    /// p_pump = min(pump_setting, rated_pressure, relief_setting, air_pressure × air_ratio)
    ///
    /// * `setting` – pump_setting
    ///
    /// Source: as for [`PumpLimits::highest_pump_pressure`].
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

/// How much oil warms as it is brought to pressure.
///
/// ΔT_c = α T1 p/(ρ c)
///
/// * `thermal_expansion` – α, volumetric, 1/K
/// * `temperature` – T1, of the oil before
/// * `pressure` – p_full
/// * `density`, `specific_heat` – ρ, c in J/(kg K)
///
/// Validity: without loss of heat to the walls; properties constant over the rise.
///
/// Source: isentropic compression, (∂T/∂p)_s = α T/(ρ c_p), a Maxwell relation; e.g. Moran and
/// Shapiro, Fundamentals of Engineering Thermodynamics, chapter 11 (chapter quoted from memory).
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

/// Pressure of a blocked rod side.
///
/// p = p1 A_clamp/A_unclamp
///
/// * `pressure` – p1 on the piston side
/// * `area_clamp`, `area_unclamp` – above 0
///
/// Validity: the piston at rest between both oils, without a load.
///
/// Source: balance of forces on a piston; ISO 4413, pressure intensification to be allowed for.
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
