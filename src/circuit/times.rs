//! Times of clamping and unclamping.

use crate::physics::flow::{
    ConductorLine, ViscosityLine, clamp_time, laminar_resistance, path_resistance, return_flow, reynolds_number,
    step_time, valve_loss, viscosity,
};
use crate::physics::quantity::{DynamicViscosity, Flow, KinematicViscosity, Pressure, Time, Volume};
use crate::physics::validity;
use crate::tables::figures::{CircuitFigures, Figure, Gap, SideFigures};
use crate::tables::words::{Acting, Kind};

use super::side::{CircuitInputs, swept_by};

/// Valves through which the oil flows back, but of which nothing may be known: a time is then a lower bound.
const THROTTLES: [Kind; 3] = [Kind::IsolationValve, Kind::SequenceValve, Kind::FlowControl];

/// Computes clamp and unclamp time.
pub(super) fn add_times(inputs: &CircuitInputs, figures: &mut CircuitFigures) {
    (figures.clamp_time, figures.unclamp_time, figures.reynolds) = (None, None, None);
    match clamping(inputs, &figures.clamp) {
        Ok(time) => figures.clamp_time = Some(time),
        Err(because) => figures.gaps.push(Gap { figure: Figure::ClampTime, because }),
    }
    figures.step_times = step_times(inputs, &figures.clamp);
    match unclamping(inputs, figures) {
        Ok((time, reynolds, notes)) => {
            figures.unclamp_time = Some(time);
            figures.reynolds = reynolds;
            figures.unclamp_is_bound = lacks_kv(inputs, &figures.clamp);
            figures.holding.validity.extend(notes);
        }
        Err(because) => figures.gaps.push(Gap { figure: Figure::UnclampTime, because }),
    }
}

/// Delivery of the station's pump.
fn pump_flow(inputs: &CircuitInputs) -> Result<(Flow, Option<Flow>), String> {
    let station = inputs.station.ok_or("no load station is known")?;
    let pump = inputs.plant.pump_of(station).ok_or("the load station's pump is not known")?;
    let flow = pump.flow.ok_or_else(|| format!("pump {} states no flow", pump.part_no))?;
    if pump.is_unreadable("flow_high") {
        return Err(format!("flow_high of pump {} can't be read", pump.part_no));
    }
    Ok((flow, pump.flow_high))
}

fn clamping(inputs: &CircuitInputs, clamp: &SideFigures) -> Result<Time, String> {
    let (flow, flow_high) = pump_flow(inputs)?;
    let known = clamp.group.swept.zip(clamp.group.demand).zip(clamp.chain.ratio);
    let ((swept, demand), ratio) = known.ok_or_else(|| {
        let gap = clamp.gaps.iter().find(|gap| matches!(gap.figure, Figure::Demand | Figure::Swept | Figure::Fill));
        gap.map_or_else(|| "the demand is not known".to_owned(), |gap| gap.because.clone())
    })?;
    Ok(clamp_time(ratio, swept, demand, flow, flow_high))
}

/// Time of each step of the clamping sequence, in order; `None` where it is unknown.
fn step_times(inputs: &CircuitInputs, clamp: &SideFigures) -> Vec<(f64, Option<Time>)> {
    let actuators = || inputs.joined_on(clamp.side).filter(|joined| joined.component.is_actuator());
    if !actuators().any(|joined| joined.component.time_min.is_some()) {
        return Vec::new();
    }
    let flow = pump_flow(inputs).ok().map(|(flow, _)| flow);
    let mut steps: Vec<f64> = actuators().map(|joined| joined.line.step_with(joined.component)).collect();
    steps.sort_by(f64::total_cmp);
    steps.dedup();
    let time_of = |step: f64| {
        let moving = actuators().filter(|joined| joined.line.step_with(joined.component).total_cmp(&step).is_eq());
        let swept: Option<Volume> = moving.map(|joined| Some(swept_by(joined, clamp.side)? * joined.pieces)).sum();
        // Where a line is set aside the swept volume of the side is unknown, and so is that of each step.
        clamp.volumes.swept.and(swept).zip(clamp.chain.ratio).zip(flow).map(|((v, r), q)| step_time(r, v, q))
    };
    steps.into_iter().map(|step| (step, time_of(step))).collect()
}

/// Whether something on the way back states no kv.
fn lacks_kv(inputs: &CircuitInputs, clamp: &SideFigures) -> bool {
    let throttles = |kind: Kind| THROTTLES.contains(&kind);
    inputs
        .joined_on(clamp.side)
        .any(|joined| joined.component.kv.is_none() && joined.component.kind.is_some_and(throttles))
}

