//! L09 to L11: what the component table says of the parts.

use crate::physics::quantity::{Area, Length, Volume};
use crate::rules::rating::is_unreadable;
use crate::rules::view::PartView;
use crate::rules::{Checks, Hit, Outcome, Rule, is_above, is_below};
use crate::tables::component::Component;
use crate::tables::finding::Subject;
use crate::tables::usage::Usage;
use crate::tables::value::Value;
use crate::tables::words::{Kind, Severity};

pub static L09: Rule = Rule {
    code: "L09",
    name: "part-lacks-figure",
    title: "Part lacks a figure that its kind needs",
    severity: Severity::Major,
    subject: Subject::Part,
    looks_for: "A part in use whose row of the component table lacks a figure that its kind needs.",
    why: "Without the figure the oil demand, the weakest rating or the force of every circuit with the part is unknown.",
    remedy: "Enter the missing figures from the part's data sheet.",
    message: "[The {kind} {part}][The part {unnamed}] lacks {missing} in the component table. What depends on it is unknown.[ Used by {circuits}.]",
    limits: &[],
    basis: "common practice",
    passing: "A check valve has a rated pressure of 500 bar.",
    failing: "A clamp has a rated pressure but neither area and stroke nor a volume.",
    checks: Checks::part(lacks_figure),
};

fn lacks_figure(view: &PartView, outcome: &mut Outcome) {
    let Some(component) = view.component.filter(|_| view.usage.is_used) else { return };
    let missing = missing_figures(component, view.usage);
    let Some(first) = missing.first() else { return };
    let hit = match component.kind {
        Some(kind) => Hit::here().fact("kind", Value::Text(kind.plain())),
        None => Hit::here().fact("unnamed", Value::Text(component.part_no.clone())),
    };
    let circuits = match view.usage.circuits {
        0 => None,
        1 => Some("1 circuit".to_owned()),
        many => Some(format!("{many} circuits")),
    };
    outcome.hit(
        hit.in_column(first.column)
            .fact("missing", Value::List(missing.iter().map(|gap| gap.words.to_owned()).collect()))
            .fact_if("circuits", circuits.map(Value::Text)),
    );
}

/// A figure that a kind needs and a part lacks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MissingFigure {
    /// The column that is named first.
    pub column: &'static str,
    /// The column, or the columns of which one will do.
    pub words: &'static str,
}

/// What a part lacks of the figures that its kind needs; a cell that can't be read is L04's.
#[must_use]
pub fn missing_figures(component: &Component, usage: &Usage) -> Vec<MissingFigure> {
    let mut missing = Vec::new();
    let mut need = |column: &'static str, has: bool| {
        if !has && !is_unreadable(component, column) {
            missing.push(MissingFigure { column, words: column });
        }
    };
    let Some(kind) = component.kind else {
        need("kind", false);
        return missing;
    };
    if !matches!(kind, Kind::Other | Kind::Gauge | Kind::Tube) {
        need("rated_pressure", component.rated_pressure.is_some());
    }
    match kind {
        Kind::WorkSupport if usage.supports => need("support_capacity", component.support_capacity.is_some()),
        Kind::ChargingCylinder => need("capacity", component.capacity.is_some()),
        Kind::Accumulator => {
            need("gas_volume", component.gas_volume.is_some());
            need("precharge", component.precharge.is_some());
        }
        Kind::ReliefValve | Kind::ReducingValve | Kind::SequenceValve => {
            need("set_pressure", component.set_pressure.is_some());
        }
        Kind::Tube | Kind::Hose => need("inner_diameter", component.inner_diameter.is_some()),
        _ => {}
    }
    let either = match kind {
        Kind::Gauge => missing_scale(component),
        Kind::Tube => missing_strength(component),
        Kind::Clamp => missing_sweep(component, usage.force_is_asked),
        Kind::WorkSupport => missing_sweep(component, false),
        _ => None,
    };
    missing.extend(either);
    missing
}

/// What a gauge lacks of `rated_pressure` or `full_scale`.
fn missing_scale(component: &Component) -> Option<MissingFigure> {
    let is_there = component.rated_pressure.is_some()
        || component.full_scale.is_some()
        || is_unreadable(component, "rated_pressure")
        || is_unreadable(component, "full_scale");
    (!is_there).then_some(MissingFigure { column: "rated_pressure", words: "rated_pressure or full_scale" })
}

/// What a tube lacks of `rated_pressure`, or else of diameter and strength.
fn missing_strength(component: &Component) -> Option<MissingFigure> {
    if component.rated_pressure.is_some() || is_unreadable(component, "rated_pressure") {
        return None;
    }
    let outer = component.outer_diameter.is_some() || is_unreadable(component, "outer_diameter");
    let strength = component.tensile_strength.is_some() || is_unreadable(component, "tensile_strength");
    let words = match (outer, strength) {
        (true, true) => return None,
        (true, false) => "rated_pressure or tensile_strength",
        (false, true) => "rated_pressure or outer_diameter",
        (false, false) => "rated_pressure, or outer_diameter and tensile_strength",
    };
    Some(MissingFigure { column: "rated_pressure", words })
}

