//! How the pressure of a trapped circuit falls with time.

use crate::physics::nitrogen::GasState;
use crate::physics::quantity::{Conductance, Flow, Pressure, Time};
use crate::physics::trapped::TrappedState;

/// Below this pressure nothing is held any more.
pub const GONE: Pressure = Pressure::new(1.0);

/// Width of a panel of integration in ln p: the air's compressibility, the most sharply bent
/// part, has its nearest singularity π away from the real axis, so that five points leave less
/// than 1e-11 of a panel.
const PANEL: f64 = 0.5;

/// Width up to which three points leave as little as five do on a whole panel.
const NARROW: f64 = 0.06;

/// Gauss–Legendre, five points and three, from the top down: abscissas and weights. Abramowitz
/// and Stegun, Handbook of Mathematical Functions, table 25.4.
const FIVE: [(f64, f64); 5] = [
    (0.906_179_845_938_664, 0.236_926_885_056_189_1),
    (0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.0, 0.568_888_888_888_888_9),
    (-0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (-0.906_179_845_938_664, 0.236_926_885_056_189_1),
];
const THREE: [(f64, f64); 3] = [
    (0.774_596_669_241_483_4, 0.555_555_555_555_555_6),
    (0.0, 0.888_888_888_888_889),
    (-0.774_596_669_241_483_4, 0.555_555_555_555_555_6),
];

/// Conductance of the leaks of one component.
///
/// G = leak/p_rated
///
/// * `leak` – flow at rated pressure, of all pieces of a line
/// * `rated_pressure` – above 0; nothing is returned without one
///
/// Validity: a laminar leak, in proportion to pressure, at the viscosity of its statement.
///
/// Source: flow in a narrow gap, Q = π D a³ Δp/(12 μ L); Fox and McDonald, Introduction to Fluid
/// Mechanics, example 8.1.
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

/// A leaking circuit at one temperature.
#[derive(Clone, Copy, Debug)]
pub struct LeakDown<'a> {
    state: &'a TrappedState<'a>,
    start: Pressure,
    conductance: Conductance,
}

/// A stretch of ln p, from `high` down to `low`, between kinks.
#[derive(Clone, Copy, Debug)]
struct Panel {
    high: f64,
    low: f64,
}

impl<'a> LeakDown<'a> {
    /// * `state` – the circuit at the temperature of the leak
    /// * `start` – its pressure before the leak
    /// * `conductance` – G of all leaks together, 0 or more
    #[must_use]
    pub const fn new(state: &'a TrappedState<'a>, start: Pressure, conductance: Conductance) -> Self {
        Self { state, start, conductance }
    }

