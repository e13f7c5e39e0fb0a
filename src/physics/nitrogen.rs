//! Nitrogen in an accumulator: density at a pressure and a temperature.
//!
//! The real gas follows the reference equation of state, all 36 terms at full precision. At
//! one temperature its terms collapse into 25 numbers ([`Isotherm`]), and these into polynomials
//! over stretches of density, met to the last digits, which makes the many densities that a leak
//! asks for cheap.

use std::cell::RefCell;
use std::rc::Rc;
use std::sync::OnceLock;

use crate::physics::formula::Formula;
use crate::physics::quantity::{Density, Pressure, Temperature};
use crate::physics::recent::Recent;

/// How nitrogen is described.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum GasModel {
    /// The reference equation of state.
    #[default]
    Real,
    /// ρ = P/(R T), which promises too much oil at clamping pressures.
    Ideal,
}

/// Temperature at which a precharge is stated.
pub const PRECHARGE_TEMPERATURE: Temperature = Temperature::new(293.15);

/// J/(mol K), as the equation of state was fitted with it.
const GAS_CONSTANT: f64 = 8.314_51;
/// kg/mol
const MOLAR_MASS: f64 = 0.028_013_48;
/// J/(kg K)
const SPECIFIC_GAS_CONSTANT: f64 = GAS_CONSTANT / MOLAR_MASS;
/// K, of the critical point
const REDUCING_TEMPERATURE: f64 = 126.192;
/// kg/m³, of the critical point
const REDUCING_DENSITY: f64 = 11_183.9 * MOLAR_MASS;
/// K, the ends of the equation's range: triple point and highest measured.
const LOWEST_TEMPERATURE: f64 = 63.151;
const HIGHEST_TEMPERATURE: f64 = 1000.0;
/// Where the search for a density ends: four times the densest measured state.
const DENSEST: f64 = 15.0;

/// Terms n δ^d τ^t exp(−δ^l), without the exponential where l = 0: (n, d, t, l).
const POWER: [(f64, usize, f64, usize); 32] = [
    (0.924_803_575_275, 1, 0.25, 0),
    (-0.492_448_489_428, 1, 0.875, 0),
    (0.661_883_336_938, 2, 0.5, 0),
    (-1.929_026_492_01, 2, 0.875, 0),
    (-0.062_246_930_962_9, 3, 0.375, 0),
    (0.349_943_957_581, 3, 0.75, 0),
    (0.564_857_472_498, 1, 0.5, 1),
    (-1.617_200_059_87, 1, 0.75, 1),
    (-0.481_395_031_883, 1, 2.0, 1),
    (0.421_150_636_384, 3, 1.25, 1),
    (-0.016_196_223_082_5, 3, 3.5, 1),
    (0.172_100_994_165, 4, 1.0, 1),
    (0.007_354_489_249_33, 6, 0.5, 1),
    (0.016_807_730_547_9, 6, 3.0, 1),
    (-0.001_076_266_641_79, 7, 0.0, 1),
    (-0.013_731_808_851_3, 7, 2.75, 1),
    (0.000_635_466_899_859, 8, 0.75, 1),
    (0.003_044_322_794_19, 8, 2.5, 1),
    (-0.043_576_233_604_5, 1, 4.0, 2),
    (-0.072_317_488_931_6, 2, 6.0, 2),
    (0.038_964_431_527_2, 3, 6.0, 2),
    (-0.021_220_136_391, 4, 3.0, 2),
    (0.004_088_229_815_09, 5, 3.0, 2),
    (-5.519_900_179_84e-5, 8, 6.0, 2),
    (-0.046_201_671_647_9, 4, 16.0, 3),
    (-0.003_003_117_160_11, 5, 11.0, 3),
    (0.036_882_589_120_8, 5, 15.0, 3),
    (-0.002_558_568_462_2, 8, 12.0, 3),
    (0.008_969_152_645_58, 3, 12.0, 4),
    (-0.004_415_133_703_5, 5, 7.0, 4),
    (0.001_337_229_248_58, 6, 4.0, 4),
    (0.000_264_832_491_957, 9, 16.0, 4),
];