/// What a clamp or work support lacks to tell the volume it sweeps, and its force where one is asked for.
fn missing_sweep(component: &Component, force_is_asked: bool) -> Option<MissingFigure> {
    let area = component.area_clamp.is_some() || is_unreadable(component, "area_clamp");
    let stroke = component.stroke.is_some() || is_unreadable(component, "stroke");
    let volume = component.volume_clamp.is_some() || is_unreadable(component, "volume_clamp");
    let (column, words) = match (area, stroke, volume) {
        (true, true, _) | (true, false, true) => return None,
        (true, false, false) => ("stroke", "stroke or volume_clamp"),
        (false, _, true) if !force_is_asked => return None,
        (false, true, false) if !force_is_asked => ("area_clamp", "area_clamp or volume_clamp"),
        (false, _, true) | (false, true, false) => ("area_clamp", "area_clamp"),
        (false, false, false) if force_is_asked => ("area_clamp", "area_clamp with stroke or volume_clamp"),
        (false, false, false) => ("area_clamp", "area_clamp and stroke, or volume_clamp"),
    };
    Some(MissingFigure { column, words })
}

pub static L10: Rule = Rule {
    code: "L10",
    name: "stated-volume-differs-from-area-times-stroke",
    title: "Stated volume differs from area × stroke",
    severity: Severity::Observation,
    subject: Subject::Part,
    looks_for: "A part in use whose stated volume differs from area × stroke by more than catalogue_tolerance of the latter.",
    why: "One of the three figures is a slip, or the volume holds more than the stroke sweeps. The larger one counts.",
    remedy: "Compare volume, area and stroke with the part's data sheet.",
    message: "The {column} of {part} is {measured}; {area} × {stroke} = {product}, with a tolerance of {tolerance} a limit of {limit}. The larger volume counts.",
    limits: &["catalogue_tolerance"],
    basis: "common practice",
    passing: "A volume of 10.1 cm³ beside 10 cm² × 10 mm = 10 cm³, within 2 %.",
    failing: "A volume of 12 cm³ beside 10 cm² × 10 mm = 10 cm³.",
    checks: Checks::part(odd_volume),
};

fn odd_volume(view: &PartView, outcome: &mut Outcome) {
    let Some(component) = view.component.filter(|_| view.usage.is_used) else { return };
    let Some(stroke) = component.stroke else { return };
    let tolerance = view.plant.policy.limits.catalogue_tolerance;
    let stated = [
        ("volume_clamp", component.volume_clamp, component.area_clamp),
        ("volume_unclamp", component.volume_unclamp, component.area_unclamp),
    ];
    let worse = stated
        .into_iter()
        .filter_map(|(column, volume, area)| Some((column, volume?, area?)))
        .filter_map(|(column, volume, area)| Some((column, volume, area, crossed(volume, area, stroke, tolerance)?)))
        .max_by(|left, right| deviation(left.1, left.2, stroke).total_cmp(&deviation(right.1, right.2, stroke)));
    if let Some((column, volume, area, limit)) = worse {
        outcome.hit(
            Hit::here()
                .in_column(column)
                .against(Value::Volume(volume), Value::Volume(limit))
                .fact("column", Value::Text(column.to_owned()))
                .fact("area", Value::Area(area))
                .fact("stroke", Value::Length(stroke))
                .fact("product", Value::Volume(area * stroke))
                .fact("tolerance", Value::Ratio(tolerance)),
        );
    }
}

/// The bound of area × stroke that a stated volume crosses.
fn crossed(volume: Volume, area: Area, stroke: Length, tolerance: f64) -> Option<Volume> {
    let product = area * stroke;
    let (low, high) = (product * (1.0 - tolerance), product * (1.0 + tolerance));
    if is_above(volume.si(), high.si()) { Some(high) } else { is_below(volume.si(), low.si()).then_some(low) }
}

fn deviation(volume: Volume, area: Area, stroke: Length) -> f64 {
    (volume / (area * stroke) - 1.0).abs()
}

pub static L11: Rule = Rule {
    code: "L11",
    name: "part-number-repeated",
    title: "Component table has a part number twice",
    severity: Severity::Major,
    subject: Subject::Part,
    looks_for: "A part number that the component table has twice with different data.",
    why: "Which of the rows is right can't be told. The first one counts, and a rating of the second may be lower.",
    remedy: "Keep one row for the part.",
    message: "The component table has {part} {times} with different {differing}[, again in {elsewhere}, row {row}]. The first row counts.",
    limits: &[],
    basis: "common practice",
    passing: "CL-2010 has one row, or two that are alike.",
    failing: "CL-2010 has two rows, one rated for 350 bar and one for 250 bar.",
    checks: Checks::part(repeated_part),
};

fn repeated_part(view: &PartView, outcome: &mut Outcome) {
    let Some(first) = view.repeats.first() else { return };
    let mut differing: Vec<&'static str> = Vec::new();
    for column in view.repeats.iter().flat_map(|repeat| repeat.differing.iter().copied()) {
        if !differing.contains(&column) {
            differing.push(column);
        }
    }
    let times = match view.repeats.len() {
        1 => "twice".to_owned(),
        again => format!("{} times", again + 1),
    };
    let hit = Hit { column: differing.first().copied(), ..Hit::here().at(first.again) };
    let hit = super::with_row(hit, first.again, view.plant);
    let differing = if differing.is_empty() { vec!["data"] } else { differing };
    outcome.hit(
        hit.fact("times", Value::Text(times))
            .fact("differing", Value::List(differing.into_iter().map(str::to_owned).collect())),
    );
}