    /// Time until the pressure has fallen to a wanted one, the hold reserve.
    ///
    /// t(p) = ∫ (∂M/∂p)/(G p) dp from p to p_cold
    ///
    /// * `pressure` – p, gauge; below 1 Pa counts as 1 Pa
    ///
    /// 0 where the start is below it already; without a leak there is no end.
    ///
    /// Validity: laminar leak, oil at the temperature of the state; warm oil leaks faster.
    ///
    /// Source: dM/dt = −G p, separated; for constant ∂M/∂p = C it is C/G ln(p_cold/p).
    ///
    /// By hand: 500 cm³ at K = 1.4 GPa, almost C = 3.5714e-13 m³/Pa, G = 0.05 cm³/min per 350
    /// bar: 90 % of 350 bar are left after 250 min × 0.105361 = 26.34 min, with C as it is at
    /// charge.
    /// ```
    /// use clampbook::physics::leak::{HoldReserve, LeakDown, leak_conductance};
    /// use clampbook::physics::nitrogen::GasModel;
    /// use clampbook::physics::quantity::{Compliance, Flow, Pressure, Temperature, Volume};
    /// use clampbook::physics::trapped::{Oil, TrappedOil};
    /// let circuit = TrappedOil {
    ///     volume: Volume::from_cm3(500.0),
    ///     elasticity: Compliance::ZERO,
    ///     accumulators: Vec::new(),
    ///     oil: Oil {
    ///         bulk_modulus: Pressure::from_gpa(1.4), thermal_expansion: 7e-4, free_air: 0.0 },
    ///     metal_expansion: 11.7e-6,
    ///     gas: GasModel::Real,
    ///     charge_pressure: Pressure::from_bar(350.0),
    ///     charge_temperature: Temperature::from_celsius(20.0),
    /// };
    /// let state = circuit.at(Temperature::from_celsius(20.0));
    /// let start = Pressure::from_bar(350.0);
    /// let leak = leak_conductance(Flow::from_cm3_per_min(0.05), start).unwrap();
    /// let HoldReserve::Ends(time) = LeakDown::new(&state, start, leak).hold_reserve(start * 0.9)
    ///     else { panic!("a leak has an end") };
    /// assert!((time.minutes() - 26.34).abs() < 0.05);
    /// ```
    #[must_use]
    pub fn hold_reserve(&self, pressure: Pressure) -> HoldReserve {
        if self.start < pressure || self.start < GONE {
            return HoldReserve::Ends(Time::ZERO);
        }
        if self.conductance <= Conductance::ZERO {
            return HoldReserve::Endless;
        }
        let mut close = None;
        let panels = self.panels(pressure.max(GONE));
        let leaked: f64 = panels.map(|panel| self.leaked(panel, &mut close)).sum();
        HoldReserve::Ends(Time::new(leaked / self.conductance.si()))
    }

    /// Pressure after a time, the holding pressure; 0 where it is gone sooner.
    ///
    /// The root of t(p) = time.
    ///
    /// * `time` – 0 or more
    ///
    /// Validity: as for [`LeakDown::hold_reserve`].
    ///
    /// Source: as for [`LeakDown::hold_reserve`]; for constant ∂M/∂p = C it is p_cold exp(−t
    /// G/C).
    ///
    /// By hand, with the circuit above: after 30 min 350 bar × exp(−0.12) = 310.42 bar.
    /// ```
    /// # use clampbook::physics::leak::{LeakDown, leak_conductance};
    /// # use clampbook::physics::nitrogen::GasModel;
    /// # use clampbook::physics::quantity::{Compliance, Flow, Pressure, Temperature, Time, Volume};
    /// # use clampbook::physics::trapped::{Oil, TrappedOil};
    /// # let circuit = TrappedOil {
    /// #     volume: Volume::from_cm3(500.0), elasticity: Compliance::ZERO,
    /// #     accumulators: Vec::new(),
    /// #     oil: Oil { bulk_modulus: Pressure::from_gpa(1.4), thermal_expansion: 7e-4,
    /// #         free_air: 0.0 },
    /// #     metal_expansion: 11.7e-6, gas: GasModel::Real,
    /// #     charge_pressure: Pressure::from_bar(350.0),
    /// #     charge_temperature: Temperature::from_celsius(20.0) };
    /// # let state = circuit.at(Temperature::from_celsius(20.0));
    /// # let start = Pressure::from_bar(350.0);
    /// # let leak = leak_conductance(Flow::from_cm3_per_min(0.05), start).unwrap();
    /// let held = LeakDown::new(&state, start, leak).holding_pressure(Time::from_minutes(30.0));
    /// assert!((held.bar() - 310.42).abs() < 0.1);
    /// ```
    #[must_use]
    pub fn holding_pressure(&self, time: Time) -> Pressure {
        if self.start < GONE {
            return Pressure::ZERO;
        }
        let target = self.conductance.si() * time.si();
        if target.is_nan() || target <= 0.0 {
            return self.start;
        }
        let mut close = None;
        let mut missing = target;
        for panel in self.panels(GONE) {
            match self.within(panel, missing, &mut close) {
                Ok(pressure) => return pressure,
                Err(leaked) => missing -= leaked,
            }
        }
        Pressure::ZERO
    }

