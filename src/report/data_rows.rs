//! Rows of the data files: fixed metric units, an unknown number is an empty cell.

use crate::audit::causes::Cause;
use crate::audit::due::Due;
use crate::audit::input_causes::InputCause;
use crate::circuit::audited::CircuitAudit;
use crate::physics::quantity::{Force, Pressure, Time, Volume};
use crate::rules::catalogue::rule;
use crate::tables::circuit::CircuitKey;
use crate::tables::figures::{CircuitFigures, SideFigures};
use crate::tables::finding::Finding;
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;
use crate::tables::sureness::Sureness;
use crate::tables::value::Value;
use crate::tables::words::Side;

pub use crate::audit::previous::FINDING_COLUMNS;

use crate::rules::wording;

/// Columns of any data file whose cells are text; those of money are too, since it is decimal.
pub const TEXT_COLUMNS: &[&str] = &[
    "plant",
    "pallet",
    "fixture",
    "circuit",
    "verdict",
    "clamp_weakest_part",
    "unclamp_weakest_part",
    "not_assessed",
    "not_asked",
    "source",
    "station",
    "first_place",
    "what",
    "date",
    "need_date",
    "order_by",
    "promised_date",
    "order_part",
    "rule",
    "severity",
    "state",
    "side",
    "position",
    "part_no",
    "unit",
    "reason",
    "remedy",
    "file",
    "sheet",
    "column",
    "description",
    "kind",
    "uom",
    "unit_price",
    "currency",
    "extended",
    "supplier",
    "status",
    "replaced_by",
    "header",
    "found",
    "message",
    "change",
    "part_from",
    "part_to",
    "rules",
    "price",
    "applied",
    "margin_rule",
    "deciding_datum",
];

/// Columns of a side in `circuits.csv`, without the side's prefix.
const SIDE_COLUMNS: &[&str] = &[
    "swept_cm3",
    "line_cm3",
    "dead_cm3",
    "capacity_cm3",
    "compression_cm3",
    "air_cm3",
    "dilation_cm3",
    "elastic_cm3",
    "accumulator_cm3",
    "demand_cm3",
    "fill",
    "reserve_cm3",
    "charge_bar",
    "pump_needed_bar",
    "potential_bar",
    "weakest_bar",
    "weakest_part",
    "tube_bar",
];

/// Columns of `circuits.csv` behind those of the sides.
const HOLDING_COLUMNS: &[&str] = &[
    "p_settled_bar",
    "p_cold_bar",
    "p_hot_bar",
    "p_hot_full_bar",
    "p_hold_bar",
    "hold_reserve_min",
    "clamp_time_s",
    "unclamp_time_s",
    "source",
    "topup_days",
    "friction_N",
    "not_assessed",
    "not_asked",
];

/// Columns of `purchase.csv`.
pub const PURCHASE_COLUMNS: &[&str] = &[
    "part_no",
    "description",
    "kind",
    "uom",
    "needed",
    "ordered",
    "order_qty",
    "unit_price",
    "currency",
    "extended",
    "circuits",
    "supplier",
    "lead_time_days",
    "status",
    "replaced_by",
    "need_date",
    "order_by",
    "promised_date",
    "order_part",
];

/// Columns of `circuits.csv` at the end, where a run says how sure each verdict is.
const SURE_COLUMNS: &[&str] = &["margin", "margin_rule", "p_conforms", "deciding_datum", "deciding_share"];

/// Columns of `circuits.csv`, in order.
#[must_use]
pub fn circuit_columns(with_sureness: bool) -> Vec<String> {
    let place = ["plant", "pallet", "fixture", "circuit", "verdict"].map(str::to_owned);
    let sides = [Side::Clamp, Side::Unclamp]
        .into_iter()
        .flat_map(|side| SIDE_COLUMNS.iter().map(move |column| format!("{}_{column}", side.word())));
    let sure = SURE_COLUMNS.iter().filter(|_| with_sureness);
    place
        .into_iter()
        .chain(sides)
        .chain(HOLDING_COLUMNS.iter().chain(sure).map(|column| (*column).to_owned()))
        .collect()
}

