//! M: what a circuit is made of, and whether its parts suit it, its fluid and its station.

#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) mod trios;

use super::rating::is_unreadable;
use super::view::CircuitView;
use super::{At, Checks, Cure, Family, Hit, Outcome, Reach, RestsOn, Rule, is_above};
use crate::physics::quantity::Volume;
use crate::tables::component::Component;
use crate::tables::figures::{Figure, SideFigures};
use crate::tables::finding::Subject;
use crate::tables::station::StationPart;
use crate::tables::value::Value;
use crate::tables::words::{Acting, Charging, Kind, Severity, Side, Zone};

/// The family.
pub static FAMILY: Family = Family {
    letter: 'M',
    name: "Make-up of the circuit",
    weighs: true,
    rules: &[&M01, &M02, &M03, &M04, &M05, &M06, &M07, &M08, &M09, &M10, &M11, &M12],
};

pub static M01: Rule = Rule {
    family: &FAMILY,
    code: "M01",
    name: "no-charging-cylinder",
    title: "Side has no charging cylinder",
    severity: Severity::Major,
    subject: Subject::Side,
    reach: Reach::Makeup,
    looks_for: "A side of a circuit charged by cylinder, in whose group no circuit has a charging cylinder; the unclamp side of a double-acting circuit needs one too.",
    why: "Nothing brings oil into the circuit: it gets no pressure.",
    remedy: "Fit a charging cylinder on the side and list it; where one is fitted already, list it; where the circuit is charged in another way, state that.",
    message: "The circuit is charged by cylinder, and its {side} side has no charging cylinder[, nor has any of the {members} circuits of its group].[ One that is {built_in} does not count: it needs a line of its own.][ What is there: {present}.]",
    limits: &[],
    basis: "common practice",
    passing: "Both sides of a double-acting circuit list a charging cylinder.",
    failing: "The unclamp side of a double-acting circuit lists none.",
    checks: Checks::circuit(no_cylinder),
    cures: &[Cure::Addition(Kind::ChargingCylinder)],
    ..Rule::USUAL
};

fn no_cylinder(view: &CircuitView, outcome: &mut Outcome) {
    if view.circuit.lines.is_empty() || charging_is_unreadable(view, outcome) {
        return;
    }
    if view.charging() != Charging::Cylinder {
        return;
    }
    for side in view.figures.sides().filter(|side| side.group.cylinder_pieces <= 0.0) {
        if side.group.kinds_are_known {
            let hit = Hit::on_side(side.side).fact_if("members", members(side));
            let is_built_in = side.kinds.has(Kind::ChargingCylinder);
            let hit = hit.fact_if("built_in", is_built_in.then(|| Value::Text("built into another part".to_owned())));
            outcome.hit(if is_built_in { hit } else { with_present(hit, side) });
        } else {
            outcome.lack(Some(side.side), None, Figure::Presence);
        }
    }
}

pub static M02: Rule = Rule {
    family: &FAMILY,
    code: "M02",
    name: "several-charging-cylinders",
    title: "Side has more than one charging cylinder",
    severity: Severity::Minor,
    subject: Subject::Side,
    reach: Reach::Makeup,
    looks_for: "More than one piece of charging cylinder in a group of circuits on one side; found on the circuits that list one.",
    why: "One drive ram pushes one cylinder. With several the strokes differ, and the first one's ratio is taken for all.",
    remedy: "Keep one charging cylinder per side; split the circuit where one is too small.",
    message: "The {side} side has {measured} charging cylinders[ in its group of {members} circuits], and {limit} is expected. Their capacities are added; ratio and return loss are those of the first.",
    limits: &[],
    basis: "common practice",
    passing: "The clamp side has one charging cylinder.",
    failing: "The clamp side lists a charging cylinder with the quantity 2.",
    checks: Checks::circuit(several_cylinders),
    ..Rule::USUAL
};

fn several_cylinders(view: &CircuitView, outcome: &mut Outcome) {
    let is_doubled = |side: &&SideFigures| side.cylinder.is_some() && is_above(side.group.cylinder_pieces, 1.0);
    for side in view.figures.sides().filter(is_doubled) {
        let pieces = Value::Number(side.group.cylinder_pieces);
        let hit = Hit::on_side(side.side).against(pieces, Value::Number(1.0));
        outcome.hit(hit.fact_if("members", members(side)));
    }
}

