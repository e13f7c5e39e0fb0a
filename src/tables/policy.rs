//! Limits, fluids and units: what the policy file may set, with its defaults.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::physics::quantity::{Density, KinematicViscosity, Pressure};
use crate::physics::unit::UnitSystem;

use super::number_key::{NumberKey, number_keys, number_section};
use super::spread::Spread;
use super::words::{Acting, Charging, Kind, Severity, Side, Status, Table, Uom, YesNo, Zone, words};

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

number_section! {
    /// The numbers that rules compare with. Shares are of 1.
    #[derive(Clone, Copy, Debug, PartialEq)]
    Limits,
    /// Every limit, in the order of the policy file.
    LIMITS of f64:
    fill = 0.90, 0.01, 1.0, "Highest share of a charging cylinder's capacity that its circuits may take", "common practice";
    fill_watch = 0.85, 0.0, 1.0, "Fill from which a side is worth watching", "a choice of this policy";
    fill_low = 0.25, 0.0, 1.0, "Fill below which a smaller cylinder may do", "a choice of this policy";
    pressure_ratio = 0.5, 0.01, 100.0, "Circuit pressure / pump pressure where a charging cylinder states none", "common practice";
    pressure_watch = 0.95, 0.0, 1.0, "Share of a rating from which the pressure of its zone is worth watching", "a choice of this policy";
    gauge_low = 0.25, 0.0, 1.0, "Lowest share of a gauge's full scale for the pressure of its zone", "common practice";
    gauge_high = 0.75, 0.0, 1.0, "Highest share of a gauge's full scale for the pressure of its zone", "common practice (EN 837-2 asks for at most 75 % at steady pressure)";
    design_factor = 4.0, 1.0, 20.0, "Tensile strength / hoop stress of a tube", "SAE J1065, 4:1 on tensile strength";
    sequence_high = 0.90, 0.0, 1.0, "Highest share of the pressure of its zone for a sequence valve's setting", "common practice";
    precharge_low = 0.5, 0.0, 1.0, "Lowest accumulator precharge as a share of pressure_min", "common practice";
    precharge_high = 0.9, 0.0, 1.0, "Highest accumulator precharge as a share of pressure_min", "common practice";
    support_factor = 1.5, 0.0, 100.0, "Work support capacity / clamp force above it", "common practice";
    pressure_tolerance = 0.05, 0.0, 1.0, "Tolerated difference of the charge pressure from pressure_set", "a choice of this policy";
    catalogue_tolerance = 0.02, 0.0, 1.0, "Tolerated difference of a stated volume from area x stroke, and of a stated ratio from that of the piston areas", "a choice of this policy";
    relief_margin = 0.10, 0.0, 10.0, "Least distance of a relief valve's setting above the pressure of its zone, as a share of that", "a choice of this policy";
    relief_reseat = 0.90, 0.0, 1.0, "Share of its setting at which an opened relief valve closes", "common practice";
    sequence_low = 1.10, 0.0, 10.0, "Lowest setting of a sequence valve / highest min_pressure of earlier steps", "common practice";
    cutting_factor = 2.0, 0.0, 100.0, "Force that friction holds / cutting force", "common practice";
    contacts = 2.0, 1.0, 100.0, "Friction faces of a clamped part: clamp and rest", "common practice";
    topup_days = 30.0, 0.0, 36500.0, "Days that a filling should last", "a choice of this policy";
    dwell_settled = 30.0, 0.0, 86400.0, "Seconds of dwell after which the oil has settled", "a choice of this policy";
    waiver_notice = 30.0, 0.0, 3650.0, "Days before its expiry that a waiver is reported, and before its end a service life", "a choice of this policy";
    price_tolerance = 0.05, 0.0, 10.0, "Tolerated excess of an order's price over the component table's", "a choice of this policy";
    sure = 2.0, 0.0, 10.0, "Standard uncertainties between a figure and its limit from which a verdict is sure", "JCGM 106, one sided: 97.7 %; a choice of this policy";
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
    /// Oil at its stiffest: trapped oil.
    pub bulk_modulus_high: Pressure,
    /// Undissolved air at its least: trapped oil.
    pub free_air_low: f64,
    /// J/(kg K)
    pub specific_heat: f64,
    /// At which leaks are stated; 0 is the fluid's own at 20 °C.
    pub leak_viscosity: KinematicViscosity,
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
            bulk_modulus_high: Pressure::new(1.75e9),
            free_air_low: 0.0,
            specific_heat: 1900.0,
            leak_viscosity: KinematicViscosity::ZERO,
            density: Density::new(870.0),
            viscosity_40: KinematicViscosity::new(32.0e-6),
            viscosity_100: KinematicViscosity::new(5.36e-6),
            seals: ["NBR", "FKM", "PU"].map(String::from).to_vec(),
        }
    }
}

