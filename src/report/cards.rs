//! Load cards: one printed page per pallet for the people at the load station.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Seek, Write};

use rust_xlsxwriter::{Format, FormatBorder, Worksheet};

use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::physics::quantity::{Pressure, Temperature, Time};
use crate::physics::unit::{Dimension, UnitSystem};
use crate::rules::catalogue::rule;
use crate::tables::circuit::Service;
use crate::tables::words::{Charging, State, Verdict};

use super::cautions::CARD_CAUTIONS;
use super::workbook::safe_text::{cell_text, sheet_name};
use super::workbook::style::{Styles, lines_of};
use super::workbook::units::Units;
use super::workbook::{SHEET_ROWS, Setup, WorkbookError, WorkbookOptions, empty};

/// Points of all text but the title: read at arm's length, with gloves on.
const POINTS: f64 = 14.0;
/// Points of the title and of a banner.
const LARGE: f64 = 20.0;
/// How much wider than the default font's the letters are.
const WIDER: f64 = POINTS / 10.0;
/// Most temperatures that fit beside the labels.
const TEMPERATURES: usize = 7;
/// Widths in digits of the default font: label, then temperatures. All together they fit across
/// A4 and Letter at full size.
const LABEL: f64 = 34.0;
const NUMBER: f64 = 7.5;
const LAST_COLUMN: u16 = 7;
#[allow(clippy::cast_precision_loss, reason = "a few")]
const ACROSS: f64 = LABEL + NUMBER * TEMPERATURES as f64;
/// Points of a line of text.
const LINE: f64 = POINTS * 1.3;
/// Columns without a line to write on, between name, date and signature.
const GAPS: [u16; 2] = [1, 4];
/// Steps between temperatures: 5 K, or 10 °F.
const STEP: [f64; 2] = [5.0, 10.0 / 1.8];

/// The clamp-side pressure of a circuit's trapped oil at a temperature, without a leak;
/// `None` is unknown.
pub type PressureAt<'a> = &'a dyn Fn(&CircuitAudit, Temperature) -> Option<Pressure>;

/// Writes a workbook of load cards, one sheet per pallet.
///
/// # Errors
///
/// Where the file can't be written.
pub fn write_cards(
    audit: &Audit,
    options: &WorkbookOptions,
    pressure_at: PressureAt,
    out: impl Write + Seek + Send,
) -> Result<(), WorkbookError> {
    let styles = Styles::new();
    let setup = Setup { row_limit: SHEET_ROWS, ..Setup::of(audit, options, &styles) };
    let mut workbook = empty(audit, options, &setup)?;
    let card_styles = CardStyles::of(&styles);
    let mut names = BTreeSet::new();
    for ((plant, pallet), circuits) in pallets(audit) {
        let name = free_name(&mut names, pallet);
        let sheet = setup.sheet(&name)?;
        let mut card = Card { sheet, setup: &setup, styles: &card_styles, audit, run: &options.run, row: 0 };
        card.write(plant, pallet, &circuits, pressure_at)?;
        workbook.push_worksheet(card.sheet);
    }
    if names.is_empty() {
        let mut sheet = setup.sheet("No pallets")?;
        sheet.write_string_with_format(0, 0, "The lists name no circuit.", &card_styles.text)?;
        workbook.push_worksheet(sheet);
    }
    workbook.save_to_writer(out)?;
    Ok(())
}

type Pallets<'a> = BTreeMap<(&'a str, &'a str), Vec<&'a CircuitAudit>>;

fn pallets(audit: &Audit) -> Pallets<'_> {
    let mut pallets = Pallets::new();
    for circuit in &audit.circuits {
        let key = &circuit.circuit.key;
        pallets.entry((&key.plant, &key.pallet)).or_default().push(circuit);
    }
    pallets
}

/// A sheet name that no earlier card has; names that differ in case only are the same to Excel.
fn free_name(names: &mut BTreeSet<String>, pallet: &str) -> String {
    let plain = sheet_name(pallet, "Pallet");
    let mut name = plain.clone();
    let mut number = 2;
    while !names.insert(name.to_lowercase()) {
        name = format!("{plain} {number}");
        number += 1;
    }
    name
}

