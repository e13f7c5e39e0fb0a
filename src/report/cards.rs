//! Load cards: one printed page per pallet for the people at the load station.

mod gauge_rows;
pub use gauge_rows::{GaugeRow, GaugeRows};

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Seek, Write};

use rust_xlsxwriter::{Format, FormatBorder, Worksheet};

use crate::audit::beside::Beside;
use crate::audit::causes::reading_order;
use crate::audit::due::{Due, DueKind};
use crate::audit::outcome::Audit;
use crate::circuit::audited::{CircuitAudit, Unassessed};
use crate::circuit::release::Release;
use crate::circuit::side::USUAL_TEMPERATURE;
use crate::physics::quantity::{Pressure, Temperature};
use crate::physics::unit::{Dimension, UnitSystem};
use crate::rules::catalogue::rule;
use crate::rules::relaxed::{Relaxed, limits_in_words, unusual_in_words};
use crate::tables::card_words::CardLabel;
use crate::tables::circuit::{InService, Service};
use crate::tables::figures::Figure;
use crate::tables::shown::HOURS_FROM;
use crate::tables::words::{Charging, Kind, State, Verdict};

use super::workbook::safe_text::{cell_text, sheet_name};
use super::workbook::style::{Styles, bold_lines_of, lines_of};
use super::workbook::units::Units;
use super::workbook::{CARDS, SHEET_BREAKS, SHEET_ROWS, Setup, WorkbookError, WorkbookOptions, empty, footer_text};

/// Points of all text but the title: read at arm's length, with gloves on.
const POINTS: f64 = 14.0;
/// Points of the title, and of a banner.
const LARGE: f64 = 20.0;
const BANNER: f64 = 18.0;
/// How much wider than the default font's the letters are.
const WIDER: f64 = POINTS / 10.0;
/// Most temperatures that fit beside the labels.
const TEMPERATURES: usize = 7;
/// Widths in digits of the default font: label, then temperatures. All together they fit across
/// A4 and Letter at full size.
const LABEL: f64 = 36.0;
const NUMBER: f64 = 7.3;
const LAST_COLUMN: u16 = 7;
#[allow(clippy::cast_precision_loss, reason = "a few")]
const ACROSS: f64 = LABEL + NUMBER * TEMPERATURES as f64;
/// Points of a line of text, of the size of its letters, and around the lines of a row.
const LINE: f64 = 1.2;
const AROUND: f64 = 3.0;
/// Columns without a line to write on, between name, date and signature.
const GAPS: [u16; 2] = [1, 4];
/// Points left free at the foot of a page, as programs round heights.
const SPARE: f64 = 6.0;
/// K from another temperature at which a step tells nothing else.
const BESIDE: f64 = 0.5;
/// Letters of a footer that a pallet may take.
const PLACE_IN_FOOTER: usize = 120;
/// Steps between temperatures: 5 K, or 10 °F.
const STEP: [f64; 2] = [5.0, 10.0 / 1.8];

/// The readings of a circuit's gauges at the temperatures of its card.
pub type GaugesOf<'a> = &'a dyn Fn(&CircuitAudit, &[Temperature]) -> Vec<GaugeRows>;

/// Writes a workbook of load cards, one sheet per pallet.
///
/// # Errors
///
/// Where the file can't be written.
pub fn write_cards(
    audit: &Audit,
    options: &WorkbookOptions,
    gauges_of: GaugesOf,
    out: impl Write + Seek + Send,
) -> Result<(), WorkbookError> {
    let styles = Styles::new();
    let setup = Setup { row_limit: SHEET_ROWS, ..Setup::of(audit, options, &styles) };
    let mut workbook = empty(audit, options, &setup, CARDS)?;
    let card_styles = CardStyles::of(&styles);
    let mut names = BTreeSet::new();
    for ((plant, pallet), circuits) in pallets(audit) {
        let name = free_name(&mut names, pallet);
        let sheet = setup.sheet(&name)?;
        let system = audit.plant.policy.cards.units.get(plant).copied().unwrap_or(setup.units.system);
        let mut card = Card {
            sheet,
            setup: &setup,
            units: Units { system },
            styles: &card_styles,
            audit,
            run: &options.run,
            row: 0,
            pages: Pages { room: setup.paper.points_down() - SPARE, ..Pages::default() },
        };
        card.write(plant, pallet, &circuits, gauges_of)?;
        workbook.push_worksheet(card.sheet);
    }
    if names.is_empty() {
        let mut sheet = setup.sheet("No pallets")?;
        sheet.write_string_with_format(0, 0, "The lists name no circuit.", &card_styles.text)?;
        sheet.set_print_area(0, 0, 0, 0)?;
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

/// The temperatures of a pallet: each at which one of its circuits is charged, and each that is the lowest or the highest
/// of one of them; between them steps of 5 K (10 °F), coarser where they would not fit.
fn temperatures(circuits: &[&CircuitAudit], units: Units) -> Vec<Temperature> {
    let services = circuits.iter().map(|circuit| circuit.circuit.service());
    let trapped: Vec<_> = services.filter(|service| service.charging() != Charging::Live).collect();
    let charge = |service: &Service| service.temp_charge.unwrap_or(USUAL_TEMPERATURE);
    let charges = ordered(trapped.iter().map(|service| charge(service)));
    let bounds = ordered(trapped.iter().flat_map(|service| [service.temp_min, service.temp_max]).flatten());
    let all = ordered(charges.iter().chain(&bounds).copied().map(Temperature::new));
    let (Some(low), Some(high)) = (all.first().copied(), all.last().copied()) else { return vec![USUAL_TEMPERATURE] };
    // The column at which the pallet is read first goes before those that one of its circuits may see.
    let ends = || ordered([low, high].into_iter().chain(charges.iter().copied()).map(Temperature::new));
    let few = [all, ends(), vec![low, high]];
    let bounds = few.into_iter().find(|few| few.len() <= TEMPERATURES).unwrap_or_default();
    let mut step = STEP[usize::from(units.system == UnitSystem::Us)];
    loop {
        let all = with_steps(&bounds, low, high, step);
        if all.len() <= TEMPERATURES {
            return all.into_iter().map(Temperature::new).collect();
        }
        step *= 2.0;
    }
}

/// As pressures are written in the sentences beside them.
const fn plain_digits(units: Units) -> &'static str {
    match units.system {
        UnitSystem::Metric => "0.0",
        UnitSystem::Us => "0",
    }
}

/// In K, from the lowest, each once.
fn ordered(temperatures: impl Iterator<Item = Temperature>) -> Vec<f64> {
    let mut all: Vec<f64> = temperatures.map(Temperature::si).collect();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|one, other| (*one - *other).abs() < 1e-6);
    all
}