pub static M03: Rule = Rule {
    family: &FAMILY,
    code: "M03",
    name: "no-check-valve",
    title: "Uncoupled circuit has no check valve",
    severity: Severity::Major,
    subject: Subject::Circuit,
    reach: Reach::Makeup,
    looks_for: "The clamp side of an uncoupled circuit without a check valve, listed or built in.",
    why: "Only a check valve keeps the oil in the circuit when the load station lets go.",
    remedy: "Fit a check valve and list it; where one is fitted already, list it, or enter it under `includes` of the part that has it built in.",
    message: "The circuit is uncoupled after charging, and its clamp side has no check valve, listed or built in.[ What is there: {present}.]",
    limits: &[],
    basis: "common practice",
    passing: "The clamp side lists a check valve, or a charging cylinder with one built in.",
    failing: "The clamp side lists a charging cylinder, tubes and clamps alone.",
    checks: Checks::circuit(no_check_valve),
    cures: &[Cure::Addition(Kind::CheckValve)],
    ..Rule::USUAL
};

fn no_check_valve(view: &CircuitView, outcome: &mut Outcome) {
    if !charging_is_unreadable(view, outcome) && view.charging().is_uncoupled() {
        missing_kind(view, &view.figures.clamp, &[Kind::CheckValve], Hit::here(), outcome);
    }
}

pub static M04: Rule = Rule {
    family: &FAMILY,
    code: "M04",
    name: "no-isolation-valve",
    title: "Uncoupled circuit has no isolation valve",
    severity: Severity::Major,
    subject: Subject::Side,
    reach: Reach::Makeup,
    looks_for: "The clamp side of an uncoupled circuit without an isolation valve, listed or built in; its unclamp side too, where that has a check valve.",
    why: "Without it the trapped oil can't be released by hand, at the machine or for maintenance.",
    remedy: "Fit an isolation valve and list it; where one is fitted already, list it, or enter it under `includes` of the part that has it built in.",
    message: "The circuit is uncoupled after charging, and its {side} side has no isolation valve, listed or built in, to release the trapped oil.[ What is there: {present}.]",
    limits: &[],
    basis: "ISO 4413 (trapped pressure can be released)",
    passing: "The clamp side lists an isolation valve.",
    failing: "The unclamp side lists a check valve, and nothing that releases the oil by hand.",
    checks: Checks::circuit(no_isolation_valve),
    cures: &[Cure::Addition(Kind::IsolationValve)],
    ..Rule::USUAL
};

fn no_isolation_valve(view: &CircuitView, outcome: &mut Outcome) {
    if charging_is_unreadable(view, outcome) || !view.charging().is_uncoupled() {
        return;
    }
    for side in view.figures.sides() {
        let may_trap = side.side == Side::Clamp || side.kinds.has(Kind::CheckValve) || !side.kinds_are_known;
        if may_trap {
            missing_kind(view, side, &[Kind::IsolationValve], Hit::on_side(side.side), outcome);
        }
    }
}

pub static M05: Rule = Rule {
    family: &FAMILY,
    code: "M05",
    name: "no-gauge-or-test-point",
    title: "Clamp side has no gauge and no test point",
    severity: Severity::Minor,
    subject: Subject::Circuit,
    reach: Reach::Makeup,
    looks_for: "A clamp side without a gauge or test point, listed or built in.",
    why: "Nobody can tell whether the pallet is under pressure or has lost it.",
    remedy: "Fit a gauge or a test point and list it; where one is fitted already, list it, or enter it under `includes` of the part that has it built in.",
    message: "The clamp side has neither a gauge nor a test point, listed or built in, to read its pressure.[ What is there: {present}.]",
    limits: &[],
    basis: "ISO 4413 (the pressure of a circuit can be verified)",
    passing: "The clamp side lists a test point.",
    failing: "The clamp side lists neither a gauge nor a test point.",
    checks: Checks::circuit(no_gauge),
    cures: &[Cure::Addition(Kind::Gauge), Cure::Addition(Kind::TestPoint)],
    ..Rule::USUAL
};

