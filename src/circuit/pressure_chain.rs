//! The pressure chain of one side: from the pump to the weakest part.

use crate::physics::chain::{PumpLimits, intensified_pressure, pressure_ratio, pump_pressure_needed};
use crate::physics::quantity::Pressure;
use crate::rules::makeup::M01;
use crate::rules::rating::{line_rating, wall_rating};
use crate::rules::{is_above, is_below};
use crate::tables::component::Component;
use crate::tables::figures::{Chain, Figure, Gap, Rating, SideFigures, ZoneFigures};
use crate::tables::line::{Line, PartRef};
use crate::tables::plant::Plant;
use crate::tables::station::{Station, StationPart};
use crate::tables::words::{Charging, Kind, Zone};

use super::side::{CircuitInputs, JoinedLine};

/// What the circuits of a group have in common before any oil flows.
pub(super) struct GroupChain {
    /// Ratio and return loss of the first charging cylinder; the reason where they are unknown.
    pub(super) ratio: Result<(f64, Pressure), String>,
    /// Why the members can't be charged in one stroke, where they can't.
    pub(super) odd: Option<String>,
}

impl GroupChain {
    /// Of the same side of the members, in key order.
    pub(super) fn of<'a>(members: impl Iterator<Item = (&'a CircuitInputs<'a>, &'a SideFigures)> + Clone) -> Self {
        Self { ratio: ratio_of(members.clone()), odd: odd_members(members.map(|(member, _)| member)) }
    }
}

/// Members of a group have one station, or none and one wanted pressure.
fn odd_members<'a>(mut members: impl Iterator<Item = &'a CircuitInputs<'a>> + Clone) -> Option<String> {
    let first = members.next()?;
    let is_other = |other: &&CircuitInputs| other.service.station != first.service.station;
    if let Some(other) = members.clone().find(is_other) {
        return Some(format!(
            "circuits of the source '{}' name different load stations: {} and {}",
            first.service.source, first.circuit.key, other.circuit.key
        ));
    }
    // The same pressure in two units differs in its last digit.
    let differs = |other: &&CircuitInputs| match (other.service.pressure_set, first.service.pressure_set) {
        (Some(other), Some(first)) => is_above(other.si(), first.si()) || is_below(other.si(), first.si()),
        (other, first) => other.is_some() != first.is_some(),
    };
    let other = members.find(|other| first.service.station.is_empty() && differs(other))?;
    Some(format!(
        "circuits of the source '{}' have no load station and different pressure_set: {} and {}",
        first.service.source, first.circuit.key, other.circuit.key
    ))
}

/// Pressure ratio and return loss: the first charging cylinder's, or 1 and 0 without one.
fn ratio_of<'a>(
    mut members: impl Iterator<Item = (&'a CircuitInputs<'a>, &'a SideFigures)> + Clone,
) -> Result<(f64, Pressure), String> {
    if members.clone().any(|(member, _)| member.service.is_unreadable("charging")) {
        return Err("charging can't be read".to_owned());
    }
    if members.clone().any(|(member, _)| member.charging != Charging::Cylinder) {
        return Ok((1.0, Pressure::ZERO));
    }
    let all_are_known = members.clone().all(|(_, side)| side.kinds_are_known);
    let first = members.find_map(|(member, side)| side.cylinder.map(|line| (member, line)));
    let Some((member, line)) = first else {
        return Err(if all_are_known {
            format!("there is no charging cylinder ({})", M01.code)
        } else {
            "no charging cylinder of the side is known".to_owned()
        });
    };
    let listed = &member.circuit.lines[line];
    let Some(cylinder) = listed.component(&member.plant.components) else {
        return Err("the charging cylinder is not known".to_owned());
    };
    if listed.is_set_aside(&member.plant.components) {
        return Err(format!("the charging cylinder's line on row {} is set aside", listed.origin.row));
    }
    let return_loss = cylinder.return_loss.unwrap_or(Pressure::ZERO);
    if let Some(station) = member.station
        && let Some(because) = odd_part(member.plant, station, &station.drive_ram, Kind::DriveRam)
    {
        return Err(because);
    }
    let ram = member.drive_ram();
    if cylinder.piston_area.is_some()
        && let Some(ram) = ram.filter(|ram| ram.is_unreadable("piston_area"))
    {
        return Err(format!("piston_area of drive ram {} can't be read", ram.part_no));
    }
    let areas = ram.and_then(|ram| ram.piston_area).zip(cylinder.piston_area);
    let stated = cylinder.pressure_ratio.unwrap_or(member.plant.policy.limits.pressure_ratio);
    Ok((areas.map_or(stated, |(ram, cylinder)| pressure_ratio(ram, cylinder)), return_loss))
}

