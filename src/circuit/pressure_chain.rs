//! The pressure chain of one side: from the pump to the weakest part.

use crate::physics::chain::{intensified_pressure, potential_pressure, pump_pressure_needed};
use crate::physics::quantity::Pressure;
use crate::rules::rating::{rating, wall_rating};
use crate::tables::component::Component;
use crate::tables::figures::{Chain, Figure, Gap, Rating, SideFigures};
use crate::tables::line::{Line, PartRef};
use crate::tables::station::{Station, StationPart};
use crate::tables::words::{Charging, Kind};

use crate::circuit::side::{Counted, Scope};

/// Works out the chain of a side whose lines are known.
pub fn add_chain(scope: &Scope, figures: &mut SideFigures) {
    if scope.circuit.lines.is_empty() {
        return;
    }
    let mut chain = Chain::default();
    let mut gaps = Vec::new();
    match ratio_of(scope, figures) {
        Ok((ratio, return_loss)) => {
            chain.ratio = Some(ratio);
            chain.return_loss = return_loss;
        }
        Err(because) => gaps.push(Gap { figure: Figure::Ratio, because }),
    }
    chain.reducing = lowest_setting(scope, figures, Kind::ReducingValve);
    chain.relief = lowest_setting(scope, figures, Kind::ReliefValve);
    add_pressures(scope, figures, &mut chain, &mut gaps);
    add_ratings(scope, figures, &mut chain, &mut gaps);
    figures.chain = chain;
    figures.gaps.extend(gaps);
}

/// Pressure ratio and return loss: the charging cylinder's, or 1 and 0 without one.
fn ratio_of(scope: &Scope, figures: &SideFigures) -> Result<(f64, Pressure), String> {
    if scope.service.is_unreadable("charging") {
        return Err("charging can't be read".to_owned());
    }
    if scope.charging != Charging::Cylinder {
        return Ok((1.0, Pressure::ZERO));
    }
    let Some(line) = figures.cylinder else {
        return Err("no charging cylinder of the side is known".to_owned());
    };
    let listed = &scope.circuit.lines[line];
    let Some(cylinder) = listed.component(&scope.plant.components) else {
        return Err("the charging cylinder is not known".to_owned());
    };
    if listed.is_set_aside(&scope.plant.components) {
        return Err(format!("the charging cylinder's line on row {} is set aside", listed.origin.row));
    }
    let spoiled = |column: &str| cylinder.faults.iter().any(|fault| fault.column == column);
    if spoiled("pressure_ratio") || spoiled("return_loss") {
        return Err(format!("pressure_ratio or return_loss of part {} can't be read", cylinder.part_no));
    }
    let ratio = cylinder.pressure_ratio.unwrap_or(scope.plant.policy.limits.pressure_ratio);
    Ok((ratio, cylinder.return_loss.unwrap_or(Pressure::ZERO)))
}

/// The setting that holds for a piece: the line's before the component's.
#[must_use]
pub fn setting(counted: &Counted) -> Option<Pressure> {
    counted.line.set_pressure.or(counted.component.set_pressure)
}

/// The lowest setting of the side's valves of a kind.
fn lowest_setting(scope: &Scope, figures: &SideFigures, kind: Kind) -> Option<Rating> {
    let valves = scope.fitted_of(figures, kind);
    let sound = valves.filter(|counted| !counted.line.is_set_aside_with(counted.component));
    sound
        .filter_map(|counted| setting(&counted).map(|pressure| Rating { pressure, line: counted.index }))
        .min_by(|a, b| a.pressure.total_cmp(b.pressure))
}

/// Whether a valve of a kind on the side has no known setting.
#[must_use]
pub fn lacks_setting(scope: &Scope, figures: &SideFigures, kind: Kind) -> bool {
    scope
        .fitted_of(figures, kind)
        .any(|counted| setting(&counted).is_none() || counted.line.is_set_aside_with(counted.component))
}

fn add_pressures(scope: &Scope, figures: &SideFigures, chain: &mut Chain, gaps: &mut Vec<Gap>) {
    let service = scope.service;
    if let (Some(wanted), Some(ratio)) = (service.pressure_set, chain.ratio) {
        chain.pump_needed = Some(pump_pressure_needed(wanted, ratio, chain.return_loss));
    }
    if service.station.is_empty() {
        chain.full = service.pressure_set;
        chain.charge = service.pressure_set;
        if chain.charge.is_none() {
            let because = if service.is_unreadable("pressure_set") {
                "pressure_set can't be read"
            } else {
                "no load station and no pressure_set"
            };
            push_pressure_gaps(gaps, because);
            gaps.push(Gap { figure: Figure::Potential, because: because.to_owned() });
        }
        return;
    }
    if let Some(ratio) = chain.ratio {
        chain.potential = potential(scope, ratio, chain.return_loss);
    }
    add_full_and_charge(scope, figures, chain, gaps);
    if chain.potential.is_none() {
        let because = gaps.iter().find(|gap| gap.figure == Figure::Full).map(|gap| gap.because.clone());
        let because = because.unwrap_or_else(|| "the load station's pump states no rated_pressure".to_owned());
        gaps.push(Gap { figure: Figure::Potential, because });
    }
}