fn no_gauge(view: &CircuitView, outcome: &mut Outcome) {
    missing_kind(view, &view.figures.clamp, &[Kind::Gauge, Kind::TestPoint], Hit::here(), outcome);
}

pub static M06: Rule = Rule {
    family: &FAMILY,
    code: "M06",
    name: "clamp-acting-differs-from-circuit",
    title: "Clamp and circuit act in different ways",
    severity: Severity::Major,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A double-acting clamp in a single-acting circuit, or the reverse.",
    why: "A double-acting clamp has no spring and stays closed without oil on its unclamp side; a single-acting one has no port for it.",
    remedy: "Take a clamp that acts as the circuit does, or correct `acting` of the circuit.",
    message: "{part}[ at position {position}] is a {clamp_acting}-acting clamp, and the circuit is[ stated as {stated}-acting.][ {taken}-acting: its `acting` is blank and its clamps are of both sorts.]",
    limits: &[],
    basis: "common practice",
    passing: "A circuit stated as double-acting has double-acting clamps alone.",
    failing: "A circuit stated as single-acting has a clamp with an area_unclamp.",
    checks: Checks::circuit(other_acting),
    cures: &[Cure::PartActingOtherwise],
    ..Rule::USUAL
};

fn other_acting(view: &CircuitView, outcome: &mut Outcome) {
    view.lack_set_aside(outcome, |fitted| fitted.component.is(Kind::Clamp));
    let clamps = || view.sound_of(Kind::Clamp);
    if view.service.is_unreadable("acting") {
        if clamps().next().is_some() {
            outcome.lack(None, None, Figure::Cell);
        }
        return;
    }
    let (fact, acting) = match view.service.acting {
        Some(stated) => ("stated", stated),
        None => ("taken", view.figures.acting),
    };
    for fitted in clamps() {
        let own = if fitted.component.is_double_acting() { Acting::Double } else { Acting::Single };
        if own != acting {
            let hit = Hit::on_line(fitted.index).fact("clamp_acting", Value::Text(own.word().to_owned()));
            let word = Value::Text(acting.word().to_owned());
            outcome.hit(if fact == "stated" { hit.fact("stated", word) } else { hit.fact("taken", word) });
        }
    }
}

pub static M07: Rule = Rule {
    family: &FAMILY,
    code: "M07",
    name: "seal-unsuited-to-fluid",
    title: "Seal is not suited to the fluid",
    severity: Severity::Major,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A part whose seal material is not among those that the circuit's fluid suits.",
    why: "A seal that swells or hardens in the fluid leaks, and the pallet loses its pressure.",
    remedy: "Take the part with a seal that suits, change the fluid, or add the seal to the fluid's list in the policy.",
    message: "The seal of {part}[ at position {position}] is {seal}, and the fluid '{fluid}' suits[ {suits} only.][ {none}.]",
    limits: &[],
    basis: "ISO 4413 (seals compatible with the fluid)",
    passing: "An NBR seal in a mineral oil that suits NBR, FKM and PU.",
    failing: "An EPDM seal in a mineral oil.",
    checks: Checks::circuit(unsuited_seal),
    cures: &[Cure::OtherPart],
    rests_on: Some(RestsOn {
        data: "seal of a part",
        are_stated: |view| view.sound().any(|fitted| !fitted.component.seal.is_empty()),
    }),
    ..Rule::USUAL
};

fn unsuited_seal(view: &CircuitView, outcome: &mut Outcome) {
    view.lack_set_aside(outcome, |fitted| !fitted.component.seal.is_empty());
    for fitted in view.sound().filter(|fitted| !fitted.component.seal.is_empty()) {
        let Some(fluid) = view.fluid() else {
            outcome.lack(None, Some(fitted.index), Figure::Fluid);
            continue;
        };
        let suits = |seal: &str| fluid.seals.iter().any(|suited| suited.to_lowercase() == seal.to_lowercase());
        // A part with seals of several materials needs a fluid that suits all of them.
        let mut materials = fitted.component.seal.split([',', ';', '/', '+', ' ']).filter(|seal| !seal.is_empty());
        if suits(&fitted.component.seal) || materials.all(suits) {
            continue;
        }
        let name = if view.service.fluid.is_empty() { "default" } else { &view.service.fluid };
        let hit = Hit::on_line(fitted.index)
            .fact("seal", Value::Text(fitted.component.seal.clone()))
            .fact("fluid", Value::Text(name.to_owned()));
        outcome.hit(if fluid.seals.is_empty() {
            hit.fact("none", Value::Text("no seal material".to_owned()))
        } else {
            hit.fact("suits", Value::List(fluid.seals.clone()))
        });
    }
}

