//! The trapped oil from the charge to the end of the hold.

use crate::circuit::trapped::trapped_oil;
use crate::physics::chain::CHARGING_WARMTH;
use crate::physics::quantity::{Pressure, Temperature, Volume};
use crate::tables::figures::Figure;
use crate::tables::value::Value;
use crate::tables::words::Charging;

use super::workings::Workings;
use super::{Chapter, WorkStep};

pub(super) fn chapter(workings: &Workings) -> Chapter {
    let mut chapter = Chapter::new("Trapped oil");
    if workings.service.charging() == Charging::Live {
        return chapter;
    }
    let trapped = trapped_oil(&workings.inputs, workings.figures);
    match &trapped {
        Ok(trapped) => settling(workings, trapped, &mut chapter),
        Err(because) => chapter.say(format!("What the trapped oil does is not known: {because}.")),
    }
    if let Some(words) = workings.audit.counts_on_check_valve() {
        chapter.say(format!("Nothing holds the oil once the circuit is uncoupled: what follows holds {words}."));
    }
    figures(workings, &mut chapter);
    for note in &workings.figures.holding.validity {
        chapter.say(format!("Outside a formula's range: {note}"));
    }
    chapter
}

/// A difference of temperature: no zero is shifted.
fn kelvin(difference: Temperature) -> Value {
    Value::Text(format!("{:.3} K", difference.si()))
}

fn settling(workings: &Workings, trapped: &crate::physics::trapped_circuit::TrappedCircuit, chapter: &mut Chapter) {
    let volume = |volume: Volume| Some(Value::Volume(volume));
    let service = workings.service;
    let range = trapped.over(service.temp_min, service.temp_max);
    let formula = "V_t = V_line + V_dead + V_sw, of what is behind the check valve";
    chapter.add(WorkStep::new("Oil of zone full, V_t", volume(trapped.full.volume)).by(formula, ""));
    if let Some(reduced) = &trapped.reduced {
        chapter.add(WorkStep::new("Oil of zone reduced, V_t", volume(reduced.zone.volume)).by(formula, ""));
    }
    let zones = std::iter::once(&trapped.full).chain(trapped.reduced.as_ref().map(|reduced| &reduced.zone));
    let round = workings.round_pressure();
    let gives: Volume = zones.map(|zone| round * zone.elasticity).sum();
    let round = workings.pressure(round);
    let gives = WorkStep::new(format!("Tubes, hoses and clamps give, for {round}"), volume(gives));
    chapter.add(gives.by("C_el p", format!("p = {round}")));
    let oil = &trapped.oil;
    let is_long = trapped.dwell >= trapped.dwell_settled;
    let warmth = if is_long {
        Temperature::ZERO
    } else {
        crate::physics::chain::charging_warmth(
            oil.thermal_expansion,
            trapped.charge_temperature,
            trapped.full_pressure,
            oil.density,
            oil.specific_heat,
        )
    };
    let numbers = if is_long {
        "the dwell is long enough for the oil to have settled".to_owned()
    } else {
        format!(
            "{:e}/K × T1 at {} × {}/({} kg/m³ × {} J/(kg K))",
            oil.thermal_expansion,
            workings.temperature(trapped.charge_temperature),
            workings.pressure(trapped.full_pressure),
            oil.density.si(),
            oil.specific_heat
        )
    };
    chapter.add(
        WorkStep::new("Oil warms as it is pumped, ΔT_c", Some(kelvin(warmth))).by(CHARGING_WARMTH.formula, numbers),
    );
    let closing = WorkStep::new("Oil that slips back as valves close", volume(trapped.closing_volume));
    chapter.add(closing.by("Σ n closing_volume of check valves and couplings", ""));
    let (charged, settled) = (range.charged_oil().total(), range.settled_oil().total());
    let formula = "N_0 = M(p_z, T1), the oil referred to the state at charge";
    chapter.add(WorkStep::new("Oil just charged, N_0", volume(charged)).by(formula, ""));
    let numbers = format!("{} × exp(−α ΔT_c) − {}", workings.volume(charged), workings.volume(trapped.closing_volume));
    chapter
        .add(WorkStep::new("Oil left once settled, N", volume(settled)).by("N = N_0 exp(−α ΔT_c) − closing", numbers));
    if trapped.full.relief.is_some() || trapped.reduced.as_ref().is_some_and(|reduced| reduced.zone.relief.is_some()) {
        chapter.add(WorkStep::new("Oil that relief valves let out when warm", volume(range.vented_oil())));
    }
}

