//! How far a figure is uncertain where the data that it is made of are, and how sure it is that it keeps a limit.

use crate::physics::formula::Formula;

/// Standard uncertainties by which a datum is moved to either side, √3.
///
/// Source: Abramowitz and Stegun, Handbook of Mathematical Functions, table 25.10, n = 3: abscissa 1.2247449 times √2,
/// since the deviates of a normal distribution are √2 times those of the table.
pub const REACH: f64 = 1.732_050_807_568_877_2;

pub static CONTRIBUTION: Formula = Formula {
    function: "contribution",
    figure: "What one datum adds to the uncertainty",
    unit: "of the figure",
    formula: "Z_i² = (a² + b²)/6 − ((a + b)/6)², a = g(x_i + √3 u_i) − g(x_i), b = g(x_i − √3 u_i) − g(x_i)",
    symbols: "g distance from a figure to its limit; x_i a datum with the standard uncertainty u_i, moved by itself; \
              Gauss's three points, weights 1/6, 2/3 and 1/6: exact for a straight line, |g′| u_i, and for a parabola",
    validity: "as far as the figure has no kink between the two",
    source: "JCGM 100:2008, 5.1.3, note 2, for differences in the place of derivatives; Abramowitz and Stegun, \
             Handbook of Mathematical Functions, 25.4.46 and table 25.10, for the three points",
};

/// What one datum adds to the uncertainty of a figure, with its sign.
///
/// Formula, validity and source: [`CONTRIBUTION`].
///
/// * `value` – the figure as it is
/// * `above`, `below` – the figure with the datum [`REACH`] standard uncertainties higher and lower, all others as
///   they are
///
/// By hand: y = x² at 3 ± 0.1: Z² = (2 × 3 × 0.1)² + 2 × 0.1⁴ = 0.3602.
/// ```
/// use clampbook::physics::propagation::{REACH, contribution};
/// let at = |deviates: f64| (3.0 + 0.1 * deviates).powi(2);
/// let part = contribution(at(0.0), at(REACH), at(-REACH));
/// assert!((part - 0.3602_f64.sqrt()).abs() < 1e-12);
/// ```
#[must_use]
pub fn contribution(value: f64, above: f64, below: f64) -> f64 {
    let (a, b) = (above - value, below - value);
    let shift = (a + b) / 6.0;
    let variance = (a * a + b * b) / 6.0 - shift * shift;
    // Rounding may leave a hair below 0.
    variance.max(0.0).sqrt().copysign(above - below)
}

pub static CURVATURE: Formula = Formula {
    function: "curvature",
    figure: "What its bend adds",
    unit: "of the figure",
    formula: "√2 |g(x_i + √3 u_i) + g(x_i − √3 u_i) − 2 g(x_i)|/6 ≈ √½ |g″| u_i²",
    symbols: "where it is much of the uncertainty draws at random are made",
    validity: "the term of the second derivative alone, of a datum that is normally distributed",
    source: "JCGM 100:2008, 5.1.2, note: ½ (∂²f/∂x_i²)² u⁴(x_i)",
};

/// What the bend of a figure in one datum adds to its uncertainty, as a standard uncertainty.
///
/// Formula, validity and source: [`CURVATURE`].
///
/// * `value`, `above`, `below` – as for [`contribution`]
///
/// By hand: y = x² at 3 ± 0.1: √½ × 2 × 0.1² = 0.01414.
/// ```
/// use clampbook::physics::propagation::{REACH, curvature};
/// let at = |deviates: f64| (3.0 + 0.1 * deviates).powi(2);
/// assert!((curvature(at(0.0), at(REACH), at(-REACH)) - 0.01414).abs() < 1e-5);
/// ```
#[must_use]
pub fn curvature(value: f64, above: f64, below: f64) -> f64 {
    std::f64::consts::SQRT_2 * (above + below - 2.0 * value).abs() / 6.0
}