/// Works out the chain of a side: pressures of its zones and their weakest ratings.
pub(super) fn add_chain(inputs: &CircuitInputs, figures: &mut SideFigures, group: &GroupChain) {
    if inputs.circuit.lines.is_empty() {
        return;
    }
    let mut chain = Chain::default();
    let mut gaps = Vec::new();
    match &group.ratio {
        Ok((ratio, return_loss)) => {
            chain.ratio = Some(*ratio);
            chain.return_loss = *return_loss;
        }
        Err(because) => gaps.push(Gap { figure: Figure::Ratio, because: because.clone() }),
    }
    chain.reducing = lowest_setting(inputs, figures, Kind::ReducingValve, |_| true);
    chain.relief = lowest_setting(inputs, figures, Kind::ReliefValve, |_| true);
    add_pressures(inputs, figures, &mut chain, &mut gaps, group);
    add_ratings(inputs, figures, &mut chain, &mut gaps);
    for zone in Zone::ALL.iter().copied() {
        let has_reducing_valve = figures.has_reducing_valve;
        let sits_here = |joined: &JoinedLine| joined.line.zone_on(joined.component, has_reducing_valve) == zone;
        let relief = lowest_setting(inputs, figures, Kind::ReliefValve, sits_here);
        let own = figures.zone_mut(zone);
        own.relief = relief;
        own.pressure = if zone == Zone::Reduced { chain.charge } else { chain.full };
        own.potential = match (zone, chain.reducing) {
            (Zone::Reduced, Some(setting)) => chain.potential.map(|potential| potential.min(setting.pressure)),
            (Zone::Reduced, None) => None,
            _ => chain.potential,
        };
    }
    figures.chain = chain;
    figures.gaps.extend(gaps);
}

/// The lowest setting of the side's valves of a kind.
fn lowest_setting(
    inputs: &CircuitInputs,
    figures: &SideFigures,
    kind: Kind,
    counts: impl Fn(&JoinedLine) -> bool,
) -> Option<Rating> {
    let valves = inputs.joined_of(figures, kind).filter(|joined| !joined.is_set_aside() && counts(joined));
    valves
        .filter_map(|joined| {
            joined.line.setting_with(joined.component).map(|pressure| Rating { pressure, line: joined.index })
        })
        .min_by(|a, b| a.pressure.total_cmp(b.pressure))
}

/// Whether a valve of a kind on the side has no known setting.
pub(super) fn lacks_setting(
    inputs: &CircuitInputs,
    figures: &SideFigures,
    kind: Kind,
    counts: impl Fn(&JoinedLine) -> bool,
) -> bool {
    inputs.joined_of(figures, kind).any(|joined| {
        counts(&joined) && (joined.line.setting_with(joined.component).is_none() || joined.is_set_aside())
    })
}

fn add_pressures(
    inputs: &CircuitInputs,
    figures: &SideFigures,
    chain: &mut Chain,
    gaps: &mut Vec<Gap>,
    group: &GroupChain,
) {
    let service = inputs.service;
    if let (Some(wanted), Some(ratio)) = (service.pressure_set, chain.ratio) {
        chain.pump_needed = Some(pump_pressure_needed(wanted, ratio, chain.return_loss));
    }
    if let Some(because) = &group.odd {
        return push_pressure_gaps(gaps, because, true);
    }
    if service.station.is_empty() {
        chain.full = service.pressure_set;
        if chain.full.is_none() {
            let because = if service.is_unreadable("pressure_set") {
                "pressure_set can't be read"
            } else {
                "no load station and no pressure_set"
            };
            return push_pressure_gaps(gaps, because, true);
        }
    } else {
        add_station_pressures(inputs, chain, gaps);
    }
    add_charge(inputs, figures, chain, gaps);
}

