//! The units that people write, each with its exact factor to SI.
//!
//! A factor is a fraction of two whole numbers, so that 5 mm is the very number 0.005 and
//! what stands exactly at a limit stays there. Definitions: in = 0.0254 m, lb = 0.453 592 37
//! kg, standard gravity 9.806 65 m/s², US gallon = 231 in³ (NIST SP 811, appendix B).

/// What a unit measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Dimension {
    Length,
    Area,
    Volume,
    Pressure,
    Force,
    Temperature,
    Time,
    Flow,
    Stiffness,
    Expansion,
}

impl Dimension {
    /// The word for it in a sentence.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Length => "length",
            Self::Area => "area",
            Self::Volume => "volume",
            Self::Pressure => "pressure",
            Self::Force => "force",
            Self::Temperature => "temperature",
            Self::Time => "time",
            Self::Flow => "flow",
            Self::Stiffness => "stiffness",
            Self::Expansion => "volume per length",
        }
    }
}

/// The units that a reader is used to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum UnitSystem {
    #[default]
    Metric,
    Us,
}

/// Where a quantity has a customary unit of its own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum UnitUse {
    #[default]
    Usual,
    /// A leak is a flow, far smaller than that of a pump.
    Leak,
}

/// A unit: SI = (number × numerator + offset) / denominator.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// As written in headers and in the policy, in ASCII: `mm2`.
    pub symbol: &'static str,
    /// As shown to a reader: `mm²`.
    pub name: &'static str,
    pub dimension: Dimension,
    numerator: f64,
    denominator: f64,
    offset: f64,
}

macro_rules! units {
    ($($id:ident, $symbol:literal, $name:literal, $dimension:ident, $num:expr, $den:expr, $offset:expr;)+) => {
        $(
            #[doc = concat!("The unit ", $name, ".")]
            pub static $id: Unit = Unit {
                symbol: $symbol,
                name: $name,
                dimension: Dimension::$dimension,
                numerator: $num,
                denominator: $den,
                offset: $offset,
            };
        )+

        /// Every known unit.
        pub static UNITS: &[&Unit] = &[$(&$id),+];
    };
}

/// lbf in units of 1e-13 N: 0.453 592 37 × 9.806 65.
const LBF_E13: f64 = 44_482_216_152_605.0;
/// in³ in units of 1e-12 m³.
const IN3_E12: f64 = 16_387_064.0;
/// US gallon in units of 1e-12 m³.
const GAL_E12: f64 = 3_785_411_784.0;

units! {
    MM, "mm", "mm", Length, 1.0, 1e3, 0.0;
    CM, "cm", "cm", Length, 1.0, 1e2, 0.0;
    M, "m", "m", Length, 1.0, 1.0, 0.0;
    IN, "in", "in", Length, 254.0, 1e4, 0.0;
    FT, "ft", "ft", Length, 3048.0, 1e4, 0.0;
    MM2, "mm2", "mm²", Area, 1.0, 1e6, 0.0;
    CM2, "cm2", "cm²", Area, 1.0, 1e4, 0.0;
    IN2, "in2", "in²", Area, 64_516.0, 1e8, 0.0;
    MM3, "mm3", "mm³", Volume, 1.0, 1e9, 0.0;
    CM3, "cm3", "cm³", Volume, 1.0, 1e6, 0.0;
    ML, "mL", "mL", Volume, 1.0, 1e6, 0.0;
    L, "L", "L", Volume, 1.0, 1e3, 0.0;
    IN3, "in3", "in³", Volume, IN3_E12, 1e12, 0.0;
    GAL, "gal", "gal", Volume, GAL_E12, 1e12, 0.0;
    PA, "Pa", "Pa", Pressure, 1.0, 1.0, 0.0;
    KPA, "kPa", "kPa", Pressure, 1e3, 1.0, 0.0;
    MPA, "MPa", "MPa", Pressure, 1e6, 1.0, 0.0;
    GPA, "GPa", "GPa", Pressure, 1e9, 1.0, 0.0;
    N_PER_MM2, "N/mm2", "N/mm²", Pressure, 1e6, 1.0, 0.0;
    BAR, "bar", "bar", Pressure, 1e5, 1.0, 0.0;
    PSI, "psi", "psi", Pressure, LBF_E13, 1e5 * 64_516.0, 0.0;
    N, "N", "N", Force, 1.0, 1.0, 0.0;
    KN, "kN", "kN", Force, 1e3, 1.0, 0.0;
    LBF, "lbf", "lbf", Force, LBF_E13, 1e13, 0.0;
    DEG_C, "degC", "°C", Temperature, 100.0, 100.0, 27_315.0;
    DEG_F, "degF", "°F", Temperature, 500.0, 900.0, 229_835.0;
    K, "K", "K", Temperature, 1.0, 1.0, 0.0;
    S, "s", "s", Time, 1.0, 1.0, 0.0;
    MIN, "min", "min", Time, 60.0, 1.0, 0.0;
    H, "h", "h", Time, 3600.0, 1.0, 0.0;
    L_PER_MIN, "L/min", "L/min", Flow, 1.0, 6e4, 0.0;
    ML_PER_MIN, "mL/min", "mL/min", Flow, 1.0, 6e7, 0.0;
    CM3_PER_MIN, "cm3/min", "cm³/min", Flow, 1.0, 6e7, 0.0;
    CM3_PER_H, "cm3/h", "cm³/h", Flow, 1.0, 3.6e9, 0.0;
    GAL_PER_MIN, "gal/min", "gal/min", Flow, GAL_E12, 6e13, 0.0;
    IN3_PER_MIN, "in3/min", "in³/min", Flow, IN3_E12, 6e13, 0.0;
    IN3_PER_H, "in3/h", "in³/h", Flow, IN3_E12, 3.6e15, 0.0;
    N_PER_MM, "N/mm", "N/mm", Stiffness, 1e3, 1.0, 0.0;
    KN_PER_MM, "kN/mm", "kN/mm", Stiffness, 1e6, 1.0, 0.0;
    LBF_PER_IN, "lbf/in", "lbf/in", Stiffness, LBF_E13, 254e9, 0.0;
    CM3_PER_M, "cm3/m", "cm³/m", Expansion, 1.0, 1e6, 0.0;
    IN3_PER_FT, "in3/ft", "in³/ft", Expansion, 64_516.0, 12e8, 0.0;
}

