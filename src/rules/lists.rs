//! L: what the lists and the other tables say, cell by cell.

#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) mod trios;

use super::rating::is_unreadable;
use super::view::{CircuitView, HeaderView, OrderView, PartView, StationView, WaiverView};
use super::{At, Checks, Cure, Family, Hit, Outcome, Reach, Rule, is_above, is_below};
use crate::physics::quantity::{Area, Length, Volume};
use crate::tables::component::Component;
use crate::tables::figures::Figure;
use crate::tables::finding::Subject;
use crate::tables::line::{Cell, Line, PartRef};
use crate::tables::origin::{CellFault, Origin};
use crate::tables::plant::Plant;
use crate::tables::station::StationPart;
use crate::tables::usage::Usage;
use crate::tables::value::Value;
use crate::tables::words::{Kind, Severity};
use std::collections::BTreeMap;

/// The family.
pub static FAMILY: Family = Family {
    letter: 'L',
    name: "Lists and component table",
    weighs: true,
    rules: &[&L01, &L02, &L03, &L04, &L05, &L06, &L07, &L08, &L09, &L10, &L11, &L12, &L13],
};

pub static L01: Rule = Rule {
    family: &FAMILY,
    code: "L01",
    name: "part-not-in-component-table",
    title: "Part number is not in the component table",
    severity: Severity::Major,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A part number on a list, or a station's pump or drive ram, that the component table doesn't have.",
    why: "Nothing is known of the part: neither its rating nor the oil that it takes. The figures of its side stay unknown.",
    remedy: "Correct the part number, or add the part to the component table.",
    message: "[The component table has no part '{given}'.][The cell of {empty} is empty.][ The table has '{twin}', which differs only in {difference}.][ Nearest in the table: {nearest}.] What depends on the part is unknown.",
    limits: &[],
    basis: "common practice",
    passing: "A list names CL-2010 and the component table has a row CL-2010.",
    failing: "A list names CL-2O10, with a letter O, and the component table has CL-2010.",
    checks: Checks { circuit: Some(unknown_part), station: Some(unknown_station_part), ..Checks::NONE },
    ..Rule::USUAL
};

fn unknown_part(view: &CircuitView, outcome: &mut Outcome) {
    for (index, line) in view.suspect_lines() {
        if let PartRef::Unknown(given) = &line.part {
            let hit = Hit::on_line(index).in_column("part_no");
            outcome.hit(with_nearest(hit, given, "part_no", view.plant));
        }
    }
}

fn unknown_station_part(view: &StationView, outcome: &mut Outcome) {
    let parts = [("pump", &view.station.pump), ("drive_ram", &view.station.drive_ram)];
    let unknown = parts.into_iter().find_map(|(column, part)| match part {
        StationPart::Unknown(given) => Some((column, given)),
        StationPart::Blank | StationPart::Known(_) => None,
    });
    if let Some((column, given)) = unknown {
        outcome.hit(with_nearest(Hit::here().in_column(column), given, column, view.plant));
    }
}

/// Adds what a part number that the component table lacks is near to.
pub(super) fn with_nearest(hit: Hit, given: &str, column: &str, plant: &Plant) -> Hit {
    if given.is_empty() {
        return hit.fact("empty", text(column));
    }
    let hit = hit.fact("given", text(given));
    let near = plant.part_index.nearest(given);
    match (near.difference, near.names.first()) {
        (Some(difference), Some(twin)) => hit.fact("twin", text(twin)).fact("difference", text(difference.words())),
        (None, Some(_)) => hit.fact("nearest", Value::List(near.names)),
        (_, None) => hit,
    }
}