/// Terms n δ^d τ^t exp(−η(δ−1)² − β(τ−γ)²): (n, d, t, η, β, γ).
const GAUSSIAN: [(f64, i32, f64, f64, f64, f64); 4] = [
    (19.668_819_401_5, 1, 0.0, 20.0, 325.0, 1.16),
    (-20.911_560_073, 1, 1.0, 20.0, 325.0, 1.16),
    (0.016_778_830_698_9, 3, 2.0, 15.0, 300.0, 1.13),
    (2_627.675_662_74, 2, 3.0, 25.0, 275.0, 1.25),
];

/// Highest power of δ in the equation.
const DEGREE: usize = 9;

/// Nitrogen at one temperature: the equation of state with τ put in.
#[derive(Clone, Debug)]
pub struct Isotherm {
    model: GasModel,
    /// R T in J/kg.
    rt: f64,
    /// Of δ^d, and of δ^d exp(−δ^l) with l = 1 to 4.
    plain: Weighted<1>,
    decaying: Weighted<4>,
    /// Coefficient, power of δ and η of δ^d exp(−η(δ−1)²).
    gaussian: [(f64, i32, f64); 4],
    /// At the temperatures of a plant the Gaussian terms are below 1e-30 of the others.
    near_critical: bool,
    /// By density, each made where it is first asked for: what it gives does not hang on what was asked before.
    stretches: [OnceLock<Stretch>; STRETCHES],
}

/// kg/m³ that a stretch covers.
const STRETCH: f64 = 48.0;
/// So many stretches reach to about 1000 bar at 20 °C.
const STRETCHES: usize = 14;
/// Where value and slope are taken over, from −1 to 1 over a stretch: the abscissas of Chebyshev, cos((2k + 1) π/12), the
/// outer ones first. At 48 kg/m³ the polynomial between them is off by less than 1e-16 of the pressure and 1e-14 of its
/// slope from −40 to 80 °C; what rounding adds to the slope is up to 1e-13 at the ends.
const ABSCISSAS: [f64; 6] = [
    -0.965_925_826_289_068_3,
    0.965_925_826_289_068_3,
    -0.258_819_045_102_520_74,
    0.258_819_045_102_520_74,
    -std::f64::consts::FRAC_1_SQRT_2,
    std::f64::consts::FRAC_1_SQRT_2,
];

/// P/(ρ R T) over a stretch of density: Hermite's polynomial through value and slope at all abscissas, by Newton's divided
/// differences. The equation of state is smooth everywhere, so that rounding is all that differs.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    middle: f64,
    differences: [f64; 2 * ABSCISSAS.len()],
}

impl Stretch {
    fn of(exact: &Isotherm, index: usize) -> Self {
        let half = 0.5 * STRETCH;
        let middle = half * (2.0 * real(index) + 1.0);
        let mut differences = [0.0; 2 * ABSCISSAS.len()];
        let mut slopes = [0.0; ABSCISSAS.len()];
        for (point, abscissa) in ABSCISSAS.iter().enumerate() {
            let density = middle + half * abscissa;
            let PressurePoint { pressure, slope } = exact.exact_point(density);
            let share = pressure / (density * exact.rt);
            differences[2 * point..2 * point + 2].fill(share);
            slopes[point] = half * (slope / exact.rt - share) / density;
        }
        for order in 1..differences.len() {
            for at in (order..differences.len()).rev() {
                differences[at] = if order == 1 && at % 2 == 1 {
                    slopes[at / 2]
                } else {
                    (differences[at] - differences[at - 1]) / (ABSCISSAS[at / 2] - ABSCISSAS[(at - order) / 2])
                };
            }
        }
        Self { middle, differences }
    }

    fn point(&self, rt: f64, density: f64) -> PressurePoint {
        const PER_DENSITY: f64 = 2.0 / STRETCH;
        let place = (density - self.middle) * PER_DENSITY;
        let (mut share, mut slope) = (0.0, 0.0);
        for (pair, abscissa) in self.differences.chunks_exact(2).zip(ABSCISSAS).rev() {
            let away = place - abscissa;
            for difference in [pair[1], pair[0]] {
                slope = slope * away + share;
                share = share * away + difference;
            }
        }
        PressurePoint { pressure: density * rt * share, slope: rt * (share + slope * PER_DENSITY * density) }
    }
}