type Return = (Time, Option<f64>, Vec<String>);

fn unclamping(inputs: &CircuitInputs, figures: &CircuitFigures) -> Result<Return, String> {
    if figures.acting == Acting::Double {
        return Err("the circuit is double-acting: oil pushes the clamps back".to_owned());
    }
    let clamp = &figures.clamp;
    let swept = clamp.volumes.swept.ok_or("the swept volume is not known")?;
    let fluid = inputs.fluid.ok_or_else(|| format!("the policy has no fluid '{}'", inputs.service.fluid))?;
    let charge = inputs.charge_temperature().ok_or("temp_charge can't be read")?;
    if inputs.service.is_unreadable("temp_min") {
        return Err("temp_min can't be read".to_owned());
    }
    let temperature = inputs.service.temp_min.map_or(charge, |lowest| lowest.min(charge));
    let spring = weakest_spring(inputs, clamp)?;
    let line = ViscosityLine::through_40_and_100(fluid.viscosity_40, fluid.viscosity_100);
    let kinematic = line.at(temperature);
    let conductors = conductors(inputs, clamp, viscosity(kinematic, fluid.density))?;
    let path = path_resistance(&conductors).ok_or("no tube or hose is listed")?;
    let with_kv = inputs
        .joined_on(clamp.side)
        .filter(|joined| !joined.component.is(Kind::CheckValve) && !joined.component.is(Kind::ReliefValve));
    let losses: f64 =
        with_kv.filter_map(|joined| joined.component.kv.map(|kv| joined.pieces * valve_loss(kv, fluid.density))).sum();
    if path.si() <= 0.0 && losses <= 0.0 {
        // Without anything in its way the oil would be back in no time at all.
        return Err("the tubes and hoses listed carry no oil back".to_owned());
    }
    let time = swept / return_flow(losses, path, spring);
    let reynolds = fastest(inputs, clamp, swept, time, kinematic);
    let mut notes: Vec<String> = Vec::new();
    notes.extend(reynolds.and_then(validity::laminar_outside).map(|note| note.to_string()));
    notes.extend(validity::viscosity_outside(kinematic).map(|note| note.to_string()));
    Ok((time, reynolds, notes))
}

/// The lowest return pressure of the clamps that state one; a single-acting one without any pushes nothing back.
fn weakest_spring(inputs: &CircuitInputs, clamp: &SideFigures) -> Result<Pressure, String> {
    let stated = inputs
        .joined_of(clamp, Kind::Clamp)
        .filter_map(|joined| Some((joined.component.return_pressure?, joined.component)))
        .filter(|(pressure, part)| *pressure > Pressure::ZERO || !part.is_double_acting());
    let (weakest, part) = stated.min_by(|a, b| a.0.total_cmp(b.0)).ok_or("no clamp states a return_pressure")?;
    if weakest > Pressure::ZERO {
        return Ok(weakest);
    }
    Err(format!("part {} states a return_pressure of 0, and nothing pushes its oil back", part.part_no))
}

fn conductors(
    inputs: &CircuitInputs,
    clamp: &SideFigures,
    oil: DynamicViscosity,
) -> Result<Vec<ConductorLine>, String> {
    let of_kind = inputs.joined_on(clamp.side).filter(|joined| joined.component.is_conductor());
    of_kind
        .map(|joined| {
            let component = joined.component;
            let bore = component
                .inner_diameter
                .ok_or_else(|| format!("part {} states no inner_diameter", component.part_no))?;
            let resistance = laminar_resistance(oil, joined.length, bore);
            Ok(ConductorLine { pieces: joined.pieces, resistance, share: joined.line.share })
        })
        .collect()
}

/// The highest Reynolds number on the way back.
fn fastest(
    inputs: &CircuitInputs,
    clamp: &SideFigures,
    swept: Volume,
    time: Time,
    oil: KinematicViscosity,
) -> Option<f64> {
    if time.si() <= 0.0 {
        return None;
    }
    let flow = swept / time;
    let of_kind = inputs.joined_on(clamp.side).filter(|joined| joined.component.is_conductor());
    of_kind
        .filter_map(|joined| {
            let bore = joined.component.inner_diameter?;
            Some(reynolds_number(flow * joined.line.share, bore, oil))
        })
        .max_by(f64::total_cmp)
}