pub static L02: Rule = Rule {
    family: &FAMILY,
    code: "L02",
    name: "quantity-not-a-whole-number",
    title: "Quantity is not a whole number above 0",
    severity: Severity::Major,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A quantity that is missing, not a number, not above 0, not whole or above 1,000,000,000.",
    why: "The quantity counts pieces. Oil demand, leak and purchasing are all multiplied by it.",
    remedy: "Enter the number of pieces; the length of a tube or hose goes into its own column.",
    message: "[The quantity is {measured}.][The quantity is '{found}'.][The cell of {empty} is empty.] Expected a whole number of pieces from 1 to 1,000,000,000.[ For a {conductor} too the quantity counts pieces.] The line was set aside.",
    limits: &[],
    basis: "common practice",
    passing: "A line has the quantity 4.",
    failing: "A tube has the quantity 2.5, which is its length in metres.",
    checks: Checks::circuit(odd_quantity),
    ..Rule::USUAL
};

fn odd_quantity(view: &CircuitView, outcome: &mut Outcome) {
    for (index, line) in view.suspect_lines().filter(|(_, line)| !line.has_quantity()) {
        let hit = Hit::on_line(index).in_column("qty");
        let hit = match line.qty {
            Cell::Value(qty) => hit.measuring(Value::Number(qty)),
            Cell::Blank => hit.fact("empty", text("qty")),
            Cell::Unreadable => hit.fact("found", text(&line.qty_text)),
        };
        let component = line.component(&view.plant.components);
        let conductor = component.filter(|component| component.is_conductor()).and_then(|component| component.kind);
        outcome.hit(hit.fact_if("conductor", conductor.map(|kind| Value::Text(kind.plain()))));
    }
}

pub static L03: Rule = Rule {
    family: &FAMILY,
    code: "L03",
    name: "position-taken-twice",
    title: "Position is taken twice",
    severity: Severity::Minor,
    subject: Subject::Line,
    reach: Reach::Makeup,
    looks_for: "A position that an earlier line of the same circuit has.",
    why: "Two parts at one place are a slip of the pen, or the list is given twice. Both count until it is settled.",
    remedy: "Give each line a position of its own, or take out the line that stands there twice.",
    message: "Position {position} is taken by an earlier line already[, with part {earlier_part}][, in {elsewhere}, row {row}]. Both lines count.",
    limits: &[],
    basis: "common practice",
    passing: "Lines of one circuit stand at C1 and C2.",
    failing: "Two lines of one circuit stand at C1.",
    checks: Checks::circuit(position_twice),
    ..Rule::USUAL
};

fn position_twice(view: &CircuitView, outcome: &mut Outcome) {
    // Most lists count their positions upwards; then there is nothing to look up.
    if view.circuit.lines.is_sorted_by(|one, next| by_length(one) < by_length(next)) {
        return;
    }
    let mut first: BTreeMap<&str, &Line> = BTreeMap::new();
    for (index, line) in view.circuit.lines.iter().enumerate().filter(|(_, line)| !line.position.is_empty()) {
        if let Some(earlier) = first.get(line.position.as_str()) {
            let part = part_no(earlier, view.plant);
            let hit = Hit::on_line(index).in_column("position");
            let hit = hit.fact_if("earlier_part", (!part.is_empty()).then(|| text(part)));
            outcome.hit(with_row(hit, earlier.origin, view.plant));
        } else {
            first.insert(&line.position, line);
        }
    }
}

fn by_length(line: &Line) -> (usize, &str) {
    (line.position.len(), line.position.as_str())
}

pub static L04: Rule = Rule {
    family: &FAMILY,
    code: "L04",
    name: "cell-not-readable",
    title: "Cell can't be read as its column's quantity",
    severity: Severity::Major,
    subject: Subject::Line,
    reach: Reach::Makeup,
    looks_for: "A cell of any table that can't be read as what its column holds, or a row with more or fewer cells than its header.",
    why: "A guess at the number could hide a rating that is too low. What the cell enters stays unknown.",
    remedy: "Write the cell as its column expects it.",
    message: "Found '{found}'[ in column {cell}]. Expected {expected}.[ Also not readable in this row: {others}.][ Set aside: {set_aside}.][ Read as blank: {left_blank}.][ Not counted: {not_counted}.][ Not assessed: {not_assessed}.]",
    limits: &[],
    basis: "common practice",
    passing: "A length cell holds 63.5 mm.",
    failing: "A length cell holds 63,5 mn.",
    checks: Checks {
        circuit: Some(cells_of_circuit),
        part: Some(cells_of_part),
        station: Some(cells_of_station),
        order: Some(cells_of_order),
        waiver: Some(cells_of_waiver),
        ..Checks::NONE
    },
    runs_on_empty: true,
    ..Rule::USUAL
};