/// The numbers of a fluid, in the order of the policy file.
pub static FLUID_NUMBERS: &[NumberKey<Fluid>] = number_keys! {
    "bulk_modulus", 1e8, 1e11, "Bulk modulus, isothermal tangent, Pa", "typical of mineral oil, ISO VG 32",
        |fluid| fluid.bulk_modulus.si(), |fluid, value| fluid.bulk_modulus = Pressure::new(value);
    "thermal_expansion", 0.0, 0.01, "Volumetric thermal expansion, 1/K", "typical of mineral oil, ISO VG 32",
        |fluid| fluid.thermal_expansion, |fluid, value| fluid.thermal_expansion = value;
    "bulk_modulus_high", 1e8, 1e11, "Bulk modulus of the oil at its stiffest, up to 200 bar (1.9e9 at 300 bar): trapped oil, Pa", "typical of mineral oil, ISO VG 32",
        |fluid| fluid.bulk_modulus_high.si(), |fluid, value| fluid.bulk_modulus_high = Pressure::new(value);
    "free_air", 0.0, 0.5, "Undissolved air at rest, volume fraction", "a choice of this policy",
        |fluid| fluid.free_air, |fluid, value| fluid.free_air = value;
    "free_air_low", 0.0, 0.5, "Undissolved air at its least: trapped oil, volume fraction", "a choice of this policy",
        |fluid| fluid.free_air_low, |fluid, value| fluid.free_air_low = value;
    "specific_heat", 100.0, 10_000.0, "Specific heat, J/(kg K)", "typical of mineral oil, ISO VG 32",
        |fluid| fluid.specific_heat, |fluid, value| fluid.specific_heat = value;
    "leak_viscosity", 0.0, 1e6, "Kinematic viscosity at which leaks are stated, mm²/s; 0 is the fluid's own at 20 °C", "a choice of this policy",
        |fluid| fluid.leak_viscosity.mm2_per_s(), |fluid, value| fluid.leak_viscosity = KinematicViscosity::from_mm2_per_s(value);
    "density", 100.0, 5000.0, "Density at 15 °C, kg/m³", "typical of mineral oil, ISO VG 32",
        |fluid| fluid.density.si(), |fluid, value| fluid.density = Density::new(value);
    "viscosity_40", 0.5, 1e5, "Kinematic viscosity at 40 °C, mm²/s", "typical of mineral oil, ISO VG 32",
        |fluid| fluid.viscosity_40.mm2_per_s(), |fluid, value| fluid.viscosity_40 = KinematicViscosity::from_mm2_per_s(value);
    "viscosity_100", 0.5, 1e5, "Kinematic viscosity at 100 °C, mm²/s; not above that at 40 °C", "typical of mineral oil, ISO VG 32",
        |fluid| fluid.viscosity_100.mm2_per_s(), |fluid, value| fluid.viscosity_100 = KinematicViscosity::from_mm2_per_s(value);
};

number_section! {
    /// Linear expansions of metals, 1/K.
    #[derive(Clone, Copy, Debug, PartialEq)]
    Metal,
    /// The numbers of `[metal]`.
    METAL_NUMBERS of f64:
    linear_expansion = 11.7e-6, 0.0, 1e-3, "Linear thermal expansion of the fixture, 1/K", "typical of steel";
    part_expansion = 11.7e-6, 0.0, 1e-3, "Linear thermal expansion of the clamped part, 1/K", "typical of steel";
}

