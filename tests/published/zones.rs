//! Rows about circuits of zones.

use clampbook::physics::accumulator::Accumulator;
use clampbook::physics::leak::leak_conductance;
use clampbook::physics::nitrogen::GasModel;
use clampbook::physics::quantity::{Compliance, Conductance, Density, Flow, Pressure, Temperature, Time, Volume};
use clampbook::physics::trapped_circuit::{Reduced, TrappedCircuit};
use clampbook::physics::zone::{StiffOil, Zone};

use super::row::Row;

fn accumulators(row: &Row, name: &str) -> Vec<Accumulator> {
    let number = |text: &str| text.parse::<f64>().unwrap();
    let one = row.text(name).and_then(|text| text.split_once('@'));
    one.into_iter()
        .map(|(cm3, bar)| Accumulator {
            gas_volume: Volume::from_cm3(number(cm3)),
            precharge: Pressure::from_bar(number(bar)),
        })
        .collect()
}

fn leak(row: &Row, name: &str) -> Conductance {
    leak_conductance(Flow::new(row.get(name)), Pressure::from_bar(350.0)).unwrap()
}

/// The oil and metal of `make_zones.py`.
fn circuit(row: &Row) -> TrappedCircuit {
    TrappedCircuit {
        full: Zone {
            volume: Volume::new(row.get("full")),
            elasticity: Compliance::new(2e-14),
            accumulators: accumulators(row, "full_gas"),
            relief: row.maybe("full_relief").map(Pressure::new),
            conductance: leak(row, "full_leak"),
            ..Zone::default()
        },
        reduced: Some(Reduced {
            zone: Zone {
                volume: Volume::new(row.get("reduced")),
                elasticity: Compliance::new(3e-14),
                accumulators: accumulators(row, "reduced_gas"),
                conductance: leak(row, "reduced_leak"),
                ..Zone::default()
            },
            setting: Pressure::new(row.get("setting")),
        }),
        oil: StiffOil {
            bulk_modulus: Pressure::from_gpa(1.6),
            free_air: 0.003,
            thermal_expansion: 7e-4,
            density: Density::new(870.0),
            specific_heat: 1900.0,
            leak_viscosity: None,
        },
        metal_expansion: 11.7e-6,
        gas: GasModel::Real,
        full_pressure: Pressure::new(row.get("full_pressure")),
        charge_temperature: Temperature::new(293.15),
        closing_volume: Volume::new(row.get("closing")),
        dwell: Time::ZERO,
        dwell_settled: Time::new(30.0),
        relief_reseat: 0.9,
    }
}

/// What the named formula gives for a circuit of two zones.
pub fn zoned(row: &Row) -> Option<f64> {
    row.text("full_leak")?;
    let circuit = circuit(row);
    let temperature = |name: &str| row.maybe(name).map(Temperature::new);
    let range = circuit.over(temperature("lowest"), temperature("highest"));
    Some(match row.function.as_str() {
        "charged_oil" => range.charged_oil().total().si(),
        "oil_at" => circuit.at(circuit.charge_temperature).oil_at(Pressure::new(row.get("pressure"))).si(),
        "settled_oil" => range.settled_oil().full.si(),
        "settled_pressure" => range.settled_pressure().clamps.si(),
        "hot_pressure" if row.text("zone") == Some("full") => range.hot_pressure().full.si(),
        "hot_pressure" => range.hot_pressure().clamps.si(),
        "oil_left" => range.oil_left().total().si(),
        "cold_pressure" => range.cold_pressure().clamps.si(),
        "holding_pressure" => range.leak().holding_pressure(row.maybe("time").map(Time::new))?.clamps.si(),
        "hold_reserve" => range.leak().hold_reserve(Pressure::new(row.get("pressure"))).time()?.si(),
        _ => return None,
    })
}
