//! From the pump to the circuit, and what its parts are rated for, zone by zone.

use crate::physics::chain::{PRESSURE_RATIO, PUMP_PRESSURE};
use crate::physics::quantity::Pressure;
use crate::physics::tube_rating::TUBE_RATING;
use crate::rules::rating::line_rating;
use crate::tables::figures::{Figure, Rating, SideFigures, ZoneFigures};
use crate::tables::value::Value;
use crate::tables::words::{Kind, Side, Zone};

use super::workings::Workings;
use super::{Chapter, WorkStep};

pub(super) fn chapter(workings: &Workings, side: &SideFigures) -> Chapter {
    let mut chapter = Chapter::new(format!("Pressure chain, {} side", side.side));
    let chain = &side.chain;
    if workings.service.station.is_empty() {
        let set = WorkStep::new("Pressure of the circuit, p_full", chain.full.map(Value::Pressure));
        let set = set.by("p_full = pressure_set, without a load station", "").from([workings.own_row()]);
        chapter.add(set.because(workings.gap(side, Figure::Full)));
    } else {
        pump(workings, side, &mut chapter);
        ratio(workings, side, &mut chapter);
        let numbers = format!(
            "{} × {} − {}",
            workings.optional(chain.pump),
            chain.ratio.map_or_else(|| "unknown".to_owned(), |ratio| workings.number(ratio)),
            workings.pressure(chain.return_loss)
        );
        let full = WorkStep::new("Pressure behind the charging, p_full", chain.full.map(Value::Pressure));
        chapter.add(full.by("p_full = p_pump r − loss", numbers).because(workings.gap(side, Figure::Full)));
    }
    charge(workings, side, &mut chapter);
    chapter
}

fn pump(workings: &Workings, side: &SideFigures, chapter: &mut Chapter) {
    let Some(station) = workings.circuit.station(workings.plant) else { return };
    let pump = workings.plant.pump_of(station);
    let row = workings.row(station.origin);
    let given = |pressure: Option<Pressure>| pressure.map(Value::Pressure);
    let mut limits: Vec<String> = Vec::new();
    let mut list = |name: String, pressure: Option<Pressure>, source: String| {
        if let Some(known) = pressure {
            limits.push(workings.pressure(known));
            chapter.add(WorkStep::new(name, given(pressure)).from([source]).item());
        }
    };
    list(format!("Pump setting of {}", station.station), station.pump_setting, row.clone());
    if let Some(pump) = pump {
        list(format!("Rated pressure of pump {}", pump.part_no), pump.rated_pressure, workings.row(pump.origin));
    }
    list("Relief valve of the station".to_owned(), station.relief_setting, row.clone());
    if let Some((air, times)) = station.air_pressure.zip(pump.and_then(|pump| pump.air_ratio)) {
        list(format!("Air pressure × air ratio {}", workings.number(times)), Some(air * times), row.clone());
    }
    let numbers = format!("min({})", limits.join(", "));
    let brings = WorkStep::new("Pump pressure, p_pump", side.chain.pump.map(Value::Pressure));
    let formula = PUMP_PRESSURE.formula;
    chapter.add(brings.by(formula, numbers).because(workings.gap(side, Figure::Full)));
}

