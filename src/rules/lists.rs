//! L: what the lists say, line by line.

pub mod parts;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use crate::tables::finding::Subject;
use crate::tables::line::{Cell, Line, PartRef};
use crate::tables::origin::{CellFault, Origin};
use crate::tables::plant::Plant;
use crate::tables::station::StationPart;
use crate::tables::value::Value;
use crate::tables::words::Severity;

use super::view::{CircuitView, OrderView, PartView, StationView, WaiverView};
use super::{Checks, Hit, Outcome, Rule, is_above};
use crate::tables::figures::Figure;

pub static L01: Rule = Rule {
    code: "L01",
    name: "part-not-in-component-table",
    title: "Part number is not in the component table",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A part number on a list, or a station's pump or drive ram, that the component table doesn't have.",
    why: "Nothing is known of the part: neither its rating nor the oil that it takes. The figures of its side stay unknown.",
    remedy: "Correct the part number, or add the part to the component table.",
    message: "[The component table has no part '{given}'.][The cell of {empty} is empty.][ The table has '{twin}', which differs only in {difference}.][ Nearest in the table: {nearest}.] What depends on the part is unknown.",
    limits: &[],
    basis: "common practice",
    passing: "A list names CL-2010 and the component table has a row CL-2010.",
    failing: "A list names CL-2O10, with a letter O, and the component table has CL-2010.",
    checks: Checks { circuit: Some(unknown_part), station: Some(unknown_station_part), ..Checks::NONE },
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

fn with_nearest(hit: Hit, given: &str, column: &str, plant: &Plant) -> Hit {
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
    code: "L02",
    name: "quantity-not-a-whole-number",
    title: "Quantity is not a whole number above 0",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A quantity that is missing, not a number, not above 0 or not whole.",
    why: "The quantity counts pieces. Oil demand, leak and purchasing are all multiplied by it.",
    remedy: "Enter the number of pieces; the length of a tube or hose goes into its own column.",
    message: "[The quantity is {measured}.][The quantity is '{found}'.][The cell of {empty} is empty.] Expected a whole number of pieces above 0.[ For a {conductor} too the quantity counts pieces.] The line was set aside.",
    limits: &[],
    basis: "common practice",
    passing: "A line has the quantity 4.",
    failing: "A tube has the quantity 2.5, which is its length in metres.",
    checks: Checks::circuit(odd_quantity),
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
    code: "L03",
    name: "position-taken-twice",
    title: "Position is taken twice",
    severity: Severity::Minor,
    subject: Subject::Line,
    looks_for: "A position that an earlier line of the same circuit has.",
    why: "Two parts at one place are a slip of the pen, or the list is given twice. Both count until it is settled.",
    remedy: "Give each line a position of its own, or take out the line that stands there twice.",
    message: "Position {position} is taken by an earlier line already[, with part {earlier_part}][, in {elsewhere}, row {row}]. Both lines count.",
    limits: &[],
    basis: "common practice",
    passing: "Lines of one circuit stand at C1 and C2.",
    failing: "Two lines of one circuit stand at C1.",
    checks: Checks::circuit(position_twice),
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
    code: "L04",
    name: "cell-not-readable",
    title: "Cell can't be read as its column's quantity",
    severity: Severity::Major,
    subject: Subject::Line,
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
    },
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
    code: "L05",
    name: "part-number-altered-by-spreadsheet",
    title: "Part number looks altered by a spreadsheet",
    severity: Severity::Minor,
    subject: Subject::Line,
    looks_for: "A part number that the component table doesn't have and that looks like a number or date which a spreadsheet made of it.",
    why: "A spreadsheet turns part numbers into numbers and dates on opening a file. Which part is meant can't be told for sure.",
    remedy: "Format the column as text, enter the part number again and save the list.",
    message: "The part number '{given}' is not in the component table and looks like {looks_like}.[ It may have been {likely}.] The line was set aside.",
    limits: &[],
    basis: "common practice",
    passing: "The cell holds 00412 as text, as the component table does.",
    failing: "The cell holds 412 and the component table has 00412.",
    checks: Checks::circuit(altered_part),
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
    code: "L06",
    name: "conductor-without-length",
    title: "Tube or hose has no length",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A tube or hose without a length above 0.",
    why: "The oil in it, its dilation, its resistance and what is bought all follow from its length.",
    remedy: "Enter the length of each piece.",
    message: "The {conductor} {part} has no length above 0. The line was set aside.",
    limits: &[],
    basis: "common practice",
    passing: "A tube has the length 1200 mm.",
    failing: "A tube has the length 0, or none.",
    checks: Checks::circuit(no_length),
};

