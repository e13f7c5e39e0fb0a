//! Limits, fluids and units: what the policy file may set, with its defaults.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::physics::quantity::{Density, KinematicViscosity, Pressure};
use crate::physics::unit::UnitSystem;

use super::words::{Severity, words};

words! {
    /// The equation of state of the accumulators' nitrogen.
    GasModel { Real = "real", Ideal = "ideal" }
}

impl From<GasModel> for crate::physics::nitrogen::GasModel {
    fn from(model: GasModel) -> Self {
        match model {
            GasModel::Real => Self::Real,
            GasModel::Ideal => Self::Ideal,
        }
    }
}

/// The numbers that rules compare with. Shares are of 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    pub fill: f64,
    pub fill_watch: f64,
    pub fill_low: f64,
    pub pressure_ratio: f64,
    pub pressure_watch: f64,
    pub gauge_low: f64,
    pub gauge_high: f64,
    pub design_factor: f64,
    pub sequence_high: f64,
    pub precharge_low: f64,
    pub precharge_high: f64,
    pub support_factor: f64,
    pub pressure_tolerance: f64,
    pub catalogue_tolerance: f64,
    /// Days before expiry.
    pub waiver_notice: f64,
    pub price_tolerance: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            fill: 0.90,
            fill_watch: 0.85,
            fill_low: 0.25,
            pressure_ratio: 0.5,
            pressure_watch: 0.95,
            gauge_low: 0.25,
            gauge_high: 0.75,
            design_factor: 4.0,
            sequence_high: 0.90,
            precharge_low: 0.5,
            precharge_high: 0.9,
            support_factor: 1.5,
            pressure_tolerance: 0.05,
            catalogue_tolerance: 0.02,
            waiver_notice: 30.0,
            price_tolerance: 0.05,
        }
    }
}

/// A limit as data: its key, its meaning, its range.
#[derive(Clone, Copy, Debug)]
pub struct LimitInfo {
    /// Key in `[limits]`.
    pub key: &'static str,
    /// What it limits, in words.
    pub meaning: &'static str,
    /// Lowest value that the policy takes.
    pub least: f64,
    /// Highest value that the policy takes.
    pub most: f64,
    /// Where the default comes from.
    pub source: &'static str,
    /// Reads it.
    pub get: fn(&Limits) -> f64,
    /// Sets it.
    pub set: fn(&mut Limits, f64),
}

macro_rules! limits {
    ($($key:ident, $least:literal, $most:literal, $meaning:literal, $source:literal;)+) => {
        /// Every limit, in the order of the policy file.
        pub static LIMITS: &[LimitInfo] = &[$(LimitInfo {
            key: stringify!($key),
            meaning: $meaning,
            least: $least,
            most: $most,
            source: $source,
            get: |limits| limits.$key,
            set: |limits, value| limits.$key = value,
        }),+];
    };
}

limits! {
    fill, 0.01, 1.0, "Highest share of a charging cylinder's capacity that a side may take", "common practice";
    fill_watch, 0.0, 1.0, "Fill from which a side is worth watching", "a choice of this policy";
    fill_low, 0.0, 1.0, "Fill below which a smaller cylinder may do", "a choice of this policy";
    pressure_ratio, 0.01, 100.0, "Circuit pressure / pump pressure where a charging cylinder states none", "common practice";
    pressure_watch, 0.0, 1.0, "Share of a rating from which the charge pressure is worth watching", "a choice of this policy";
    gauge_low, 0.0, 1.0, "Lowest share of a gauge's full scale for the charge pressure", "common practice";
    gauge_high, 0.0, 1.0, "Highest share of a gauge's full scale for the charge pressure", "common practice (EN 837-2 asks for at most 75 % at steady pressure)";
    design_factor, 1.0, 20.0, "Tensile strength / hoop stress of a tube", "SAE J1065, 4:1 on tensile strength";
    sequence_high, 0.0, 1.0, "Highest share of the charge pressure for a sequence valve's setting", "common practice";
    precharge_low, 0.0, 1.0, "Lowest accumulator precharge as a share of pressure_min", "common practice";
    precharge_high, 0.0, 1.0, "Highest accumulator precharge as a share of pressure_min", "common practice";
    support_factor, 0.0, 100.0, "Work support capacity / clamp force above it", "common practice";
    pressure_tolerance, 0.0, 1.0, "Tolerated difference of the charge pressure from pressure_set", "a choice of this policy";
    catalogue_tolerance, 0.0, 1.0, "Tolerated difference of a stated volume from area x stroke", "a choice of this policy";
    waiver_notice, 0.0, 3650.0, "Days before its expiry that a waiver is reported", "a choice of this policy";
    price_tolerance, 0.0, 10.0, "Tolerated excess of an order's price over the component table's", "a choice of this policy";
}

