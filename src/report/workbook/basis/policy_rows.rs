//! The policy's values as rows, with the names that formulas call them by.

use crate::physics::quantity::{ATMOSPHERE, Pressure};
use crate::physics::unit::{Dimension, UnitSystem};
use crate::report::workbook::Paper;
use crate::report::workbook::units::Units;
use crate::tables::number_key::NumberKey;
use crate::tables::policy::{DEFAULT_FLUID, Fluid, LIMITS, Policy};
use crate::tables::spread::{SPREADS, Spread};

/// A row of the policy's block.
pub struct PolicyRow {
    /// The defined name, or what it is where no formula needs it.
    pub name: String,
    pub is_named: bool,
    pub value: Setting,
    pub unit: &'static str,
    pub meaning: String,
    pub source: &'static str,
    /// What a change of it here does on Circuits.
    pub answers: &'static str,
}

/// A policy value.
pub enum Setting {
    Number(f64),
    Text(String),
}

const AT_ONCE: &str = "Circuits answers at once";
const IN_PART: &str = "Circuits: figures answer, the verdict asks for a new run";
pub const NEW_RUN: &str = "takes a new run";

/// Keys of limits that verdicts on Circuits follow.
static LIVE_LIMITS: &[&str] = &["fill", "fill_watch", "pressure_watch", "pressure_tolerance"];

/// The paper, which the policy does not name: it goes by the units.
#[must_use]
pub fn paper_row(paper: Paper, units: UnitSystem) -> PolicyRow {
    let name = match paper {
        Paper::A4 => "A4",
        Paper::Letter => "Letter",
    };
    let mut row =
        text("paper", name.to_owned(), "Paper that the pages of this workbook and of the cards are laid out for");
    row.source = if paper == Paper::usual(units) {
        "chosen by units: A4 where metric, Letter where us"
    } else {
        "asked for in this run"
    };
    row
}

/// The name of a fluid's figure: `bulk_modulus`, or `bulk_modulus_water_glycol`.
#[must_use]
pub fn fluid_name(figure: &str, fluid: &str, policy: &Policy) -> String {
    if fluid.is_empty() || fluid == DEFAULT_FLUID {
        return figure.to_owned();
    }
    let plain = plain_name(fluid);
    let twins = policy.fluids.keys().take_while(|other| *other != fluid).filter(|other| plain_name(other) == plain);
    match twins.count() {
        0 => format!("{figure}_{plain}"),
        earlier => format!("{figure}_{plain}_{}", earlier + 1),
    }
}

/// Letters, digits and `_` in lower case: names don't tell cases apart.
fn plain_name(fluid: &str) -> String {
    fluid.chars().map(|letter| if letter.is_ascii_alphanumeric() { letter.to_ascii_lowercase() } else { '_' }).collect()
}

/// All rows, limits first.
#[must_use]
pub fn policy_rows(policy: &Policy) -> Vec<PolicyRow> {
    let mut rows: Vec<PolicyRow> = LIMITS
        .iter()
        .map(|limit| PolicyRow {
            name: format!("limit_{}", limit.key),
            is_named: true,
            value: Setting::Number((limit.get)(&policy.limits)),
            unit: match limit.key {
                "waiver_notice" | "topup_days" => "days",
                "dwell_settled" => "s",
                _ => "",
            },
            meaning: limit.meaning.to_owned(),
            source: limit.source,
            answers: match limit.key {
                key if LIVE_LIMITS.contains(&key) => AT_ONCE,
                "pressure_ratio" => IN_PART,
                _ => NEW_RUN,
            },
        })
        .collect();
    rows.extend(constants(policy));
    for (name, fluid) in &policy.fluids {
        rows.extend(fluid_rows(policy, name, fluid));
    }
    rows.extend(bounds(policy));
    rows
}

/// How far data are known, where the run says how sure each verdict is.
#[must_use]
pub fn spread_rows(policy: &Policy) -> Vec<PolicyRow> {
    let row = |known: &NumberKey<Spread>| {
        let mut row = number(
            format!("spread {}", known.key),
            (known.get)(&policy.spread),
            unit_of_spread(known.key),
            known.meaning,
        );
        row.is_named = false;
        row.source = known.source;
        row
    };
    SPREADS.iter().map(row).collect()
}

/// Of a spread that is no share.
fn unit_of_spread(key: &str) -> &'static str {
    if key == "temperature" { "K" } else { "" }
}

fn number(name: impl Into<String>, value: f64, unit: &'static str, meaning: impl Into<String>) -> PolicyRow {
    PolicyRow {
        name: name.into(),
        is_named: true,
        value: Setting::Number(value),
        unit,
        meaning: meaning.into(),
        source: "",
        answers: NEW_RUN,
    }
}

