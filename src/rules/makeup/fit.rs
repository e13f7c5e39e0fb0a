//! M06 to M09: whether the parts suit the circuit, its fluid and its station.

use crate::physics::quantity::Volume;
use crate::rules::rating::is_unreadable;
use crate::rules::view::CircuitView;
use crate::rules::{Checks, Hit, Outcome, Rule, is_above};
use crate::tables::component::Component;
use crate::tables::figures::{Figure, SideFigures};
use crate::tables::finding::Subject;
use crate::tables::station::StationPart;
use crate::tables::value::Value;
use crate::tables::words::{Acting, Charging, Kind, Severity};

pub static M06: Rule = Rule {
    code: "M06",
    name: "clamp-acting-differs-from-circuit",
    title: "Clamp and circuit act in different ways",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A double-acting clamp in a single-acting circuit, or the reverse.",
    why: "A double-acting clamp has no spring and stays closed without oil on its unclamp side; a single-acting one has no port for it.",
    remedy: "Take a clamp that acts as the circuit does, or correct `acting` of the circuit.",
    message: "{part}[ at position {position}] is a {clamp_acting}-acting clamp, and the circuit is[ stated as {stated}-acting.][ {taken}-acting: its `acting` is blank and its clamps are of both sorts.]",
    limits: &[],
    basis: "common practice",
    passing: "A circuit stated as double-acting has double-acting clamps alone.",
    failing: "A circuit stated as single-acting has a clamp with an area_unclamp.",
    checks: Checks::circuit(other_acting),
};

fn other_acting(view: &CircuitView, outcome: &mut Outcome) {
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
    code: "M07",
    name: "seal-unsuited-to-fluid",
    title: "Seal is not suited to the fluid",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A part whose seal material is not among those that the circuit's fluid suits.",
    why: "A seal that swells or hardens in the fluid leaks, and the pallet loses its pressure.",
    remedy: "Take the part with a seal that suits, change the fluid, or add the seal to the fluid's list in the policy.",
    message: "The seal of {part}[ at position {position}] is {seal}, and the fluid '{fluid}' suits[ {suits} only.][ {none}.]",
    limits: &[],
    basis: "ISO 4413 (seals compatible with the fluid)",
    passing: "An NBR seal in a mineral oil that suits NBR, FKM and PU.",
    failing: "An EPDM seal in a mineral oil.",
    checks: Checks::circuit(unsuited_seal),
};

fn unsuited_seal(view: &CircuitView, outcome: &mut Outcome) {
    for fitted in view.sound().filter(|fitted| !fitted.component.seal.is_empty()) {
        let Some(fluid) = view.fluid() else {
            outcome.lack(None, Some(fitted.index), Figure::Fluid);
            continue;
        };
        let seal = fitted.component.seal.to_lowercase();
        if fluid.seals.iter().any(|suited| suited.to_lowercase() == seal) {
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
    code: "M08",
    name: "cylinder-stroke-above-ram-stroke",
    title: "Charging cylinder's stroke is longer than the drive ram's",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A charging cylinder whose stroke is longer than that of the station's drive ram.",
    why: "The ram stands at its end before the cylinder is pushed in: part of its capacity can't be used up.",
    remedy: "Charge at a station with a longer drive ram, or take a charging cylinder with a shorter stroke.",
    message: "The stroke of the charging cylinder {part} is {measured}, and the drive ram {ram} of station {station} has {limit}, {excess} less.",
    limits: &[],
    basis: "common practice",
    passing: "A cylinder with a stroke of 60 mm under a ram with 60 mm.",
    failing: "A cylinder with a stroke of 80 mm under a ram with 60 mm.",
    checks: Checks::circuit(short_ram),
};

fn short_ram(view: &CircuitView, outcome: &mut Outcome) {
    if view.charging() != Charging::Cylinder || view.service.station.is_empty() {
        return;
    }
    let ram = view.station().and_then(|station| view.plant.component_at(station.drive_ram.index()));
    for fitted in view.sound_of(Kind::ChargingCylinder) {
        if is_unreadable(fitted.component, "stroke") {
            outcome.lack(None, Some(fitted.index), Figure::Stroke);
        }
        let Some(stroke) = fitted.component.stroke else { continue };
        let Some((ram, longest)) = ram.and_then(|ram| Some((ram, ram.stroke?))) else {
            outcome.lack(None, Some(fitted.index), Figure::DriveRamStroke);
            continue;
        };
        if is_above(stroke.si(), longest.si()) {
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
    code: "M09",
    name: "pump-oil-below-demand",
    title: "Pump's usable oil is below what the side needs",
    severity: Severity::Major,
    subject: Subject::Side,
    looks_for: "A pump whose usable oil is less than ratio × demand of a side.",
    why: "The pump runs dry before the side is at its pressure.",
    remedy: "Charge at a station whose pump has more usable oil, or split the circuit.",
    message: "The {side} side needs {ratio} × {demand} = {measured} of oil from the pump {pump}, and its usable oil is {limit}, {excess} less.",
    limits: &[],
    basis: "common practice",
    passing: "A demand of 100 cm³ at a ratio of 2 from a pump with 250 cm³.",
    failing: "A demand of 150 cm³ at a ratio of 2 from a pump with 250 cm³.",
    checks: Checks::circuit(short_of_oil),
};

fn short_of_oil(view: &CircuitView, outcome: &mut Outcome) {
    if view.circuit.lines.is_empty() || view.service.station.is_empty() {
        return;
    }
    let pump = match view.station().map(|station| &station.pump) {
        Some(StationPart::Blank) => return,
        Some(StationPart::Known(index)) => view.plant.component_at(Some(*index)),
        Some(StationPart::Unknown(_)) | None => None,
    };
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

fn compare_oil(side: &SideFigures, pump: &Component, capacity: Volume, outcome: &mut Outcome) {
    let Some(ratio) = side.chain.ratio else {
        return outcome.lack(Some(side.side), None, Figure::Ratio);
    };
    let Some(demand) = side.volumes.demand else {
        return outcome.lack(Some(side.side), None, Figure::Demand);
    };
    let needed = ratio * demand;
    if is_above(needed.si(), capacity.si()) {
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
