//! Oil on its way: viscosity, resistance and the times that follow.

use std::cell::RefCell;
use std::f64::consts::PI;

use crate::physics::formula::Formula;
use crate::physics::quantity::{
    Density, DynamicViscosity, Flow, KinematicViscosity, Length, Pressure, Resistance, Temperature, Time, Volume,
};
use crate::physics::recent::Recent;

/// Reynolds number up to which pipe flow is taken as laminar.
pub const LAMINAR_LIMIT: f64 = 2300.0;

/// How viscosity falls with temperature: log₁₀ log₁₀(ν + 0.7) = A − B log₁₀ T.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ViscosityLine {
    pub a: f64,
    pub b: f64,
}

pub static VISCOSITY_LINE: Formula = Formula {
    function: "ViscosityLine::through",
    figure: "Viscosity line",
    unit: "1",
    formula: "B = (w₁ − w₂)/(log₁₀ T₂ − log₁₀ T₁), A = w₁ + B log₁₀ T₁, w = log₁₀ log₁₀(ν + 0.7)",
    symbols: "ν in mm²/s, T in K, at 40 and 100 °C",
    validity: "viscosities of 2 mm²/s and more",
    source: "ASTM D341, the shortened equation",
};

pub static VISCOSITY_AT: Formula = Formula {
    function: "ViscosityLine::at",
    figure: "Kinematic viscosity",
    unit: "m²/s",
    formula: "log₁₀ log₁₀(ν + 0.7) = A − B log₁₀ T",
    symbols: "ν in mm²/s, T in K",
    validity: "2 mm²/s to 2e7 mm²/s; a line says nothing below the pour point",
    source: "ASTM D341, the shortened equation",
};

thread_local! {
    /// By the viscosities at 40 °C and 100 °C: a plant has few fluids.
    static LINES: RefCell<Recent<(u64, u64), ViscosityLine>> = const { RefCell::new(Recent::new()) };
    /// By the line's numbers and the temperature.
    static VISCOSITIES: RefCell<Recent<[u64; 3], KinematicViscosity>> = const { RefCell::new(Recent::new()) };
}

impl ViscosityLine {
    /// The line through two measured viscosities.
    ///
    /// Formula, validity and source: [`VISCOSITY_LINE`].
    ///
    /// * `first`, `second` – temperature and viscosity, above 0.3 mm²/s, of different
    ///   temperatures
    ///
    /// By hand, 32 mm²/s at 313 K and 5.4 at 373 K: w₁ = log₁₀ 1.51455 = 0.18028, w₂ =
    /// log₁₀ 0.78533 = −0.10495; B = 0.28523/0.076166 = 3.745.
    /// ```
    /// use clampbook::physics::flow::ViscosityLine;
    /// use clampbook::physics::quantity::{KinematicViscosity, Temperature};
    /// let line = ViscosityLine::through(
    ///     (Temperature::new(313.0), KinematicViscosity::from_mm2_per_s(32.0)),
    ///     (Temperature::new(373.0), KinematicViscosity::from_mm2_per_s(5.4)),
    /// );
    /// assert!((line.b - 3.745).abs() < 5e-4);
    /// ```
    #[must_use]
    pub fn through(first: (Temperature, KinematicViscosity), second: (Temperature, KinematicViscosity)) -> Self {
        let (t1, w1) = (first.0.si().log10(), double_log(first.1));
        let (t2, w2) = (second.0.si().log10(), double_log(second.1));
        let b = (w1 - w2) / (t2 - t1);
        Self { a: w1 + b * t1, b }
    }

    /// The line through the viscosities at 40 °C and 100 °C, as data sheets give them.
    #[must_use]
    pub fn through_40_and_100(at_40: KinematicViscosity, at_100: KinematicViscosity) -> Self {
        let points = [(Temperature::from_celsius(40.0), at_40), (Temperature::from_celsius(100.0), at_100)];
        let key = (at_40.si().to_bits(), at_100.si().to_bits());
        LINES.with_borrow_mut(|kept| kept.get_or_make(key, || Self::through(points[0], points[1])))
    }