/// What the load station's pump makes of the side, and could make of it.
fn add_station_pressures(inputs: &CircuitInputs, chain: &mut Chain, gaps: &mut Vec<Gap>) {
    let (station, limits) = match pump_limits(inputs) {
        Ok(known) => known,
        Err(because) => return push_pressure_gaps(gaps, &because, true),
    };
    let Some(ratio) = chain.ratio else {
        let because = gaps.iter().find(|gap| gap.figure == Figure::Ratio).map(|gap| gap.because.clone());
        return push_pressure_gaps(gaps, &because.unwrap_or_default(), true);
    };
    let on_circuit = |pump: Pressure| intensified_pressure(pump, ratio, chain.return_loss);
    chain.potential = limits.highest_pump_pressure().map(on_circuit);
    if chain.potential.is_none() {
        let because = "nothing is stated that limits the load station's pump".to_owned();
        gaps.push(Gap { figure: Figure::Potential, because });
    }
    if station.is_unreadable("pump_setting") {
        let because = format!("pump_setting of load station '{}' can't be read", station.station);
        return push_pressure_gaps(gaps, &because, false);
    }
    chain.pump = limits.pump_pressure(station.pump_setting);
    let Some(pump) = chain.pump else {
        let because = format!("load station '{}' has neither a pump_setting nor a pump rating", station.station);
        return push_pressure_gaps(gaps, &because, false);
    };
    let full = on_circuit(pump);
    if full < Pressure::ZERO {
        chain.potential = None;
        return push_pressure_gaps(gaps, "the return loss is more than the pump's pressure gives", true);
    }
    chain.full = Some(full);
}

/// The pump's limits of the circuit's load station.
fn pump_limits<'a>(inputs: &CircuitInputs<'a>) -> Result<(&'a Station, PumpLimits), String> {
    let name = &inputs.service.station;
    let Some(station) = inputs.station else {
        return Err(format!("load station '{name}' is not in the stations table"));
    };
    let pump = match &station.pump {
        StationPart::Unknown(part) => {
            return Err(format!("pump '{part}' of load station '{name}' is not in the component table"));
        }
        StationPart::Blank => return Err(format!("load station '{name}' names no pump")),
        StationPart::Known(_) => {
            if let Some(because) = odd_part(inputs.plant, station, &station.pump, Kind::Pump) {
                return Err(because);
            }
            inputs.plant.pump_of(station)
        }
    };
    let Some(pump) = pump else { return Err(format!("the pump of load station '{name}' is not known")) };
    for column in ["rated_pressure", "air_ratio"] {
        if pump.is_unreadable(column) {
            return Err(format!("{column} of pump {} can't be read", pump.part_no));
        }
    }
    for column in ["relief_setting", "air_pressure"] {
        if station.is_unreadable(column) {
            return Err(format!("{column} of load station '{name}' can't be read"));
        }
    }
    let air = station.air_pressure.zip(pump.air_ratio);
    Ok((station, PumpLimits { rating: pump.rated_pressure, relief_setting: station.relief_setting, air }))
}

/// Why a part of the table can't be a station's pump or drive ram: its figures would be taken for something else.
fn odd_part(plant: &Plant, station: &Station, part: &StationPart, wanted: Kind) -> Option<String> {
    let part = plant.component_at(part.index()).filter(|part| !part.provides(wanted))?;
    let (name, wanted, of) = (&part.part_no, wanted.plain(), &station.station);
    Some(match part.kind {
        Some(kind) => format!("the {wanted} of load station '{of}' is {name}, which is of the kind {}", kind.plain()),
        None => format!("the {wanted} of load station '{of}' is {name}, whose kind is not known"),
    })
}

/// p1, behind the reducing valve.
fn add_charge(inputs: &CircuitInputs, figures: &SideFigures, chain: &mut Chain, gaps: &mut Vec<Gap>) {
    let Some(full) = chain.full else { return };
    if lacks_setting(inputs, figures, Kind::ReducingValve, |_| true) {
        let because = "the setting of a reducing valve is not known".to_owned();
        gaps.push(Gap { figure: Figure::Charge, because });
    } else {
        chain.charge = Some(chain.reducing.map_or(full, |valve| full.min(valve.pressure)));
    }
}

fn push_pressure_gaps(gaps: &mut Vec<Gap>, because: &str, with_potential: bool) {
    let figures = [Figure::Full, Figure::Charge, Figure::Potential];
    for figure in figures.into_iter().take(if with_potential { 3 } else { 2 }) {
        gaps.push(Gap { figure, because: because.to_owned() });
    }
}

/// A side with the lines, kinds and pressures of another, of which nothing else is known.
pub(super) fn same_pressures(of: &SideFigures) -> SideFigures {
    let zone = |zone: &ZoneFigures| ZoneFigures {
        lines: zone.lines.clone(),
        kinds: zone.kinds,
        pressure: zone.pressure,
        relief: zone.relief,
        potential: zone.potential,
        ..ZoneFigures::default()
    };
    let [charge, full, reduced] = &of.zones;
    SideFigures {
        lines: of.lines.clone(),
        kinds: of.kinds,
        kinds_are_known: of.kinds_are_known,
        has_reducing_valve: of.has_reducing_valve,
        cylinder: of.cylinder,
        cylinder_pieces: of.cylinder_pieces,
        chain: Chain { weakest: None, tube: None, ..of.chain },
        zones: [zone(charge), zone(full), zone(reduced)],
        ..SideFigures::blank(of.side)
    }
}

