//! What the trapped oil does after the circuit is uncoupled, and the times of clamping and
//! unclamping.

use std::cell::LazyCell;

use crate::physics::flow::{
    ConductorLine, ViscosityLine, clamp_time, laminar_resistance, path_resistance, reynolds_number, unclamp_time,
    viscosity,
};
use crate::physics::leak::{HoldReserve, LeakDown, leak_conductance};
use crate::physics::quantity::{
    Conductance, DynamicViscosity, KinematicViscosity, Pressure, Temperature, Time, Volume,
};
use crate::physics::trapped::{Oil, TrappedOil};
use crate::physics::validity;
use crate::tables::component::Component;
use crate::tables::figures::{CircuitFigures, Figure, Gap, Holding, SideFigures};
use crate::tables::words::{Acting, Charging, Kind};

use crate::circuit::pressure_chain::lacks_setting;
use crate::circuit::side::{Scope, accumulators};
use crate::rules::Asked;

/// Points of the curve of pressure over time.
const CURVE_POINTS: u16 = 25;

/// The trapped oil of a circuit as physics wants it; the reason where a figure is missing.
///
/// # Errors
/// The datum that is missing, in words.
pub fn trapped_oil(scope: &Scope, clamp: &SideFigures) -> Result<TrappedOil, String> {
    let gap_of = |figure: Figure| clamp.gaps.iter().find(|gap| gap.figure == figure).map(|gap| gap.because.clone());
    let volumes = &clamp.volumes;
    let volume = volumes.line.zip(volumes.dead).zip(volumes.swept).map(|((line, dead), swept)| line + dead + swept);
    let missing = || {
        gap_of(Figure::Swept).or_else(|| gap_of(Figure::Demand)).unwrap_or_else(|| "a volume is not known".to_owned())
    };
    let volume = volume.ok_or_else(missing)?;
    let elasticity = clamp.compliance.ok_or_else(missing)?;
    let charge_pressure =
        clamp.chain.charge.ok_or_else(|| format!("charge pressure: {}", gap_of(Figure::Charge).unwrap_or_default()))?;
    let fluid = scope.fluid.ok_or_else(|| format!("the policy has no fluid '{}'", scope.service.fluid))?;
    let charge_temperature = scope.charge_temperature().ok_or("temp_charge can't be read")?;
    let accumulators = accumulators(scope, clamp).ok_or("an accumulator lacks its gas volume or precharge")?;
    Ok(TrappedOil {
        volume,
        elasticity,
        accumulators,
        oil: Oil {
            bulk_modulus: fluid.bulk_modulus,
            thermal_expansion: fluid.thermal_expansion,
            free_air: fluid.free_air,
        },
        metal_expansion: scope.plant.policy.metal_expansion,
        gas: scope.plant.policy.gas.into(),
        charge_pressure,
        charge_temperature,
    })
}

/// Computes the holding figures of an uncoupled circuit, with the reasons of what is unknown.
pub fn add_holding(scope: &Scope, figures: &mut CircuitFigures, asked: Asked) {
    if scope.charging == Charging::Live || !(asked.hot || asked.cold) {
        return;
    }
    let silent = silent_on_leak(scope, &figures.clamp);
    figures.holding.hold_is_bound = silent.is_some();
    let oil = match trapped_oil(scope, &figures.clamp) {
        Ok(oil) => oil,
        Err(because) => return push_gaps(&mut figures.gaps, &because),
    };
    let relief = figures.clamp.chain.relief.map(|rating| rating.pressure);
    let relief_is_open = lacks_setting(scope, &figures.clamp, Kind::ReliefValve) && scope.service.temp_max.is_some();
    if relief_is_open {
        return push_gaps(&mut figures.gaps, "the setting of a relief valve is not known");
    }
    let service = scope.service;
    let charged = LazyCell::new(|| oil.charged());
    if let Some(highest) = service.temp_max {
        if asked.hot {
            figures.holding.hot = Some(settled(oil.hot_pressure_of(*charged, highest, relief)));
        }
    } else if service.is_unreadable("temp_max") {
        return push_gaps(&mut figures.gaps, "temp_max can't be read");
    }
    if service.is_unreadable("temp_min") {
        for figure in [Figure::Cold, Figure::Hold, Figure::HoldReserve] {
            figures.gaps.push(Gap { figure, because: "temp_min can't be read".to_owned() });
        }
        return;
    }
    if !asked.cold {
        return;
    }
    // Without heat a relief valve lets nothing out.
    let relief = relief.filter(|_| service.temp_max.is_some());
    let start = settled(oil.cold_pressure_of(|| *charged, service.temp_min, service.temp_max, relief));
    figures.holding.start = Some(start);
    figures.holding.leak_temperature = Some(oil.cold_temperature(service.temp_min));
    figures.holding.cold = service.temp_min.map(|_| start);
    if asked.hold {
        add_leak(scope, &oil, figures, asked);
    }
    if let Some(part) = silent {
        let because = format!("part {} states no leak, so that it is only an upper bound", part.part_no);
        figures.gaps.push(Gap { figure: Figure::Hold, because });
    }
    if asked.reserve {
        add_validity(scope, &oil, &mut figures.holding);
    }
}