/// Nitrogen at one pressure.
#[derive(Clone, Copy, Debug)]
pub(crate) struct GasState {
    pub absolute: Pressure,
    pub density: Density,
    /// ∂ρ/∂P in kg/(m³ Pa).
    pub slope: f64,
    /// ∂²ρ/∂P², as far as it is known.
    bend: f64,
}

/// Coefficients of the powers of δ, in L polynomials side by side: as they are, times d, and
/// times d².
#[derive(Clone, Debug)]
struct Weighted<const L: usize>([[[f64; L]; 3]; DEGREE + 1]);

impl<const L: usize> Weighted<L> {
    const ZERO: Self = Self([[[0.0; L]; 3]; DEGREE + 1]);

    fn add(&mut self, d: usize, lane: usize, coefficient: f64) {
        for (power, row) in (0..).zip(&mut self.0[d]) {
            row[lane] += coefficient * real(d).powi(power);
        }
    }

    /// Horner's scheme, all polynomials side by side.
    fn at(&self, delta: f64) -> [[f64; L]; 3] {
        let mut sums = [[0.0; L]; 3];
        for rows in self.0.iter().rev() {
            for (sums, row) in sums.iter_mut().zip(rows) {
                for (sum, coefficient) in sums.iter_mut().zip(row) {
                    *sum = *sum * delta + coefficient;
                }
            }
        }
        sums
    }
}

/// Pressure and its slope over density, at one density.
#[derive(Clone, Copy, Debug)]
struct PressurePoint {
    pressure: f64,
    slope: f64,
}

/// Where the pressure over density meets a wanted one, with its first and second derivative.
#[derive(Clone, Copy, Debug)]
struct Root {
    density: f64,
    slope: f64,
    bend: f64,
}

thread_local! {
    static ISOTHERMS: RefCell<Recent<(GasModel, u64), Rc<Isotherm>>> = const { RefCell::new(Recent::new()) };
    static PRECHARGES: RefCell<Recent<(GasModel, u64), Density>> = const { RefCell::new(Recent::new()) };
    /// By R T and the absolute pressure; real gas.
    static STATES: RefCell<Recent<(u64, u64), GasState>> = const { RefCell::new(Recent::new()) };
    /// By R T and the density; real gas.
    static PRESSURES: RefCell<Recent<(u64, u64), Pressure>> = const { RefCell::new(Recent::new()) };
}

/// Density of nitrogen at a precharge, gauge at 20 °C.
pub(crate) fn precharge_density(model: GasModel, precharge: Pressure) -> Density {
    PRECHARGES.with_borrow_mut(|kept| {
        kept.get_or_make((model, precharge.si().to_bits()), || {
            Isotherm::at_precharge(model).density(precharge.absolute())
        })
    })
}

pub static NITROGEN_PRESSURE: Formula = Formula {
    function: "Isotherm::pressure",
    figure: "Pressure of nitrogen",
    unit: "Pa",
    formula: "P = ρ R T (1 + δ ∂α/∂δ), α the residual Helmholtz energy over R T, δ = ρ/ρ_c",
    symbols: "P absolute; ρ density, up to 1100 kg/m³; T temperature; R gas constant; ρ_c density at the critical point. 36 terms",
    validity: "63.151 K to 1000 K, up to 2200 MPa",
    source: "Span, Lemmon, Jacobsen, Wagner, Yokozeki: A Reference Equation of State for the Thermodynamic Properties of Nitrogen, J. Phys. Chem. Ref. Data 29 (2000), 1361–1433, table of coefficients and equation for p(δ, τ)",
};

pub static NITROGEN_DENSITY: Formula = Formula {
    function: "Isotherm::density",
    figure: "Density of nitrogen",
    unit: "kg/m³",
    formula: "the root ρ of P(ρ, T) = P; for the ideal gas ρ = P/(R T)",
    symbols: "P absolute pressure; T temperature",
    validity: "63.151 K to 1000 K, up to 2200 MPa, a slow change, so that the gas has the temperature of its surroundings. Its authors state 0.02 % in density from 240 K to 523 K below 30 MPa (quoted from memory). Checked here from 1 to 700 bar and −20 to 80 °C",
    source: "Span, Lemmon, Jacobsen, Wagner, Yokozeki: A Reference Equation of State for the Thermodynamic Properties of Nitrogen, J. Phys. Chem. Ref. Data 29 (2000), 1361–1433, table of coefficients and equation for p(δ, τ)",
};