fn text(name: &str, value: String, meaning: &str) -> PolicyRow {
    PolicyRow {
        name: name.to_owned(),
        is_named: false,
        value: Setting::Text(value),
        unit: "",
        meaning: meaning.to_owned(),
        source: "",
        answers: NEW_RUN,
    }
}

fn constants(policy: &Policy) -> Vec<PolicyRow> {
    let units = Units { system: policy.units };
    let pressure = units.unit(Dimension::Pressure);
    let mut atmosphere = number(
        "p_atm",
        units.pressure(ATMOSPHERE),
        pressure.name,
        "Standard atmosphere, absolute; every other pressure is gauge",
    );
    atmosphere.source = "exact, 101 325 Pa";
    let mut pa_per_unit =
        number("pa_per_unit", Pressure::from_unit(1.0, pressure).si(), "Pa", format!("Pa in one {}", pressure.name));
    pa_per_unit.source = "exact definition of the units";
    let system = match policy.units {
        UnitSystem::Metric => "metric",
        UnitSystem::Us => "us",
    };
    let date = format!("{}{}", policy.date, if policy.date_is_fixed { "" } else { " (today)" });
    vec![
        atmosphere,
        pa_per_unit,
        number("linear_expansion", policy.metal.linear_expansion, "1/K", "Linear expansion of the fixture"),
        number("part_expansion", policy.metal.part_expansion, "1/K", "Linear expansion of the clamped part"),
        text("gas model", policy.gas.word().to_owned(), "Equation of state of the accumulators' nitrogen"),
        text("units", system.to_owned(), "Units of the output, and of input without a unit"),
        text("date", date, "Today, for waivers and orders"),
    ]
}

fn fluid_rows(policy: &Policy, name: &str, fluid: &Fluid) -> Vec<PolicyRow> {
    let figure = |figure: &str, value: f64, unit: &'static str, meaning: &str| {
        number(fluid_name(figure, name, policy), value, unit, format!("Fluid '{name}': {meaning}"))
    };
    let mut modulus = figure("bulk_modulus", fluid.bulk_modulus.si(), "Pa", "bulk modulus, isothermal tangent");
    modulus.answers = IN_PART;
    let mut air = figure("free_air", fluid.free_air, "", "volume fraction of undissolved air at rest");
    air.answers = IN_PART;
    let mut seals = text(&format!("seals, fluid '{name}'"), fluid.seals.join(" "), "Seal materials that it suits");
    seals.meaning = format!("Fluid '{name}': seal materials that it suits");
    vec![
        modulus,
        figure("bulk_modulus_high", fluid.bulk_modulus_high.si(), "Pa", "bulk modulus of the oil at its stiffest"),
        figure("free_air_low", fluid.free_air_low, "", "undissolved air at its least"),
        figure("specific_heat", fluid.specific_heat, "J/(kg K)", "specific heat"),
        figure(
            "leak_viscosity",
            fluid.leak_viscosity.mm2_per_s(),
            "mm²/s",
            "viscosity at which leaks are stated; 0 its own at 20 °C",
        ),
        figure("thermal_expansion", fluid.thermal_expansion, "1/K", "volumetric thermal expansion"),
        air,
        figure("density", fluid.density.si(), "kg/m³", "density at 15 °C"),
        figure("viscosity_40", fluid.viscosity_40.mm2_per_s(), "mm²/s", "kinematic viscosity at 40 °C"),
        figure("viscosity_100", fluid.viscosity_100.mm2_per_s(), "mm²/s", "kinematic viscosity at 100 °C"),
        seals,
    ]
}

fn bounds(policy: &Policy) -> Vec<PolicyRow> {
    #[allow(clippy::cast_precision_loss, reason = "bounds are far below 2^53")]
    let bound = |name: &str, value: u64, meaning: &str| {
        let mut row = number(name, value as f64, "rows", meaning);
        row.is_named = false;
        row
    };
    vec![
        bound("formula_rows", policy.bounds.formula_rows, "Rows of Circuits above which it holds values, no formulas"),
        bound("lines_rows", policy.bounds.lines_rows, "Rows above which Lines holds only lines with remarks"),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    #[test]
    fn fluids_have_names_that_a_spreadsheet_takes() {
        let mut policy = Policy::at(NaiveDate::default());
        for fluid in ["Water-Glycol", "water glycol", "Öl 46"] {
            policy.fluids.insert(fluid.to_owned(), Fluid::default());
        }
        assert_eq!(fluid_name("free_air", "", &policy), "free_air");
        assert_eq!(fluid_name("free_air", "default", &policy), "free_air");
        assert_eq!(fluid_name("free_air", "Water-Glycol", &policy), "free_air_water_glycol");
        assert_eq!(fluid_name("free_air", "water glycol", &policy), "free_air_water_glycol_2");
        assert_eq!(fluid_name("free_air", "Öl 46", &policy), "free_air__l_46");
    }
}