/// A CSV row under way: cells are quoted where CSV asks for it.
pub struct CsvRow<'a> {
    out: &'a mut Vec<u8>,
    is_first: bool,
}

impl<'a> CsvRow<'a> {
    /// Starts a row at the end of `out`.
    pub fn new(out: &'a mut Vec<u8>) -> Self {
        Self { out, is_first: true }
    }

    fn separate(&mut self) {
        if !std::mem::replace(&mut self.is_first, false) {
            self.out.push(b',');
        }
    }

    /// A text cell, as given.
    pub fn text(&mut self, text: &str) -> &mut Self {
        self.separate();
        if text.is_empty() {
            return self;
        }
        // Every byte looked at: cells are short, and many are told in one step.
        let asks_for_quotes = |so_far, byte: &u8| so_far | matches!(byte, b',' | b'"' | b'\n' | b'\r');
        if text.as_bytes().iter().fold(false, asks_for_quotes) {
            self.out.push(b'"');
            for (place, between) in text.split('"').enumerate() {
                if place > 0 {
                    self.out.extend_from_slice(b"\"\"");
                }
                self.out.extend_from_slice(between.as_bytes());
            }
            self.out.push(b'"');
        } else {
            self.out.extend_from_slice(text.as_bytes());
        }
        self
    }

    /// A number cell: the shortest text that reads back as the same number.
    pub fn number(&mut self, number: Option<f64>) -> &mut Self {
        self.separate();
        if let Some(number) = number.filter(|number| number.is_finite()) {
            let mut buffer = zmij::Buffer::new();
            let text = buffer.format_finite(if number == 0.0 { 0.0 } else { number });
            self.out.extend_from_slice(text.strip_suffix(".0").unwrap_or(text).as_bytes());
        }
        self
    }

    /// A pressure in bar.
    pub fn bar(&mut self, pressure: Option<Pressure>) -> &mut Self {
        self.number(pressure.map(Pressure::bar))
    }

    /// A volume in cm³.
    pub fn cm3(&mut self, volume: Option<Volume>) -> &mut Self {
        self.number(volume.map(Volume::cm3))
    }

    /// Ends the row.
    pub fn end(&mut self) {
        self.out.push(b'\n');
    }
}

/// A header row.
pub fn header<T: AsRef<str>>(out: &mut Vec<u8>, columns: &[T]) {
    let mut row = CsvRow::new(out);
    for column in columns {
        row.text(column.as_ref());
    }
    row.end();
}

fn place(row: &mut CsvRow, key: &CircuitKey) {
    row.text(&key.plant).text(&key.pallet).text(&key.fixture).text(&key.circuit);
}

/// Rows of circuits and of their findings, ready to be written.
#[derive(Default)]
pub struct CircuitRows {
    pub circuits: Vec<u8>,
    pub findings: Vec<u8>,
}

impl CircuitRows {
    /// Adds a circuit with its findings.
    pub fn add(plant: &Plant, audit: &CircuitAudit, rows: &mut Self) {
        circuit_row(&mut rows.circuits, plant, audit, false);
        rows.add_findings(plant, audit);
    }

    /// The same, with how sure its verdict is.
    pub fn add_with_sureness(plant: &Plant, audit: &CircuitAudit, rows: &mut Self) {
        circuit_row(&mut rows.circuits, plant, audit, true);
        rows.add_findings(plant, audit);
    }

    fn add_findings(&mut self, plant: &Plant, audit: &CircuitAudit) {
        audit.findings.iter().for_each(|finding| finding_row(&mut self.findings, plant, finding));
    }
}