pub static COMBINED_UNCERTAINTY: Formula = Formula {
    function: "combined_uncertainty",
    figure: "Uncertainty of a figure",
    unit: "of the figure",
    formula: "u = √(Σ Z_i²)",
    symbols: "one datum that enters a figure in many places is one datum",
    validity: "data that know nothing of each other",
    source: "JCGM 100:2008, 5.1.2, equation (11a)",
};

/// Combined standard uncertainty of a figure.
///
/// Formula, validity and source: [`COMBINED_UNCERTAINTY`].
///
/// * `contributions` – Z_i of each datum; one that enters a figure in many places is one datum
///
/// By hand: contributions of 3 and −4 make 5.
/// ```
/// use clampbook::physics::propagation::combined_uncertainty;
/// assert!((combined_uncertainty([3.0, -4.0]) - 5.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn combined_uncertainty(contributions: impl IntoIterator<Item = f64>) -> f64 {
    let mut combined = Combined::default();
    contributions.into_iter().for_each(|part| combined.add(part));
    combined.uncertainty()
}

/// Contributions to the uncertainty of a figure, as they come.
///
/// Formula, validity and source: [`COMBINED_UNCERTAINTY`].
#[derive(Clone, Copy, Debug, Default)]
pub struct Combined {
    variance: f64,
}

impl Combined {
    /// Adds Z_i of a datum.
    pub fn add(&mut self, contribution: f64) {
        self.variance += contribution * contribution;
    }

    /// √(Σ Z_i²) of those so far.
    #[must_use]
    pub fn uncertainty(self) -> f64 {
        self.variance.sqrt()
    }
}

pub static PROBABILITY_OF_CONFORMITY: Formula = Formula {
    function: "probability_of_conformity",
    figure: "Probability of conformity",
    unit: "1",
    formula: "p = Φ(m)",
    symbols: "Φ distribution of the standard normal deviate",
    validity: "one limit, a normally distributed figure and nothing known of it beforehand",
    source: "JCGM 106:2012, 7.3 (one tolerance limit, normal distribution)",
};

/// Probability that a figure with this distance from its limit keeps it.
///
/// Formula, validity and source: [`PROBABILITY_OF_CONFORMITY`].
///
/// * `slack` – from the figure to the limit, above 0 where it keeps it
/// * `uncertainty` – standard, of the slack; 0 leaves no doubt
///
/// By hand: a figure of 5.47 against at least 5.40, u = 0.05: Φ(1.4) = 0.9192 by the table of Φ.
/// ```
/// use clampbook::physics::propagation::probability_of_conformity;
/// assert!((probability_of_conformity(5.47 - 5.40, 0.05) - 0.9192).abs() < 5e-5);
/// ```
#[must_use]
pub fn probability_of_conformity(slack: f64, uncertainty: f64) -> f64 {
    let margin = margin(slack, uncertainty);
    if margin.is_infinite() {
        return if margin > 0.0 { 1.0 } else { 0.0 };
    }
    0.5 * libm::erfc(-margin * std::f64::consts::FRAC_1_SQRT_2)
}

pub static MARGIN: Formula = Formula {
    function: "margin",
    figure: "Margin of a verdict",
    unit: "1",
    formula: "m = g/u; without bound where u is 0",
    symbols: "of the rule with the least margin",
    validity: "as far as u is that of the figure",
    source: "JCGM 106:2012, 7.3: the argument of Φ there",
};

/// How many standard uncertainties lie between a figure and its limit.
///
/// Formula, validity and source: [`MARGIN`].
///
/// * `slack`, `uncertainty` – as for [`probability_of_conformity`]
///
/// By hand: 3 from the limit with u = 2 are 1.5.
/// ```
/// use clampbook::physics::propagation::margin;
/// assert!((margin(3.0, 2.0) - 1.5).abs() < 1e-12);
/// assert!(margin(0.0, 0.0).is_infinite());
/// ```
#[must_use]
pub fn margin(slack: f64, uncertainty: f64) -> f64 {
    if uncertainty > 0.0 {
        slack / uncertainty
    } else if slack < 0.0 {
        f64::NEG_INFINITY
    } else {
        f64::INFINITY
    }
}