/// What the load station's pump makes of the side, as it is set.
fn add_full_and_charge(scope: &Scope, figures: &SideFigures, chain: &mut Chain, gaps: &mut Vec<Gap>) {
    match pump_pressure(scope) {
        Ok(pump) => chain.pump = Some(pump),
        Err(because) => return push_pressure_gaps(gaps, &because),
    }
    let Some((pump, ratio)) = chain.pump.zip(chain.ratio) else {
        let because = gaps.iter().find(|gap| gap.figure == Figure::Ratio).map(|gap| gap.because.clone());
        return push_pressure_gaps(gaps, &because.unwrap_or_default());
    };
    let full = intensified_pressure(pump, ratio, chain.return_loss);
    if full < Pressure::ZERO {
        return push_pressure_gaps(gaps, "the return loss is more than the pump's pressure gives");
    }
    chain.full = Some(full);
    if lacks_setting(scope, figures, Kind::ReducingValve) {
        let because = "the setting of a reducing valve is not known".to_owned();
        gaps.push(Gap { figure: Figure::Charge, because });
    } else {
        chain.charge = Some(chain.reducing.map_or(full, |valve| full.min(valve.pressure)));
    }
}

fn push_pressure_gaps(gaps: &mut Vec<Gap>, because: &str) {
    for figure in [Figure::Full, Figure::Charge] {
        gaps.push(Gap { figure, because: because.to_owned() });
    }
}

/// p_pump, the lower of the pump's setting and its rating.
fn pump_pressure(scope: &Scope) -> Result<Pressure, String> {
    let name = &scope.service.station;
    let Some(station) = scope.circuit.station(scope.plant) else {
        return Err(format!("load station '{name}' is not in the stations table"));
    };
    if let StationPart::Unknown(part) = &station.pump {
        return Err(format!("pump '{part}' of load station '{name}' is not in the component table"));
    }
    if station.is_unreadable("pump_setting") {
        return Err(format!("pump_setting of load station '{name}' can't be read"));
    }
    let rated = rated_pump(scope, station);
    if let Some(pump) = scope.plant.component_at(station.pump.index())
        && pump.faults.iter().any(|fault| fault.column == "rated_pressure")
    {
        return Err(format!("rated_pressure of pump {} can't be read", pump.part_no));
    }
    match (station.pump_setting, rated) {
        (Some(setting), Some(rated)) => Ok(setting.min(rated)),
        (Some(pressure), None) | (None, Some(pressure)) => Ok(pressure),
        (None, None) => Err(format!("load station '{name}' has neither a pump_setting nor a pump rating")),
    }
}

fn rated_pump(scope: &Scope, station: &Station) -> Option<Pressure> {
    scope.plant.component_at(station.pump.index()).and_then(|pump| pump.rated_pressure)
}

fn potential(scope: &Scope, ratio: f64, return_loss: Pressure) -> Option<Pressure> {
    let station = scope.circuit.station(scope.plant)?;
    rated_pump(scope, station).map(|rated| potential_pressure(rated, ratio, return_loss))
}

/// The weakest rating and the lowest tube rating of the side's lines.
fn add_ratings(scope: &Scope, figures: &SideFigures, chain: &mut Chain, gaps: &mut Vec<Gap>) {
    let limits = &scope.plant.policy.limits;
    let mut missing = unknown_line(scope).map(|line| {
        let part = match &line.part {
            PartRef::Unknown(text) => text.as_str(),
            PartRef::Altered(altered) => altered.text.as_str(),
            PartRef::Known(_) => "",
        };
        format!("the rating of part '{part}' is not known")
    });
    for counted in scope.fitted(figures) {
        let component = counted.component;
        if let Some(pressure) = wall_rating(component, limits) {
            let rating = Rating { pressure, line: counted.index };
            chain.tube = Some(lower(chain.tube, rating));
        }
        if matches!(component.kind, Some(Kind::Pump | Kind::DriveRam)) {
            continue;
        }
        let rated = rating(component, limits);
        if let Some(pressure) = rated {
            chain.weakest = Some(lower(chain.weakest, Rating { pressure, line: counted.index }));
        }
        if lacks_rating(component, rated) {
            missing = missing.or_else(|| Some(format!("part {} has no rating", component.part_no)));
        }
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
    let unreadable = component.faults.iter().any(|fault| fault.column == "rated_pressure" || fault.column == "kind");
    unreadable || (rated.is_none() && !component.is(Kind::Other))
}

fn unknown_line<'a>(scope: &Scope<'a>) -> Option<&'a Line> {
    scope.circuit.lines.iter().find(|line| line.component(&scope.plant.components).is_none())
}

/// The lower of two ratings, the first on a tie.
fn lower(so_far: Option<Rating>, next: Rating) -> Rating {
    so_far.filter(|first| first.pressure <= next.pressure).unwrap_or(next)
}