words! {
    /// Data of a circuit that a policy may ask for.
    AskedDatum {
        PressureMin = "pressure_min",
        HoldTime = "hold_time",
        TempMin = "temp_min",
        TempMax = "temp_max",
    }
}

/// Data that must be stated; what is missing makes a circuit not assessed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AskedData {
    /// Of circuits that are uncoupled.
    pub uncoupled: Vec<AskedDatum>,
    /// Of circuits that stay connected.
    pub live: Vec<AskedDatum>,
}

impl Default for AskedData {
    fn default() -> Self {
        Self { uncoupled: AskedDatum::ALL.to_vec(), live: Vec::new() }
    }
}

words! {
    /// How dates with points or slashes are read.
    DateOrder { DayFirst = "dmy", MonthFirst = "mdy" }
}

/// How cells are read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadingRules {
    /// Columns in which a blank cell says what the filled one above it says.
    pub fill_down: Vec<String>,
    /// Words of a row that holds sums, as they are compared.
    pub total_words: Vec<String>,
    /// `None`: dates are ISO 8601 or date cells alone.
    pub dates: Option<DateOrder>,
}

/// Words of total rows where the policy names none.
pub const TOTAL_WORDS: [&str; 3] = ["total", "subtotal", "sum"];

impl Default for ReadingRules {
    fn default() -> Self {
        Self { fill_down: Vec::new(), total_words: TOTAL_WORDS.map(str::to_owned).to_vec(), dates: None }
    }
}

/// Which file, and which sheet of it, is a table.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct NamedFile {
    /// Below the plant folder.
    pub file: String,
    /// Empty where the file's own sheets tell.
    pub sheet: String,
}

/// A sheet that holds quantities: part numbers down, circuits across.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Matrix {
    /// Below the plant folder; empty where one workbook is the whole plant.
    pub file: String,
    /// Empty where every sheet of the file is one.
    pub sheet: String,
    /// The rows that name the circuits, as a spreadsheet shows them; the last is the header.
    pub rows: Vec<u32>,
    /// What the cells of each of these rows say, such as `fixture/circuit`.
    pub places: Vec<String>,
}

/// Sets of words that a plant may write in its own way, with the words of each.
pub const WORD_SETS: &[(&str, &[&str])] = &[
    ("kind", Kind::WORDS),
    ("uom", Uom::WORDS),
    ("side", Side::WORDS),
    ("zone", Zone::WORDS),
    ("acting", Acting::WORDS),
    ("charging", Charging::WORDS),
    ("status", Status::WORDS),
    ("yes_no", YesNo::WORDS),
];

/// Name of the fluid that a circuit has where none is given.
pub const DEFAULT_FLUID: &str = "default";

number_section! {
    /// Bounds that keep a broken file from taking the machine.
    #[derive(Clone, Copy, Debug, PartialEq, Eq)]
    Bounds,
    /// Every bound, in the order of the policy file.
    BOUNDS of u64:
    text_file_mib = 16_384, 1, 16_777_216, "Largest text file, MiB";
    workbook_mib = 256, 1, 2048, "Largest workbook file, MiB";
    inflated_mib = 1024, 1, 16_384, "Largest workbook when unpacked, MiB";
    rows = 200_000_000, 1, 4_000_000_000, "Most rows of a sheet or text file";
    columns = 1024, 1, 16_384, "Most columns of a sheet or text file";
    cell_chars = 32_767, 16, 32_767, "Most characters of a cell";
    memory_mib = 1024, 16, 1_048_576, "Memory that one file which is read whole may take, MiB";
    formula_rows = 5_000, 0, 1_000_000, "Rows on Circuits above which the workbook holds values and no formulas";
    lines_rows = 100_000, 0, 1_000_000, "Rows above which Lines holds only lines with remarks";
    circuit_lines = 2_000_000, 100, 10_000_000, "Most lines of one circuit";
    trials = 64, 1, 1_000_000, "Changes tried for one finding before its search ends";
    trial_lines = 2_000_000, 1_000, 1_000_000_000_000, "Lines that the changes tried on one pallet look at, all together, before its searches end";
    draws = 1_000, 100, 1_000_000, "Draws at random where a figure bends within its uncertainty";
}