fn cells_of_circuit(view: &CircuitView, outcome: &mut Outcome) {
    for (index, line) in view.suspect_lines() {
        if let Some(hit) = unreadable(|| Hit::on_line(index), &line.faults) {
            outcome.hit(hit.fact("set_aside", text("the line")));
        }
    }
    if let Some(hit) = unreadable(|| Hit::here().at(view.service.origin), &view.service.faults) {
        outcome.hit(hit.fact("not_assessed", text("what the cell asks for")));
    }
}

fn cells_of_part(view: &PartView, outcome: &mut Outcome) {
    let Some(component) = view.component else { return };
    if let Some(hit) = unreadable(Hit::here, &component.faults) {
        outcome.hit(if component.is_spoiled {
            hit.fact("set_aside", text("all lines of the part"))
        } else {
            hit.fact("left_blank", text("the cell"))
        });
    }
}

fn cells_of_station(view: &StationView, outcome: &mut Outcome) {
    if let Some(hit) = unreadable(Hit::here, &view.station.faults) {
        outcome.hit(hit.fact("not_assessed", text("what depends on the cell")));
    }
}

fn cells_of_order(view: &OrderView, outcome: &mut Outcome) {
    let order = view.order;
    if let Some(hit) = unreadable(Hit::here, &order.faults) {
        let quantity_is_lost = order.faults.iter().any(|fault| fault.column == "qty" || fault.column.is_empty());
        outcome.hit(if quantity_is_lost {
            hit.fact("not_counted", text("the order's quantity"))
        } else {
            hit.fact("left_blank", text("the cell"))
        });
    }
}

fn cells_of_waiver(view: &WaiverView, outcome: &mut Outcome) {
    if let Some(hit) = unreadable(Hit::here, &view.waiver.faults) {
        outcome.hit(hit.fact("not_counted", text("the waiver")));
    }
}

/// The hit for the first cell at fault, with the others named.
fn unreadable(hit: impl FnOnce() -> Hit, faults: &[CellFault]) -> Option<Hit> {
    let (first, others) = faults.split_first()?;
    let cell = |fault: &CellFault| match (fault.letter.as_str(), fault.column) {
        ("", column) => column.to_owned(),
        (letter, "") => letter.to_owned(),
        (letter, column) => format!("{letter} ({column})"),
    };
    let hit = if first.column.is_empty() { hit() } else { hit().in_column(first.column) };
    let others: Vec<String> = others.iter().map(|fault| format!("{} '{}'", cell(fault), fault.found)).collect();
    let where_found = Some(cell(first)).filter(|name| !name.is_empty());
    Some(
        hit.fact("found", text(&first.found))
            .fact("expected", text(&first.expected))
            .fact_if("cell", where_found.map(Value::Text))
            .fact_if("others", (!others.is_empty()).then_some(Value::List(others))),
    )
}

pub static L05: Rule = Rule {
    family: &FAMILY,
    code: "L05",
    name: "part-number-altered-by-spreadsheet",
    title: "Part number looks altered by a spreadsheet",
    severity: Severity::Minor,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A part number that the component table doesn't have and that looks like a number or date which a spreadsheet made of it.",
    why: "A spreadsheet turns part numbers into numbers and dates on opening a file. Which part is meant can't be told for sure.",
    remedy: "Format the column as text, enter the part number again and save the list.",
    message: "The part number '{given}' is not in the component table and looks like {looks_like}.[ It may have been {likely}.] The line was set aside.",
    limits: &[],
    basis: "common practice",
    passing: "The cell holds 00412 as text, as the component table does.",
    failing: "The cell holds 412 and the component table has 00412.",
    checks: Checks::circuit(altered_part),
    ..Rule::USUAL
};