impl Unit {
    /// The unit that a text names, if there is one.
    ///
    /// Blanks, `^` and the way a power or a degree is written don't count: `in³`, `in^3` and
    /// `IN 3` are `in3`. Case counts only where it decides: `mPa` is no unit here and never
    /// the million times larger `MPa`.
    ///
    /// ```
    /// use clampbook::physics::unit::Unit;
    /// assert_eq!(Unit::find("mm²").map(|unit| unit.symbol), Some("mm2"));
    /// assert_eq!(Unit::find("PSI").map(|unit| unit.symbol), Some("psi"));
    /// assert_eq!(Unit::find("mPa"), None);
    /// ```
    #[must_use]
    pub fn find(text: &str) -> Option<&'static Unit> {
        let plain = plain_symbol(text);
        if let Some(unit) = UNITS.iter().find(|unit| unit.symbol == plain) {
            return Some(unit);
        }
        let mut close = UNITS
            .iter()
            .filter(|unit| unit.symbol.eq_ignore_ascii_case(&plain) && !changes_prefix(&plain, unit.symbol));
        match (close.next(), close.next()) {
            (Some(unit), None) => Some(unit),
            _ => None,
        }
    }

    /// A number of this unit in SI.
    ///
    /// ```
    /// use clampbook::physics::unit;
    /// assert_eq!(unit::MM.to_si(5.0), 0.005);
    /// assert_eq!(unit::DEG_F.to_si(68.0), 293.15);
    /// ```
    #[must_use]
    pub fn to_si(&self, value: f64) -> f64 {
        if self.offset != 0.0 {
            return (value * self.numerator + self.offset) / self.denominator;
        }
        scaled(value, self.numerator, self.denominator)
    }

    /// The number of this unit for a number in SI.
    #[must_use]
    pub fn from_si(&self, si: f64) -> f64 {
        if self.offset != 0.0 {
            return (si * self.denominator - self.offset) / self.numerator;
        }
        scaled(si, self.denominator, self.numerator)
    }

    /// The unit where neither a header nor a cell gives one, and the unit of the output.
    #[must_use]
    pub fn default_for(dimension: Dimension, system: UnitSystem, usage: UnitUse) -> &'static Unit {
        let metric = system == UnitSystem::Metric;
        let leak = usage == UnitUse::Leak;
        match dimension {
            Dimension::Length if metric => &MM,
            Dimension::Length => &IN,
            Dimension::Area if metric => &MM2,
            Dimension::Area => &IN2,
            Dimension::Volume if metric => &CM3,
            Dimension::Volume => &IN3,
            Dimension::Pressure if metric => &BAR,
            Dimension::Pressure => &PSI,
            Dimension::Force if metric => &N,
            Dimension::Force => &LBF,
            Dimension::Temperature if metric => &DEG_C,
            Dimension::Temperature => &DEG_F,
            Dimension::Time => &MIN,
            Dimension::Flow if metric && leak => &CM3_PER_MIN,
            Dimension::Flow if metric => &L_PER_MIN,
            Dimension::Flow if leak => &IN3_PER_MIN,
            Dimension::Flow => &GAL_PER_MIN,
            Dimension::Stiffness if metric => &N_PER_MM,
            Dimension::Stiffness => &LBF_PER_IN,
            Dimension::Expansion if metric => &CM3_PER_M,
            Dimension::Expansion => &IN3_PER_FT,
        }
    }
}