/// Bounds, and steps from the lowest that do not stand too near to one of them to tell anything else.
fn with_steps(bounds: &[f64], low: f64, high: f64, step: f64) -> Vec<f64> {
    let mut all = bounds.to_vec();
    let mut at = low + step;
    while at < high {
        if bounds.iter().all(|bound| (bound - at).abs() >= BESIDE) {
            all.push(at);
        }
        at += step;
    }
    all.sort_by(f64::total_cmp);
    all
}

/// The formats of the cards.
struct CardStyles {
    title: Format,
    text: Format,
    bold: Format,
    /// Bold on one line, over the next cells.
    label: Format,
    /// What is said of a circuit, under a line.
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
            title: styles.base.clone().set_font_size(LARGE).set_bold().set_text_wrap(),
            name: bold.clone().set_border_top(FormatBorder::Medium),
            banner: bold.clone().set_font_size(BANNER).set_border(FormatBorder::Thick),
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
    /// Those that the pallet's plant works in.
    units: Units,
    styles: &'a CardStyles,
    audit: &'a Audit,
    run: &'a str,
    row: u32,
    pages: Pages,
}

/// How far the pages of a card are filled.
#[derive(Default)]
struct Pages {
    /// Points between the margins, and of what is repeated on each page.
    room: f64,
    repeated: f64,
    used: f64,
    /// Rows before which a page ends.
    breaks: Vec<u32>,
}

/// What is said again on a page that begins within a card.
struct Again {
    /// Circuits that must not be used.
    blocked: String,
    temperatures: Vec<Temperature>,
}