/// A hydraulic fluid.
#[derive(Clone, Debug, PartialEq)]
pub struct Fluid {
    /// Isothermal tangent bulk modulus.
    pub bulk_modulus: Pressure,
    /// Volumetric, 1/K.
    pub thermal_expansion: f64,
    /// Volume fraction of undissolved air at rest.
    pub free_air: f64,
    /// At 15 °C.
    pub density: Density,
    pub viscosity_40: KinematicViscosity,
    pub viscosity_100: KinematicViscosity,
    /// Seal materials that it suits.
    pub seals: Vec<String>,
}

impl Default for Fluid {
    fn default() -> Self {
        Self {
            bulk_modulus: Pressure::new(1.5e9),
            thermal_expansion: 7.0e-4,
            free_air: 0.005,
            density: Density::new(870.0),
            viscosity_40: KinematicViscosity::new(32.0e-6),
            viscosity_100: KinematicViscosity::new(5.36e-6),
            seals: ["NBR", "FKM", "PU"].map(String::from).to_vec(),
        }
    }
}

/// Name of the fluid that a circuit has where none is given.
pub const DEFAULT_FLUID: &str = "default";

/// Bounds that keep a broken file from taking the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// Size of a text file in MiB.
    pub text_file_mib: u64,
    /// Size of a workbook file in MiB.
    pub workbook_mib: u64,
    /// Size of a workbook's parts when unpacked, in MiB.
    pub inflated_mib: u64,
    /// Rows of one sheet or text file.
    pub rows: u64,
    /// Columns of one sheet or text file.
    pub columns: u64,
    /// Characters of one cell.
    pub cell_chars: u64,
    /// Memory for the lines of circuits in work, in MiB.
    pub memory_mib: u64,
    /// Rows on Circuits above which the workbook holds values, no formulas.
    pub formula_rows: u64,
    /// Rows above which Lines holds only lines with remarks.
    pub lines_rows: u64,
}

impl Default for Bounds {
    fn default() -> Self {
        Self {
            text_file_mib: 16_384,
            workbook_mib: 256,
            inflated_mib: 1024,
            rows: 200_000_000,
            columns: 1024,
            cell_chars: 32_767,
            memory_mib: 1024,
            formula_rows: 5_000,
            lines_rows: 100_000,
        }
    }
}

/// How mail is sent; the password comes from the environment alone.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mail {
    pub host: String,
    pub port: Option<u16>,
    /// `starttls`, `tls` or `none`.
    pub security: String,
    pub from: String,
    pub user: String,
    /// A PEM file with a further root certificate, below the plant folder.
    pub ca_file: String,
    /// Tries before it is given up.
    pub tries: Option<u32>,
}

/// The whole policy.
#[derive(Clone, Debug, PartialEq)]
pub struct Policy {
    /// Of the output, and of input without a unit.
    pub units: UnitSystem,
    /// Today, or the fixed date of the policy.
    pub date: NaiveDate,
    /// Whether the policy file fixes the date.
    pub date_is_fixed: bool,
    pub limits: Limits,
    /// Linear expansion of the metal, 1/K.
    pub metal_expansion: f64,
    pub gas: GasModel,
    /// By name; always has [`DEFAULT_FLUID`].
    pub fluids: BTreeMap<String, Fluid>,
    /// Rule code to severity; `None` is off.
    pub rules: BTreeMap<String, Option<Severity>>,
    /// Column name to aliases.
    pub aliases: BTreeMap<String, Vec<String>>,
    pub bounds: Bounds,
    pub mail: Mail,
}

impl Policy {
    /// The defaults, at a date.
    #[must_use]
    pub fn at(date: NaiveDate) -> Self {
        Self {
            units: UnitSystem::Metric,
            date,
            date_is_fixed: false,
            limits: Limits::default(),
            metal_expansion: 11.7e-6,
            gas: GasModel::Real,
            fluids: BTreeMap::from([(DEFAULT_FLUID.to_owned(), Fluid::default())]),
            rules: BTreeMap::new(),
            aliases: BTreeMap::new(),
            bounds: Bounds::default(),
            mail: Mail::default(),
        }
    }

    /// The fluid of a circuit: `default` where none is named, `None` where the policy lacks it.
    #[must_use]
    pub fn fluid(&self, name: &str) -> Option<&Fluid> {
        self.fluids.get(if name.is_empty() { DEFAULT_FLUID } else { name })
    }

    /// The severity of a rule, `None` where it is off.
    #[must_use]
    pub fn severity(&self, code: &str, usual: Severity) -> Option<Severity> {
        self.rules.get(code).copied().unwrap_or(Some(usual))
    }
}