/// `value × up / down`, rounded once instead of twice.
fn scaled(value: f64, up: f64, down: f64) -> f64 {
    let product = value * up;
    if !product.is_finite() {
        return product / down;
    }
    let product_error = value.mul_add(up, -product);
    let quotient = product / down;
    let rest = (-quotient).mul_add(down, product) + product_error;
    let corrected = quotient + rest / down;
    if corrected.is_finite() { corrected } else { quotient }
}

/// The text in the way that the symbols are written: no blanks, powers as digits.
fn plain_symbol(text: &str) -> String {
    let mut plain = String::with_capacity(text.len() + 2);
    for letter in text.chars() {
        match letter {
            '²' => plain.push('2'),
            '³' => plain.push('3'),
            '°' | 'º' | '˚' => plain.push_str("deg"),
            '℃' => plain.push_str("degC"),
            '℉' => plain.push_str("degF"),
            '∕' | '⁄' => plain.push('/'),
            '\u{212a}' => plain.push('K'),
            '^' => {}
            blank if blank.is_whitespace() || blank == '\u{feff}' || blank == '\u{200b}' => {}
            other => plain.push(other),
        }
    }
    plain
}

/// Whether text in mixed case swaps milli and mega: `mPa` for MPa, `Mm` for mm. Text all in
/// one case (`MM`, `mpa`) says nothing about the prefix.
fn changes_prefix(text: &str, symbol: &str) -> bool {
    let mixed = text.chars().any(char::is_uppercase) && text.chars().any(char::is_lowercase);
    let prefixed = ["mm", "mL", "MPa"].iter().any(|start| symbol.starts_with(start));
    mixed && prefixed && text.chars().next() != symbol.chars().next()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_symbol_and_name_finds_its_own_unit() {
        for unit in UNITS {
            assert_eq!(Unit::find(unit.symbol), Some(*unit));
            assert_eq!(Unit::find(unit.name), Some(*unit));
            assert_eq!(Unit::find(&format!(" {} ", unit.name)), Some(*unit));
        }
    }

    #[test]
    fn case_is_forgiven_where_it_decides_nothing() {
        for (text, symbol) in [
            ("MM", "mm"),
            ("Bar", "bar"),
            ("PSI", "psi"),
            ("l/min", "L/min"),
            ("ml", "mL"),
            ("mpa", "MPa"),
            ("Mpa", "MPa"),
            ("KN", "kN"),
            ("° C", "degC"),
            ("°f", "degF"),
            ("in ^3", "in3"),
            ("N / mm²", "N/mm2"),
            ("CM3/Min", "cm3/min"),
            ("Min", "min"),
        ] {
            assert_eq!(Unit::find(text).map(|unit| unit.symbol), Some(symbol), "{text}");
        }
        for text in ["mPa", "Mm", "Ml", "furlong", "", "internal", "2", "mm4"] {
            assert_eq!(Unit::find(text), None, "{text}");
        }
    }

    #[test]
    fn decimal_numbers_arrive_as_the_nearest_number() {
        for thousandths in 1..20_000_u32 {
            let value = f64::from(thousandths);
            assert_eq!(MM.to_si(value).to_bits(), (value / 1000.0).to_bits());
            for unit in [&MM, &PSI, &IN3, &GAL_PER_MIN] {
                let back = unit.from_si(unit.to_si(value));
                assert!((back - value).abs() <= value * f64::EPSILON, "{value} {}", unit.name);
            }
        }
        assert_eq!(DEG_C.to_si(20.0).to_bits(), 293.15_f64.to_bits());
        assert_eq!(DEG_F.from_si(DEG_F.to_si(68.0)).to_bits(), 68.0_f64.to_bits());
    }

    #[test]
    fn an_absurd_number_stays_a_number() {
        for unit in UNITS {
            for value in [0.0, -0.0, 1e-300, 1e290, -1e290] {
                assert!(!unit.to_si(value).is_nan(), "{value} {}", unit.symbol);
                assert!(!unit.from_si(value).is_nan(), "{value} {}", unit.symbol);
            }
        }
    }
}
