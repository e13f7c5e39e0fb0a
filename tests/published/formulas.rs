//! From a row's words to a call of the formula that it names.

use clampbook::physics::accumulator::{Accumulator, accumulator_oil};
use clampbook::physics::air::free_air_loss;
use clampbook::physics::chain::{intensified_pressure, pressure_ratio, pump_pressure_needed};
use clampbook::physics::compression::{compression_of_chamber, compression_of_filling};
use clampbook::physics::dilation::{clamp_compliance, hose_compliance, tube_compliance};
use clampbook::physics::flow::{
    ConductorLine, ViscosityLine, clamp_time, laminar_resistance, path_resistance, return_flow, reynolds_number,
    viscosity,
};
use clampbook::physics::force::clamp_force;
use clampbook::physics::leak::leak_conductance;
use clampbook::physics::nitrogen::{GasModel, Isotherm};
use clampbook::physics::quantity::{
    Area, Compliance, Density, Expansion, Flow, Force, KinematicViscosity, Length, Pressure, Resistance, Stiffness,
    Temperature, Volume,
};
use clampbook::physics::tube_rating::tube_rating;
use clampbook::physics::volume::{Demand, circle_area, conductor_volume, fill, reserve, swept_volume, usable_oil};

use super::row::Row;

/// What the named formula gives, in the unit of the row.
pub fn evaluate(row: &Row) -> f64 {
    let si = super::zones::zoned(row)
        .or_else(|| super::by_hand::by_hand(row))
        .or_else(|| super::uncertainty::uncertain(row))
        .or_else(|| volumes(row))
        .or_else(|| pressures(row))
        .or_else(|| flows(row))
        .or_else(|| gas(row))
        .unwrap_or_else(|| panic!("{}: no formula '{}'", row.place, row.function));
    row.in_unit(si)
}

fn length(row: &Row, name: &str) -> Length {
    Length::new(row.get(name))
}

fn pressure(row: &Row, name: &str) -> Pressure {
    Pressure::new(row.get(name))
}

fn volume(row: &Row, name: &str) -> Volume {
    Volume::new(row.maybe(name).unwrap_or(0.0))
}

fn volumes(row: &Row) -> Option<f64> {
    let modulus = || pressure(row, "bulk_modulus");
    let oil = match row.function.as_str() {
        "circle_area" => return Some(circle_area(length(row, "diameter")).si()),
        "fill" => return fill(volume(row, "demand"), volume(row, "capacity")),
        "to_unit" => return Some(row.get("value")),
        "swept_volume" => swept_volume(
            row.maybe("area").map(Area::new),
            row.maybe("stroke_used").map(Length::new),
            row.maybe("volume").map(Volume::new),
            row.maybe("full_stroke").map(Length::new),
        )?,
        "conductor_volume" => conductor_volume(length(row, "inner_diameter"), length(row, "length")),
        "usable_oil" => usable_oil(volume(row, "capacity"), row.get("fill_limit")),
        "reserve" => reserve(volume(row, "usable"), volume(row, "demand")),
        "demand" => Demand {
            swept: volume(row, "swept"),
            compression: volume(row, "compression"),
            air: volume(row, "air"),
            dilation: volume(row, "dilation"),
            elastic: volume(row, "elastic"),
            accumulator: volume(row, "accumulator"),
        }
        .total(),
        "compression_of_filling" => compression_of_filling(volume(row, "volume"), pressure(row, "pressure"), modulus()),
        "compression_of_chamber" => compression_of_chamber(volume(row, "volume"), pressure(row, "pressure"), modulus()),
        "free_air_loss" => free_air_loss(row.get("free_air"), volume(row, "volume"), pressure(row, "pressure")),
        "tube_compliance" | "hose_compliance" | "clamp_compliance" => compliance(row) * pressure(row, "pressure"),
        _ => return None,
    };
    Some(oil.si())
}

fn compliance(row: &Row) -> Compliance {
    match row.function.as_str() {
        "tube_compliance" => tube_compliance(
            length(row, "inner_diameter"),
            length(row, "outer_diameter"),
            length(row, "length"),
            pressure(row, "elastic_modulus"),
            row.get("poisson"),
        ),
        "hose_compliance" => hose_compliance(
            length(row, "length"),
            Expansion::new(row.get("expansion")),
            pressure(row, "rated_pressure"),
        ),
        _ => clamp_compliance(Area::new(row.get("area")), Stiffness::new(row.get("stiffness"))),
    }
}