    /// Viscosity at a temperature.
    ///
    /// Formula, validity and source: [`VISCOSITY_AT`].
    ///
    /// * `temperature` – T, above the pour point; below 1 K counts as 1 K
    ///
    /// By hand, A = 9.5259, B = 3.7449, T = 353 K: 9.5259 − 3.7449 × 2.54777 = −0.01532, 10^ of
    /// it 0.9653, 10^ of it 9.23, less 0.7: 8.5 mm²/s.
    /// ```
    /// use clampbook::physics::{flow::ViscosityLine, quantity::Temperature};
    /// let line = ViscosityLine { a: 9.5259, b: 3.7449 };
    /// assert!((line.at(Temperature::new(353.0)).mm2_per_s() - 8.5).abs() < 0.05);
    /// ```
    #[must_use]
    pub fn at(&self, temperature: Temperature) -> KinematicViscosity {
        let key = [self.a, self.b, temperature.si()].map(f64::to_bits);
        VISCOSITIES.with_borrow_mut(|kept| kept.get_or_make(key, || self.worked_out(temperature)))
    }

    fn worked_out(&self, temperature: Temperature) -> KinematicViscosity {
        let exponent = self.a - self.b * temperature.si().max(1.0).log10();
        // Deep in the cold the double power leaves the range of numbers.
        let power = 10_f64.powf(exponent).min(300.0);
        KinematicViscosity::from_mm2_per_s(10_f64.powf(power) - 0.7)
    }
}

fn double_log(viscosity: KinematicViscosity) -> f64 {
    (viscosity.mm2_per_s() + 0.7).log10().log10()
}

pub static VISCOSITY: Formula = Formula {
    function: "viscosity",
    figure: "Viscosity",
    unit: "Pa s",
    formula: "μ = ν ρ",
    symbols: "ρ density of the fluid",
    validity: "density as stated at 15 °C; it changes by less than 3 % over the range of a plant",
    source: "definition of kinematic viscosity",
};

/// Viscosity from kinematic viscosity and density.
///
/// Formula, validity and source: [`VISCOSITY`].
///
/// By hand: 32 mm²/s × 870 kg/m³ = 0.02784 Pa s.
/// ```
/// use clampbook::physics::{flow::viscosity, quantity::{Density, KinematicViscosity}};
/// let mu = viscosity(KinematicViscosity::from_mm2_per_s(32.0), Density::new(870.0));
/// assert!((mu.si() - 0.02784).abs() < 1e-12);
/// ```
#[must_use]
pub fn viscosity(kinematic: KinematicViscosity, density: Density) -> DynamicViscosity {
    kinematic * density
}

pub static LAMINAR_RESISTANCE: Formula = Formula {
    function: "laminar_resistance",
    figure: "Resistance of a tube or hose",
    unit: "Pa s/m³",
    formula: "R = 128 μ L/(π ID⁴)",
    symbols: "L length, ID bore",
    validity: "laminar, Re up to 2300; without fittings, bends and valves",
    source: "Hagen–Poiseuille; Esposito, Fluid Power with Applications, example 4-3",
};

/// Resistance of one piece of tube or hose to laminar flow.
///
/// Formula, validity and source: [`LAMINAR_RESISTANCE`].
///
/// * `viscosity` – μ
/// * `length` – L
/// * `inner_diameter` – ID, above 0
///
/// By hand: μ = 0.1 Pa s, 1 m, 10 mm: 128 × 0.1/(π × 1e-8) = 4.0744e8 Pa s/m³.
/// ```
/// use clampbook::physics::flow::laminar_resistance;
/// use clampbook::physics::quantity::{DynamicViscosity, Length};
/// let r = laminar_resistance(DynamicViscosity::new(0.1), Length::new(1.0), Length::from_mm(10.0));
/// assert!((r.si() / 4.0744e8 - 1.0).abs() < 1e-5);
/// ```
#[must_use]
pub fn laminar_resistance(viscosity: DynamicViscosity, length: Length, inner_diameter: Length) -> Resistance {
    let bore = inner_diameter.si() * inner_diameter.si();
    Resistance::new(128.0 * viscosity.si() * length.si() / (PI * bore * bore))
}

pub static REYNOLDS_NUMBER: Formula = Formula {
    function: "reynolds_number",
    figure: "Reynolds number",
    unit: "1",
    formula: "Re = 4 Q/(π ID ν)",
    symbols: "Q flow",
    validity: "a full round bore",
    source: "definition; Esposito, Fluid Power with Applications, example 4-1",
};