impl Card<'_> {
    /// Height of the row that is written.
    fn tall(&mut self, points: f64) -> Result<(), WorkbookError> {
        self.sheet.set_row_height(self.row, points)?;
        self.pages.used += points;
        Ok(())
    }

    /// The height of what a part of the card writes, tried on a sheet of its own.
    fn height_of(&mut self, write: impl Fn(&mut Self) -> Result<(), WorkbookError>) -> Result<f64, WorkbookError> {
        let sheet = std::mem::replace(&mut self.sheet, Worksheet::new());
        let (row, used) = (self.row, self.pages.used);
        let written = write(self);
        let points = self.pages.used - used;
        (self.sheet, self.row, self.pages.used) = (sheet, row, used);
        written.map(|()| points)
    }

    /// A part of the card that stays on one page. Where another begins it says again what must not be used and, over
    /// readings, the temperatures.
    fn together(
        &mut self,
        again: &Again,
        has_readings: bool,
        write: impl Fn(&mut Self) -> Result<(), WorkbookError>,
    ) -> Result<(), WorkbookError> {
        let points = self.height_of(&write)?;
        let is_begun = self.pages.used > self.pages.repeated;
        if is_begun && self.pages.used + points > self.pages.room {
            self.pages.breaks.push(self.row);
            self.pages.used = self.pages.repeated;
            if !again.blocked.is_empty() {
                let banner = self.say(CardLabel::do_not_use_too, &[("circuits", &again.blocked)]);
                self.across(&banner, &self.styles.banner, BANNER, true)?;
            }
            if has_readings {
                self.temperature_head(&again.temperatures)?;
            }
        }
        write(self)
    }

    fn write(
        &mut self,
        plant: &str,
        pallet: &str,
        circuits: &[&CircuitAudit],
        gauges_of: GaugesOf,
    ) -> Result<(), WorkbookError> {
        self.sheet.set_column_width(0, LABEL)?;
        for column in 1..=LAST_COLUMN {
            self.sheet.set_column_width(column, NUMBER)?;
        }
        self.sheet.set_portrait();
        self.head(plant, pallet)?;
        let (blocked, others): (Vec<&CircuitAudit>, Vec<_>) =
            circuits.iter().partition(|circuit| circuit.verdict == Verdict::DoesNotConform);
        let temperatures = temperatures(&others, self.units);
        let is_live = |circuit: &CircuitAudit| circuit.circuit.service().charging() == Charging::Live;
        let read = |circuit: &&CircuitAudit| {
            if is_live(circuit) { Vec::new() } else { gauges_of(circuit, &temperatures) }
        };
        let gauges: Vec<Vec<GaugeRows>> = others.iter().map(read).collect();
        let is_unclear = |gauge: &GaugeRows| gauge.is_of_none() || gauge.is_unknown() || gauge.is_contradictory();
        self.verdict(circuits, gauges.iter().flatten().any(is_unclear))?;
        // Blocked ones first: who reads no further has read them.
        let mut again = Again { blocked: String::new(), temperatures };
        for circuit in &blocked {
            self.together(&again, false, |card| card.blocked(circuit))?;
        }
        again.blocked = self.named(&blocked);
        if !others.is_empty() {
            self.softer(&others)?;
            self.circuits(&others, &again, &gauges)?;
        }
        self.together(&again, false, |card| {
            if !others.is_empty() {
                card.advice(&others)?;
            }
            card.cautions(circuits)?;
            card.signature()
        })?;
        let further = self.for_the_engineer(circuits);
        if !further.is_empty() {
            let write = |card: &mut Self| {
                further.iter().try_for_each(|sentence| card.across(sentence, &card.styles.text, POINTS, false))
            };
            self.together(&again, false, write)?;
        }
        self.footer(plant, pallet)?;
        self.sheet.set_print_area(0, 0, self.row - 1, LAST_COLUMN)?;
        Ok(())
    }

    /// That readings do not allow for all that heat, cold and leaks may do to a fluid.
    fn softer(&mut self, circuits: &[&CircuitAudit]) -> Result<(), WorkbookError> {
        let softer = self.audit.plant.policy.softer_fluids();
        let used = |name: &&&str| circuits.iter().any(|circuit| circuit.circuit.service().fluid == **name);
        let softer: Vec<&str> = softer.iter().filter(used).copied().collect();
        if softer.is_empty() {
            return Ok(());
        }
        let sentence = self.say(CardLabel::softer, &[("fluids", &softer.join(", "))]);
        self.across(&sentence, &self.styles.bold, POINTS, true)
    }

    /// What nobody at the load station can act on: why circuits are not assessed, and what no verdict rests on.
    fn for_the_engineer(&self, circuits: &[&CircuitAudit]) -> Vec<String> {
        let policy = &self.audit.plant.policy;
        let unassessed = circuits.iter().filter(|circuit| circuit.verdict == Verdict::NotAssessed);
        let unassessed = unassessed.filter_map(|circuit| {
            let why = self.unassessed(circuit);
            (!why.is_empty()).then(|| format!("{}: {why}", self.named(&[circuit])))
        });
        let mut sentences: Vec<String> = unassessed
            .chain(Relaxed::of(policy).of_circuits())
            .chain(limits_in_words(policy))
            .chain(unusual_in_words(policy))
            .chain(Beside::unheld(&self.audit.plant, circuits.iter().copied()))
            .collect();
        if let Some(first) = sentences.first_mut() {
            *first = self.say(CardLabel::for_the_engineer, &[("what", first)]);
        }
        sentences
    }

    /// Each page names its pallet, and is counted among those of the card.
    fn footer(&mut self, plant: &str, pallet: &str) -> Result<(), WorkbookError> {
        if !self.pages.breaks.is_empty() {
            let most = self.pages.breaks.len().min(SHEET_BREAKS as usize);
            self.sheet.set_page_breaks(&self.pages.breaks[..most])?;
        }
        let page = self.say(CardLabel::page, &[]).replace('&', "&&");
        let count = self.pages.breaks.len() + 1;
        let place = footer_text(&place_of(plant, pallet), PLACE_IN_FOOTER);
        // The blank keeps a number in the name apart from the size of the letters.
        self.sheet.set_footer(format!("&L&14 {place}, {}&R&14 {page} &P / {count}", self.setup.date));
        self.sheet.set_print_first_page_number(1);
        Ok(())
    }

    /// `FIX-4, circuit 1; FIX-4, circuit 2`.
    fn named(&self, circuits: &[&CircuitAudit]) -> String {
        let name = |circuit: &&CircuitAudit| {
            let key = &circuit.circuit.key;
            self.say(CardLabel::circuit, &[("fixture", &key.fixture), ("circuit", &key.circuit)])
        };
        circuits.iter().map(name).collect::<Vec<_>>().join("; ")
    }

    /// A label in the plant's words.
    fn say(&self, label: CardLabel, filled: &[(&str, &str)]) -> String {
        label.said(&self.audit.plant.policy.cards.words, filled)
    }

    /// The title of a rule in the plant's words, with its code.
    fn titled(&self, code: &str) -> String {
        let own = self.audit.plant.policy.cards.words.get(code).map(String::as_str);
        format!("{} ({code})", own.unwrap_or_else(|| rule(code).map_or("", |rule| rule.title)))
    }

    /// A text across the page, in as many lines as it takes.
    fn across(&mut self, text: &str, format: &Format, points: f64, is_bold: bool) -> Result<(), WorkbookError> {
        let room = ACROSS / WIDER * POINTS / points;
        let lines = if is_bold { bold_lines_of(text, room) } else { lines_of(text, room) };
        self.tall(f64::from(lines) * points * LINE + AROUND)?;
        self.sheet.merge_range(self.row, 0, self.row, LAST_COLUMN, &cell_text(text), format)?;
        self.row += 1;
        Ok(())
    }

    fn head(&mut self, plant: &str, pallet: &str) -> Result<(), WorkbookError> {
        let title = self.say(CardLabel::title, &[("pallet", &place_of(plant, pallet))]);
        self.across(&title, &self.styles.title, LARGE, true)?;
        let revision = self.say(CardLabel::revision, &[("date", &self.setup.date), ("run", self.run)]);
        self.across(&revision, &self.styles.text, POINTS, false)?;
        // A card of many circuits goes on on another page, under the pallet's name and verdict.
        self.sheet.set_repeat_rows(0, 2)?;
        Ok(())
    }

    /// Whether the pallet may travel, before all else.
    fn verdict(&mut self, circuits: &[&CircuitAudit], is_unclear: bool) -> Result<(), WorkbookError> {
        let has = |verdict: Verdict| circuits.iter().any(|circuit| circuit.verdict == verdict);
        let is_live = |circuit: &&CircuitAudit| circuit.circuit.service().charging() == Charging::Live;
        let (label, format, points) = if has(Verdict::DoesNotConform) {
            (CardLabel::must_not_travel, &self.styles.banner, BANNER)
        } else if has(Verdict::NotAssessed) || is_unclear {
            (CardLabel::as_allowed, &self.styles.banner, BANNER)
        } else {
            let has_planned = circuits.iter().any(|circuit| is_planned(circuit));
            let label = match (circuits.iter().all(is_live), has_planned) {
                (true, false) => CardLabel::may_be_used,
                (true, true) => CardLabel::may_be_used_once_proved,
                (false, false) => CardLabel::may_travel,
                (false, true) => CardLabel::may_travel_once_proved,
            };
            (label, &self.styles.bold, POINTS)
        };
        self.across(&self.say(label, &[]), format, points, true)?;
        self.pages.repeated = self.pages.used;
        let mut said = self.kept_shut(circuits);
        let is_kept_shut = !said.is_empty();
        if has(Verdict::DoesNotConform) {
            let label = if is_kept_shut { CardLabel::tag_and_call } else { CardLabel::release_and_tag };
            said.insert(0, self.say(label, &[]));
        }
        if said.is_empty() {
            return Ok(());
        }
        self.across(&said.join(" "), &self.styles.bold, POINTS, true)?;
        // A page that is found alone must not have opened what the first one keeps shut.
        if is_kept_shut {
            self.sheet.set_repeat_rows(0, self.row - 1)?;
            self.pages.repeated = self.pages.used;
        }
        Ok(())
    }

    fn release(&self, circuit: &CircuitAudit) -> Release {
        Release::of(&self.audit.plant, circuit)
    }

    /// Circuits of which no fitting may be opened, in sentences: nobody can release them, or see that they are released.
    fn kept_shut(&self, circuits: &[&CircuitAudit]) -> Vec<String> {
        let sentence = |(label, release): (CardLabel, Release)| {
            let named: Vec<&CircuitAudit> =
                circuits.iter().copied().filter(|circuit| self.release(circuit) == release).collect();
            (!named.is_empty()).then(|| self.say(label, &[("circuits", &self.named(&named))]))
        };
        let labels = [(CardLabel::kept_shut, Release::Shut), (CardLabel::kept_unseen, Release::Unseen)];
        labels.into_iter().filter_map(sentence).collect()
    }

    /// What who works on the pallet must know, whatever its verdict.
    fn cautions(&mut self, circuits: &[&CircuitAudit]) -> Result<(), WorkbookError> {
        let components = &self.audit.plant.components;
        let has_gas = |circuit: &&CircuitAudit| {
            let mut parts = circuit.circuit.lines.iter().filter_map(|line| line.component(components));
            parts.any(|part| part.provides(Kind::Accumulator))
        };
        let mut labels = if self.kept_shut(circuits).is_empty() {
            vec![CardLabel::caution_energy, CardLabel::caution_zones]
        } else {
            vec![CardLabel::caution_energy_kept_shut, CardLabel::caution_zones_kept_shut]
        };
        if circuits.iter().any(has_gas) {
            labels.push(CardLabel::caution_gas);
        }
        labels.push(CardLabel::caution_proof);
        let said: Vec<String> = labels.into_iter().map(|label| self.say(label, &[])).collect();
        self.across(&said.join(" "), &self.styles.text, POINTS, false)
    }

    /// The banner of a circuit that does not conform: why, and no figure to charge it by.
    fn blocked(&mut self, circuit: &CircuitAudit) -> Result<(), WorkbookError> {
        let key = &circuit.circuit.key;
        let why = self.reasons(circuit);
        let filled = [("fixture", key.fixture.as_str()), ("circuit", key.circuit.as_str()), ("why", &why)];
        let banner = self.say(CardLabel::do_not_use, &filled);
        self.across(&banner, &self.styles.banner, BANNER, true)
    }

    /// Why a circuit may not be used: the titles of what it fails, each once, the gravest first.
    fn reasons(&self, circuit: &CircuitAudit) -> String {
        let mut counting: Vec<_> = circuit.findings.iter().filter(|finding| finding.counts()).collect();
        counting.sort_by_key(|finding| reading_order(finding.severity, finding.rule, true));
        let mut seen = BTreeSet::new();
        let titles: Vec<String> = counting
            .iter()
            .filter(|finding| seen.insert(finding.rule))
            .map(|finding| self.titled(finding.rule))
            .collect();
        if titles.is_empty() {
            return self.say(CardLabel::shared_cause, &[]);
        }
        format!("{}.", titles.join("; "))
    }

    fn circuits(
        &mut self,
        circuits: &[&CircuitAudit],
        again: &Again,
        gauges: &[Vec<GaugeRows>],
    ) -> Result<(), WorkbookError> {
        let station = self.common_station(circuits);
        if let Some(station) = &station {
            self.across(station, &self.styles.bold, POINTS, true)?;
        }
        let trapped = |circuit: &&&CircuitAudit| circuit.circuit.service().charging() != Charging::Live;
        if circuits.iter().any(|circuit| trapped(&circuit)) {
            self.temperature_head(&again.temperatures)?;
        }
        for (circuit, gauges) in circuits.iter().zip(gauges) {
            self.together(again, !gauges.is_empty(), |card| card.circuit(circuit, station.is_none(), gauges))?;
        }
        let rows = || gauges.iter().flatten().flat_map(|gauge| &gauge.readings);
        let mut signs = Vec::new();
        if rows().any(|row| !row.is_within) {
            signs.push(self.say(CardLabel::outside, &[]));
        }
        if rows().any(GaugeRow::is_unknown) {
            signs.push(self.say(CardLabel::not_known, &[]));
        }
        if rows().any(GaugeRow::is_beyond_charging) {
            signs.push(self.say(CardLabel::beyond_charging, &[]));
        }
        if signs.is_empty() { Ok(()) } else { self.across(&signs.join(" "), &self.styles.text, POINTS, false) }
    }

    /// The station's sentence where all circuits have the same station.
    fn common_station(&self, circuits: &[&CircuitAudit]) -> Option<String> {
        let names: BTreeSet<String> =
            circuits.iter().map(|circuit| circuit.circuit.service().station.to_string()).collect();
        let [name] = &names.into_iter().collect::<Vec<_>>()[..] else { return None };
        if name.is_empty() { None } else { Some(self.station(name)) }
    }

    fn station(&self, name: &str) -> String {
        let station = self.audit.plant.station(name);
        let setting = station.and_then(|station| station.pump_setting);
        let air = station.filter(|_| setting.is_none()).and_then(|station| station.air_pressure);
        let label = if air.is_some() { CardLabel::air_station } else { CardLabel::station };
        self.say(label, &[("station", name), ("pressure", &self.shown(setting.or(air)))])
    }

    fn temperature_head(&mut self, temperatures: &[Temperature]) -> Result<(), WorkbookError> {
        let unit = self.units.name(Dimension::Temperature);
        let head = self.say(CardLabel::gauge_at, &[("unit", unit)]);
        self.tall(POINTS * LINE + AROUND)?;
        self.sheet.write_string_with_format(self.row, 0, cell_text(&head), &self.styles.head)?;
        for (column, temperature) in (1_u16..).zip(temperatures) {
            let shown = (self.units.temperature(*temperature) * 10.0).round() / 10.0;
            self.sheet.write_number_with_format(self.row, column, shown, &self.styles.head)?;
        }
        self.row += 1;
        Ok(())
    }

    fn circuit(
        &mut self,
        circuit: &CircuitAudit,
        says_station: bool,
        gauges: &[GaugeRows],
    ) -> Result<(), WorkbookError> {
        let key = &circuit.circuit.key;
        let service = circuit.circuit.service();
        let filled = [("fixture", key.fixture.as_str()), ("circuit", key.circuit.as_str())];
        if circuit.verdict == Verdict::NotAssessed {
            let is_told = !circuit.not_assessed.is_empty();
            let why = if is_told { self.say(CardLabel::why_below, &[]) } else { String::new() };
            let filled = [filled[0], filled[1], ("why", &why)];
            let text = self.say(CardLabel::not_assessed, &filled);
            self.across(text.trim_end(), &self.styles.banner, BANNER, true)?;
        }
        for gauge in gauges.iter().filter(|gauge| gauge.is_contradictory()) {
            let gauge = self.gauge_name(gauge);
            let text = self.say(CardLabel::no_reading, &[("gauge", &gauge), filled[0], filled[1]]);
            self.across(&text, &self.styles.banner, BANNER, true)?;
        }
        let mut words = vec![format!("{}:", self.say(CardLabel::circuit, &filled))];
        if says_station && !service.station.is_empty() {
            words.push(self.station(&service.station));
        }
        words.extend(self.charging(circuit, &service, gauges));
        words.extend(self.past_life(circuit));
        words.extend(self.unknowns(circuit, &service, gauges));
        if is_planned(circuit) {
            words.push(self.say(CardLabel::planned, &[]));
        }
        self.across(&words.join(" "), &self.styles.name, POINTS, true)?;
        for waived in self.waivers(circuit) {
            self.across(&waived, &self.styles.text, POINTS, false)?;
        }
        for gauge in gauges {
            self.readings(gauge)?;
        }
        Ok(())
    }

    fn shown(&self, pressure: Option<Pressure>) -> String {
        let units = self.units;
        let digits = usize::from(units.system == UnitSystem::Metric);
        pressure.map_or_else(
            || self.say(CardLabel::unknown, &[]),
            |pressure| format!("{:.digits$} {}", units.pressure(pressure), units.name(Dimension::Pressure)),
        )
    }

    fn charging(&self, circuit: &CircuitAudit, service: &Service, gauges: &[GaugeRows]) -> Vec<String> {
        let charged = self.shown(circuit.figures.clamp.chain.charge);
        if service.charging() == Charging::Live {
            let charged = self.say(CardLabel::charged, &[("pressure", &charged)]);
            let needed = service.pressure_min.map(|least| self.shown(Some(least)));
            let needed = needed.map(|least| self.say(CardLabel::needed, &[("pressure", &least)]));
            return [charged, self.say(CardLabel::connected, &[])].into_iter().chain(needed).collect();
        }
        let temperature = self.charge_temperature(service);
        let settled = self.shown(circuit.figures.holding.settled);
        let again = match read_again(circuit, service) {
            Some(minutes) => self.say(CardLabel::read_again, &[("time", &self.time(minutes))]),
            None => self.say(CardLabel::read_often, &[]),
        };
        let mut words = vec![self.say(CardLabel::charge_at, &[("temperature", &temperature)])];
        if circuit.figures.clamp.chain.reducing.is_some() {
            // A gauge ahead of the reducing valve reads more than the clamps have.
            for gauge in gauges.iter().filter(|gauge| !gauge.is_of_none()) {
                let (name, charged) = (self.gauge_name(gauge), self.shown(gauge.charged));
                words.push(self.say(CardLabel::charged_at, &[("gauge", &name), ("pressure", &charged)]));
            }
            words.push(self.say(CardLabel::behind, &[("pressure", &charged), ("settled", &settled)]));
        } else {
            words.push(self.say(CardLabel::after_charging, &[("pressure", &charged), ("settled", &settled)]));
        }
        // What no gauge shows nobody reads again.
        words.extend(gauges.iter().any(|gauge| !gauge.is_of_none()).then_some(again));
        if let Some(date) = service.topped_up {
            words.push(self.say(CardLabel::topped_up, &[("date", &date.to_string())]));
        }
        let key = &circuit.circuit.key;
        let today = self.audit.plant.policy.date;
        let is_top_up = |due: &&Due| due.what == DueKind::TopUp.word() && due.place == *key;
        let top_up = self.audit.due.iter().find(is_top_up).filter(|due| !due.is_far(today));
        if let Some(due) = top_up {
            let is_past = due.days_from(today) < 0;
            let label = if is_past { CardLabel::top_up_overdue } else { CardLabel::top_up_by };
            words.push(self.say(label, &[("date", &due.date)]));
        }
        words
    }

    /// What is fitted on a circuit and past its life: `HOSE-8 at H1 (2026-03-01)`, each once.
    fn past_life(&self, circuit: &CircuitAudit) -> Option<String> {
        let today = self.audit.plant.policy.date;
        let lives = [DueKind::ServiceLife.word(), DueKind::CycleLife.word()];
        let is_past = |due: &&Due| lives.contains(&due.what.as_str()) && due.days_from(today) < 0;
        let of_circuit = self.audit.due.iter().filter(|due| due.place == circuit.circuit.key);
        let named = |due: &Due| {
            let position = due.position.as_str();
            let at = if position.is_empty() { String::new() } else { format!(" {position}") };
            format!("{}{at} ({})", due.part_no, due.date)
        };
        let parts: BTreeSet<String> = of_circuit.filter(is_past).map(named).collect();
        let parts: Vec<String> = parts.into_iter().collect();
        (!parts.is_empty()).then(|| self.say(CardLabel::past_life, &[("parts", &parts.join(", "))]))
    }

    fn charge_temperature(&self, service: &Service) -> String {
        if service.is_unreadable("temp_charge") {
            return self.say(CardLabel::unknown, &[]);
        }
        let temperature = self.units.temperature(service.temp_charge.unwrap_or(USUAL_TEMPERATURE));
        format!("{} {}", (temperature * 10.0).round() / 10.0, self.units.name(Dimension::Temperature))
    }

    /// What was not asked and is not stated.
    fn unknowns(&self, circuit: &CircuitAudit, service: &Service, gauges: &[GaugeRows]) -> Vec<String> {
        if service.charging() == Charging::Live {
            return Vec::new();
        }
        let asked = |letter: char| match letter {
            'H' => Some(self.say(CardLabel::asked_holding, &[])),
            'F' => Some(self.say(CardLabel::asked_force, &[])),
            _ => None,
        };
        let mut words = Vec::new();
        let not_asked: Vec<String> = circuit.coverage.not_asked().into_iter().filter_map(asked).collect();
        if !not_asked.is_empty() {
            words.push(self.say(CardLabel::not_looked_at, &[("what", &not_asked.join(", "))]));
        }
        if [service.temp_min, service.temp_max].iter().any(Option::is_none) {
            words.push(self.say(CardLabel::temperatures_missing, &[]));
        }
        if gauges.iter().any(GaugeRows::is_of_none) {
            words.push(self.say(CardLabel::no_gauge, &[]));
        }
        if gauges.iter().any(|gauge| gauge.is_gauge && !gauge.has_accuracy) {
            words.push(self.say(CardLabel::accuracy_missing, &[]));
        }
        if circuit.figures.holding.hold_is_bound {
            words.push(self.say(CardLabel::leak_missing, &[]));
        }
        if !circuit.figures.clamp.kinds.has(Kind::CheckValve) {
            words.push(self.say(CardLabel::check_valve_missing, &[]));
        }
        words
    }

    fn unassessed(&self, circuit: &CircuitAudit) -> String {
        let reason = |gap: &Unassessed| {
            let column = gap.cell.map(|(_, column)| format!(" ({column})")).unwrap_or_default();
            format!("{}{column}", Figure::root_of(&gap.because))
        };
        let reasons: BTreeSet<String> = circuit.not_assessed.iter().map(reason).collect();
        match (reasons.first(), reasons.len()) {
            (None, _) => String::new(),
            (Some(first), 1) => format!("{}.", capital(first)),
            (Some(first), more) => {
                self.say(CardLabel::and_more, &[("first", &capital(first)), ("number", &(more - 1).to_string())])
            }
        }
    }

    /// Minutes below two hours, else hours, rounded down: a recheck is never late.
    fn time(&self, minutes: f64) -> String {
        let (label, number) = if minutes < HOURS_FROM {
            (CardLabel::minutes, minutes.floor())
        } else {
            (CardLabel::hours, (minutes / 60.0).floor())
        };
        self.say(label, &[("number", &format!("{number:.0}"))])
    }

    /// What was waived on the circuit, on which condition, on whose word and until when.
    fn waivers(&self, circuit: &CircuitAudit) -> Vec<String> {
        let mut all = BTreeSet::new();
        for finding in circuit.findings.iter().filter(|finding| finding.state == State::Waived) {
            let Some(waiver) = finding.waiver.and_then(|index| self.audit.plant.waivers.get(index)) else { continue };
            let until = waiver.expires.map_or_else(|| self.say(CardLabel::unknown, &[]), |date| date.to_string());
            let filled = [
                ("what", self.titled(finding.rule)),
                ("condition", waiver.reason.clone()),
                ("who", waiver.approved_by.clone()),
                ("date", until),
            ];
            let filled: Vec<(&str, &str)> = filled.iter().map(|(name, value)| (*name, value.as_str())).collect();
            all.insert(self.say(CardLabel::waived, &filled));
        }
        all.into_iter().collect()
    }

    fn gauge_name(&self, gauge: &GaugeRows) -> String {
        let what = self.say(if gauge.is_gauge { CardLabel::gauge } else { CardLabel::test_point }, &[]);
        [what.as_str(), &gauge.position].join(" ").trim().to_owned()
    }

    /// The lowest and the highest that a gauge may read, by temperature.
    fn readings(&mut self, gauge: &GaugeRows) -> Result<(), WorkbookError> {
        let unit = self.units.name(Dimension::Pressure);
        let name = self.gauge_name(gauge);
        let number = self.styles.cell.clone().set_num_format(plain_digits(self.units));
        for (label, is_lowest) in [(CardLabel::lowest, true), (CardLabel::highest, false)] {
            let label = self.say(label, &[("gauge", &name), ("unit", unit)]);
            let lines = lines_of(&label, LABEL / WIDER);
            self.tall(f64::from(lines) * POINTS * LINE + AROUND)?;
            self.sheet.write_string_with_format(self.row, 0, cell_text(&label), &self.styles.cell)?;
            for (column, row) in (1_u16..).zip(&gauge.readings) {
                match if is_lowest { row.lowest } else { row.highest } {
                    _ if !row.is_within => {
                        self.sheet.write_string_with_format(self.row, column, "-", &self.styles.cell)?
                    }
                    // Who reads it as what is wanted turns up the pump.
                    _ if is_lowest && row.is_beyond_charging() => {
                        self.sheet.write_string_with_format(self.row, column, "x", &self.styles.cell)?
                    }
                    Some(reading) => {
                        let reading = self.allowed(reading, is_lowest);
                        self.sheet.write_number_with_format(self.row, column, reading, &number)?
                    }
                    // A short sign: a word would be cut by the cell.
                    None => self.sheet.write_string_with_format(self.row, column, "?", &self.styles.cell)?,
                };
            }
            self.row += 1;
        }
        Ok(())
    }

    /// A reading as it is shown: the lowest rounded up, the highest down, so that rounding flatters nothing.
    fn allowed(&self, reading: Pressure, is_lowest: bool) -> f64 {
        let tenths = if self.units.system == UnitSystem::Metric { 10.0 } else { 1.0 };
        let scaled = self.units.pressure(reading) * tenths;
        // A whole number stays one, in spite of the last bits of its conversion.
        let nearest = scaled.round();
        let shown = match (scaled - nearest).abs() < 1e-6 {
            true => nearest,
            false if is_lowest => scaled.ceil(),
            false => scaled.floor(),
        };
        shown / tenths
    }

    fn advice(&mut self, circuits: &[&CircuitAudit]) -> Result<(), WorkbookError> {
        let has = |live: bool| {
            circuits.iter().any(|circuit| (circuit.circuit.service().charging() == Charging::Live) == live)
        };
        let mut labels = Vec::new();
        if has(false) {
            self.across(&self.say(CardLabel::between, &[]), &self.styles.text, POINTS, false)?;
            let is_live = |circuit: &CircuitAudit| circuit.circuit.service().charging() == Charging::Live;
            let mut trapped = circuits.iter().filter(|circuit| !is_live(circuit));
            labels.extend(if trapped.all(|circuit| self.release(circuit) == Release::Seen) {
                [CardLabel::below_lowest, CardLabel::above_highest]
            } else {
                [CardLabel::below_lowest_kept_shut, CardLabel::above_highest_kept_shut]
            });
        }
        if has(true) {
            labels.push(CardLabel::connection_lost);
        }
        let said: Vec<String> = labels.into_iter().map(|label| self.say(label, &[])).collect();
        self.across(&said.join(" "), &self.styles.bold, POINTS, true)
    }

    fn signature(&mut self) -> Result<(), WorkbookError> {
        self.tall(POINTS * LINE + AROUND)?;
        for (column, label) in [(0, CardLabel::checked_by), (2, CardLabel::date), (5, CardLabel::signature)] {
            let label = self.say(label, &[]);
            self.sheet.write_string_with_format(self.row, column, cell_text(&label), &self.styles.label)?;
        }
        self.row += 1;
        self.tall(28.0)?;
        for column in 0..=LAST_COLUMN {
            if !GAPS.contains(&column) {
                self.sheet.write_blank(self.row, column, &self.styles.signed)?;
            }
        }
        self.row += 1;
        Ok(())
    }
}

