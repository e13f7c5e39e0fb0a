//! Rows about stations, arms, ways back and readings, worked by hand.

use clampbook::physics::chain::{PumpLimits, charging_warmth, rod_side_pressure};
use clampbook::physics::flow::{ViscosityLine, return_flow, step_time, valve_loss};
use clampbook::physics::force::{Arm, friction_holding, support_strength};
use clampbook::physics::leak::leak_conductance;
use clampbook::physics::nitrogen::GasModel;
use clampbook::physics::quantity::{
    Area, Density, Flow, Force, KinematicViscosity, Length, Pressure, Resistance, Temperature, Time, Volume,
};
use clampbook::physics::topping_up::{cycles_of_filling, days_of_filling, oil_lost};
use clampbook::physics::trapped_circuit::{Reduced, TrappedCircuit, TrappedZone};
use clampbook::physics::volume::effective_capacity;
use clampbook::physics::zone::{LeakViscosity, StiffOil, Zone, grip_expansion};

use super::row::Row;

fn pressure(row: &Row, name: &str) -> Pressure {
    Pressure::new(row.get(name))
}

/// What the named formula gives.
pub fn by_hand(row: &Row) -> Option<f64> {
    stations(row).or_else(|| parts(row)).or_else(|| fillings(row)).or_else(|| readings(row))
}

fn stations(row: &Row) -> Option<f64> {
    let limits = || PumpLimits {
        rating: row.maybe("rating").map(Pressure::new),
        relief_setting: row.maybe("relief").map(Pressure::new),
        air: row.maybe("air").map(|air| (Pressure::new(air), row.get("air_ratio"))),
    };
    Some(match row.function.as_str() {
        "highest_pump_pressure" => limits().highest_pump_pressure()?.si(),
        "pump_pressure" => limits().pump_pressure(row.maybe("setting").map(Pressure::new))?.si(),
        "charging_warmth" => charging_warmth(
            row.get("thermal_expansion"),
            Temperature::new(row.get("temperature")),
            pressure(row, "pressure"),
            Density::new(row.get("density")),
            row.get("specific_heat"),
        )
        .si(),
        "rod_side_pressure" => {
            let area = |name: &str| Area::new(row.get(name));
            rod_side_pressure(pressure(row, "pressure"), area("area_clamp"), area("area_unclamp")).si()
        }
        _ => return None,
    })
}

fn parts(row: &Row) -> Option<f64> {
    let arm = || Arm {
        length: Length::new(row.get("length")),
        rated_length: Length::new(row.get("rated_length")),
        // Stated for each millimetre.
        factor: row.maybe("factor").unwrap_or(0.0) * 1e3,
    };
    Some(match row.function.as_str() {
        "arm_rating" => arm().arm_rating(pressure(row, "rating")).si(),
        "arm_force" => arm().arm_force(Force::new(row.get("force"))).si(),
        "support_strength" => {
            let capacity = Force::new(row.get("capacity"));
            support_strength(capacity, pressure(row, "pressure"), pressure(row, "rated"), pressure(row, "from")).si()
        }
        "friction_holding" => {
            friction_holding(row.get("contacts"), row.get("friction"), Force::new(row.get("forces"))).si()
        }
        "step_time" => step_time(row.get("ratio"), Volume::new(row.get("swept")), Flow::new(row.get("flow"))).si(),
        "valve_loss" => valve_loss(row.get("kv"), Density::new(row.get("density"))),
        "return_flow" => {
            return_flow(row.get("losses"), Resistance::new(row.get("resistance")), pressure(row, "pressure")).si()
        }
        _ => return None,
    })
}

fn fillings(row: &Row) -> Option<f64> {
    let volume = |name: &str| Volume::new(row.get(name));
    Some(match row.function.as_str() {
        "effective_capacity" => {
            let stroke = |name: &str| row.maybe(name).map(Length::new);
            effective_capacity(volume("capacity"), stroke("ram_stroke"), stroke("cylinder_stroke")).si()
        }
        "oil_lost" => {
            let conductance = leak_conductance(Flow::new(row.get("leak")), pressure(row, "rated"))?;
            let zones = [(conductance, pressure(row, "pressure"))];
            oil_lost(Time::new(row.get("time")), &zones, row.get("factor"), volume("vented")).si()
        }
        "cycles_of_filling" => cycles_of_filling(volume("reserve"), volume("lost"))?,
        "days_of_filling" => days_of_filling(row.get("cycles"), row.get("cycles_per_day"))?,
        "grip_expansion" => {
            let (area, length) = (Area::new(row.get("area")), Length::new(row.get("grip_length")));
            grip_expansion(row.get("pieces"), area, length, row.get("metal"), row.get("part")).si()
        }
        _ => return None,
    })
}

/// A rigid circuit without air.
fn circuit(row: &Row) -> TrappedCircuit {
    let setting = row.maybe("setting").map(Pressure::new);
    TrappedCircuit {
        full: Zone { volume: Volume::new(row.get("volume")), ..Zone::default() },
        reduced: setting.map(|setting| Reduced { zone: Zone::default(), setting }),
        oil: StiffOil {
            bulk_modulus: pressure(row, "bulk_modulus"),
            free_air: 0.0,
            thermal_expansion: 7e-4,
            density: Density::new(870.0),
            specific_heat: 1900.0,
            leak_viscosity: None,
        },
        metal_expansion: 11.7e-6,
        gas: GasModel::Real,
        full_pressure: pressure(row, "full_pressure"),
        charge_temperature: Temperature::from_celsius(20.0),
        closing_volume: Volume::ZERO,
        dwell: Time::ZERO,
        dwell_settled: Time::ZERO,
        relief_reseat: 0.9,
    }
}

fn readings(row: &Row) -> Option<f64> {
    if row.function == "leak_factor" {
        // The same viscosity at every temperature.
        let viscosity = KinematicViscosity::from_mm2_per_s(row.get("viscosity"));
        let at = |celsius: f64| (Temperature::from_celsius(celsius), viscosity);
        let stated_at = KinematicViscosity::from_mm2_per_s(row.get("stated_at"));
        let line = ViscosityLine::through(at(20.0), at(80.0));
        let oil = StiffOil {
            bulk_modulus: Pressure::from_gpa(1.75),
            free_air: 0.0,
            thermal_expansion: 7e-4,
            density: Density::new(870.0),
            specific_heat: 1900.0,
            leak_viscosity: Some(LeakViscosity::new(line, stated_at)),
        };
        return Some(oil.leak_factor(Temperature::from_celsius(35.0)));
    }
    row.text("full_pressure").filter(|_| row.text("bulk_modulus").is_some())?;
    let circuit = circuit(row);
    let temperature = |name: &str| row.maybe(name).map(Temperature::new);
    let range = circuit.over(temperature("lowest"), temperature("highest"));
    let at = || temperature("at").unwrap_or(circuit.charge_temperature);
    let lowest_oil = || range.leak().lowest_oil(None, pressure(row, "pressure_min"));
    Some(match row.function.as_str() {
        "lowest_oil" => lowest_oil()?.si(),
        "lowest_reading" => {
            range.lowest_reading(lowest_oil()?, at(), TrappedZone::Full, pressure(row, "accuracy")).si()
        }
        "highest_reading" => {
            range.highest_reading(pressure(row, "rating"), at(), TrappedZone::Full, pressure(row, "accuracy")).si()
        }
        "at_clamps" => circuit.at(circuit.charge_temperature).at_clamps(pressure(row, "pressure")).si(),
        _ => return None,
    })
}