/// The weakest rating of a side and of each zone, and the lowest tube rating, with the pressures that it has.
pub(super) fn renew_ratings(inputs: &CircuitInputs, figures: &mut SideFigures) {
    let mut chain = figures.chain;
    let mut gaps = Vec::new();
    add_ratings(inputs, figures, &mut chain, &mut gaps);
    figures.chain = chain;
    figures.gaps.extend(gaps);
}

/// The weakest rating of the side and of each zone, and the lowest tube rating.
fn add_ratings(inputs: &CircuitInputs, figures: &mut SideFigures, chain: &mut Chain, gaps: &mut Vec<Gap>) {
    let limits = &inputs.plant.policy.limits;
    let is_doubtful = !inputs.has_all_kinds();
    let unknown = is_doubtful.then(|| unknown_line(inputs)).flatten().map(|line| {
        let part = match &line.part {
            PartRef::Unknown(text) => text.as_str(),
            PartRef::Altered(altered) => altered.text.as_str(),
            PartRef::Known(_) => "",
        };
        format!("the rating of part '{part}' is not known")
    });
    let kindless = || {
        let part = is_doubtful.then(|| kindless_elsewhere(inputs, figures)).flatten()?;
        Some(format!("the kind of part {part} is not known"))
    };
    let unknown = unknown.or_else(kindless);
    for zone in &mut figures.zones {
        zone.weakest = None;
    }
    let mut missing = unknown.clone();
    let mut is_missing_in = [unknown.is_some(); 3];
    for joined in inputs.joined_on(figures.side) {
        let component = joined.component;
        if let Some(pressure) = wall_rating(component, limits) {
            chain.tube = Some(lower(chain.tube, Rating { pressure, line: joined.index }));
        }
        if matches!(component.kind, Some(Kind::Pump | Kind::DriveRam)) {
            continue;
        }
        let zone = joined.line.zone_on(component, figures.has_reducing_valve);
        let rated = line_rating(joined.line, component, limits);
        if let Some(pressure) = rated {
            let rating = Rating { pressure, line: joined.index };
            chain.weakest = Some(lower(chain.weakest, rating));
            let own = figures.zone_mut(zone);
            own.weakest = Some(lower(own.weakest, rating));
        }
        if lacks_rating(component, rated) {
            missing = missing.or_else(|| Some(format!("part {} has no rating", component.part_no)));
            is_missing_in[zone as usize] = true;
        }
    }
    for (zone, is_missing) in figures.zones.iter_mut().zip(is_missing_in) {
        zone.weakest = zone.weakest.filter(|_| !is_missing);
    }
    if let Some(because) = missing {
        chain.weakest = None;
        gaps.push(Gap { figure: Figure::Weakest, because });
    } else if chain.weakest.is_none() {
        gaps.push(Gap { figure: Figure::Weakest, because: "no line of the side has a rating".to_owned() });
    }
}

/// Whether a part needs a rating and has none that can be read.
fn lacks_rating(component: &Component, rated: Option<Pressure>) -> bool {
    let unreadable = component.is_unreadable("rated_pressure") || component.kind.is_none();
    unreadable || (rated.is_none() && !component.is(Kind::Other))
}

/// A part that is listed on the other side alone, and without a kind may be a clamp, which stands on both.
fn kindless_elsewhere<'a>(inputs: &CircuitInputs<'a>, figures: &SideFigures) -> Option<&'a str> {
    let lines = inputs.circuit.lines.iter().enumerate();
    let components = lines.filter_map(|(index, line)| Some((index, line.component(&inputs.plant.components)?)));
    // Hardly any part lacks its kind: that is asked first.
    let mut kindless = components.filter(|(_, component)| component.kind.is_none());
    kindless
        .find(|(index, _)| figures.lines.binary_search(index).is_err())
        .map(|(_, component)| component.part_no.as_str())
}

fn unknown_line<'a>(inputs: &CircuitInputs<'a>) -> Option<&'a Line> {
    inputs.circuit.lines.iter().find(|line| line.component(&inputs.plant.components).is_none())
}

/// The lower of two ratings, the first on a tie.
fn lower(so_far: Option<Rating>, next: Rating) -> Rating {
    so_far.filter(|first| first.pressure <= next.pressure).unwrap_or(next)
}