/// Words of `mail.security`.
pub const MAIL_SECURITY: &[&str] = &["starttls", "tls", "none"];

/// Least and most tries of `mail.tries`.
pub const MAIL_TRIES: (u32, u32) = (1, 20);

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

/// How load cards are written.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cards {
    /// By plant; the policy's `units` where a plant has none.
    pub units: BTreeMap<String, UnitSystem>,
    /// By key of a label, or code of a rule: the plant's own words.
    pub words: BTreeMap<String, String>,
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
    pub spread: Spread,
    pub metal: Metal,
    pub gas: GasModel,
    /// By name; always has [`DEFAULT_FLUID`].
    pub fluids: BTreeMap<String, Fluid>,
    /// Rule code to severity; `None` is off.
    pub rules: BTreeMap<String, Option<Severity>>,
    pub asked: AskedData,
    /// Column name to aliases, in every table.
    pub aliases: BTreeMap<String, Vec<String>>,
    /// The same in one table, looked at before those of every table.
    pub table_aliases: BTreeMap<Table, BTreeMap<String, Vec<String>>>,
    /// By set of words and alias, folded: the word.
    pub word_aliases: BTreeMap<&'static str, BTreeMap<String, &'static str>>,
    /// By alias, as units are compared: the unit's symbol, or `each` for a count of pieces.
    pub unit_aliases: BTreeMap<String, String>,
    /// One for each table, any number for the lists.
    pub files: BTreeMap<Table, Vec<NamedFile>>,
    pub matrix: Option<Matrix>,
    pub reading: ReadingRules,
    pub bounds: Bounds,
    pub mail: Mail,
    pub cards: Cards,
}

/// What stands beside every verdict where trapped oil counts softer than it is.
#[must_use]
pub fn softer_in_words<N: AsRef<str>>(fluids: &[N]) -> Option<String> {
    let names: Vec<&str> = fluids.iter().map(AsRef::as_ref).collect();
    (!names.is_empty()).then(|| {
        format!(
            "State bulk_modulus_high of the fluid {}: without it trapped oil counts softer than the oil that is charged, and \
             what warmth, cold and leaks do to its pressure comes out too small.",
            names.join(", ")
        )
    })
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
            spread: Spread::default(),
            metal: Metal::default(),
            gas: GasModel::Real,
            fluids: BTreeMap::from([(DEFAULT_FLUID.to_owned(), Fluid::default())]),
            rules: BTreeMap::new(),
            asked: AskedData::default(),
            aliases: BTreeMap::new(),
            table_aliases: BTreeMap::new(),
            word_aliases: BTreeMap::new(),
            unit_aliases: BTreeMap::new(),
            files: BTreeMap::new(),
            matrix: None,
            reading: ReadingRules::default(),
            bounds: Bounds::default(),
            mail: Mail::default(),
            cards: Cards::default(),
        }
    }

    /// The fluid of a circuit: `default` where none is named, `None` where the policy lacks it.
    #[must_use]
    pub fn fluid(&self, name: &str) -> Option<&Fluid> {
        self.fluids.get(if name.is_empty() { DEFAULT_FLUID } else { name })
    }

    /// Fluids of one's own whose oil at its stiffest, for want of a figure, counts softer than the oil that is charged.
    #[must_use]
    pub fn softer_fluids(&self) -> Vec<&str> {
        let softer = self.fluids.iter().filter(|(_, fluid)| fluid.bulk_modulus_high < fluid.bulk_modulus);
        softer.map(|(name, _)| name.as_str()).collect()
    }

    /// The same, to be changed.
    #[must_use]
    pub fn fluid_mut(&mut self, name: &str) -> Option<&mut Fluid> {
        self.fluids.get_mut(if name.is_empty() { DEFAULT_FLUID } else { name })
    }

    /// The severity of a rule, `None` where it is off.
    #[must_use]
    pub fn severity(&self, code: &str, usual: Severity) -> Option<Severity> {
        self.rules.get(code).copied().unwrap_or(Some(usual))
    }
}