impl Isotherm {
    /// Nitrogen at a temperature. Beyond 63.151 K to 1000 K, where the equation says nothing,
    /// the nearer end stands in for the real gas; for the ideal one 1 K does below it.
    #[must_use]
    pub fn new(model: GasModel, temperature: Temperature) -> Self {
        let kelvin = match model {
            GasModel::Real => temperature.si().clamp(LOWEST_TEMPERATURE, HIGHEST_TEMPERATURE),
            GasModel::Ideal => temperature.si().max(1.0),
        };
        let mut isotherm = Self {
            model,
            rt: SPECIFIC_GAS_CONSTANT * kelvin,
            plain: Weighted::ZERO,
            decaying: Weighted::ZERO,
            gaussian: [(0.0, 1, 1.0); 4],
            near_critical: false,
            stretches: [const { OnceLock::new() }; STRETCHES],
        };
        if model == GasModel::Real {
            isotherm.collapse(REDUCING_TEMPERATURE / kelvin);
        }
        isotherm
    }

    /// Nitrogen at the temperature of a precharge, made once.
    #[must_use]
    pub fn at_precharge(model: GasModel) -> &'static Self {
        static REAL: OnceLock<Isotherm> = OnceLock::new();
        static IDEAL: OnceLock<Isotherm> = OnceLock::new();
        let kept = match model {
            GasModel::Real => &REAL,
            GasModel::Ideal => &IDEAL,
        };
        kept.get_or_init(|| Self::new(model, PRECHARGE_TEMPERATURE))
    }

    /// [`Isotherm::new`], kept by each thread for the few temperatures of a plant.
    pub(crate) fn kept(model: GasModel, temperature: Temperature) -> Rc<Self> {
        ISOTHERMS.with_borrow_mut(|kept| {
            kept.get_or_make((model, temperature.si().to_bits()), || Rc::new(Self::new(model, temperature)))
        })
    }

    fn collapse(&mut self, tau: f64) {
        for (n, d, t, l) in POWER {
            let coefficient = n * tau.powf(t);
            match l {
                0 => self.plain.add(d, 0, coefficient),
                _ => self.decaying.add(d, l - 1, coefficient),
            }
        }
        for (slot, (n, d, t, eta, beta, gamma)) in self.gaussian.iter_mut().zip(GAUSSIAN) {
            let distance = tau - gamma;
            let coefficient = n * tau.powf(t) * (-beta * distance * distance).exp();
            *slot = (coefficient, d, eta);
            self.near_critical |= coefficient.abs() > 1e-30;
        }
    }

    /// Absolute pressure of nitrogen of a density.
    ///
    /// Formula, validity and source: [`NITROGEN_PRESSURE`].
    ///
    /// * `density` – 0 to 1100 kg/m³
    ///
    /// By hand: so thin a gas is ideal, 0.001 kg/m³ × 296.803 J/(kg K) × 300 K = 89.04 Pa.
    /// ```
    /// use clampbook::physics::{nitrogen::{GasModel, Isotherm}, quantity::{Density, Temperature}};
    /// let gas = Isotherm::new(GasModel::Real, Temperature::new(300.0));
    /// assert!((gas.pressure(Density::new(0.001)).si() - 89.04).abs() < 0.005);
    /// ```
    #[must_use]
    pub fn pressure(&self, density: Density) -> Pressure {
        Pressure::new(self.exact_point(density.si()).pressure)
    }

    /// Density of nitrogen at an absolute pressure.
    ///
    /// Formula, validity and source: [`NITROGEN_DENSITY`].
    ///
    /// * `absolute` – 0 to 2200 MPa; below 0 counts as 0
    ///
    /// By hand: at 1 atm and 0 °C a mole fills 22.4 L, so 28.013 g/22.4 L = 1.2506 kg/m³.
    /// ```
    /// use clampbook::physics::nitrogen::{GasModel, Isotherm};
    /// use clampbook::physics::quantity::{ATMOSPHERE, Temperature};
    /// let gas = Isotherm::new(GasModel::Real, Temperature::from_celsius(0.0));
    /// assert!((gas.density(ATMOSPHERE).si() - 1.2506).abs() < 5e-4);
    /// ```
    #[must_use]
    pub fn density(&self, absolute: Pressure) -> Density {
        self.state(absolute, None).density
    }

    /// [`Isotherm::pressure`], kept by each thread for the few precharges of a plant.
    pub(crate) fn kept_pressure(&self, density: Density) -> Pressure {
        if self.model == GasModel::Ideal {
            return self.pressure(density);
        }
        let key = (self.rt.to_bits(), density.si().to_bits());
        PRESSURES.with_borrow_mut(|kept| kept.get_or_make(key, || self.pressure(density)))
    }

    /// Density and its slope over pressure, faster where a state close by is at hand or the same
    /// pressure was asked for before.
    pub(crate) fn state(&self, absolute: Pressure, close: Option<GasState>) -> GasState {
        let target = absolute.si();
        if self.model == GasModel::Ideal || target.is_nan() || target <= 0.0 {
            let density = Density::new((target / self.rt).max(0.0));
            return GasState { absolute, density, slope: 1.0 / self.rt, bend: 0.0 };
        }
        if close.is_some() {
            return self.solved(absolute, close);
        }
        let key = (self.rt.to_bits(), target.to_bits());
        STATES.with_borrow_mut(|kept| kept.get_or_make(key, || self.solved(absolute, None)))
    }

    fn solved(&self, absolute: Pressure, close: Option<GasState>) -> GasState {
        let target = absolute.si();
        let ideal = target / self.rt;
        // The co-volume keeps the first step below the real density at high pressure.
        let guess = ideal / (1.0 + ideal / 1200.0);
        let start = close.map_or(guess, |close| {
            let rise = (absolute - close.absolute).si();
            let near = close.density.si() + close.slope * rise;
            let curved = near + 0.5 * close.bend * rise * rise;
            if curved > 0.0 && (curved - near).abs() < 0.1 * near { curved } else { guess }
        });
        let most = DENSEST * REDUCING_DENSITY;
        let root = self.solve(target, start.min(most), most);
        let slope = 1.0 / root.slope;
        GasState { absolute, density: Density::new(root.density), slope, bend: -root.bend * slope * slope * slope }
    }

    /// Newton's method on P(ρ) = target, kept inside a bracket that shrinks. Two points give how
    /// ∂P/∂ρ bends, and with it what the last step is short of.
    fn solve(&self, target: f64, start: f64, most: f64) -> Root {
        let (mut low, mut high) = (0.0, most);
        let mut density = start;
        let mut before: Option<(f64, f64)> = None;
        for _ in 0..200 {
            let PressurePoint { pressure, slope } = self.point(density);
            let excess = pressure - target;
            if excess > 0.0 {
                high = density;
            } else {
                low = density;
            }
            let step = -excess / slope;
            let last = before.map_or(f64::INFINITY, |(before, _)| (density - before).abs());
            let bend = before
                .filter(|_| last > 1e-9 * density)
                .map_or(0.0, |(before, its_slope)| (slope - its_slope) / (density - before));
            let is_close = step.abs() <= 1e-10 * density || step.abs() * last <= 1e-10 * density * density;
            // What is left is the product of the last steps, for the slope, and smaller for the density.
            if slope > 0.0 && is_close {
                let step = step * (1.0 - 0.5 * bend * step / slope);
                return Root { density: density + step, slope: slope + bend * step, bend };
            }
            let newton = density + step;
            let next = if slope > 0.0 && newton > low && newton < high { newton } else { f64::midpoint(low, high) };
            if high - low <= 1e-15 * high {
                return Root { density: next, slope, bend };
            }
            before = Some((density, slope));
            density = next;
        }
        Root { density, slope: self.point(density).slope, bend: 0.0 }
    }

    fn point(&self, density: f64) -> PressurePoint {
        // Near the critical temperature the Gaussian terms are too narrow for a stretch.
        if self.model == GasModel::Ideal || self.near_critical {
            return self.exact_point(density);
        }
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "below 0 is 0")]
        let index = (density / STRETCH) as usize;
        match self.stretches.get(index) {
            Some(stretch) => stretch.get_or_init(|| Stretch::of(self, index)).point(self.rt, density),
            None => self.exact_point(density),
        }
    }

    fn exact_point(&self, density: f64) -> PressurePoint {
        if self.model == GasModel::Ideal {
            return PressurePoint { pressure: density * self.rt, slope: self.rt };
        }
        let delta = density / REDUCING_DENSITY;
        // δ ∂α/∂δ and δ times its own slope.
        let [_, [mut first], [mut second]] = self.plain.at(delta);
        let [sums, once, twice] = self.decaying.at(delta);
        let mut power = 1.0;
        for l in 1..=4 {
            power *= delta;
            let (sum, once, twice) = (sums[l - 1], once[l - 1], twice[l - 1]);
            let drop = real(l) * power;
            let decay = (-power).exp();
            first += decay * (once - drop * sum);
            second += decay * (twice - drop * (2.0 * once + (real(l) - drop) * sum));
        }
        if self.near_critical {
            let distance = delta - 1.0;
            for (coefficient, d, eta) in self.gaussian {
                let bell = coefficient * delta.powi(d) * (-eta * distance * distance).exp();
                let factor = f64::from(d) - 2.0 * eta * delta * distance;
                first += bell * factor;
                second += bell * (factor * factor - 2.0 * eta * delta * (2.0 * delta - 1.0));
            }
        }
        PressurePoint { pressure: density * self.rt * (1.0 + first), slope: self.rt * (1.0 + first + second) }
    }
}