pub static M08: Rule = Rule {
    family: &FAMILY,
    code: "M08",
    name: "cylinder-stroke-above-ram-stroke",
    title: "Charging cylinder's stroke is longer than the drive ram's",
    severity: Severity::Observation,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A charging cylinder whose stroke is longer than that of the station's drive ram.",
    why: "The ram stands at its end before the cylinder is pushed in: part of its capacity can't be used up.",
    remedy: "Charge at a station with a longer drive ram, or take a charging cylinder with a shorter stroke.",
    message: "The stroke of the charging cylinder {part} is {measured}, and the drive ram {ram} of station {station} has {limit}, {excess} less: that much of its stroke can't be used.",
    limits: &[],
    basis: "common practice",
    passing: "A cylinder with a stroke of 60 mm under a ram with 60 mm.",
    failing: "A cylinder with a stroke of 80 mm under a ram with 60 mm.",
    checks: Checks::circuit(short_ram),
    cures: &[Cure::OtherCylinder, Cure::OtherDriveRam],
    rests_on: Some(RestsOn {
        data: "stroke of a charging cylinder",
        are_stated: |view| view.sound_of(Kind::ChargingCylinder).any(|fitted| fitted.component.stroke.is_some()),
    }),
    ..Rule::USUAL
};

fn short_ram(view: &CircuitView, outcome: &mut Outcome) {
    if view.charging() != Charging::Cylinder || view.service.station.is_empty() {
        return;
    }
    let ram = view.station().and_then(|station| view.plant.drive_ram_of(station));
    for fitted in view.sound_of(Kind::ChargingCylinder) {
        if is_unreadable(fitted.component, "stroke") {
            outcome.lack(None, Some(fitted.index), Figure::Stroke);
        }
        let Some(stroke) = fitted.component.stroke else { continue };
        let Some((ram, longest)) = ram.and_then(|ram| Some((ram, ram.stroke?))) else {
            outcome.lack(None, Some(fitted.index), Figure::DriveRamStroke);
            continue;
        };
        if outcome.is_above(At::line(fitted.index), stroke, longest) {
            outcome.hit(
                Hit::on_line(fitted.index)
                    .against(Value::Length(stroke), Value::Length(longest))
                    .fact("ram", Value::Text(ram.part_no.clone()))
                    .fact("station", Value::Text(view.service.station.to_string()))
                    .fact("excess", Value::Length(stroke - longest)),
            );
        }
    }
}

pub static M09: Rule = Rule {
    family: &FAMILY,
    code: "M09",
    name: "pump-oil-below-demand",
    title: "Pump's usable oil is below what the side needs",
    severity: Severity::Major,
    subject: Subject::Side,
    looks_for: "A pump whose usable oil is less than ratio × demand of a side's group.",
    why: "The pump runs dry before the side is at its pressure.",
    remedy: "Charge at a station whose pump has more usable oil, or split the circuit.",
    message: "The {side} side needs {ratio} × {demand} = {measured} of oil from the pump {pump}, and its usable oil is {limit}, {excess} less.",
    limits: &[],
    basis: "common practice",
    passing: "A demand of 100 cm³ at a ratio of 2 from a pump with 250 cm³.",
    failing: "A demand of 150 cm³ at a ratio of 2 from a pump with 250 cm³.",
    checks: Checks::circuit(short_of_oil),
    cures: &[Cure::OtherPump],
    live: Some("M09 pump's usable oil"),
    rests_on: Some(RestsOn {
        data: "capacity of the station's pump",
        are_stated: |view| pump_of(view).is_some_and(|pump| pump.capacity.is_some()),
    }),
    ..Rule::USUAL
};