/// Reynolds number of a flow in a round bore.
///
/// Formula, validity and source: [`REYNOLDS_NUMBER`].
///
/// * `flow` – Q
/// * `inner_diameter` – ID, above 0
/// * `viscosity` – ν, above 0
///
/// By hand: 1 L/min in 4 mm at 87 mm²/s: 4 × 1.6667e-5/(π × 0.004 × 8.7e-5) = 60.98.
/// ```
/// use clampbook::physics::flow::reynolds_number;
/// use clampbook::physics::quantity::{Flow, KinematicViscosity, Length};
/// let re = reynolds_number(
///     Flow::from_l_per_min(1.0), Length::from_mm(4.0), KinematicViscosity::from_mm2_per_s(87.0));
/// assert!((re - 60.98).abs() < 0.005);
/// ```
#[must_use]
pub fn reynolds_number(flow: Flow, inner_diameter: Length, viscosity: KinematicViscosity) -> f64 {
    4.0 * flow.si() / (PI * inner_diameter.si() * viscosity.si())
}

/// Conductors of one line of a list.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ConductorLine {
    /// Number of pieces.
    pub pieces: f64,
    /// Of one piece.
    pub resistance: Resistance,
    /// Part of the circuit's oil that flows through each piece, 0 to 1.
    pub share: f64,
}

pub static PATH_RESISTANCE: Formula = Formula {
    function: "path_resistance",
    figure: "Resistance of the way back",
    unit: "Pa s/m³",
    formula: "R_path = Σ n R where all the oil flows (share 1), + the largest n share R of the branches",
    symbols: "share part of the oil that flows through each piece",
    validity: "laminar; the pieces of a branch line are passed one after the other",
    source: "resistances in series add up; Hagen–Poiseuille makes pressure loss proportional to flow",
};

/// Resistance of the way that the oil of a circuit takes.
///
/// Formula, validity and source: [`PATH_RESISTANCE`].
///
/// * `conductors` – all tubes and hoses; nothing is returned without one
///
/// By hand: 2 × 3 in series, branches 1 × 0.5 × 8 and 1 × 0.25 × 8: 6 + 4 = 10.
/// ```
/// use clampbook::physics::{flow::{ConductorLine, path_resistance}, quantity::Resistance};
/// let line = |pieces, resistance, share| ConductorLine {
///     pieces, resistance: Resistance::new(resistance), share };
/// let path = path_resistance(&[line(2.0, 3.0, 1.0), line(1.0, 8.0, 0.5), line(1.0, 8.0, 0.25)]);
/// assert_eq!(path, Some(Resistance::new(10.0)));
/// ```
#[must_use]
pub fn path_resistance(conductors: &[ConductorLine]) -> Option<Resistance> {
    if conductors.is_empty() {
        return None;
    }
    let trunk = conductors.iter().filter(|line| line.share >= 1.0);
    let branches = conductors.iter().filter(|line| line.share < 1.0);
    let series: Resistance = trunk.map(|line| line.resistance * line.pieces).sum();
    let branch =
        branches.map(|line| line.resistance * (line.pieces * line.share)).fold(Resistance::ZERO, Resistance::max);
    Some(series + branch)
}

pub static CLAMP_TIME: Formula = Formula {
    function: "clamp_time",
    figure: "Clamp time",
    unit: "s",
    formula: "t = r V_sw/flow + r (D_g − V_sw)/flow_high",
    symbols: "r pressure ratio, which is pump oil over circuit oil, 1 for a coupler; flow, flow_high of the pump at low and high pressure, the same where only one is given; D_g demand of all circuits that one stroke fills",
    validity: "the pump alone limits the flow",
    source: "volume over flow; the ratio by Esposito, Fluid Power with Applications, example 11-1",
};

/// Time from the start of the pump to charge pressure.
///
/// Formula, validity and source: [`CLAMP_TIME`].
///
/// * `ratio` – r, circuit over pump pressure, which is pump oil over circuit oil; 1 for a coupler
/// * `swept` – V_sw, at low pressure
/// * `demand` – D
/// * `flow`, `flow_high` – the pump's, above 0; where no high-pressure flow is given, the other
///
/// By hand: 0.5 × 60 cm³/(600 cm³/min) + 0.5 × 20 cm³/(100 cm³/min) = 3 s + 6 s.
/// ```
/// use clampbook::physics::{flow::clamp_time, quantity::{Flow, Volume}};
/// let time = clamp_time(
///     0.5, Volume::from_cm3(60.0), Volume::from_cm3(80.0),
///     Flow::from_cm3_per_min(600.0), Some(Flow::from_cm3_per_min(100.0)));
/// assert!((time.si() - 9.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn clamp_time(ratio: f64, swept: Volume, demand: Volume, flow: Flow, flow_high: Option<Flow>) -> Time {
    swept * ratio / flow + (demand - swept) * ratio / flow_high.unwrap_or(flow)
}

