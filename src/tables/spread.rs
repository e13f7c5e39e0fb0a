//! How far data are known: standard uncertainties by kind of datum, and those that a table states itself.

use super::number_key::{NumberKey, number_keys};
use super::words::words;

/// What the number of a kind of datum says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Nature {
    /// A share of the datum.
    Share,
    /// Kelvin.
    Kelvin,
    /// A factor, above and below.
    Factor,
}

macro_rules! spreads {
    ($($kind:ident = $key:literal, $default:literal, $nature:ident, $most:literal, $meaning:literal;)+) => {
        words! {
            /// A kind of datum that is known to within a spread.
            SpreadKind { $($kind = $key,)+ }
        }

        /// The spread of each kind of datum, one standard uncertainty.
        #[derive(Clone, Copy, Debug, PartialEq)]
        pub struct Spread([f64; SpreadKind::ALL.len()]);

        impl Default for Spread {
            fn default() -> Self {
                Self([$($default),+])
            }
        }

        impl SpreadKind {
            /// What its number says.
            #[must_use]
            pub const fn nature(self) -> Nature {
                match self { $(Self::$kind => Nature::$nature,)+ }
            }
        }

        /// The numbers of `[spread]`, in the order of the policy file.
        pub static SPREADS: &[NumberKey<Spread>] = number_keys! { $(
            $key,
            match Nature::$nature { Nature::Factor => 1.0, Nature::Share | Nature::Kelvin => 0.0 },
            $most,
            $meaning,
            "a choice of this policy",
            |spread| spread.0[SpreadKind::$kind as usize],
            |spread, value| spread.0[SpreadKind::$kind as usize] = value;
        )+ };
    };
}

spreads! {
    BulkModulus = "bulk_modulus", 0.05, Share, 0.45, "Standard uncertainty of bulk_modulus and bulk_modulus_high of a fluid, a share of it";
    FreeAir = "free_air", 0.3, Share, 0.45, "Standard uncertainty of free_air and free_air_low, a share of it";
    ThermalExpansion = "thermal_expansion", 0.05, Share, 0.45, "Standard uncertainty of thermal_expansion of a fluid, a share of it";
    Viscosity = "viscosity", 0.05, Share, 0.45, "Standard uncertainty of viscosity_40, viscosity_100 and leak_viscosity, which are data apart, a share of it";
    Density = "density", 0.01, Share, 0.45, "Standard uncertainty of density, a share of it";
    SpecificHeat = "specific_heat", 0.05, Share, 0.45, "Standard uncertainty of specific_heat, a share of it";
    MetalExpansion = "metal_expansion", 0.05, Share, 0.45, "Standard uncertainty of the expansions of fixture and clamped part, a share of it";
    Temperature = "temperature", 1.0, Kelvin, 50.0, "Standard uncertainty of temp_charge, temp_min and temp_max, K";
    PumpSetting = "pump_setting", 0.02, Share, 0.45, "Standard uncertainty of pump_setting and air_pressure, and of the pressure reached where a circuit names no station, a share of it";
    ValveSetting = "valve_setting", 0.03, Share, 0.45, "Standard uncertainty of settings of relief, reducing and sequence valves, a share of it";
    Reseat = "reseat", 0.03, Share, 0.45, "Standard uncertainty of relief_reseat, a share of it";
    Ratio = "ratio", 0.02, Share, 0.45, "Standard uncertainty of a pressure ratio or air_ratio as stated, a share of it";
    ReturnLoss = "return_loss", 0.1, Share, 0.45, "Standard uncertainty of return_loss, a share of it";
    Precharge = "precharge", 0.05, Share, 0.45, "Standard uncertainty of the precharge of an accumulator, a share of it";
    GasVolume = "gas_volume", 0.02, Share, 0.45, "Standard uncertainty of gas_volume, a share of it";
    Capacity = "capacity", 0.02, Share, 0.45, "Standard uncertainty of capacity, a share of it";
    Area = "area", 0.01, Share, 0.45, "Standard uncertainty of piston areas, a share of it";
    Stroke = "stroke", 0.01, Share, 0.45, "Standard uncertainty of strokes, a share of it";
    Volume = "volume", 0.02, Share, 0.45, "Standard uncertainty of swept volumes as stated, a share of it";
    DeadVolume = "dead_volume", 0.1, Share, 0.45, "Standard uncertainty of dead_volume, a share of it";
    Length = "length", 0.02, Share, 0.45, "Standard uncertainty of lengths of tubes, hoses, arms and clamped parts, a share of it";
    Diameter = "diameter", 0.01, Share, 0.45, "Standard uncertainty of diameters of tubes and hoses, a share of it";
    ElasticModulus = "elastic_modulus", 0.03, Share, 0.45, "Standard uncertainty of elastic_modulus of a tube, a share of it";
    HoseExpansion = "hose_expansion", 0.15, Share, 0.45, "Standard uncertainty of expansion of a hose, a share of it";
    Stiffness = "stiffness", 0.1, Share, 0.45, "Standard uncertainty of stiffness of a clamp, a share of it";
    Leak = "leak", 1.5, Factor, 10.0, "Standard uncertainty of leak, a factor: as likely that much more as that much less";
    ClosingVolume = "closing_volume", 0.3, Share, 0.45, "Standard uncertainty of closing_volume, a share of it";
    ForceRatio = "force_ratio", 0.05, Share, 0.45, "Standard uncertainty of force_ratio, a share of it";
    ReturnPressure = "return_pressure", 0.1, Share, 0.45, "Standard uncertainty of return_pressure, a share of it";
    SupportCapacity = "support_capacity", 0.05, Share, 0.45, "Standard uncertainty of support_capacity and capacity_from, a share of it";
    Friction = "friction", 0.1, Share, 0.45, "Standard uncertainty of the coefficient of friction at the contacts, a share of it";
    Flow = "flow", 0.05, Share, 0.45, "Standard uncertainty of flow and flow_high of a pump, a share of it";
    Kv = "kv", 0.1, Share, 0.45, "Standard uncertainty of kv, a share of it";
}