/// A circuit's row.
fn circuit_row(out: &mut Vec<u8>, plant: &Plant, audit: &CircuitAudit, with_sureness: bool) {
    let figures: &CircuitFigures = &audit.figures;
    let mut row = CsvRow::new(out);
    place(&mut row, &audit.circuit.key);
    row.text(audit.verdict.word());
    side_cells(&mut row, plant, audit, Some(&figures.clamp));
    side_cells(&mut row, plant, audit, figures.unclamp.as_ref());
    let holding = &figures.holding;
    row.bar(holding.settled).bar(holding.cold).bar(holding.hot).bar(holding.hot_full).bar(holding.hold);
    row.number(holding.reserve.map(Time::minutes));
    row.number(figures.clamp_time.map(Time::si)).number(figures.unclamp_time.map(Time::si));
    row.text(audit.circuit.service.as_ref().map_or("", |service| &service.source));
    row.number(figures.clamp.group.topup_days).number(figures.friction.map(Force::si));
    let codes: Vec<&str> = audit.not_assessed.iter().map(|lack| lack.rule).collect();
    row.text(&codes.join(" "));
    let letters: Vec<String> = audit.coverage.not_asked().into_iter().map(String::from).collect();
    row.text(&letters.join(" "));
    if with_sureness {
        sure_cells(&mut row, figures.sureness.as_deref());
    }
    row.end();
}

/// A margin without bound is an empty cell: nothing that is compared spreads, and the probability is 1 or 0.
fn sure_cells(row: &mut CsvRow, sureness: Option<&Sureness>) {
    let first = sureness.and_then(|sureness| sureness.deciding.first());
    row.number(sureness.map(|sureness| sureness.margin)).text(sureness.map_or("", |sureness| sureness.rule));
    row.number(sureness.map(|sureness| sureness.probability));
    row.text(first.map_or("", |first| &first.datum)).number(first.map(|first| first.share));
}

fn side_cells(row: &mut CsvRow, plant: &Plant, audit: &CircuitAudit, figures: Option<&SideFigures>) {
    let Some(figures) = figures else {
        for _ in SIDE_COLUMNS {
            row.text("");
        }
        return;
    };
    let volumes = &figures.volumes;
    row.cm3(volumes.swept).cm3(volumes.line).cm3(volumes.dead).cm3(volumes.capacity);
    row.cm3(volumes.compression).cm3(volumes.air).cm3(volumes.dilation).cm3(volumes.elastic);
    row.cm3(volumes.accumulator).cm3(volumes.demand);
    row.number(figures.fill).cm3(figures.reserve);
    let chain = &figures.chain;
    row.bar(chain.charge).bar(chain.pump_needed).bar(chain.potential);
    row.bar(chain.weakest.map(|rating| rating.pressure));
    let weakest = chain.weakest.and_then(|rating| audit.circuit.lines.get(rating.line));
    row.text(weakest.map_or("", |line| crate::circuit::findings::part_no(plant, line)));
    row.bar(chain.tube.map(|rating| rating.pressure));
}

/// A finding's row.
pub fn finding_row(out: &mut Vec<u8>, plant: &Plant, finding: &Finding) {
    let mut row = CsvRow::new(out);
    row.text(finding.rule).text(finding.severity.word()).text(finding.state.word());
    place(&mut row, &finding.place);
    row.text(finding.side.map_or("", Side::word)).text(&finding.position).text(&finding.part_no);
    let measured = finding.measured.as_ref().and_then(|value| value.metric());
    let limit = finding.limit.as_ref().and_then(|value| value.metric());
    row.number(measured.map(|(number, _)| number)).number(limit.map(|(number, _)| number));
    row.text(measured.or(limit).map_or("", |(_, unit)| unit));
    let rule = rule(finding.rule);
    let reason = rule.map(|rule| wording::reason(finding, rule, plant)).unwrap_or_default();
    // Where no change was searched, what usually helps.
    let usual = rule.map_or("", |rule| rule.remedy);
    row.text(&reason).text(finding.remedy.as_deref().unwrap_or(usual));
    let letter = finding.facts.iter().find_map(|(name, value)| match value {
        Value::Text(letter) if *name == "letter" => Some(letter.as_str()),
        _ => None,
    });
    origin_cells(&mut row, plant, finding.origin, finding.column, letter);
    row.end();
}