/// Below 1 Pa counts as 0.
fn settled(pressure: Pressure) -> Pressure {
    if pressure.si() < 1.0 { Pressure::ZERO } else { pressure }
}

fn push_gaps(gaps: &mut Vec<Gap>, because: &str) {
    for figure in [Figure::Cold, Figure::Hot, Figure::Hold, Figure::HoldReserve] {
        gaps.push(Gap { figure, because: because.to_owned() });
    }
}

/// The first part that could leak and says nothing of it.
fn silent_on_leak<'a>(scope: &Scope<'a>, clamp: &SideFigures) -> Option<&'a Component> {
    scope.fitted(clamp).map(|counted| counted.component).find(|component| {
        let may_leak = matches!(
            component.kind,
            Some(
                Kind::Clamp
                    | Kind::WorkSupport
                    | Kind::CheckValve
                    | Kind::IsolationValve
                    | Kind::ReliefValve
                    | Kind::Coupling
            )
        );
        may_leak && component.leak.is_none()
    })
}

/// G of the clamp side.
fn conductance(scope: &Scope, clamp: &SideFigures) -> Result<Conductance, String> {
    let mut sum = Conductance::ZERO;
    for counted in scope.fitted(clamp) {
        let component = counted.component;
        let Some(leak) = component.leak else { continue };
        if leak.si() == 0.0 {
            continue;
        }
        let rated = component.rated_pressure.filter(|rated| *rated > Pressure::ZERO);
        let of_one = rated.and_then(|rated| leak_conductance(leak, rated));
        let of_one = of_one.ok_or_else(|| format!("part {} states a leak and no rated_pressure", component.part_no))?;
        sum += of_one * counted.pieces;
    }
    Ok(sum)
}

fn add_leak(scope: &Scope, oil: &TrappedOil, figures: &mut CircuitFigures, asked: Asked) {
    let service = scope.service;
    let conductance = match conductance(scope, &figures.clamp) {
        Ok(conductance) => conductance,
        Err(because) => {
            for figure in [Figure::Hold, Figure::HoldReserve] {
                figures.gaps.push(Gap { figure, because: because.clone() });
            }
            return;
        }
    };
    let holding = &mut figures.holding;
    let Some(start) = holding.start else { return };
    let state = oil.at(oil.cold_temperature(service.temp_min));
    let leak = LeakDown::new(&state, start, conductance);
    let leaks = conductance > Conductance::ZERO;
    holding.reserve_is_endless = !leaks;
    if !leaks || start == Pressure::ZERO {
        holding.hold = Some(start);
    } else if let Some(time) = service.hold_time {
        holding.hold = Some(settled(leak.holding_pressure(time)));
    } else {
        let because =
            if service.is_unreadable("hold_time") { "hold_time can't be read" } else { "no hold_time is given" };
        figures.gaps.push(Gap { figure: Figure::Hold, because: because.to_owned() });
    }
    if let Some(lowest) = service.pressure_min.filter(|_| leaks && asked.reserve) {
        holding.reserve = reserve(&leak, lowest);
    }
    if let Some(time) = service.hold_time.filter(|_| asked.curve) {
        holding.curve = curve(&leak, start, time);
    }
}

fn reserve(leak: &LeakDown, lowest: Pressure) -> Option<Time> {
    match leak.hold_reserve(lowest) {
        HoldReserve::Ends(time) => Some(time),
        HoldReserve::Endless => None,
    }
}

fn curve(leak: &LeakDown, start: Pressure, time: Time) -> Vec<(Time, Pressure)> {
    if time.si() > 0.0 {
        leak.curve(time, CURVE_POINTS).into_iter().map(|(at, pressure)| (at, settled(pressure))).collect()
    } else {
        vec![(Time::ZERO, start)]
    }
}

/// Notes where a figure lies outside a formula's validity.
fn add_validity(scope: &Scope, oil: &TrappedOil, holding: &mut Holding) {
    let service = scope.service;
    let units = scope.plant.policy.units;
    let highest = holding.hot.unwrap_or(oil.charge_pressure).max(oil.charge_pressure);
    let mut notes = Vec::new();
    if !oil.accumulators.is_empty() {
        for temperature in [oil.cold_temperature(service.temp_min), oil.hot_temperature(service.temp_max)] {
            notes.extend(validity::nitrogen_outside(highest.absolute(), temperature, units));
        }
    }
    notes.extend(validity::modulus_outside(highest, units));
    for note in notes {
        let text = format!("{}: {}", note.formula, note.reason);
        if !holding.validity.contains(&text) {
            holding.validity.push(text);
        }
    }
}

/// Pressure of the uncoupled circuit at a temperature, with nothing leaked: what a gauge must
/// read. `None` where it is unknown.
#[must_use]
pub fn pressure_at(scope: &Scope, clamp: &SideFigures, temperature: Temperature) -> Option<Pressure> {
    let oil = trapped_oil(scope, clamp).ok()?;
    Some(settled(oil.at(temperature).pressure_for(oil.charged())))
}

