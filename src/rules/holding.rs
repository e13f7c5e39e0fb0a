//! Rules on trapped oil: what heat, cold and leaks do to it until it is released.

#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) mod trios;

use crate::physics::quantity::{Pressure, Temperature};
use crate::tables::figures::{Figure, Rating};
use crate::tables::finding::Subject;
use crate::tables::value::Value;
use crate::tables::words::{Charging, Kind, Severity, Side, Zone};

use super::view::{CircuitView, Fitted};
use super::{Asked, At, Checks, Cure, Family, Hit, Outcome, Reach, RestsOn, Rule, is_below};

/// The family.
pub static FAMILY: Family = Family { letter: 'H', name: "Holding", weighs: true, rules: &[&H01, &H02, &H03, &H04] };

/// Temperature at charging where none is stated, °C.
const USUAL_TEMPERATURE: f64 = 20.0;

pub static H01: Rule = Rule {
    family: &FAMILY,
    code: "H01",
    name: "warm-oil-above-weakest-rating",
    title: "Warm trapped oil above the weakest rating",
    severity: Severity::Major,
    subject: Subject::Circuit,
    looks_for: "The pressure of the trapped oil of a zone at the highest temperature is above the lowest rating there; the zone with the greatest excess is named.",
    why: "Trapped oil has no room to expand: each kelvin raises its pressure, often by several bar. \
          A part that bursts or leaks on the machine does so beside an operator and with a loose workpiece.",
    remedy: "Fit a relief valve set above the charge pressure and at or below the weakest rating, add an accumulator, \
             or replace the weakest part by one with a higher rating.",
    message: "Charged to {charge} at {temp_charge}, the trapped oil reaches {measured} at {temp_hot}[, held there by the relief valve set to {relief_setting}]. \
              The weakest rating[ before the reducing valve{before}][ behind the reducing valve{behind}] is {limit}, of part {weakest_part}[ at position {weakest_position}]: \
              {measured} - {limit} = {excess} above it.",
    limits: &[],
    basis: "ISO 4413 (no part sees more than the pressure it is rated for)",
    passing: "Charged to 200 bar at 20 °C, the oil reaches 290 bar at 35 °C; the weakest part is rated for 350 bar.",
    failing: "Charged to 250 bar at 20 °C, the oil reaches 362 bar at 40 °C; the weakest part is rated for 350 bar.",
    checks: Checks::circuit(warm_oil_above_rating),
    figures: Asked { hot: true, ..Asked::SIDES },
    asked_by: &["temp_max"],
    cures: &[Cure::Accumulator, Cure::StrongerWeakest, Cure::ReliefValve, Cure::ReliefSetting, Cure::LowerSetting],
    rests_on: Some(RestsOn { data: "temp_max", are_stated: |view| view.service.temp_max.is_some() }),
    ..Rule::USUAL
};

fn warm_oil_above_rating(view: &CircuitView, outcome: &mut Outcome) {
    let is_asked = view.service.temp_max.is_some() || view.service.is_unreadable("temp_max");
    if view.charging() == Charging::Live || !is_asked {
        return;
    }
    let side = &view.figures.clamp;
    let mut lacking = None;
    let mut worst: Option<(Zone, Pressure, Rating)> = None;
    for zone in [Zone::Full, Zone::Reduced] {
        let figures = side.zone(zone);
        if figures.lines.is_empty() {
            continue;
        }
        let (Some(hot), Some(weakest)) = (figures.hot, figures.weakest) else {
            let figure = if figures.hot.is_none() { Figure::Hot } else { Figure::Weakest };
            lacking = lacking.or(Some(figure));
            continue;
        };
        let is_worse = worst.is_none_or(|(_, most, rating)| hot - weakest.pressure > most - rating.pressure);
        let apart = || view.ratings_apart(&figures.lines);
        if outcome.is_above_weakest(At::HERE.aspect(zone as u8), hot, weakest, apart) && is_worse {
            worst = Some((zone, hot, weakest));
        }
    }
    if let Some((zone, hot, weakest)) = worst {
        outcome.hit(warm_hit(view, zone, hot, weakest));
    }
    if let Some(figure) = lacking {
        outcome.lack(Some(Side::Clamp), None, figure);
    }
}