/// A small power as a factor.
#[allow(clippy::cast_precision_loss)]
const fn real(power: usize) -> f64 {
    power as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slope_is_that_of_the_pressure() {
        for kelvin in [140.0, 253.15, 293.15, 353.15] {
            let gas = Isotherm::new(GasModel::Real, Temperature::new(kelvin));
            for density in [1.0, 50.0, 300.0, 550.0] {
                let step = density * 1e-5;
                let up = gas.point(density + step).pressure;
                let down = gas.point(density - step).pressure;
                let slope = gas.point(density).slope;
                assert!(((up - down) / (2.0 * step) / slope - 1.0).abs() < 1e-6);
            }
        }
    }

    /// From stretch to stretch and within each of them.
    #[test]
    fn polynomials_are_the_equation_of_state() {
        for celsius in [-40.0, -10.0, 20.0, 45.0, 80.0] {
            let gas = Isotherm::new(GasModel::Real, Temperature::from_celsius(celsius));
            assert!(!gas.near_critical);
            let mut density = 1e-3;
            while density < 1.1 * STRETCH * real(STRETCHES) {
                let (found, exact) = (gas.point(density), gas.exact_point(density));
                let off = |found: f64, exact: f64| (found / exact - 1.0).abs();
                assert!(off(found.pressure, exact.pressure) < 2e-15, "{celsius} °C, {density}: {found:?} {exact:?}");
                assert!(off(found.slope, exact.slope) < 1e-13, "{celsius} °C, {density}: {found:?} {exact:?}");
                density += 0.37;
            }
        }
    }

    #[test]
    fn density_and_pressure_lead_back_to_each_other() {
        for celsius in [-20.0, 0.0, 20.0, 80.0] {
            let gas = Isotherm::new(GasModel::Real, Temperature::from_celsius(celsius));
            for bar in [1e-6, 0.1, 1.0, 35.0, 180.0, 350.0, 700.0, 3000.0] {
                let density = gas.density(Pressure::from_bar(bar));
                let back = gas.pressure(density).bar();
                assert!((back / bar - 1.0).abs() < 1e-13, "{bar} bar, {celsius} °C: {back}");
            }
        }
    }

    #[test]
    fn density_is_finite_far_outside_the_range() {
        for kelvin in [-10.0, 0.0, 20.0, 77.0, 120.0, 126.192, 300.0, 5000.0, 1e300] {
            for model in [GasModel::Real, GasModel::Ideal] {
                let gas = Isotherm::new(model, Temperature::new(kelvin));
                for pa in [-1e9, 0.0, 1e-300, 1.0, 1e5, 1e9, 1e15, 1e200] {
                    let density = gas.density(Pressure::new(pa));
                    assert!(density.is_finite() && density.si() >= 0.0, "{kelvin} {pa}");
                }
            }
        }
    }
}