fn no_length(view: &CircuitView, outcome: &mut Outcome) {
    for fitted in view.fitted().filter(|fitted| fitted.line.lacks_length(fitted.component)) {
        let kind = fitted.component.kind.map(|kind| Value::Text(kind.plain()));
        outcome.hit(Hit::on_line(fitted.index).in_column("length").fact_if("conductor", kind));
    }
}

pub static L07: Rule = Rule {
    code: "L07",
    name: "stroke-used-above-stroke",
    title: "Stroke used exceeds the stroke",
    severity: Severity::Major,
    subject: Subject::Line,
    looks_for: "A stroke_used on a list above the stroke that the component table states.",
    why: "A clamp can't travel further than its stroke: it stands at its end and doesn't press on the part.",
    remedy: "Correct the stroke used, bring the clamp nearer to the part, or take one with a longer stroke.",
    message: "The stroke used of {part}[ at position {position}] is {measured} and its stroke {limit}, {excess} less.",
    limits: &[],
    basis: "common practice",
    passing: "8 mm are used of a stroke of 12 mm.",
    failing: "14 mm are used of a stroke of 12 mm.",
    checks: Checks::circuit(long_stroke),
};

fn long_stroke(view: &CircuitView, outcome: &mut Outcome) {
    for fitted in view.sound() {
        let Some(used) = fitted.line.stroke_used else { continue };
        match fitted.component.stroke {
            Some(stroke) if is_above(used.si(), stroke.si()) => outcome.hit(
                Hit::on_line(fitted.index)
                    .in_column("stroke_used")
                    .against(Value::Length(used), Value::Length(stroke))
                    .fact("excess", Value::Length(used - stroke)),
            ),
            None if fitted.component.is_actuator() => outcome.lack(None, Some(fitted.index), Figure::Stroke),
            _ => {}
        }
    }
}

pub static L08: Rule = Rule {
    code: "L08",
    name: "circuit-in-one-table-only",
    title: "Circuit is in one of the two tables only",
    severity: Severity::Minor,
    subject: Subject::Circuit,
    looks_for: "A circuit of the circuits table without lines on any list, or a listed circuit without a row in that table.",
    why: "Names that differ by a letter make two circuits of one: one has no service data then, the other no parts.",
    remedy: "Spell plant, pallet, fixture and circuit alike in both, or add what is missing.",
    message: "[The circuits table names the circuit and no list has a {missing_line} of it.][The circuits table has no row for the circuit, of which the lists have {lines} in all: its station, pressures and temperatures are unknown.]",
    limits: &[],
    basis: "common practice",
    passing: "A list and the circuits table both name pallet 7, fixture A, circuit 1.",
    failing: "A list names fixture A-1 and the circuits table fixture A1.",
    checks: Checks::circuit(one_table_only),
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

pub static L12: Rule = Rule {
    code: "L12",
    name: "line-given-twice",
    title: "Line is given twice",
    severity: Severity::Minor,
    subject: Subject::Line,
    looks_for: "A line that is, cell for cell, the same as an earlier line of another file or sheet.",
    why: "A list that lies in the folder twice doubles the oil demand and what is bought.",
    remedy: "Take one of the two lists out of the folder, or the line out of one of them.",
    message: "The line is the same, cell for cell, as one[ in {elsewhere}, row {row}]. Both lines count.",
    limits: &[],
    basis: "common practice",
    passing: "Two files have lines for different positions.",
    failing: "A copy of a list lies beside it under another name.",
    checks: Checks::circuit(given_twice),
};

fn given_twice(view: &CircuitView, outcome: &mut Outcome) {
    for (index, line) in view.circuit.lines.iter().enumerate() {
        if let Some(earlier) = line.repeats {
            outcome.hit(with_row(Hit::on_line(index), earlier, view.plant));
        }
    }
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