fn is_planned(circuit: &CircuitAudit) -> bool {
    InService::of(&circuit.circuit) == InService::Planned
}

/// Minutes within which a circuit is proved to hold; nothing where a datum on which that rests is not known, where no
/// check valve is there, or where it does not hold at all.
fn read_again(circuit: &CircuitAudit, service: &Service) -> Option<f64> {
    let holding = &circuit.figures.holding;
    let asked = service.hold_time.filter(|_| service.pressure_min.is_some())?.minutes();
    let reserve = if holding.reserve_is_endless { f64::INFINITY } else { holding.reserve?.minutes() };
    let has_check_valve = circuit.figures.clamp.kinds.has(Kind::CheckValve);
    let minutes = asked.min(reserve);
    (has_check_valve && !circuit.holds_at_most() && minutes >= 1.0).then_some(minutes)
}

fn place_of(plant: &str, pallet: &str) -> String {
    if plant.is_empty() { pallet.to_owned() } else { format!("{plant} / {pallet}") }
}

/// The text as the beginning of a sentence.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::with_steps;
    use crate::tables::card_words::{CARD_WORDS, CardWord};

    #[test]
    fn a_pallet_has_the_bounds_of_all_its_circuits_and_steps_between() {
        assert_eq!(with_steps(&[17.0, 19.0, 25.0, 27.0], 17.0, 27.0, 5.0), [17.0, 19.0, 22.0, 25.0, 27.0]);
        assert_eq!(with_steps(&[18.0, 24.0], 18.0, 24.0, 5.0), [18.0, 23.0, 24.0]);
        assert_eq!(with_steps(&[18.0, 23.2], 18.0, 23.2, 5.0), [18.0, 23.2]);
        assert_eq!(with_steps(&[20.0], 20.0, 20.0, 5.0), [20.0]);
    }

    /// What is filled in by this file under the names that the labels use.
    #[test]
    fn every_blank_of_a_label_is_filled_in() {
        let source = include_str!("cards.rs");
        for word in CARD_WORDS {
            for name in CardWord::blanks(word.text) {
                assert!(source.contains(&format!("(\"{name}\", ")), "{}: {{{name}}}", word.key);
            }
            assert!(source.contains(&format!("CardLabel::{}", word.key)), "{} stands on no card", word.key);
        }
    }
}