fn altered_part(view: &CircuitView, outcome: &mut Outcome) {
    for (index, line) in view.suspect_lines() {
        if let PartRef::Altered(alteration) = &line.part {
            outcome.hit(
                Hit::on_line(index)
                    .in_column("part_no")
                    .fact("given", text(&alteration.text))
                    .fact("looks_like", text(alteration.looks_like))
                    .fact_if("likely", alteration.likely.as_deref().map(text)),
            );
        }
    }
}

pub static L06: Rule = Rule {
    family: &FAMILY,
    code: "L06",
    name: "conductor-without-length",
    title: "Tube or hose has no length",
    severity: Severity::Major,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A tube or hose without a length above 0.",
    why: "The oil in it, its dilation, its resistance and what is bought all follow from its length.",
    remedy: "Enter the length of each piece.",
    message: "The {conductor} {part} has no length above 0. The line was set aside.",
    limits: &[],
    basis: "common practice",
    passing: "A tube has the length 1200 mm.",
    failing: "A tube has the length 0, or none.",
    checks: Checks::circuit(no_length),
    ..Rule::USUAL
};

fn no_length(view: &CircuitView, outcome: &mut Outcome) {
    for fitted in view.fitted().filter(|fitted| fitted.line.lacks_length(fitted.component)) {
        let kind = fitted.component.kind.map(|kind| Value::Text(kind.plain()));
        outcome.hit(Hit::on_line(fitted.index).in_column("length").fact_if("conductor", kind));
    }
}

pub static L07: Rule = Rule {
    family: &FAMILY,
    code: "L07",
    name: "stroke-used-above-stroke",
    title: "Stroke used exceeds the stroke",
    severity: Severity::Major,
    subject: Subject::Line,
    reach: Reach::Line,
    looks_for: "A stroke_used on a list above the stroke that the component table states.",
    why: "A clamp can't travel further than its stroke: it stands at its end and doesn't press on the part.",
    remedy: "Correct the stroke used, bring the clamp nearer to the part, or take one with a longer stroke.",
    message: "The stroke used of {part}[ at position {position}] is {measured} and its stroke {limit}, {excess} less.",
    limits: &[],
    basis: "common practice",
    passing: "8 mm are used of a stroke of 12 mm.",
    failing: "14 mm are used of a stroke of 12 mm.",
    checks: Checks::circuit(long_stroke),
    cures: &[Cure::OtherPart],
    ..Rule::USUAL
};

fn long_stroke(view: &CircuitView, outcome: &mut Outcome) {
    view.lack_set_aside(outcome, |fitted| {
        fitted.line.stroke_used.is_some() || fitted.line.is_unreadable("stroke_used")
    });
    for fitted in view.sound() {
        let Some(used) = fitted.line.stroke_used else { continue };
        match fitted.component.stroke {
            Some(stroke) if outcome.is_above(At::line(fitted.index), used, stroke) => outcome.hit(
                Hit::on_line(fitted.index)
                    .in_column("stroke_used")
                    .against(Value::Length(used), Value::Length(stroke))
                    .fact("excess", Value::Length(used - stroke)),
            ),
            None if fitted.component.is_actuator() => {
                outcome.lack_cell(None, Some(fitted.index), Figure::Stroke, fitted.component.origin, "stroke");
            }
            _ => {}
        }
    }
}

pub static L08: Rule = Rule {
    family: &FAMILY,
    code: "L08",
    name: "circuit-in-one-table-only",
    title: "Circuit is in one of the two tables only",
    severity: Severity::Minor,
    subject: Subject::Circuit,
    reach: Reach::Makeup,
    looks_for: "A circuit of the circuits table without lines on any list, or a listed circuit without a row in that table.",
    why: "Names that differ by a letter make two circuits of one: one has no service data then, the other no parts.",
    remedy: "Spell plant, pallet, fixture and circuit alike in both, or add what is missing.",
    message: "[The circuits table names the circuit and no list has a {missing_line} of it.][The circuits table has no row for the circuit, of which the lists have {lines} in all: its station, pressures and temperatures are unknown.]",
    limits: &[],
    basis: "common practice",
    passing: "A list and the circuits table both name pallet 7, fixture A, circuit 1.",
    failing: "A list names fixture A-1 and the circuits table fixture A1.",
    checks: Checks::circuit(one_table_only),
    runs_on_empty: true,
    ..Rule::USUAL
};