impl Spread {
    /// Everything known exactly.
    #[must_use]
    pub fn none() -> Self {
        let mut spread = Self::default();
        for known in SPREADS {
            (known.set)(&mut spread, known.least);
        }
        spread
    }

    /// The uncertainty of a datum of a kind.
    #[must_use]
    pub const fn of(&self, kind: SpreadKind) -> Uncertain {
        let number = self.0[kind as usize];
        match kind.nature() {
            Nature::Share => Uncertain::Share(number),
            Nature::Kelvin => Uncertain::Absolute(number),
            Nature::Factor => Uncertain::Factor(number),
        }
    }
}

/// Kinds of the policy's own numbers, by key, and their units.
pub const POLICY_SPREADS: [(&str, SpreadKind, &str); 14] = [
    ("bulk_modulus", SpreadKind::BulkModulus, "Pa"),
    ("thermal_expansion", SpreadKind::ThermalExpansion, "1/K"),
    ("bulk_modulus_high", SpreadKind::BulkModulus, "Pa"),
    ("free_air", SpreadKind::FreeAir, ""),
    ("free_air_low", SpreadKind::FreeAir, ""),
    ("specific_heat", SpreadKind::SpecificHeat, "J/(kg K)"),
    ("leak_viscosity", SpreadKind::Viscosity, "mm²/s"),
    ("density", SpreadKind::Density, "kg/m³"),
    ("viscosity_40", SpreadKind::Viscosity, "mm²/s"),
    ("viscosity_100", SpreadKind::Viscosity, "mm²/s"),
    ("linear_expansion", SpreadKind::MetalExpansion, "1/K"),
    ("part_expansion", SpreadKind::MetalExpansion, "1/K"),
    ("relief_reseat", SpreadKind::Reseat, ""),
    ("pressure_ratio", SpreadKind::Ratio, ""),
];

/// The standard uncertainty of one datum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Uncertain {
    /// Of the datum.
    Share(f64),
    /// In the datum's own unit.
    Absolute(f64),
    /// The logarithm of the datum spreads by that of the factor.
    Factor(f64),
}

/// A positive datum is not taken below this share of itself, however far it spreads.
const LEAST_SHARE: f64 = 0.05;

impl Uncertain {
    /// The datum so many standard uncertainties away from its value.
    #[must_use]
    pub fn away(self, value: f64, deviates: f64) -> f64 {
        let moved = match self {
            Self::Share(share) => value * (1.0 + share * deviates),
            Self::Absolute(uncertainty) => value + uncertainty * deviates,
            Self::Factor(factor) => value * libm::pow(factor, deviates),
        };
        moved.max(LEAST_SHARE * value)
    }

    /// Whether its number is one that an uncertainty may have.
    #[must_use]
    pub fn is_from_0_on(self) -> bool {
        let (Self::Share(number) | Self::Absolute(number) | Self::Factor(number)) = self;
        number.is_finite() && number >= 0.0
    }

    /// Whether a datum of this value spreads at all.
    #[must_use]
    pub fn spreads(self, value: f64) -> bool {
        match self {
            Self::Share(share) => share > 0.0 && value > 0.0,
            Self::Absolute(uncertainty) => uncertainty > 0.0,
            Self::Factor(factor) => factor > 1.0 && value > 0.0,
        }
    }
}

/// What a row states of one of its columns: `leak ±`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OwnSpread {
    pub column: &'static str,
    /// Standard uncertainty: in SI, or a share of the datum.
    pub uncertainty: Uncertain,
}

/// The standard uncertainty that a row states of a column.
#[must_use]
pub fn own_spread(stated: &[OwnSpread], column: &str) -> Option<Uncertain> {
    stated.iter().find(|own| own.column == column).map(|own| own.uncertainty)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_datum_spreads_as_its_kind_says() {
        let spread = Spread::default();
        let near = |found: f64, expected: f64| assert!((found - expected).abs() < 1e-9, "{found} {expected}");
        near(spread.of(SpreadKind::BulkModulus).away(200.0, -2.0), 180.0);
        near(spread.of(SpreadKind::Temperature).away(293.15, 1.0), 294.15);
        near(spread.of(SpreadKind::Leak).away(3.0, 1.0), 4.5);
        near(spread.of(SpreadKind::Leak).away(3.0, -1.0), 2.0);
        // However wide, a volume stays one.
        near(Uncertain::Absolute(10.0).away(1.0, -1.0), 0.05);
        near(Uncertain::Absolute(0.1).away(0.0, -1.0), 0.0);
    }

    #[test]
    fn nothing_spreads_where_all_is_known() {
        for kind in SpreadKind::ALL {
            assert!(!Spread::none().of(*kind).spreads(1.0), "{kind}");
            assert!(Spread::default().of(*kind).spreads(1.0), "{kind}");
        }
    }
}
