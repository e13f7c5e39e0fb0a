//! Rows about stations, arms, ways back and fillings.

use clampbook::physics::chain::{PumpLimits, charging_warmth, rod_side_pressure};
use clampbook::physics::flow::{return_flow, step_time, valve_loss};
use clampbook::physics::force::{Arm, friction_holding, support_strength};
use clampbook::physics::leak::leak_conductance;
use clampbook::physics::quantity::{
    Area, Density, Flow, Force, Length, Pressure, Resistance, Temperature, Time, Volume,
};
use clampbook::physics::topping_up::{cycles_of_filling, days_of_filling, oil_lost};
use clampbook::physics::volume::effective_capacity;
use clampbook::physics::zone::grip_expansion;

use super::row::Row;

fn pressure(row: &Row, name: &str) -> Pressure {
    Pressure::new(row.get(name))
}

/// What the named formula gives.
pub fn by_hand(row: &Row) -> Option<f64> {
    stations(row).or_else(|| parts(row)).or_else(|| fillings(row))
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