fn warm_hit(view: &CircuitView, zone: Zone, hot: Pressure, weakest: Rating) -> Hit {
    let line = view.circuit.lines.get(weakest.line);
    let part = line.and_then(|line| line.component(&view.plant.components)).map(|component| &component.part_no);
    let figures = view.figures.clamp.zone(zone);
    let relief = figures.relief.map(|relief| relief.pressure).filter(|setting| hot >= *setting);
    let is_split = !view.figures.clamp.zone(Zone::Reduced).lines.is_empty();
    let empty = |is_so: bool| (is_split && is_so).then(|| Value::Text(String::new()));
    Hit::here()
        .against(Value::Pressure(hot), Value::Pressure(weakest.pressure))
        .fact_if("relief_setting", relief.map(Value::Pressure))
        .fact_if("charge", figures.pressure.map(Value::Pressure))
        .fact("temp_charge", Value::Temperature(charging_temperature(view)))
        .fact_if("temp_hot", view.service.temp_max.map(|warm| Value::Temperature(warm.max(charging_temperature(view)))))
        .fact_if("before", empty(zone == Zone::Full))
        .fact_if("behind", empty(zone == Zone::Reduced))
        .fact_if("weakest_part", part.map(|part| Value::Text(part.clone())))
        .fact_if("weakest_position", line.and_then(|line| text(&line.position)))
        .fact("excess", Value::Pressure(hot - weakest.pressure))
}

pub static H02: Rule = Rule {
    family: &FAMILY,
    code: "H02",
    name: "cold-oil-below-lowest-pressure",
    title: "Cold trapped oil below the lowest clamping pressure",
    severity: Severity::Major,
    subject: Subject::Circuit,
    looks_for: "The pressure of the trapped oil at the lowest temperature (settled, where none is given) is below pressure_min.",
    why: "Oil contracts more than the steel around it, so trapped pressure falls in the cold, and the clamps with it. \
          A workpiece can come loose before anything has leaked.",
    remedy: "Charge higher where the ratings allow it, add an accumulator on the clamp side, \
             or charge at a temperature nearer to that of the machine.",
    message: "Charged to {charge} at {temp_charge}, the trapped oil falls to {measured}[ at {temp_cold}][ ({slack})]. \
              The clamps hold down to {limit}: {limit} - {measured} = {shortfall} short.",
    limits: &[],
    basis: "common practice",
    passing: "Charged to 200 bar at 20 °C, the oil stands at 148 bar at 12 °C; the clamps hold down to 120 bar.",
    failing: "Charged to 200 bar at 25 °C, the oil stands at 96 bar at 8 °C; the clamps hold down to 120 bar.",
    checks: Checks::circuit(cold_oil_below_lowest),
    figures: Asked { cold: true, ..Asked::SIDES },
    asked_by: &["pressure_min", "temp_min"],
    cures: &[Cure::Accumulator],
    rests_on: Some(RestsOn { data: "pressure_min", are_stated: |view| view.service.pressure_min.is_some() }),
    ..Rule::USUAL
};

fn cold_oil_below_lowest(view: &CircuitView, outcome: &mut Outcome) {
    if view.charging() == Charging::Live || !is_lowest_given(view) {
        return;
    }
    let service = view.service;
    let Some(lowest) = service.pressure_min else {
        return outcome.lack_cell(None, None, Figure::PressureMin, service.origin, "pressure_min");
    };
    let Some(cold) = view.figures.holding.cold_or_settled else { return outcome.lack(None, None, Figure::Cold) };
    if outcome.is_below(At::HERE, cold, lowest) {
        let slack = (cold <= Pressure::ZERO).then(|| Value::Text("the clamps are slack".to_owned()));
        let hit = Hit::here()
            .against(Value::Pressure(cold), Value::Pressure(lowest))
            .fact_if("charge", view.figures.clamp.chain.charge.map(Value::Pressure))
            .fact("temp_charge", Value::Temperature(charging_temperature(view)))
            .fact_if(
                "temp_cold",
                view.service.temp_min.map(|cool| Value::Temperature(cool.min(charging_temperature(view)))),
            )
            .fact_if("slack", slack)
            .fact("shortfall", Value::Pressure(lowest - cold));
        outcome.hit(hit);
    }
}

