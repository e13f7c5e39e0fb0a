//! What is given: how the circuit is charged, and what is asked of it.

use crate::physics::quantity::Time;
use crate::tables::value::Value;
use crate::tables::words::Charging;

use super::workings::Workings;
use super::{Chapter, WorkStep};

pub(super) fn chapter(workings: &Workings) -> Chapter {
    let mut chapter = Chapter::new("Given");
    let service = workings.service;
    let acting = match workings.figures.acting {
        crate::tables::words::Acting::Single => "single-acting",
        crate::tables::words::Acting::Double => "double-acting",
    };
    let charging = match service.charging() {
        Charging::Cylinder => "charged by a charging cylinder, then uncoupled",
        Charging::Coupler => "charged through a coupling, then uncoupled",
        Charging::Live => "connected to its pump all the time",
    };
    let station =
        if service.station.is_empty() { String::new() } else { format!(" Load station: {}.", service.station) };
    let fluid = if service.fluid.is_empty() { "default" } else { service.fluid.as_str() };
    chapter.say(format!("The circuit is {acting} and {charging}.{station} Fluid of the policy: {fluid}."));
    let group = workings.group();
    if group.len() > 1 {
        let names: Vec<String> = group.iter().map(|audit| audit.circuit.key.path()).collect();
        chapter.say(format!(
            "One stroke fills the {} circuits of the source '{}': {}.",
            group.len(),
            service.source,
            names.join(", ")
        ));
    }
    let seconds = |time: Option<Time>| time.map(Value::Seconds);
    let data = [
        ("Charge pressure wanted, pressure_set", service.pressure_set.map(Value::Pressure)),
        ("Clamps hold down to, pressure_min", service.pressure_min.map(Value::Pressure)),
        ("Temperature at charging, temp_charge", service.temp_charge.map(Value::Temperature)),
        ("Lowest temperature, temp_min", service.temp_min.map(Value::Temperature)),
        ("Highest temperature, temp_max", service.temp_max.map(Value::Temperature)),
        ("Time to hold, hold_time", service.hold_time.map(Value::Minutes)),
        ("Time coupled at pressure, dwell", seconds(service.dwell)),
        ("Longest clamp time, clamp_time_max", seconds(service.clamp_time_max)),
        ("Longest unclamp time, unclamp_time_max", seconds(service.unclamp_time_max)),
        ("Cycles a day, cycles_per_day", service.cycles_per_day.map(Value::Number)),
        ("Pull of the cut, cutting_force", service.cutting_force.map(Value::Force)),
        ("Coefficient of friction, friction", service.friction.map(Value::Number)),
    ];
    for (name, value) in data {
        if value.is_some() {
            chapter.add(WorkStep::new(name, value).from([workings.own_row()]));
        }
    }
    if workings.circuit.service.is_none() {
        chapter.say("The circuits table has no row for it.");
    }
    if workings.circuit.lines.is_empty() {
        chapter.say("The lists have no line for it, so that there is nothing to calculate.");
    }
    for stray in &workings.circuit.stray_rows {
        chapter.say(format!("{} is set aside and its circuit can't be told.", workings.row(*stray)));
    }
    chapter
}