pub static STEP_TIME: Formula = Formula {
    function: "step_time",
    figure: "Time of a step",
    unit: "s",
    formula: "t = r Σ n v/flow",
    symbols: "n v of the clamps and work supports of the step",
    validity: "the pump alone limits the flow",
    source: "volume over flow; the ratio by Esposito, Fluid Power with Applications, example 11-1",
};

/// Time of one step of the clamping sequence.
///
/// Formula, validity and source: [`STEP_TIME`].
///
/// * `ratio` – r, as for [`clamp_time`]
/// * `swept` – Σ n v of the clamps and work supports of the step
/// * `flow` – the pump's, above 0
///
/// By hand: 0.5 × 60 cm³/(600 cm³/min) = 3 s.
/// ```
/// use clampbook::physics::{flow::step_time, quantity::{Flow, Volume}};
/// let time = step_time(0.5, Volume::from_cm3(60.0), Flow::from_cm3_per_min(600.0));
/// assert!((time.si() - 3.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn step_time(ratio: f64, swept: Volume, flow: Flow) -> Time {
    swept * ratio / flow
}

pub static VALVE_LOSS: Formula = Formula {
    function: "valve_loss",
    figure: "Pressure that a valve takes for each square of flow",
    unit: "Pa/(m³/s)²",
    formula: "B = (ρ/1000 kg/m³) (1 bar)/(kv × 1 m³/3600 s)²",
    symbols: "kv m³/h of water at 1 bar; ρ density of the oil",
    validity: "turbulent flow through the valve",
    source: "IEC 60534-2-1, definition of the flow coefficient Kv: Q = Kv √(Δp/1 bar × 1000 kg/m³/ρ)",
};

/// Pressure that a valve takes for each square of flow.
///
/// Formula, validity and source: [`VALVE_LOSS`].
///
/// * `kv` – m³/h of water at 1 bar, above 0
/// * `density` – of the oil
///
/// By hand: 3.6 m³/h pass 1e-3 m³/s of water at 1 bar: B = 1e5/1e-6 = 1e11.
/// ```
/// use clampbook::physics::{flow::valve_loss, quantity::Density};
/// assert!((valve_loss(3.6, Density::new(1000.0)) / 1e11 - 1.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn valve_loss(kv: f64, density: Density) -> f64 {
    let through = kv / 3600.0;
    density.si() / 1000.0 * 1e5 / (through * through)
}

pub static RETURN_FLOW: Formula = Formula {
    function: "return_flow",
    figure: "Unclamp time",
    unit: "s",
    formula: "t = V_sw/Q, B Q² + R_path Q = return_pressure",
    symbols: "Q the positive root; B of all valves in series; return_pressure the lowest of the clamps that state one; without valves t = V_sw R_path/return_pressure",
    validity: "laminar in the conductors, noted where Re is above 2300; the spring as strong at the end as at the start",
    source: "pressure losses in series add up; Hagen–Poiseuille and IEC 60534-2-1",
};

/// Flow that the return springs push through lines and valves.
///
/// Formula, validity and source: [`RETURN_FLOW`].
///
/// * `losses` – B, the sum of [`valve_loss`] of all valves in series
/// * `resistance` – R, of the conductors
/// * `return_pressure` – the lowest of the clamps that state one, above 0
///
/// The time to unclamp is V_sw/Q; without valves V_sw R/p_return.
///
/// By hand: B = 2, R = 3, 5 Pa: 2 + 3 = 5 at Q = 1.
/// ```
/// use clampbook::physics::{flow::return_flow, quantity::{Pressure, Resistance}};
/// let flow = return_flow(2.0, Resistance::new(3.0), Pressure::new(5.0));
/// assert!((flow.si() - 1.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn return_flow(losses: f64, resistance: Resistance, return_pressure: Pressure) -> Flow {
    let (r, p) = (resistance.si(), return_pressure.si());
    // This form of the root loses no digits where the valves take little.
    Flow::new(2.0 * p / (r + (r * r + 4.0 * losses * p).sqrt()))
}