/// From the lowest to the highest temperature that the pallet's circuits state, in steps of 5 K
/// (10 °F), coarser where they would not fit; the charge temperature alone where none is stated.
fn temperatures(circuits: &[&CircuitAudit], units: Units) -> Vec<Temperature> {
    let services: Vec<_> = circuits.iter().map(|circuit| circuit.circuit.service()).collect();
    let charge = services.iter().find_map(|service| service.temp_charge).unwrap_or(Temperature::from_celsius(20.0));
    let lowest = services.iter().filter_map(|service| service.temp_min).reduce(Temperature::min).unwrap_or(charge);
    let highest = services.iter().filter_map(|service| service.temp_max).reduce(Temperature::max).unwrap_or(charge);
    let (low, high) = (lowest.si(), highest.si());
    let mut step = STEP[usize::from(units.system == UnitSystem::Us)];
    #[allow(clippy::cast_precision_loss, reason = "a dozen")]
    while (high - low) / step > (TEMPERATURES - 2) as f64 {
        step *= 2.0;
    }
    let mut all = vec![low];
    while all.last().is_some_and(|last| last + step < high - 1e-6) {
        all.push(all.last().map_or(low, |last| last + step));
    }
    if high > low {
        all.push(high);
    }
    all.into_iter().map(Temperature::new).collect()
}

/// The formats of the cards.
struct CardStyles {
    title: Format,
    text: Format,
    bold: Format,
    /// Bold on one line, over the next cells.
    label: Format,
    /// The name of a circuit, over its table.
    name: Format,
    /// Across the page: not to be used.
    banner: Format,
    cell: Format,
    head: Format,
    signed: Format,
}

impl CardStyles {
    fn of(styles: &Styles) -> Self {
        let text = styles.base.clone().set_font_size(POINTS).set_text_wrap();
        let bold = text.clone().set_bold();
        Self {
            title: styles.base.clone().set_font_size(LARGE).set_bold(),
            name: bold.clone().set_border_top(FormatBorder::Medium),
            banner: bold.clone().set_font_size(LARGE).set_border(FormatBorder::Thick),
            cell: text.clone().set_border(FormatBorder::Thin),
            head: bold.clone().set_border(FormatBorder::Thin),
            signed: text.clone().set_border_bottom(FormatBorder::Thin),
            label: styles.base.clone().set_font_size(POINTS).set_bold(),
            text,
            bold,
        }
    }
}

struct Card<'a> {
    sheet: Worksheet,
    setup: &'a Setup<'a>,
    styles: &'a CardStyles,
    audit: &'a Audit,
    run: &'a str,
    row: u32,
}

