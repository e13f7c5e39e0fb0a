//! Draws at random that are the same in every run, and what many of them show.

use crate::physics::formula::Formula;

/// A row of pseudo-random numbers that its seed fixes.
#[derive(Clone, Debug)]
pub struct Draws {
    state: u64,
    /// Deviates come in pairs.
    spare: Option<f64>,
}

pub static DRAW_BITS: Formula = Formula {
    function: "Draws::bits",
    figure: "Numbers drawn",
    unit: "1",
    formula: "z = state + 0x9e3779b97f4a7c15, then three rounds of shift, exclusive or and multiplication",
    symbols: "state fixed by names and data of the circuits, so that each run draws the same",
    validity: "64 bits, all values equally likely",
    source: "Steele, Lea, Flood, Fast splittable pseudorandom number generators, OOPSLA 2014, figure 17",
};

pub static DEVIATE: Formula = Formula {
    function: "Draws::deviate",
    figure: "Normal deviates drawn",
    unit: "1",
    formula: "z₁ = √(−2 ln r₁) cos 2π r₂, z₂ = √(−2 ln r₁) sin 2π r₂",
    symbols: "r numbers drawn, above 0 and up to 1",
    validity: "r independent of each other",
    source: "Box and Muller, as in JCGM 101:2008, C.4",
};

impl Draws {
    /// The row of a seed.
    #[must_use]
    pub const fn of(seed: u64) -> Self {
        Self { state: seed, spare: None }
    }

    /// The next 64 bits, all values equally likely.
    ///
    /// Formula, validity and source: [`DRAW_BITS`].
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut bits = self.state;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        bits ^ (bits >> 31)
    }

    /// Above 0 and up to 1.
    #[allow(clippy::cast_precision_loss, reason = "53 bits are held exactly")]
    fn uniform(&mut self) -> f64 {
        ((self.bits() >> 11) + 1) as f64 / 9_007_199_254_740_992.0
    }

    /// A deviate of the standard normal distribution.
    ///
    /// Formula, validity and source: [`DEVIATE`].
    pub fn deviate(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * libm::log(self.uniform())).sqrt();
        let angle = std::f64::consts::TAU * self.uniform();
        self.spare = Some(radius * libm::sin(angle));
        radius * libm::cos(angle)
    }
}

/// Mean and standard deviation of what came so far.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sample {
    /// Of those that have a value.
    count: u32,
    mean: f64,
    squares: f64,
    draws: u32,
    kept: u32,
}

pub static SAMPLE_DEVIATION: Formula = Formula {
    function: "Sample::standard_deviation",
    figure: "Uncertainty by draws",
    unit: "of the figure",
    formula: "u = √(Σ (y_r − ȳ)²/(M − 1))",
    symbols: "y_r the distance from the limit in each of M draws; it counts where it is more than the propagated one",
    validity: "many draws",
    source: "JCGM 101:2008, 7.6, equation (17)",
};

pub static SHARE_WITHIN: Formula = Formula {
    function: "Sample::share_within",
    figure: "Probability by draws",
    unit: "1",
    formula: "the share of the draws that keep the limit",
    symbols: "where draws were made, in the place of Φ(m)",
    validity: "many draws",
    source: "JCGM 106:2012, 7.1: the part of the distribution within the limit",
};

impl Sample {
    /// Takes in a distance from a limit: below 0, or where there is no value, it is missed.
    pub fn add(&mut self, slack: f64) {
        self.draws += 1;
        self.kept += u32::from(slack >= 0.0);
        if slack.is_nan() {
            return;
        }
        self.count += 1;
        let off = slack - self.mean;
        self.mean += off / f64::from(self.count);
        self.squares += off * (slack - self.mean);
    }

    /// Standard deviation of the values so far.
    ///
    /// Formula, validity and source: [`SAMPLE_DEVIATION`].
    #[must_use]
    pub fn standard_deviation(&self) -> f64 {
        if self.count < 2 { 0.0 } else { (self.squares / f64::from(self.count - 1)).sqrt() }
    }

    /// Share of the draws that keep the limit.
    ///
    /// Formula, validity and source: [`SHARE_WITHIN`].
    #[must_use]
    pub fn share_within(&self) -> f64 {
        if self.draws == 0 { 0.0 } else { f64::from(self.kept) / f64::from(self.draws) }
    }
}