fn ratio(workings: &Workings, side: &SideFigures, chapter: &mut Chapter) {
    let chain = &side.chain;
    if !matches!(workings.service.charging(), crate::tables::words::Charging::Cylinder) {
        chapter.add(
            WorkStep::new("Pressure ratio, r", chain.ratio.map(Value::Ratio)).by("1: oil crosses the coupling", ""),
        );
        return;
    }
    // The first cylinder of the group, which may stand on another circuit of it.
    let first = workings.group().into_iter().find_map(|audit| {
        let line = audit.figures.side(side.side)?.cylinder?;
        let line = audit.circuit.lines.get(line)?;
        Some((audit, line, line.component(&workings.plant.components)?))
    });
    let mut ratio = WorkStep::new("Pressure ratio, r", chain.ratio.map(Value::Ratio));
    if let Some((audit, line, cylinder)) = first {
        let ram = workings.inputs.drive_ram();
        let areas = ram.and_then(|ram| ram.piston_area).zip(cylinder.piston_area);
        let named = format!("charging cylinder {} of {}", cylinder.part_no, audit.circuit.key.path());
        ratio = match (areas, cylinder.pressure_ratio) {
            (Some((of_ram, of_cylinder)), _) => ratio
                .by(PRESSURE_RATIO.formula, format!("{}/{}", workings.area(of_ram), workings.area(of_cylinder)))
                .from([ram.map(|ram| workings.row(ram.origin)).unwrap_or_default()]),
            (None, Some(_)) => ratio.by("r = pressure_ratio of the charging cylinder", ""),
            (None, None) => ratio.by("r = limits.pressure_ratio of the policy", ""),
        };
        ratio = ratio.from([workings.row(line.origin), workings.row(cylinder.origin)]);
        chapter.add(ratio.because(named));
        let loss =
            WorkStep::new(format!("Return loss of {}", cylinder.part_no), Some(Value::Pressure(chain.return_loss)));
        chapter.add(loss.from([workings.row(cylinder.origin)]));
    } else {
        chapter.add(ratio.because(workings.gap(side, Figure::Ratio)));
    }
}

fn charge(workings: &Workings, side: &SideFigures, chapter: &mut Chapter) {
    let chain = &side.chain;
    let prefix = side.side.word();
    let mut step = WorkStep::new("Charge pressure, p1", chain.charge.map(Value::Pressure));
    step = match chain.reducing {
        Some(valve) => {
            let numbers = format!("min({}, {})", workings.optional(chain.full), workings.pressure(valve.pressure));
            let named = format!("set by the reducing valve {}", workings.named_line(valve.line));
            step.by("p1 = min(p_full, reducing valve)", numbers).because(named).from(rows_of(workings, valve))
        }
        None => step.by("p1 = p_full", workings.optional(chain.full)),
    };
    if chain.charge.is_none() {
        step = step.because(workings.gap(side, Figure::Charge));
    }
    chapter.add(step.in_column(format!("{prefix}_charge_bar")));
    if let Some(needed) = chain.pump_needed {
        let set = workings.optional(workings.service.pressure_set);
        let ratio = chain.ratio.map_or_else(String::new, |ratio| workings.number(ratio));
        let numbers = format!("({set} + {})/{ratio}", workings.pressure(chain.return_loss));
        let step = WorkStep::new("Pump pressure needed for pressure_set", Some(Value::Pressure(needed)));
        let step = step.by("(pressure_set + loss)/r", numbers).from([workings.own_row()]);
        chapter.add(step.in_column(format!("{prefix}_pump_needed_bar")));
    }
    let potential =
        WorkStep::new("Pressure that the pump could bring, p_potential", chain.potential.map(Value::Pressure));
    let because = if chain.potential.is_none() { workings.gap(side, Figure::Potential) } else { String::new() };
    if chain.potential.is_some() || !because.is_empty() {
        let formula = "min(rated_pressure, relief_setting, air_pressure × air_ratio) r − loss";
        let potential = potential.by(formula, "").because(because);
        chapter.add(potential.in_column(format!("{prefix}_potential_bar")));
    }
}

fn rows_of(workings: &Workings, rating: Rating) -> Vec<String> {
    let line = workings.circuit.lines.get(rating.line);
    let part = line.and_then(|line| line.component(&workings.plant.components)).map(|part| workings.row(part.origin));
    line.map(|line| workings.row(line.origin)).into_iter().chain(part).collect()
}