fn one_table_only(view: &CircuitView, outcome: &mut Outcome) {
    let circuit = view.circuit;
    if circuit.lines.is_empty() {
        outcome.hit(Hit::here().at(view.service.origin).fact("missing_line", text("line")));
    } else if view.plant.has_circuits && circuit.service.is_none() {
        let lines = match circuit.lines.len() {
            1 => "1 line".to_owned(),
            lines => format!("{lines} lines"),
        };
        let origin = circuit.lines.first().map_or_else(Origin::default, |line| line.origin);
        outcome.hit(Hit::here().at(origin).fact("lines", Value::Text(lines)));
    }
}

pub static L09: Rule = Rule {
    family: &FAMILY,
    code: "L09",
    name: "part-lacks-figure",
    title: "Part lacks a figure that its kind needs",
    severity: Severity::Major,
    subject: Subject::Part,
    looks_for: "A part in use whose row of the component table lacks a figure that its kind needs.",
    why: "Without the figure the oil demand, the weakest rating or the force of every circuit with the part is unknown.",
    remedy: "Enter the missing figures from the part's data sheet.",
    message: "[The {kind} {part}][The part {unnamed}] lacks {missing} in the component table. What depends on it is unknown[{set_on_lines} where a line states none of its own].[ Used by {circuits}.]",
    limits: &[],
    basis: "common practice",
    passing: "A check valve has a rated pressure of 500 bar.",
    failing: "A clamp has a rated pressure but neither area and stroke nor a volume.",
    checks: Checks::part(lacks_figure),
    ..Rule::USUAL
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
            .fact_if("set_on_lines", is_set_on_lines(&missing).then(|| text("")))
            .fact_if("circuits", circuits.map(Value::Text)),
    );
}

/// Whether each line may state what a part lacks.
fn is_set_on_lines(missing: &[MissingFigure]) -> bool {
    missing.iter().all(|gap| matches!(gap.column, "set_pressure" | "precharge"))
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
    family: &FAMILY,
    code: "L10",
    name: "stated-volume-differs-from-area-times-stroke",
    title: "Stated volume differs from area × stroke",
    severity: Severity::Observation,
    subject: Subject::Part,
    looks_for: "A part in use whose stated volume differs from area × stroke, or a charging cylinder whose capacity differs from piston_area × stroke, by more than catalogue_tolerance of the product.",
    why: "One of the three figures is a slip, or the volume holds more than the stroke sweeps. The larger one counts.",
    remedy: "Compare volume, area and stroke with the part's data sheet.",
    message: "The {column} of {part} is {measured}; {area} × {stroke} = {product}, with a tolerance of {tolerance} a limit of {limit}. What counts: {counts}.",
    limits: &["catalogue_tolerance"],
    basis: "common practice",
    passing: "A volume of 10.1 cm³ beside 10 cm² × 10 mm = 10 cm³, within 2 %.",
    failing: "A volume of 12 cm³ beside 10 cm² × 10 mm = 10 cm³.",
    checks: Checks::part(odd_volume),
    ..Rule::USUAL
};

fn odd_volume(view: &PartView, outcome: &mut Outcome) {
    let Some(component) = view.component.filter(|_| view.usage.is_used) else { return };
    let Some(stroke) = component.stroke else { return };
    let tolerance = view.plant.policy.limits.catalogue_tolerance;
    let stated = [
        ("volume_clamp", component.volume_clamp, component.area_clamp),
        ("volume_unclamp", component.volume_unclamp, component.area_unclamp),
        ("capacity", component.capacity, component.piston_area.filter(|_| component.is(Kind::ChargingCylinder))),
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
                .fact("tolerance", Value::Ratio(tolerance))
                .fact("counts", text(if column == "capacity" { CAPACITY_COUNTS } else { LARGER_COUNTS })),
        );
    }
}