impl Card<'_> {
    fn write(
        &mut self,
        plant: &str,
        pallet: &str,
        circuits: &[&CircuitAudit],
        pressure_at: PressureAt,
    ) -> Result<(), WorkbookError> {
        self.sheet.set_column_width(0, LABEL)?;
        for column in 1..=LAST_COLUMN {
            self.sheet.set_column_width(column, NUMBER)?;
        }
        self.sheet.set_portrait();
        self.head(plant, pallet)?;
        // Blocked ones first: who reads no further has read them.
        let (blocked, others): (Vec<&CircuitAudit>, Vec<_>) =
            circuits.iter().partition(|circuit| circuit.verdict == Verdict::DoesNotConform);
        for circuit in &blocked {
            self.blocked(circuit)?;
        }
        let temperatures = temperatures(&others, self.setup.units);
        for circuit in &others {
            self.circuit(circuit, &temperatures, pressure_at)?;
        }
        if !others.is_empty() {
            self.advice(&others)?;
        }
        for caution in CARD_CAUTIONS {
            self.across(caution, &self.styles.text, POINTS)?;
        }
        self.signature()?;
        self.sheet.set_print_area(0, 0, self.row - 1, LAST_COLUMN)?;
        Ok(())
    }

    /// A text across the page, in as many lines as it takes.
    fn across(&mut self, text: &str, format: &Format, points: f64) -> Result<(), WorkbookError> {
        let lines = lines_of(text, ACROSS / WIDER * POINTS / points);
        self.sheet.set_row_height(self.row, f64::from(lines) * points * 1.3 + 4.0)?;
        self.sheet.merge_range(self.row, 0, self.row, LAST_COLUMN, &cell_text(text), format)?;
        self.row += 1;
        Ok(())
    }

    fn head(&mut self, plant: &str, pallet: &str) -> Result<(), WorkbookError> {
        let place = if plant.is_empty() { pallet.to_owned() } else { format!("{plant} / {pallet}") };
        self.across(&format!("Load card: pallet {place}"), &self.styles.title, LARGE)?;
        let revision = format!("Revision {}, run {}. Pressures are gauge.", self.setup.date, self.run);
        self.across(&revision, &self.styles.text, POINTS)?;
        // A card of many circuits goes on on another page, under the pallet's name.
        self.sheet.set_repeat_rows(0, 1)?;
        Ok(())
    }

    /// The banner of a circuit that does not conform: why, and no figure to charge it by.
    fn blocked(&mut self, circuit: &CircuitAudit) -> Result<(), WorkbookError> {
        let key = &circuit.circuit.key;
        let banner = format!("DO NOT USE: {}, circuit {}. {}", key.fixture, key.circuit, reasons_in_words(circuit));
        self.across(&banner, &self.styles.banner, LARGE)
    }

    fn circuit(
        &mut self,
        circuit: &CircuitAudit,
        temperatures: &[Temperature],
        pressure_at: PressureAt,
    ) -> Result<(), WorkbookError> {
        let key = &circuit.circuit.key;
        let service = circuit.circuit.service();
        if circuit.verdict == Verdict::NotAssessed {
            let why = unassessed_in_words(circuit);
            let text = format!(
                "{}, circuit {}: NOT ASSESSED, use only as the engineer allows. {why}",
                key.fixture, key.circuit
            );
            self.across(&text, &self.styles.banner, LARGE)?;
        } else {
            self.across(&format!("{}, circuit {}", key.fixture, key.circuit), &self.styles.name, POINTS)?;
        }
        let charging = self.charging_in_words(circuit, &service);
        self.across(&charging, &self.styles.text, POINTS)?;
        for waived in self.waivers_in_words(circuit) {
            self.across(&waived, &self.styles.bold, POINTS)?;
        }
        if service.charging() != Charging::Live {
            self.readings(circuit, &service, temperatures, pressure_at)?;
        }
        Ok(())
    }

    fn shown(&self, pressure: Option<Pressure>) -> String {
        let units = self.setup.units;
        let digits = usize::from(units.system == UnitSystem::Metric);
        pressure.map_or_else(
            || "unknown".to_owned(),
            |pressure| format!("{:.digits$} {}", units.pressure(pressure), units.name(Dimension::Pressure)),
        )
    }

    fn charging_in_words(&self, circuit: &CircuitAudit, service: &Service) -> String {
        let mut words = Vec::new();
        if !service.station.is_empty() {
            let setting = self.audit.plant.station(&service.station).and_then(|station| station.pump_setting);
            words.push(format!("Load station {}, pump setting {}.", service.station, self.shown(setting)));
        }
        words.push(format!("Gauge after charging: {}.", self.shown(circuit.figures.clamp.chain.charge)));
        if service.charging() == Charging::Live {
            words.push("Stays connected.".to_owned());
            return words.join(" ");
        }
        let times = [circuit.figures.holding.reserve, service.hold_time];
        words.push(match times.into_iter().flatten().map(Time::minutes).reduce(f64::min) {
            Some(minutes) => format!("Read again after {}.", time_in_words(minutes)),
            None => "Read the gauge again at every stop.".to_owned(),
        });
        let not_asked: Vec<&str> = circuit.coverage.not_asked().into_iter().filter_map(asked_in_words).collect();
        if !not_asked.is_empty() {
            words.push(format!("Not looked at: {}.", not_asked.join(", ")));
        }
        if [service.temp_min, service.temp_max].iter().any(Option::is_none) {
            words.push("Not all temperatures are stated: heat or cold was not looked at.".to_owned());
        }
        words.join(" ")
    }

    /// What was waived on the circuit, on whose word and until when.
    fn waivers_in_words(&self, circuit: &CircuitAudit) -> Vec<String> {
        let mut all = BTreeSet::new();
        for finding in circuit.findings.iter().filter(|finding| finding.state == State::Waived) {
            let title = rule(finding.rule).map_or("", |rule| rule.title);
            let waiver = finding.waiver.and_then(|index| self.audit.plant.waivers.get(index));
            let condition = waiver.map_or_else(String::new, |waiver| {
                let until = waiver.expires.map_or_else(String::new, |date| format!(", until {date}"));
                format!(": {} ({}{until})", waiver.reason, waiver.approved_by)
            });
            all.insert(format!("Waived: {title}{condition}."));
        }
        all.into_iter().collect()
    }

    /// What the gauge reads by temperature.
    fn readings(
        &mut self,
        circuit: &CircuitAudit,
        service: &Service,
        temperatures: &[Temperature],
        pressure_at: PressureAt,
    ) -> Result<(), WorkbookError> {
        let units = self.setup.units;
        let styles = self.styles;
        let head = format!("Gauge by temperature [{}]", units.name(Dimension::Temperature));
        let unit = units.name(Dimension::Pressure);
        let labels = [head, format!("Reads without a leak [{unit}]"), format!("Lowest allowed [{unit}]")];
        for (offset, label) in (0_u32..).zip(&labels) {
            let format = if offset == 0 { &styles.head } else { &styles.cell };
            let lines = lines_of(label, LABEL / WIDER);
            self.sheet.set_row_height(self.row + offset, f64::from(lines) * LINE + 4.0)?;
            self.sheet.write_string_with_format(self.row + offset, 0, label, format)?;
        }
        let pressure_code = units.pressure_digits().code();
        let (number, degrees) = (styles.cell.clone().set_num_format(pressure_code), styles.head.clone());
        for (column, temperature) in (1_u16..).zip(temperatures) {
            let shown = (units.temperature(*temperature) * 10.0).round() / 10.0;
            self.sheet.write_number_with_format(self.row, column, shown, &degrees)?;
            let readings = [pressure_at(circuit, *temperature), service.pressure_min];
            for (row, reading) in (self.row + 1..).zip(readings) {
                match reading {
                    Some(reading) => {
                        self.sheet.write_number_with_format(row, column, units.pressure(reading), &number)?
                    }
                    // A short sign: a word would be cut by the cell.
                    None => self.sheet.write_string_with_format(row, column, "?", &styles.cell)?,
                };
            }
        }
        self.row += 3;
        Ok(())
    }

    fn advice(&mut self, circuits: &[&CircuitAudit]) -> Result<(), WorkbookError> {
        let has = |live: bool| {
            circuits.iter().any(|circuit| (circuit.circuit.service().charging() == Charging::Live) == live)
        };
        if has(false) {
            self.across(
                "If the gauge reads less than the lowest allowed, do not move the pallet. Release the pressure, look \
                 for oil outside, charge again and watch the gauge; if it falls again, tag the pallet and call \
                 maintenance.",
                &self.styles.bold,
                POINTS,
            )?;
        }
        if has(true) {
            self.across(
                "A circuit that stays connected: stop the machine if the gauge falls, check pump and connection, tag \
                 the pallet if the pressure does not come back.",
                &self.styles.bold,
                POINTS,
            )?;
        }
        Ok(())
    }

    fn signature(&mut self) -> Result<(), WorkbookError> {
        self.sheet.set_row_height(self.row, LINE + 4.0)?;
        for (column, label) in [(0, "Checked by"), (2, "Date"), (5, "Signature")] {
            self.sheet.write_string_with_format(self.row, column, label, &self.styles.label)?;
        }
        self.row += 1;
        self.sheet.set_row_height(self.row, 28)?;
        for column in 0..=LAST_COLUMN {
            if !GAPS.contains(&column) {
                self.sheet.write_blank(self.row, column, &self.styles.signed)?;
            }
        }
        self.row += 1;
        Ok(())
    }
}