    /// Points of the fall of pressure, evenly spaced in time from the start, for a chart.
    ///
    /// * `until` – the end of the chart
    /// * `points` – at least 2
    #[must_use]
    pub fn curve(&self, until: Time, points: u16) -> Vec<(Time, Pressure)> {
        let steps = points.max(2) - 1;
        let time = |step: u16| until * (f64::from(step) / f64::from(steps));
        (0..=steps).map(|step| (time(step), self.holding_pressure(time(step)))).collect()
    }

    /// Panels from the start down to a pressure, split where an accumulator runs empty.
    fn panels(&self, end: Pressure) -> impl Iterator<Item = Panel> + use<> {
        let mut bounds: Vec<Pressure> =
            self.state.empty_pressures().filter(|empty| *empty > end && *empty < self.start).collect();
        bounds.extend([self.start, end]);
        bounds.sort_by(|one, other| other.total_cmp(*one));
        let logs: Vec<f64> = bounds.into_iter().map(|bound| bound.si().ln()).collect();
        (1..logs.len()).flat_map(move |index| Panel { high: logs[index - 1], low: logs[index] }.pieces())
    }

    /// ∂M/∂p at a pressure, the integrand over ln p. Where pressure exceeds K the formulas lose
    /// their sense, and M its order: less than 0 counts as 0.
    fn oil_per_log(&self, log: f64, close: &mut Option<GasState>) -> f64 {
        let point = self.state.point(Pressure::new(log.exp()), *close);
        *close = point.gas;
        point.slope.max(0.0)
    }

    /// ∫ ∂M/∂p d ln p over a panel, from its top, so that densities follow each other; less than 0
    /// where `low` is above `high`.
    fn leaked(&self, panel: Panel, close: &mut Option<GasState>) -> f64 {
        let half = (panel.high - panel.low) / 2.0;
        let middle = f64::midpoint(panel.high, panel.low);
        let nodes = if 2.0 * half.abs() <= NARROW { &THREE[..] } else { &FIVE[..] };
        let at = |&(node, weight): &(f64, f64)| weight * self.oil_per_log(middle + half * node, close);
        half * nodes.iter().map(at).sum::<f64>()
    }

    /// Where in a panel so much has leaked; all that the panel leaks where that is less.
    ///
    /// Newton's method from the top, kept inside a bracket that shrinks; each step adds the
    /// integral over itself alone.
    fn within(&self, panel: Panel, wanted: f64, close: &mut Option<GasState>) -> Result<Pressure, f64> {
        let (mut low, mut high) = (panel.low, panel.high);
        let (mut log, mut leaked) = (panel.high, 0.0);
        let mut is_bracketed = false;
        for _ in 0..100 {
            let missing = wanted - leaked;
            if missing > 0.0 && log <= panel.low {
                return Err(leaked);
            }
            if missing > 0.0 {
                high = log;
            } else {
                (low, is_bracketed) = (log, true);
            }
            let newton = log - missing / self.oil_per_log(log, close);
            // What is left after a step is its square.
            if (newton - log).abs() <= 1e-9 {
                log = newton.clamp(panel.low, panel.high);
                break;
            }
            let next = if newton > low && newton < high {
                newton
            } else if missing > 0.0 && !is_bracketed {
                panel.low
            } else {
                f64::midpoint(low, high)
            };
            leaked += self.leaked(Panel { high: log, low: next }, close);
            log = next;
        }
        Ok(Pressure::new(log.exp()))
    }
}

impl Panel {
    /// The stretch in panels of about the same width.
    fn pieces(self) -> impl Iterator<Item = Self> {
        let Self { high, low } = self;
        let count = ((high - low) / PANEL).ceil().clamp(1.0, 10_000.0);
        let width = (high - low) / count;
        let bound = move |piece: u32| if f64::from(piece) >= count { low } else { high - f64::from(piece) * width };
        (0_u32..)
            .take_while(move |piece| f64::from(*piece) < count)
            .map(move |piece| Self { high: bound(piece), low: bound(piece + 1) })
    }
}