const CAPACITY_COUNTS: &str = "the capacity as stated";
const LARGER_COUNTS: &str = "the larger volume";

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
    family: &FAMILY,
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
    ..Rule::USUAL
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
    let hit = with_row(hit, first.again, view.plant);
    let differing = if differing.is_empty() { vec!["data"] } else { differing };
    outcome.hit(
        hit.fact("times", Value::Text(times))
            .fact("differing", Value::List(differing.into_iter().map(str::to_owned).collect())),
    );
}

pub static L12: Rule = Rule {
    family: &FAMILY,
    code: "L12",
    name: "line-given-twice",
    title: "Line is given twice",
    severity: Severity::Minor,
    subject: Subject::Line,
    reach: Reach::Makeup,
    looks_for: "A line that is, cell for cell, the same as an earlier line of another file or sheet.",
    why: "A list that lies in the folder twice doubles the oil demand and what is bought.",
    remedy: "Take one of the two lists out of the folder, or the line out of one of them.",
    message: "The line is the same, cell for cell, as one[ in {elsewhere}, row {row}]. Both lines count.",
    limits: &[],
    basis: "common practice",
    passing: "Two files have lines for different positions.",
    failing: "A copy of a list lies beside it under another name.",
    checks: Checks::circuit(given_twice),
    ..Rule::USUAL
};

fn given_twice(view: &CircuitView, outcome: &mut Outcome) {
    for (index, line) in view.circuit.lines.iter().enumerate() {
        if let Some(earlier) = line.repeats {
            outcome.hit(with_row(Hit::on_line(index), earlier, view.plant));
        }
    }
}

pub static L13: Rule = Rule {
    family: &FAMILY,
    code: "L13",
    name: "header-nearly-known",
    title: "Header is close to a column that is missing",
    severity: Severity::Minor,
    subject: Subject::Table,
    looks_for: "An unknown header close to a known column that its table lacks: a few letters off, the same words shortened, joined or in another order, or a word of the trade for it.",
    why: "What stands under an unknown header is carried along and not looked at: a limit that was typed in is then never checked.",
    remedy: "Spell the header as the column is called, or add it to the policy's [columns] as an alias.",
    message: "The header '{header}' of {table}[ in column {letter}] is no known column, and the table has no column {nearest}, which is close to it. Cells under it that were not looked at: {cells}.",
    limits: &[],
    basis: "common practice",
    passing: "A header 'pressure min' is read as pressure_min; a header 'remark' is close to no column.",
    failing: "A header 'min_press' in a table without pressure_min.",
    checks: Checks::header(nearly_known),
    weighs: false,
    ..Rule::USUAL
};

fn nearly_known(view: &HeaderView, outcome: &mut Outcome) {
    let Some(nearest) = view.nearest else { return };
    let letter = Some(view.letter).filter(|letter| !letter.is_empty());
    outcome.hit(
        Hit::here()
            .in_column(nearest)
            .at(view.origin)
            .fact("header", text(view.header))
            .fact("table", text(view.table))
            .fact_if("letter", letter.map(text))
            .fact("nearest", text(nearest))
            .fact("cells", Value::Count(view.cells)),
    );
}

/// With the place of another row.
fn with_row(hit: Hit, origin: Origin, plant: &Plant) -> Hit {
    match plant.source(origin) {
        Some(source) => hit.fact("elsewhere", Value::Text(source.place())).fact("row", Value::Count(origin.row.into())),
        None => hit,
    }
}

/// The part number of a line, as known or as given.
fn part_no<'a>(line: &'a Line, plant: &'a Plant) -> &'a str {
    match &line.part {
        PartRef::Known(_) => line.component(&plant.components).map_or("", |component| &component.part_no),
        PartRef::Unknown(given) => given,
        PartRef::Altered(alteration) => &alteration.text,
    }
}

fn text(words: &str) -> Value {
    Value::Text(words.to_owned())
}