pub static H03: Rule = Rule {
    family: &FAMILY,
    code: "H03",
    name: "holding-pressure-below-lowest",
    title: "Holding pressure below the lowest clamping pressure",
    severity: Severity::Major,
    subject: Subject::Circuit,
    looks_for: "The oil holds at first, but by the end of the hold time leaks bring it below pressure_min.",
    why: "A few drops of oil carry the whole pressure of a stiff circuit, so a small leak is enough. \
          The workpiece comes loose hours after charging, on the machine.",
    remedy: "Add an accumulator on the clamp side, replace the parts that leak most by tighter ones, charge higher, \
             or recharge before the hold reserve has passed.",
    message: "The oil starts[ at {start}][ at {temperature}] and stands at [{at_most} ]{measured}[ after {hold_time}]. \
              The clamps hold down to {limit}[, which is reached after {reserve}]: \
              {limit} - {measured} = {shortfall} short.",
    limits: &[],
    basis: "common practice",
    passing: "From 190 bar the leak brings the oil to 155 bar in 480 min; the clamps hold down to 120 bar.",
    failing: "From 190 bar the leak brings the oil to 84 bar in 480 min; the clamps hold down to 120 bar, reached after 300 min.",
    checks: Checks::circuit(holding_below_lowest),
    figures: Asked { cold: true, hold: true, ..Asked::SIDES },
    asked_by: &["hold_time"],
    cures: &[Cure::Accumulator, Cure::TighterPart],
    rests_on: Some(RestsOn { data: "pressure_min with hold_time", are_stated: has_hold }),
    ..Rule::USUAL
};

/// What a relief valve has let out is gone without any hold time.
fn has_hold(view: &CircuitView) -> bool {
    let is_held = view.service.hold_time.is_some() || view.figures.holding.hold.is_some();
    view.service.pressure_min.is_some() && is_held
}

fn holding_below_lowest(view: &CircuitView, outcome: &mut Outcome) {
    if view.charging() == Charging::Live || !is_lowest_given(view) {
        return;
    }
    let holding = &view.figures.holding;
    let is_asked = view.service.hold_time.is_some() || view.service.is_unreadable("hold_time");
    let Some(lowest) = view.service.pressure_min else {
        if is_asked {
            outcome.lack_cell(None, None, Figure::PressureMin, view.service.origin, "pressure_min");
        }
        return;
    };
    let falls_short = holding.hold.is_some_and(|hold| outcome.is_below(At::HERE, hold, lowest));
    if holding.cold_or_settled.is_some_and(|first| is_below(first.si(), lowest.si())) {
        // The oil does not hold to begin with: H02 says so.
        return;
    }
    match holding.hold {
        Some(hold) if falls_short => outcome.hit(holding_hit(view, hold, lowest)),
        Some(_) if !holding.hold_is_bound => {}
        _ if is_asked => outcome.lack(None, None, Figure::Hold),
        _ => {}
    }
}

fn holding_hit(view: &CircuitView, hold: Pressure, lowest: Pressure) -> Hit {
    let holding = &view.figures.holding;
    let start = holding.start.or(holding.cold_or_settled);
    Hit::here()
        .against(Value::Pressure(hold), Value::Pressure(lowest))
        .fact_if("start", start.map(Value::Pressure))
        .fact_if("temperature", holding.leak_temperature.map(Value::Temperature))
        .fact_if("hold_time", view.service.hold_time.map(Value::Minutes))
        .fact_if("reserve", holding.reserve.map(Value::Minutes))
        .fact_if("at_most", holding.hold_is_bound.then(|| Value::Text("no more than".to_owned())))
        .fact("shortfall", Value::Pressure(lowest - hold))
}