/// Computes clamp and unclamp time.
pub fn add_times(scope: &Scope, figures: &mut CircuitFigures) {
    match clamping(scope, &figures.clamp) {
        Ok(time) => figures.clamp_time = Some(time),
        Err(because) => figures.gaps.push(Gap { figure: Figure::ClampTime, because }),
    }
    match unclamping(scope, figures) {
        Ok((time, reynolds, notes)) => {
            figures.unclamp_time = Some(time);
            figures.reynolds = reynolds;
            figures.holding.validity.extend(notes);
        }
        Err(because) => figures.gaps.push(Gap { figure: Figure::UnclampTime, because }),
    }
}

fn clamping(scope: &Scope, clamp: &SideFigures) -> Result<Time, String> {
    let station = scope.circuit.station(scope.plant).ok_or("no load station is known")?;
    let pump = scope.plant.component_at(station.pump.index()).ok_or("the load station's pump is not known")?;
    let flow = pump.flow.ok_or_else(|| format!("pump {} states no flow", pump.part_no))?;
    if pump.faults.iter().any(|fault| fault.column == "flow_high") {
        return Err(format!("flow_high of pump {} can't be read", pump.part_no));
    }
    let volumes = &clamp.volumes;
    let known = volumes.swept.zip(volumes.demand).zip(clamp.chain.ratio);
    let ((swept, demand), ratio) = known.ok_or_else(|| {
        let gap = clamp.gaps.iter().find(|gap| matches!(gap.figure, Figure::Demand | Figure::Swept));
        gap.map_or_else(|| "the demand is not known".to_owned(), |gap| gap.because.clone())
    })?;
    Ok(clamp_time(ratio, swept, demand, flow, pump.flow_high))
}

type Return = (Time, Option<f64>, Vec<String>);

fn unclamping(scope: &Scope, figures: &CircuitFigures) -> Result<Return, String> {
    if figures.acting == Acting::Double {
        return Err("the circuit is double-acting: oil pushes the clamps back".to_owned());
    }
    let clamp = &figures.clamp;
    let swept = clamp.volumes.swept.ok_or("the swept volume is not known")?;
    let fluid = scope.fluid.ok_or_else(|| format!("the policy has no fluid '{}'", scope.service.fluid))?;
    let charge = scope.charge_temperature().ok_or("temp_charge can't be read")?;
    if scope.service.is_unreadable("temp_min") {
        return Err("temp_min can't be read".to_owned());
    }
    let temperature = scope.service.temp_min.map_or(charge, |lowest| lowest.min(charge));
    let spring = weakest_spring(scope, clamp).ok_or("no clamp states a return_pressure")?;
    let line = ViscosityLine::through_40_and_100(fluid.viscosity_40, fluid.viscosity_100);
    let kinematic = line.at(temperature);
    let conductors = conductors(scope, clamp, viscosity(kinematic, fluid.density))?;
    let path = path_resistance(&conductors).ok_or("no tube or hose is listed")?;
    let time = unclamp_time(swept, path, spring);
    let reynolds = fastest(scope, clamp, swept, time, kinematic);
    let mut notes: Vec<String> = Vec::new();
    notes.extend(reynolds.and_then(validity::laminar_outside).map(|note| format!("{}: {}", note.formula, note.reason)));
    notes.extend(validity::viscosity_outside(kinematic).map(|note| format!("{}: {}", note.formula, note.reason)));
    Ok((time, reynolds, notes))
}

/// The lowest return pressure of the clamps that state one.
fn weakest_spring(scope: &Scope, clamp: &SideFigures) -> Option<Pressure> {
    scope
        .fitted_of(clamp, Kind::Clamp)
        .filter_map(|counted| counted.component.return_pressure)
        .filter(|pressure| *pressure > Pressure::ZERO)
        .min_by(|a, b| a.total_cmp(*b))
}

fn conductors(scope: &Scope, clamp: &SideFigures, oil: DynamicViscosity) -> Result<Vec<ConductorLine>, String> {
    let of_kind = scope.fitted(clamp).filter(|counted| counted.component.is_conductor());
    of_kind
        .map(|counted| {
            let component = counted.component;
            let bore = component
                .inner_diameter
                .ok_or_else(|| format!("part {} states no inner_diameter", component.part_no))?;
            let resistance = laminar_resistance(oil, counted.length, bore);
            Ok(ConductorLine { pieces: counted.pieces, resistance, share: counted.line.share })
        })
        .collect()
}

/// The highest Reynolds number on the way back.
fn fastest(scope: &Scope, clamp: &SideFigures, swept: Volume, time: Time, oil: KinematicViscosity) -> Option<f64> {
    if time.si() <= 0.0 {
        return None;
    }
    let flow = swept / time;
    let of_kind = scope.fitted(clamp).filter(|counted| counted.component.is_conductor());
    of_kind
        .filter_map(|counted| {
            let bore = counted.component.inner_diameter?;
            Some(reynolds_number(flow * counted.line.share, bore, oil))
        })
        .max_by(f64::total_cmp)
}
