//! Rows about trapped oil.

use clampbook::physics::accumulator::Accumulator;
use clampbook::physics::flow::ViscosityLine;
use clampbook::physics::leak::leak_conductance;
use clampbook::physics::nitrogen::GasModel;
use clampbook::physics::quantity::{
    Compliance, Conductance, Density, Expansivity, Flow, KinematicViscosity, Pressure, Temperature, Time, Volume,
};
use clampbook::physics::trapped_circuit::{Reduced, TrappedCircuit, TrappedZone};
use clampbook::physics::zone::{LeakViscosity, StiffOil, Zone};

use super::row::Row;

/// "75@90 + 20@120": cm³ of gas at bar of precharge.
fn accumulators(row: &Row, name: &str) -> Vec<Accumulator> {
    let number = |text: &str| text.parse::<f64>().unwrap();
    let all = row.text(name).unwrap_or("none").split(" + ").filter_map(|one| one.split_once('@'));
    all.map(|(cm3, bar)| Accumulator {
        gas_volume: Volume::from_cm3(number(cm3)),
        precharge: Pressure::from_bar(number(bar)),
    })
    .collect()
}

fn leak(row: &Row, name: &str) -> Conductance {
    let rated = row.maybe("leak_rated").map_or(Pressure::from_bar(350.0), Pressure::new);
    row.maybe(name).map_or(Conductance::ZERO, |leak| leak_conductance(Flow::new(leak), rated).unwrap())
}

/// The oil of a row; where it says nothing, that of `make_zones.py`.
fn oil(row: &Row) -> StiffOil {
    let mm2_s = KinematicViscosity::from_mm2_per_s;
    let line = |first: (f64, f64), second: (f64, f64)| {
        let point = |(kelvin, nu)| (Temperature::new(kelvin), mm2_s(nu));
        ViscosityLine::through(point(first), point(second))
    };
    let line = match row.maybe("first_mm2_s") {
        Some(nu) => line((row.get("first_temperature"), nu), (row.get("second_temperature"), row.get("second_mm2_s"))),
        None => line((313.15, 32.0), (373.15, 5.36)),
    };
    StiffOil {
        bulk_modulus: Pressure::new(row.maybe("bulk_modulus").unwrap_or(1.6e9)),
        free_air: row.maybe("free_air").unwrap_or(0.003),
        thermal_expansion: row.maybe("thermal_expansion").unwrap_or(7e-4),
        density: Density::new(870.0),
        specific_heat: 1900.0,
        leak_viscosity: row.maybe("leak_mm2_s").map(|stated| LeakViscosity::new(line, mm2_s(stated))),
    }
}

/// The metal of a row, too, is that of `make_zones.py` where it says nothing.
fn circuit(row: &Row) -> TrappedCircuit {
    let volume = |name: &str| Volume::new(row.maybe(name).unwrap_or(0.0));
    let zone = |which: &str, elasticity: f64| {
        let named = |what: &str| format!("{which}_{what}");
        Zone {
            volume: volume(which),
            elasticity: Compliance::new(row.maybe(&named("elasticity")).unwrap_or(elasticity)),
            accumulators: accumulators(row, &named("gas")),
            relief: row.maybe(&named("relief")).map(Pressure::new),
            grip: Expansivity::new(row.maybe(&named("grip")).unwrap_or(0.0)),
            conductance: leak(row, &named("leak")),
        }
    };
    TrappedCircuit {
        full: zone("full", 2e-14),
        reduced: row
            .maybe("setting")
            .map(|setting| Reduced { zone: zone("reduced", 3e-14), setting: Pressure::new(setting) }),
        oil: oil(row),
        metal_expansion: row.maybe("metal_expansion").unwrap_or(11.7e-6),
        gas: GasModel::Real,
        full_pressure: Pressure::new(row.get("full_pressure")),
        charge_temperature: Temperature::new(row.maybe("charge_temperature").unwrap_or(293.15)),
        closing_volume: volume("closing"),
        dwell: Time::new(row.maybe("dwell").unwrap_or(0.0)),
        dwell_settled: Time::new(30.0),
        relief_reseat: row.maybe("relief_reseat").unwrap_or(0.9),
    }
}

/// What the named formula gives for trapped oil.
pub fn zoned(row: &Row) -> Option<f64> {
    let temperature = |name: &str| row.maybe(name).map(Temperature::new);
    if row.function == "leak_factor" {
        return Some(oil(row).leak_factor(temperature("temperature")?));
    }
    row.text("full_pressure")?;
    let circuit = circuit(row);
    let pressure = |name: &str| Pressure::new(row.get(name));
    let range = circuit.over(temperature("lowest"), temperature("highest"));
    let is_full = row.text("zone") == Some("full");
    let zone = if is_full { TrappedZone::Full } else { TrappedZone::Reduced };
    let time = || row.maybe("time").map(Time::new);
    let at = || circuit.at(temperature("temperature").unwrap_or(circuit.charge_temperature));
    Some(match row.function.as_str() {
        "charged_oil" => range.charged_oil().total().si(),
        "referred_oil" => at().full.referred_oil(pressure("pressure")).si(),
        "oil_at" => at().oil_at(pressure("pressure")).si(),
        "at_clamps" => at().at_clamps(pressure("pressure")).si(),
        "settled_oil" => range.settled_oil().full.si(),
        "settled_pressure" => range.settled_pressure().clamps.si(),
        "hot_pressure" if is_full => range.hot_pressure().full.si(),
        "hot_pressure" => range.hot_pressure().clamps.si(),
        "oil_left" => range.oil_left().total().si(),
        "oil_let_out" => range.vented_oil().si(),
        "cold_pressure" => range.cold_pressure().clamps.si(),
        "holding_pressure" if is_full => range.leak().holding_pressure(time())?.full.si(),
        "holding_pressure" => range.leak().holding_pressure(time())?.clamps.si(),
        "hold_reserve" => range.leak().hold_reserve(pressure("pressure")).time()?.si(),
        "lowest_oil" => range.leak().lowest_oil(time(), pressure("pressure_min"))?.si(),
        "lowest_reading" => {
            let oil = range.leak().lowest_oil(time(), pressure("pressure_min"))?;
            range.lowest_reading(oil, temperature("temperature")?, zone, pressure("accuracy")).si()
        }
        "highest_reading" => {
            let rating = pressure("rating");
            range.highest_reading(rating, temperature("temperature")?, zone, pressure("accuracy")).si()
        }
        _ => return None,
    })
}