fn figures(workings: &Workings, chapter: &mut Chapter) {
    let holding = &workings.figures.holding;
    let service = workings.service;
    let clamp = &workings.figures.clamp;
    let gap = |figure: Figure| workings.gap(clamp, figure);
    let pressure = |pressure: Option<Pressure>| pressure.map(Value::Pressure);
    let charge = workings.inputs.charge_temperature();
    let settled = WorkStep::new("Settled pressure, p_settled", pressure(holding.settled));
    let because = if holding.settled.is_none() { gap(Figure::Cold) } else { String::new() };
    let at = charge.map(|charge| format!("T1 = {}", workings.temperature(charge))).unwrap_or_default();
    chapter.add(settled.by("M(p_settled, T1) = N", at).because(because).in_column("p_settled_bar"));
    if let Some(hottest) = service.temp_max {
        let at = format!("T_hot = {}", workings.temperature(charge.map_or(hottest, |charge| hottest.max(charge))));
        let because = if holding.hot.is_none() { gap(Figure::Hot) } else { String::new() };
        let step = WorkStep::new("Warm, in the zone of the clamps, p_hot", pressure(holding.hot));
        let step =
            step.by("M_z(p_hot, T_hot) = N_z,0, each zone by itself, at most its relief valve's setting", at.clone());
        chapter.add(step.because(because.clone()).from([workings.own_row()]).in_column("p_hot_bar"));
        let step = WorkStep::new("Warm, behind the check valve, p_hot_full", pressure(holding.hot_full));
        chapter.add(step.by("as p_hot, of zone full", at).because(because).in_column("p_hot_full_bar"));
    }
    if let Some(coldest) = service.temp_min {
        let at = format!("T_cold = {}", workings.temperature(charge.map_or(coldest, |charge| coldest.min(charge))));
        let because = if holding.cold.is_none() { gap(Figure::Cold) } else { String::new() };
        let step = WorkStep::new("Cold, p_cold", pressure(holding.cold)).by("M(p_cold, T_cold) = N", at);
        chapter.add(step.because(because).from([workings.own_row()]).in_column("p_cold_bar"));
    }
    let time = service.hold_time.map(|time| format!("for {}", workings.minutes(time))).unwrap_or_default();
    let mut held = WorkStep::new("Held, p_hold", pressure(holding.hold));
    held = held.by("t = ∫ (∂M/∂p)/(G p) dp, by the cold way and the hot way, the lower", time);
    let mut because = if holding.hold.is_none() || holding.hold_is_bound { gap(Figure::Hold) } else { String::new() };
    if holding.hold.is_some() && holding.hold_is_bound {
        because = format!("at most: {because}");
    }
    chapter.add(held.because(because).from([workings.own_row()]).in_column("p_hold_bar"));
    let reserve = WorkStep::new("Hold reserve, until pressure_min", holding.reserve.map(Value::Minutes));
    let because = if holding.reserve_is_endless && holding.hold_is_bound {
        format!("by the leaks that are stated it has no end: {}", gap(Figure::Hold))
    } else if holding.reserve_is_endless {
        "nothing leaks: it has no end".to_owned()
    } else if holding.reserve.is_none() && service.pressure_min.is_none() {
        "no pressure_min is given".to_owned()
    } else if holding.reserve.is_none() {
        gap(Figure::HoldReserve)
    } else if holding.hold_is_bound {
        format!("at most: {}", gap(Figure::Hold))
    } else {
        String::new()
    };
    chapter.add(reserve.because(because).in_column("hold_reserve_min"));
    if service.charging() == Charging::Cylinder {
        let group = &clamp.group;
        let step = WorkStep::new("Days that a filling lasts", group.topup_days.map(Value::Number));
        let because = if group.topup_is_endless && group.topup_is_bound {
            "by the leaks that are stated it has no end, and a part states none".to_owned()
        } else if group.topup_is_endless {
            "nothing is lost: it has no end".to_owned()
        } else if group.topup_days.is_none() {
            gap(Figure::Topup)
        } else if group.topup_is_bound {
            "at most: a part states no leak".to_owned()
        } else {
            String::new()
        };
        let step = step.by("reserve/w/cycles_per_day, w the oil that leaves the circuits in a cycle", "");
        chapter.add(step.because(because).in_column("topup_days"));
    }
}