fn origin_cells(
    row: &mut CsvRow,
    plant: &Plant,
    origin: Option<Origin>,
    column: Option<&str>,
    header_letter: Option<&str>,
) {
    let source = origin.and_then(|origin| plant.source(origin));
    row.text(source.map_or("", |source| &source.file)).text(source.map_or("", |source| &source.sheet));
    row.text(&origin.filter(|origin| origin.row > 0).map(|origin| origin.row.to_string()).unwrap_or_default());
    let letter = source.zip(column).and_then(|(source, column)| source.letter_of(column));
    // A header that names no known column is where the run found it.
    row.text(&letter.or_else(|| header_letter.map(str::to_owned)).unwrap_or_default());
}

/// A row of the bill.
pub fn purchase_row(out: &mut Vec<u8>, plant: &Plant, bill: &PurchaseRow) {
    let component = plant.component_at(bill.component);
    let mut row = CsvRow::new(out);
    row.text(&bill.part_no).text(component.map_or("", |part| &part.description));
    row.text(component.and_then(|part| part.kind).map_or("", crate::tables::words::Kind::word));
    let known =
        |amount: rust_decimal::Decimal| if bill.need_is_bound { String::new() } else { amount.normalize().to_string() };
    row.text(bill.uom).text(&known(bill.needed));
    row.text(&bill.ordered.unwrap_or_default().normalize().to_string()).text(&known(bill.order_qty));
    row.text(
        &component.and_then(|part| part.unit_price).map(|price| price.normalize().to_string()).unwrap_or_default(),
    );
    row.text(component.map_or("", |part| &part.currency));
    row.text(
        &bill
            .extended
            .filter(|_| !bill.need_is_bound)
            .map(|extended| extended.normalize().to_string())
            .unwrap_or_default(),
    );
    row.text(&bill.circuits.to_string()).text(component.map_or("", |part| &part.supplier));
    row.number(component.and_then(|part| part.lead_time));
    row.text(component.and_then(|part| part.status).map_or("", crate::tables::words::Status::word));
    row.text(component.map_or("", |part| &part.replaced_by));
    for date in [bill.need_date, bill.order_by, bill.promised_date] {
        row.text(&date.map(|date| date.to_string()).unwrap_or_default());
    }
    row.text(&bill.order_part);
    row.end();
}

/// Columns of `causes.csv`.
pub const CAUSE_COLUMNS: &[&str] =
    &["rule", "severity", "part_no", "station", "findings", "pieces", "circuits", "first_place", "reason"];

/// A row of `causes.csv`.
pub fn cause_row(out: &mut Vec<u8>, cause: &Cause) {
    let mut row = CsvRow::new(out);
    row.text(&cause.rule).text(&cause.severity).text(&cause.part_no).text(&cause.station);
    for count in [cause.findings, cause.pieces, cause.circuits] {
        row.text(&count.to_string());
    }
    let place = if cause.first_place == CircuitKey::default() { String::new() } else { cause.first_place.to_string() };
    row.text(&place).text(&cause.reason);
    row.end();
}

/// Columns of `due.csv`.
pub const DUE_COLUMNS: &[&str] =
    &["what", "part_no", "plant", "pallet", "fixture", "circuit", "position", "date", "days"];

/// A row of `due.csv`.
pub fn due_row(out: &mut Vec<u8>, plant: &Plant, due: &Due) {
    let mut row = CsvRow::new(out);
    row.text(&due.what).text(&due.part_no);
    place(&mut row, &due.place);
    row.text(&due.position).text(&due.date).text(&due.days_from(plant.policy.date).to_string());
    row.end();
}

/// Columns of `input.csv`.
pub const INPUT_COLUMNS: &[&str] = &["what", "file", "sheet", "row", "column", "header", "cells", "found", "message"];

/// A row of `input.csv`.
pub fn input_row(out: &mut Vec<u8>, plant: &Plant, cause: &InputCause) {
    let InputCause { note, cells } = cause;
    let source = plant.source(note.origin);
    let mut row = CsvRow::new(out);
    row.text(note.kind.word());
    row.text(source.map_or("", |source| &source.file)).text(source.map_or("", |source| &source.sheet));
    row.text(&if note.origin.row > 0 { note.origin.row.to_string() } else { String::new() });
    row.text(&note.letter).text(&note.column).text(&cells.to_string()).text(&note.found).text(&note.message);
    row.end();
}
