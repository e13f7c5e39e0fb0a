//! Load cards: one printed page per pallet for the people at the load station.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Seek, Write};

use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::physics::quantity::{Pressure, Temperature, Time};
use crate::physics::unit::Dimension;
use crate::tables::circuit::Service;
use crate::tables::words::{Charging, Verdict};

use super::cautions::CAUTIONS;
use super::workbook::grid::height_of;
use super::workbook::safe_text::{cell_text, sheet_name};
use super::workbook::style::{Digits, Styles, lines_of};
use super::workbook::units::Units;
use super::workbook::{SHEET_ROWS, Setup, WorkbookError, WorkbookOptions, empty};

/// Temperatures that the gauge's reading is given for.
const TEMPERATURES: usize = 5;
/// Half the span of temperatures, in kelvin, where a pallet states none.
const USUAL_SPAN: f64 = 10.0;
/// Columns: fixture, circuit, station, pump setting, after charging, five temperatures, lowest,
/// recheck, what to do.
const WIDTHS: [f64; 13] = [15.0, 9.0, 13.0, 10.5, 11.0, 9.0, 9.0, 9.0, 9.0, 9.0, 10.0, 12.0, 44.0];
const FIRST_TEMPERATURE: u16 = 5;
const LAST_COLUMN: u16 = 12;
/// Columns without a line to write on, between name, date and signature.
const GAPS: [u16; 2] = [3, 7];

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
    let mut names = BTreeSet::new();
    for ((plant, pallet), circuits) in pallets(audit) {
        let name = free_name(&mut names, pallet);
        let mut card = Card { sheet: setup.sheet(&name)?, setup: &setup, audit, row: 0 };
        card.write(plant, pallet, &circuits, pressure_at)?;
        workbook.push_worksheet(card.sheet);
    }
    if names.is_empty() {
        let mut sheet = setup.sheet("No pallets")?;
        sheet.write_string(0, 0, "The lists name no circuit.")?;
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

/// Five temperatures from the lowest to the highest that the pallet's circuits state.
fn temperatures(circuits: &[&CircuitAudit], units: Units) -> [Temperature; TEMPERATURES] {
    let services: Vec<_> = circuits.iter().map(|circuit| circuit.circuit.service()).collect();
    let charge = services.iter().find_map(|service| service.temp_charge).unwrap_or(Temperature::from_celsius(20.0));
    let lowest = services.iter().filter_map(|service| service.temp_min).reduce(Temperature::min);
    let highest = services.iter().filter_map(|service| service.temp_max).reduce(Temperature::max);
    let low = lowest.map_or(charge.si() - USUAL_SPAN, Temperature::si).min(charge.si());
    let high = highest.map_or(charge.si() + USUAL_SPAN, Temperature::si).max(charge.si());
    let unit = units.unit(Dimension::Temperature);
    let mut steps = [low; TEMPERATURES];
    for (step, factor) in steps.iter_mut().zip([0.0, 0.25, 0.5, 0.75, 1.0]) {
        *step = low + (high - low) * factor;
    }
    // Whole degrees between the ends, so that the header says the temperature that is meant.
    for step in &mut steps[1..TEMPERATURES - 1] {
        let rounded = Temperature::from_unit(unit.from_si(*step).round(), unit).si();
        *step = rounded.clamp(low, high);
    }
    steps.map(Temperature::new)
}

struct Card<'a> {
    sheet: Worksheet,
    setup: &'a Setup<'a>,
    audit: &'a Audit,
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
        self.prepare()?;
        self.head(plant, pallet)?;
        let temperatures = temperatures(circuits, self.setup.units);
        self.header(&temperatures)?;
        for circuit in circuits {
            self.circuit(circuit, &temperatures, pressure_at)?;
        }
        self.row += 1;
        self.cautions()?;
        self.signature()?;
        self.sheet.set_print_area(0, 0, self.row - 1, LAST_COLUMN)?;
        Ok(())
    }

    fn prepare(&mut self) -> Result<(), WorkbookError> {
        for (column, width) in (0_u16..).zip(WIDTHS) {
            self.sheet.set_column_width(column, width)?;
        }
        self.sheet.set_landscape();
        self.sheet.set_print_fit_to_pages(1, 1);
        Ok(())
    }

    fn head(&mut self, plant: &str, pallet: &str) -> Result<(), WorkbookError> {
        let styles = self.setup.styles;
        let place = if plant.is_empty() { pallet.to_owned() } else { format!("{plant} / {pallet}") };
        let title = format!("Load card: pallet {place}");
        self.sheet.set_row_height(0, 20)?;
        self.sheet.write_string_with_format(0, 0, cell_text(&title), &styles.title)?;
        let revision = format!(
            "Revision {} (clampbook {}). Pressures are gauge. Gauge readings before unloading are for a circuit without leak.",
            self.setup.date,
            env!("CARGO_PKG_VERSION")
        );
        self.sheet.write_string_with_format(1, 0, revision, &styles.note)?;
        self.row = 3;
        Ok(())
    }

    fn header(&mut self, temperatures: &[Temperature; TEMPERATURES]) -> Result<(), WorkbookError> {
        let units = self.setup.units;
        let pressure = |text: &str| units.header(text, Dimension::Pressure);
        let mut headers = vec![
            "Fixture".to_owned(),
            "Circuit".to_owned(),
            "Load station".to_owned(),
            pressure("Pump setting"),
            pressure("Gauge after charging"),
        ];
        for temperature in temperatures {
            let degrees = units.temperature(*temperature);
            // One decimal at most, and none where it says nothing.
            let degrees = (degrees * 10.0).round() / 10.0;
            headers.push(format!(
                "Gauge at {degrees}\u{a0}{} [{}]",
                units.name(Dimension::Temperature),
                units.name(Dimension::Pressure)
            ));
        }
        headers.push(pressure("Lowest allowed"));
        headers.push("Recheck after [min]".to_owned());
        headers.push("If the gauge reads less".to_owned());
        let lines = headers.iter().zip(WIDTHS).map(|(header, width)| lines_of(header, width - 1.0)).max().unwrap_or(1);
        for (column, header) in (0_u16..).zip(&headers) {
            self.sheet.write_string_with_format(self.row, column, header, &self.setup.styles.header)?;
        }
        self.sheet.set_row_height(self.row, height_of(lines))?;
        self.row += 1;
        Ok(())
    }

    fn circuit(
        &mut self,
        circuit: &CircuitAudit,
        temperatures: &[Temperature; TEMPERATURES],
        pressure_at: PressureAt,
    ) -> Result<(), WorkbookError> {
        let service = circuit.circuit.service();
        let key = &circuit.circuit.key;
        for (column, text) in (0_u16..).zip([key.fixture.as_str(), &key.circuit, &service.station]) {
            self.text(column, text)?;
        }
        self.pressure(3, self.audit.plant.station(&service.station).and_then(|station| station.pump_setting))?;
        self.pressure(4, circuit.figures.clamp.chain.charge)?;
        for (column, temperature) in (FIRST_TEMPERATURE..).zip(temperatures) {
            if service.charging() == Charging::Live {
                self.text(column, "connected")?;
            } else {
                self.pressure(column, pressure_at(circuit, *temperature))?;
            }
        }
        self.pressure(10, service.pressure_min)?;
        self.recheck(circuit, &service)?;
        let advice = advice(circuit);
        self.text(LAST_COLUMN, &advice)?;
        let lines = lines_of(&advice, WIDTHS[LAST_COLUMN as usize]).max(lines_of(&key.fixture, WIDTHS[0]));
        self.sheet.set_row_height(self.row, height_of(lines))?;
        self.row += 1;
        Ok(())
    }

    fn text(&mut self, column: u16, text: &str) -> Result<(), WorkbookError> {
        self.sheet.write_string_with_format(self.row, column, cell_text(text), &self.setup.styles.boxed_wrapped)?;
        Ok(())
    }

    fn pressure(&mut self, column: u16, pressure: Option<Pressure>) -> Result<(), WorkbookError> {
        let units = self.setup.units;
        let format = self.setup.styles.boxed_number(units.pressure_digits());
        match pressure {
            Some(pressure) => {
                self.sheet.write_number_with_format(self.row, column, units.pressure(pressure), &format)?
            }
            None => self.sheet.write_string_with_format(self.row, column, "unknown", &self.setup.styles.boxed)?,
        };
        Ok(())
    }

    /// The sooner of hold reserve and hold time.
    fn recheck(&mut self, circuit: &CircuitAudit, service: &Service) -> Result<(), WorkbookError> {
        if service.charging() == Charging::Live {
            return self.text(11, "connected");
        }
        let times = [circuit.figures.holding.reserve, service.hold_time];
        let Some(sooner) = times.into_iter().flatten().map(Time::minutes).reduce(f64::min) else {
            return self.text(11, "at every stop");
        };
        let format = self.setup.styles.boxed_number(Digits::Whole);
        self.sheet.write_number_with_format(self.row, 11, sooner.floor(), &format)?;
        Ok(())
    }

    fn cautions(&mut self) -> Result<(), WorkbookError> {
        self.sheet.write_string_with_format(self.row, 0, "Cautions", &self.setup.styles.bold)?;
        self.row += 1;
        for caution in CAUTIONS {
            self.sheet.write_string_with_format(self.row, 0, *caution, &self.setup.styles.text)?;
            self.row += 1;
        }
        self.row += 1;
        Ok(())
    }

    fn signature(&mut self) -> Result<(), WorkbookError> {
        for (column, label) in [(0, "Checked at the load station by"), (4, "Date"), (8, "Signature")] {
            self.sheet.write_string_with_format(self.row, column, label, &self.setup.styles.bold)?;
        }
        self.row += 1;
        self.sheet.set_row_height(self.row, 30)?;
        for column in 0..=LAST_COLUMN {
            if !GAPS.contains(&column) {
                self.sheet.write_blank(self.row, column, &self.setup.styles.signed)?;
            }
        }
        self.row += 1;
        Ok(())
    }
}

/// What to do, and whether the circuit may be used at all.
fn advice(circuit: &CircuitAudit) -> String {
    let mut advice = match circuit.verdict {
        Verdict::DoesNotConform => {
            let mut seen = BTreeSet::new();
            let mut codes: Vec<&str> =
                circuit.findings.iter().filter(|finding| finding.counts()).map(|finding| finding.rule).collect();
            codes.retain(|code| seen.insert(*code));
            let codes = if codes.is_empty() { "station or part".to_owned() } else { codes.join(", ") };
            format!("DO NOT USE: does not conform ({codes}). ")
        }
        Verdict::NotAssessed => "Use only as the engineer allows: not assessed. ".to_owned(),
        Verdict::ConformsWithWaivers | Verdict::Conforms => String::new(),
    };
    advice.push_str(match circuit.circuit.service().charging() {
        Charging::Cylinder | Charging::Coupler => {
            "Below the lowest allowed: do not move the pallet. Release the pressure, look for oil outside, charge again \
             and watch the gauge; if it falls again, tag the pallet and call maintenance."
        }
        Charging::Live => "Stop the machine, check pump and connection, tag the pallet if the pressure does not come back.",
    });
    advice
}