/// Why a circuit may not be used: the titles of what it fails, each once, the gravest first.
fn reasons_in_words(circuit: &CircuitAudit) -> String {
    let mut counting: Vec<_> = circuit.findings.iter().filter(|finding| finding.counts()).collect();
    counting.sort_by_key(|finding| finding.severity);
    let mut seen = BTreeSet::new();
    let titles: Vec<String> = counting
        .iter()
        .filter(|finding| seen.insert(finding.rule))
        .map(|finding| format!("{} ({})", rule(finding.rule).map_or("", |rule| rule.title), finding.rule))
        .collect();
    if titles.is_empty() {
        return "Its load station or a part on it does not conform.".to_owned();
    }
    format!("{}.", titles.join("; "))
}

/// What a family of rules asks, where the operator should know that it wasn't.
fn asked_in_words(letter: char) -> Option<&'static str> {
    match letter {
        'H' => Some("whether the pressure holds"),
        'F' => Some("whether the clamps' force will do"),
        _ => None,
    }
}

fn unassessed_in_words(circuit: &CircuitAudit) -> String {
    let reasons: BTreeSet<&str> = circuit.not_assessed.iter().map(|gap| gap.because.as_str()).collect();
    match (reasons.iter().next(), reasons.len()) {
        (None, _) => String::new(),
        (Some(first), 1) => format!("{first}."),
        (Some(first), more) => format!("{first}, and {} more.", more - 1),
    }
}

/// Minutes below two hours, else hours, rounded down: a recheck is never late.
fn time_in_words(minutes: f64) -> String {
    if minutes < 120.0 { format!("{:.0} min", minutes.floor()) } else { format!("{:.0} h", (minutes / 60.0).floor()) }
}