fn short_of_oil(view: &CircuitView, outcome: &mut Outcome) {
    if view.circuit.lines.is_empty() || view.service.station.is_empty() {
        return;
    }
    if view.station().is_some_and(|station| station.pump == StationPart::Blank) {
        return;
    }
    let pump = pump_of(view);
    for side in view.figures.sides() {
        match pump {
            None => outcome.lack(Some(side.side), None, Figure::Demand),
            Some(pump) if is_unreadable(pump, "capacity") => outcome.lack(Some(side.side), None, Figure::Cell),
            Some(pump) => {
                if let Some(capacity) = pump.capacity {
                    compare_oil(side, pump, capacity, outcome);
                }
            }
        }
    }
}

fn pump_of<'a>(view: &CircuitView<'a>) -> Option<&'a Component> {
    view.station().and_then(|station| view.plant.pump_of(station))
}

fn compare_oil(side: &SideFigures, pump: &Component, capacity: Volume, outcome: &mut Outcome) {
    let Some(ratio) = side.chain.ratio else {
        return outcome.lack(Some(side.side), None, Figure::Ratio);
    };
    let Some(demand) = side.group.demand else {
        return outcome.lack(Some(side.side), None, Figure::Demand);
    };
    let needed = ratio * demand;
    if outcome.is_above(At::side(side.side), needed, capacity) {
        outcome.hit(
            Hit::on_side(side.side)
                .against(Value::Volume(needed), Value::Volume(capacity))
                .fact("ratio", Value::Ratio(ratio))
                .fact("demand", Value::Volume(demand))
                .fact("pump", Value::Text(pump.part_no.clone()))
                .fact("excess", Value::Volume(needed - capacity)),
        );
    }
}

pub static M10: Rule = Rule {
    family: &FAMILY,
    code: "M10",
    name: "no-filter-behind-coupling",
    title: "Oil crosses a coupling and there is no filter",
    severity: Severity::Observation,
    subject: Subject::Circuit,
    reach: Reach::Makeup,
    looks_for: "A circuit charged through a coupling, or connected all the time, whose clamp side has no filter, listed or built in.",
    why: "With every coupling dirt may enter with the oil, and seats of valves that let dirt in leak.",
    remedy: "Fit a filter where the oil comes in, behind the coupling and ahead of the check valve where there are such, and list it; where one is fitted already, list it.",
    message: "Oil comes in from outside (charging: {charging}), and the clamp side has no filter, listed or built in.[ What is there: {present}.]",
    limits: &[],
    basis: "ISO 4413 (contamination of the fluid is controlled)",
    passing: "A coupled circuit lists a filter behind its coupling.",
    failing: "A coupled circuit lists a coupling, a check valve and clamps.",
    checks: Checks::circuit(no_filter),
    ..Rule::USUAL
};

fn no_filter(view: &CircuitView, outcome: &mut Outcome) {
    if charging_is_unreadable(view, outcome) || view.charging() == Charging::Cylinder {
        return;
    }
    let before = outcome.hits.len();
    missing_kind(view, &view.figures.clamp, &[Kind::Filter], Hit::here(), outcome);
    for hit in outcome.hits.iter_mut().skip(before) {
        hit.facts.push(("charging", Value::Text(view.charging().word().to_owned())));
    }
}

pub static M11: Rule = Rule {
    family: &FAMILY,
    code: "M11",
    name: "no-way-back-for-oil",
    title: "Valve lets no oil flow back",
    severity: Severity::Major,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A sequence or reducing valve without a check valve built in, in a single-acting circuit.",
    why: "The springs press the clamps' oil back the way that it came. Without a way round the valve the clamps stay closed, or open slowly.",
    remedy: "Take a valve with a check valve built in; where it has one already, enter that under `includes` of the valve.",
    message: "The circuit is single-acting, and the {kind} {part}[ at position {position}] has no check valve built in: oil behind it can't flow back.",
    limits: &[],
    basis: "common practice",
    passing: "A sequence valve with `includes` check_valve.",
    failing: "A reducing valve without a check valve built in ahead of spring-returned clamps.",
    checks: Checks::circuit(no_way_back),
    cures: &[Cure::OtherPart],
    ..Rule::USUAL
};