pub static H04: Rule = Rule {
    family: &FAMILY,
    code: "H04",
    name: "accumulator-precharge-outside-bounds",
    title: "Accumulator precharge outside its bounds",
    severity: Severity::Minor,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "The precharge of an accumulator on the clamp side is outside precharge_low to precharge_high of pressure_min.",
    why: "With too little gas pressure most of the gas is already compressed when it is needed; \
          with too much the accumulator is empty of oil before the clamps reach their lowest pressure and no longer helps.",
    remedy: "Set the precharge between the two bounds, or choose an accumulator that is precharged so.",
    message: "The precharge is {measured}, {relation} the bound of {share} × {pressure_min} = {limit}; \
              the other bound is {other_share} × {pressure_min} = {other_limit}.",
    limits: &["precharge_low", "precharge_high"],
    basis: "common practice",
    passing: "With a pressure_min of 120 bar, a precharge of 90 bar: between 0.5 x 120 = 60 bar and 0.9 x 120 = 108 bar.",
    failing: "With a pressure_min of 120 bar, a precharge of 130 bar: above 0.9 x 120 = 108 bar.",
    checks: Checks::circuit(precharge_outside_bounds),
    cures: &[Cure::Precharge],
    rests_on: Some(RestsOn { data: "pressure_min", are_stated: |view| view.service.pressure_min.is_some() }),
    ..Rule::USUAL
};

fn precharge_outside_bounds(view: &CircuitView, outcome: &mut Outcome) {
    if view.charging() == Charging::Live || !is_lowest_given(view) {
        return;
    }
    view.lack_set_aside(outcome, |fitted| fitted.component.is(Kind::Accumulator) && view.is_on_clamp_side(*fitted));
    let accumulators = view.sound_of(Kind::Accumulator).filter(|fitted| view.is_on_clamp_side(*fitted));
    for fitted in accumulators {
        let Some(lowest) = view.service.pressure_min else {
            outcome.lack(Some(Side::Clamp), Some(fitted.index), Figure::PressureMin);
            continue;
        };
        let Some(precharge) = fitted.line.precharge.or(fitted.component.precharge) else {
            outcome.lack(Some(Side::Clamp), Some(fitted.index), Figure::Setting);
            continue;
        };
        if let Some(hit) = precharge_hit(view, fitted, precharge, lowest, outcome) {
            outcome.hit(hit);
        }
    }
}

fn precharge_hit(
    view: &CircuitView,
    fitted: Fitted,
    precharge: Pressure,
    lowest: Pressure,
    outcome: &mut Outcome,
) -> Option<Hit> {
    let (low, high) = (view.limits().precharge_low, view.limits().precharge_high);
    let at = At::line(fitted.index);
    let is_high = outcome.is_above(at.aspect(1), precharge, lowest * high);
    let (share, other, relation) = if outcome.is_below(at, precharge, lowest * low) {
        (low, high, "below")
    } else if is_high {
        (high, low, "above")
    } else {
        return None;
    };
    let hit = Hit::on_line(fitted.index)
        .in_column("precharge")
        .against(Value::Pressure(precharge), Value::Pressure(lowest * share))
        .fact("relation", Value::Text(relation.to_owned()))
        .fact("share", Value::Number(share))
        .fact("pressure_min", Value::Pressure(lowest))
        .fact("other_share", Value::Number(other))
        .fact("other_limit", Value::Pressure(lowest * other));
    // The component's row is the one to correct where the line has no precharge of its own.
    Some(if fitted.line.precharge.is_some() { hit } else { hit.at(fitted.component.origin) })
}

fn is_lowest_given(view: &CircuitView) -> bool {
    view.service.pressure_min.is_some() || view.service.is_unreadable("pressure_min")
}

fn charging_temperature(view: &CircuitView) -> Temperature {
    view.service.temp_charge.unwrap_or_else(|| Temperature::from_celsius(USUAL_TEMPERATURE))
}

fn text(words: &str) -> Option<Value> {
    (!words.is_empty()).then(|| Value::Text(words.to_owned()))
}