fn pressures(row: &Row) -> Option<f64> {
    let loss = || pressure(row, "return_loss");
    let result = match row.function.as_str() {
        "pressure_ratio" => {
            let areas = ["ram_area", "cylinder_area"].map(|name| Area::new(row.get(name)));
            return Some(pressure_ratio(areas[0], areas[1]));
        }
        "clamp_force" => {
            let force = clamp_force(
                row.get("force_ratio"),
                Area::new(row.get("area")),
                pressure(row, "pressure"),
                pressure(row, "return_pressure"),
            );
            return Some(force.si());
        }
        "force_pressure" => {
            let area = row.maybe("area").map_or_else(
                || {
                    let rod = Length::new(row.maybe("rod").unwrap_or(0.0));
                    circle_area(length(row, "diameter")) - circle_area(rod)
                },
                Area::new,
            );
            Force::new(row.get("force")) / area
        }
        "intensified_pressure" => intensified_pressure(pressure(row, "pump"), row.get("ratio"), loss()),
        "pump_pressure_needed" => pump_pressure_needed(pressure(row, "pressure"), row.get("ratio"), loss()),
        "tube_rating" => tube_rating(
            length(row, "inner_diameter"),
            length(row, "outer_diameter"),
            pressure(row, "tensile_strength"),
            row.get("design_factor"),
        ),
        _ => return None,
    };
    Some(result.si())
}

fn flows(row: &Row) -> Option<f64> {
    let kinematic = |name: &str| KinematicViscosity::from_mm2_per_s(row.get(name));
    let resistance = || {
        let mu = viscosity(kinematic("viscosity_mm2_s"), Density::new(row.get("density")));
        laminar_resistance(mu, length(row, "length"), length(row, "inner_diameter"))
    };
    let flow = |name: &str| Flow::new(row.get(name));
    let line = || {
        let point = |which: &str| {
            let temperature = Temperature::new(row.get(&format!("{which}_temperature")));
            (temperature, kinematic(&format!("{which}_mm2_s")))
        };
        ViscosityLine::through(point("first"), point("second"))
    };
    Some(match row.function.as_str() {
        "viscosity" => viscosity(kinematic("viscosity_mm2_s"), Density::new(row.get("density"))).si(),
        "laminar_resistance" => (resistance() * flow("flow")).si(),
        "reynolds_number" => {
            let bore = length(row, "inner_diameter");
            reynolds_number(flow("flow"), bore, kinematic("viscosity_mm2_s"))
        }
        "unclamp_time" => {
            let back = pressure(row, "return_pressure");
            (volume(row, "swept") / return_flow(0.0, resistance(), back)).si()
        }
        "clamp_time" => clamp_time(
            row.get("ratio"),
            volume(row, "swept"),
            volume(row, "demand"),
            flow("flow"),
            row.maybe("flow_high").map(Flow::new),
        )
        .si(),
        "through" => match row.text("coefficient") {
            Some("a") => line().a,
            _ => line().b,
        },
        "at" => line().at(Temperature::new(row.get("temperature"))).si(),
        "path_resistance" => path_resistance(&conductors(row))?.si(),
        "leak_conductance" => leak_conductance(flow("leak"), pressure(row, "leak_rated"))?.si(),
        _ => return None,
    })
}

/// "2x3e9 + 1x4e9" pieces × resistance, in branches pieces × share × resistance.
fn conductors(row: &Row) -> Vec<ConductorLine> {
    let mut lines = Vec::new();
    for name in ["series", "branches"] {
        let text = row.text(name).unwrap_or("none");
        for part in text.split(" + ").filter(|part| *part != "none") {
            let numbers: Vec<f64> = part.split('x').map(|text| text.parse().unwrap()).collect();
            let (pieces, share, resistance) = match numbers[..] {
                [pieces, resistance] => (pieces, 1.0, resistance),
                [pieces, share, resistance] => (pieces, share, resistance),
                _ => panic!("{}: '{part}'", row.place),
            };
            lines.push(ConductorLine { pieces, resistance: Resistance::new(resistance), share });
        }
    }
    lines
}

fn gas(row: &Row) -> Option<f64> {
    let temperature = || Temperature::new(row.get("temperature"));
    let model = if row.text("gas") == Some("ideal") { GasModel::Ideal } else { GasModel::Real };
    Some(match row.function.as_str() {
        "density" => Isotherm::new(model, temperature()).density(pressure(row, "absolute")).si(),
        "pressure" => {
            let density = Density::new(row.get("density"));
            Isotherm::new(model, temperature()).pressure(density).si()
        }
        "accumulator_oil" => {
            let gauge = |name: &str| {
                row.maybe(name).map(Pressure::new).or_else(|| {
                    let absolute = name.replace("_pressure", "") + "_abs";
                    row.maybe(&absolute).map(|pa| Pressure::new(pa).gauge())
                })
            };
            let bottle = Accumulator { gas_volume: volume(row, "gas_volume"), precharge: gauge("precharge")? };
            let oil = |p| accumulator_oil(bottle, p, temperature(), model);
            let from = gauge("from_pressure").map_or(Volume::ZERO, oil);
            (oil(gauge("pressure")?) - from).si()
        }
        _ => return None,
    })
}