fn no_way_back(view: &CircuitView, outcome: &mut Outcome) {
    view.lack_set_aside(outcome, |fitted| {
        let is_valve = fitted.component.is(Kind::SequenceValve) || fitted.component.is(Kind::ReducingValve);
        is_valve && !fitted.component.includes.has(Kind::CheckValve)
    });
    let valves = view.sound_of(Kind::SequenceValve).chain(view.sound_of(Kind::ReducingValve));
    for fitted in valves.filter(|fitted| !fitted.component.includes.has(Kind::CheckValve)) {
        if view.service.is_unreadable("acting") {
            outcome.lack_cell(None, Some(fitted.index), Figure::Cell, view.service.origin, "acting");
        } else if view.figures.acting == Acting::Single {
            let kind = fitted.component.kind.map(|kind| Value::Text(kind.plain()));
            outcome.hit(Hit::on_line(fitted.index).fact_if("kind", kind));
        }
    }
}

pub static M12: Rule = Rule {
    family: &FAMILY,
    code: "M12",
    name: "reduced-zone-without-gauge",
    title: "No gauge behind the reducing valve",
    severity: Severity::Minor,
    subject: Subject::Circuit,
    reach: Reach::Makeup,
    looks_for: "The zone behind the reducing valve of an uncoupled circuit without a gauge or test point of its own, listed or built in.",
    why: "Oil can stay trapped behind the valve while the gauge ahead of it shows nothing.",
    remedy: "Fit a gauge or a test point behind the reducing valve and list it in the zone `reduced`; where one is fitted already, list it there.",
    message: "Behind the reducing valve there is neither a gauge nor a test point: pressure that no gauge shows.[ What is there: {present}.]",
    limits: &[],
    basis: "ISO 4413 (the pressure of a circuit can be verified)",
    passing: "A test point is listed in the zone `reduced`.",
    failing: "A gauge in the zone `full` alone, and clamps behind a reducing valve.",
    checks: Checks::circuit(unseen_pressure),
    cures: &[],
    ..Rule::USUAL
};

fn unseen_pressure(view: &CircuitView, outcome: &mut Outcome) {
    let side = &view.figures.clamp;
    let zone = side.zone(Zone::Reduced);
    let is_seen = zone.kinds.has(Kind::Gauge) || zone.kinds.has(Kind::TestPoint);
    if zone.lines.is_empty() || is_seen || charging_is_unreadable(view, outcome) || !view.charging().is_uncoupled() {
        return;
    }
    if side.kinds_are_known {
        let kinds: Vec<String> = zone.kinds.iter().map(Kind::plain).collect();
        outcome.hit(Hit::here().fact_if("present", (!kinds.is_empty()).then_some(Value::List(kinds))));
    } else {
        outcome.lack(Some(side.side), None, Figure::Presence);
    }
}

/// A side has none of these kinds, listed or built in.
fn missing_kind(view: &CircuitView, side: &SideFigures, kinds: &[Kind], hit: Hit, outcome: &mut Outcome) {
    if view.circuit.lines.is_empty() || kinds.iter().any(|kind| side.kinds.has(*kind)) {
        return;
    }
    if side.kinds_are_known {
        outcome.hit(with_present(hit, side));
    } else {
        outcome.lack(Some(side.side), None, Figure::Presence);
    }
}

/// With the kinds that the side does have.
fn with_present(hit: Hit, side: &SideFigures) -> Hit {
    let kinds: Vec<String> = side.kinds.iter().map(Kind::plain).collect();
    hit.fact_if("present", (!kinds.is_empty()).then_some(Value::List(kinds)))
}

/// How the circuit is charged was stated and can't be read.
fn charging_is_unreadable(view: &CircuitView, outcome: &mut Outcome) -> bool {
    let is_lost = view.service.is_unreadable("charging");
    if is_lost {
        outcome.lack_cell(None, None, Figure::Cell, view.service.origin, "charging");
    }
    is_lost
}

/// How many circuits the side's group has, where it is not one.
fn members(side: &SideFigures) -> Option<Value> {
    (side.group.members > 1).then(|| Value::Count(side.group.members.into()))
}