/// What stands in each zone, against what it is rated for.
pub(super) fn ratings(workings: &Workings, side: &SideFigures) -> Chapter {
    let mut chapter = Chapter::new(format!("Ratings zone by zone, {} side", side.side));
    let prefix = side.side.word();
    for zone in Zone::ALL.iter().copied() {
        let figures = side.zone(zone);
        if figures.lines.is_empty() {
            continue;
        }
        let what = match zone {
            Zone::Charge => "ahead of the check valve, without pressure once uncoupled",
            Zone::Full => "behind the check valve",
            Zone::Reduced => "behind the reducing valve",
        };
        chapter.say(format!(
            "Zone {zone}, {what}: {} after charging{}{}.",
            workings.optional(figures.pressure),
            figures
                .potential
                .map(|most| format!(", the pump could bring {}", workings.pressure(most)))
                .unwrap_or_default(),
            match figures.hot {
                Some(hot) => format!(", {} at the highest temperature", workings.pressure(hot)),
                None if traps(workings, side, zone) => ", at the highest temperature it is not known".to_owned(),
                None => String::new(),
            },
        ));
        for joined in workings.inputs.joined_in(side, zone) {
            if matches!(joined.component.kind, Some(Kind::Pump | Kind::DriveRam)) {
                continue;
            }
            let rating = line_rating(joined.line, joined.component, &workings.plant.policy.limits);
            let step = WorkStep::new(format!("{}, rated", workings.named(&joined)), rating.map(Value::Pressure));
            let margin = rating.zip(most_seen(figures)).map(|(rating, (sees, when))| {
                let (word, off) = if rating >= sees { ("margin", rating - sees) } else { ("short", sees - rating) };
                let (rating, sees, off) = (workings.pressure(rating), workings.pressure(sees), workings.pressure(off));
                format!("{rating} − {sees}{when}: {word} {off}")
            });
            let because = if rating.is_none() { "no rating is stated" } else { "" };
            let step = step.by("", margin.unwrap_or_default()).because(because).from(workings.rows(&joined));
            chapter.add(step.item());
        }
    }
    let chain = &side.chain;
    let weakest =
        WorkStep::new("Weakest rating of the side", chain.weakest.map(|weakest| Value::Pressure(weakest.pressure)));
    let because =
        chain.weakest.map_or_else(|| workings.gap(side, Figure::Weakest), |weakest| workings.named_line(weakest.line));
    let weakest =
        weakest.because(because).from(chain.weakest.map(|rating| rows_of(workings, rating)).unwrap_or_default());
    chapter.add(weakest.in_column(format!("{prefix}_weakest_bar")));
    if let Some(tube) = chain.tube {
        let step = WorkStep::new("Lowest rating of a tube by its wall", Some(Value::Pressure(tube.pressure)));
        let step = step.by(TUBE_RATING.formula, wall(workings, tube));
        let step = step.because(workings.named_line(tube.line)).from(rows_of(workings, tube));
        chapter.add(step.in_column(format!("{prefix}_tube_bar")));
    }
    chapter
}

/// Whether a zone traps oil, which warmth presses on.
fn traps(workings: &Workings, side: &SideFigures, zone: Zone) -> bool {
    side.side == Side::Clamp && zone != Zone::Charge && workings.service.charging().is_uncoupled()
}

/// The highest pressure that is known of a zone, and when it stands there, where it is not that after charging.
fn most_seen(zone: &ZoneFigures) -> Option<(Pressure, &'static str)> {
    let warm = zone.hot.map(|hot| (hot, " at the highest temperature"));
    let charged = zone.pressure.map(|pressure| (pressure, ""));
    charged.into_iter().chain(warm).reduce(|most, next| if next.0 > most.0 { next } else { most })
}

/// The numbers of a tube's rating by its wall.
fn wall(workings: &Workings, tube: Rating) -> String {
    let line = workings.circuit.lines.get(tube.line);
    let Some(part) = line.and_then(|line| line.component(&workings.plant.components)) else { return String::new() };
    let Some(((strength, outer), inner)) = part.tensile_strength.zip(part.outer_diameter).zip(part.inner_diameter)
    else {
        return String::new();
    };
    format!(
        "R_m = {}, S = {}, OD = {}, ID = {}",
        workings.pressure(strength),
        workings.number(workings.plant.policy.limits.design_factor),
        workings.length(outer),
        workings.length(inner)
    )
}
