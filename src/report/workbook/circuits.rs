//! Circuits: one row per circuit and side, with live formulas over the row's inputs.

pub mod column;
mod live_rule;
mod row;
pub use row::part_of;

use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::audit::settling::settles_most;
use crate::circuit::audited::CircuitAudit;
use crate::circuit::waiving::Waiving;
use crate::physics::quantity::{Pressure, Time};
use crate::tables::circuit::InService;
use crate::tables::figures::{CircuitFigures, Rating, SideFigures};
use crate::tables::policy::Policy;
use crate::tables::words::{Acting, Charging, Side, State, Verdict, Zone};

use super::basis::policy_rows::{NEW_RUN, Setting, policy_rows};
use super::formulas::Formulas;
use super::grid::{FIRST_ROW, Grid, Layout};
use super::places::Places;
use super::style::Digits;
use super::units::Units;
use super::{Setup, WorkbookError};

use column::{Col, LIVE};
use live_rule::{KeptCounts, Shared};
use row::CircuitRow;

/// Figures with a formula.
static FIGURES: &[Col] = &[
    Col::Fill,
    Col::Demand,
    Col::Usable,
    Col::Reserve,
    Col::Charge,
    Col::PumpNeeded,
    Col::Potential,
    Col::Rest,
    Col::Compression,
    Col::Air,
    Col::Dilation,
    Col::Elastic,
    Col::Pump,
    Col::Full,
];

/// Figures of the clamp side that are worked out step by step.
static SOLVED: &[Col] = &[Col::Cold, Col::Hot, Col::Hold, Col::HoldReserve, Col::ClampTime, Col::UnclampTime];

/// Reasons for what is not assessed that a row names.
const REASONS: usize = 1;

/// Rows that the sheet has: one per circuit and side.
#[must_use]
pub fn row_count(audit: &Audit) -> u64 {
    audit.circuits.iter().map(|circuit| circuit.figures.sides().count() as u64).sum()
}

/// Whether there are few enough rows for formulas.
#[must_use]
pub fn is_live(audit: &Audit, row_limit: u32) -> bool {
    let rows = row_count(audit);
    rows <= audit.plant.policy.bounds.formula_rows && rows <= u64::from(row_limit - FIRST_ROW)
}

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let is_live = is_live(audit, setup.row_limit);
    let layout = Layout {
        name: "Circuits",
        note: note(audit, is_live),
        columns: Col::ALL.iter().map(|column| column.spec(setup.units, setup.widths)).collect(),
        frozen: Col::Verdict.index() + 1,
        // There is no room for what could not be assessed.
        printed: Col::Lacks.index(),
        pages_wide: 1,
    };
    let shared = Shared::of(audit);
    let formulas = FormulaSets::new();
    let waiving = Waiving::new(&audit.plant.waivers, audit.plant.policy.date);
    let mut grid = Grid::new(setup, &layout)?;
    for circuit in &audit.circuits {
        let sheet = Sheet { audit, shared: &shared, formulas: &formulas, waiving: &waiving, places, is_live };
        write_circuit(&mut grid, &sheet, circuit)?;
    }
    grid.finish()
}

/// Whether every named cell that rows answer to still has the run's value, for rows without formulas.
fn unchanged(policy: &Policy) -> String {
    let rows = policy_rows(policy);
    let answering = rows.iter().filter(|row| row.is_named && row.answers != NEW_RUN);
    let same: Vec<String> = answering
        .filter_map(|row| match &row.value {
            Setting::Number(value) => Some(format!("ABS({}-{value})<=1E-12*ABS({value})", row.name)),
            Setting::Text(_) => None,
        })
        .collect();
    format!("IF(AND({}),\"yes\",\"no\")", same.join(","))
}

fn note(audit: &Audit, is_live: bool) -> String {
    let fill = audit.plant.policy.limits.fill;
    let live = if is_live { "Changed limits on Basis are answered at once." } else { "Values only, see Basis." };
    let holding = || audit.circuits.iter().filter(|circuit| Mark::is_held(circuit));
    let mut signs = vec!["Empty: unknown; -: not asked of this kind".to_owned()];
    if holding().any(CircuitAudit::holds_at_most) {
        signs.push("≤: at most, since a temperature or a leak is not stated".to_owned());
    }
    if let Some(words) = holding().find_map(CircuitAudit::counts_on_check_valve) {
        signs.push(format!("*: {words}"));
    }
    if audit.circuits.iter().flat_map(|circuit| circuit.figures.sides()).any(|side| seen_ahead(side).is_some()) {
        signs.push("sees: the highest pressure ahead of the reducing valve, where the clamps see less".to_owned());
    }
    format!(
        "One row per side; the fill may be {fill} at most. {}. {live} Right of the print: why a circuit is not assessed and the cell that settles most, links, more figures.",
        signs.join("; ")
    )
}

/// The highest pressure ahead of a reducing valve, charged or warm, where a reader would take that of the clamps for it:
/// the weakest part sits there, or another one is above its rating there, which then is named.
fn seen_ahead(side: &SideFigures) -> Option<(Option<Rating>, Pressure)> {
    let has_other_zone = side.has_reducing_valve && !side.zone(Zone::Reduced).lines.is_empty();
    let weakest = side.chain.weakest.filter(|_| has_other_zone)?;
    let highest = |zone: Zone| {
        let figures = side.zone(zone);
        figures.pressure.into_iter().chain(figures.hot).reduce(Pressure::max)
    };
    let zone = side.zone_of(weakest.line);
    if zone != Zone::Reduced {
        return Some((None, highest(zone)?));
    }
    let full = side.zone(Zone::Full).weakest?;
    highest(Zone::Full).filter(|seen| *seen > full.pressure).map(|seen| (Some(full), seen))
}

/// What a figure of the hold is shown with: it is at most so much, or it counts on a valve that is not there.
struct Mark {
    at_most: bool,
    on_valve: bool,
}

impl Mark {
    fn of(circuit: &CircuitAudit) -> Self {
        Self { at_most: circuit.holds_at_most(), on_valve: circuit.counts_on_check_valve().is_some() }
    }

    /// Whether a circuit has a figure of the hold.
    fn is_held(circuit: &CircuitAudit) -> bool {
        let holding = &circuit.figures.holding;
        holding.hold.is_some() || holding.reserve.is_some() || holding.reserve_is_endless && !circuit.holds_at_most()
    }

    /// The number format with the signs, which keep the number a number; `None` where there are none.
    fn code(&self, digits: Digits) -> Option<String> {
        let plain = digits.code();
        match (self.at_most, self.on_valve) {
            (false, false) => None,
            (true, false) => Some(format!("\"≤ \"{plain}")),
            (at_most, true) => {
                let ahead = if at_most { "\"≤ \"" } else { "" };
                Some(format!("{ahead}{}\"*\"", plain.trim_end_matches("_)")))
            }
        }
    }
}

/// Whether a figure is looked for on a side of a circuit that is charged so.
fn is_asked(column: Col, circuit: &CircuitAudit, side: Side, charging: Charging) -> bool {
    let is_clamp = side == Side::Clamp;
    match column {
        Col::Fill | Col::Reserve | Col::Capacity | Col::Usable => charging == Charging::Cylinder,
        Col::Hot | Col::Hold | Col::HoldReserve | Col::Cold => is_clamp && charging.is_uncoupled(),
        Col::Least => is_clamp && (charging.is_uncoupled() || circuit.circuit.service().pressure_min.is_some()),
        Col::ClampTime => is_clamp,
        Col::UnclampTime => is_clamp && circuit.figures.acting == Acting::Single,
        _ => true,
    }
}

const NOT_ASKED: &str = "-";

/// What all rows are written with.
struct Sheet<'a> {
    audit: &'a Audit,
    shared: &'a Shared<'a>,
    formulas: &'a FormulaSets,
    waiving: &'a Waiving,
    places: &'a Places<'a>,
    is_live: bool,
}

/// The formulas by way of charging, with and without a station.
struct FormulaSets(Vec<[Formulas; 2]>);

impl FormulaSets {
    fn new() -> Self {
        let both = |charging: &Charging| [Formulas::of(*charging, false), Formulas::of(*charging, true)];
        Self(Charging::ALL.iter().map(both).collect())
    }

    fn of(&self, charging: Charging, has_station: bool) -> &Formulas {
        &self.0[charging as usize][usize::from(has_station)]
    }
}

fn write_circuit(grid: &mut Grid, sheet: &Sheet, circuit: &CircuitAudit) -> Result<(), WorkbookError> {
    let service = circuit.circuit.service();
    let charging = service.charging();
    let formulas = sheet.formulas.of(charging, !service.station.is_empty());
    let mut first = None;
    let sides = u32::from(circuit.figures.unclamp.is_some());
    for side in circuit.figures.sides() {
        let row = grid.begin_row()? + 1;
        let (audit, waiving) = (sheet.audit, sheet.waiving);
        // The row's formulas know one pressure and one circuit: what hangs on others, or on a reducing valve,
        // stays as the run found it.
        let is_by_itself = side.group.members <= 1 && !side.has_reducing_valve;
        let is_live = sheet.is_live && is_by_itself;
        let numbers = CircuitRow::of(audit, circuit, side, grid.setup.units);
        let answers = sheet.is_live;
        let writer = SideWriter { audit, waiving, circuit, side, charging, formulas, is_live, answers, row, numbers };
        writer.write_key(grid)?;
        writer.write_inputs(grid)?;
        writer.write_figures(grid)?;
        writer.write_rules(grid)?;
        grid.text(Col::InService.index(), InService::of(&circuit.circuit).word())?;
        if let Some(gravest) = sheet.places.first_of_circuit(&circuit.circuit.key) {
            grid.link(Col::First.index(), Some(gravest))?;
        }
        match first {
            None => writer.write_verdict(grid, sheet.shared, row + sides)?,
            Some(above) => writer.repeat_verdict(grid, above)?,
        }
        first.get_or_insert(row);
    }
    Ok(())
}

struct SideWriter<'a> {
    audit: &'a Audit,
    waiving: &'a Waiving,
    circuit: &'a CircuitAudit,
    side: &'a SideFigures,
    charging: Charging,
    formulas: &'a Formulas,
    /// Whether its figures and rules are formulas.
    is_live: bool,
    /// Whether it says so where a named cell has another value than at the run.
    answers: bool,
    /// As the spreadsheet shows it: the first row is 1.
    row: u32,
    numbers: CircuitRow,
}

impl SideWriter<'_> {
    fn write_key(&self, grid: &mut Grid) -> Result<(), WorkbookError> {
        let key = &self.circuit.circuit.key;
        grid.text(Col::Plant.index(), &key.plant)?;
        grid.text(Col::Pallet.index(), &key.pallet)?;
        grid.text(Col::Fixture.index(), &key.fixture)?;
        grid.text(Col::Circuit.index(), &key.circuit)?;
        grid.text(Col::Side.index(), self.side.side.word())?;
        grid.text(Col::Charging.index(), self.charging.word())?;
        let weakest = part_of(self.audit, self.circuit, self.side.chain.weakest);
        let mut words = weakest.map_or_else(String::new, |part| part.part_no.clone());
        if let Some(elsewhere) = self.seen_elsewhere(grid.setup.units) {
            words = format!("{words}{elsewhere}");
        }
        grid.text(Col::WeakestPart.index(), &words)
    }

    /// `, sees 214.7`: the highest pressure of the weakest part where that is not the clamps', and so not that beside it;
    /// `; SHUT-4 (135.0) sees 214.7` of another one.
    fn seen_elsewhere(&self, units: Units) -> Option<String> {
        let (other, seen) = seen_ahead(self.side)?;
        let digits = usize::from(units.pressure_digits() == Digits::One);
        let shown = |pressure: Pressure| format!("{:.digits$}", units.pressure(pressure));
        let Some(rating) = other else { return Some(format!(", sees {}", shown(seen))) };
        let part = part_of(self.audit, self.circuit, other)?;
        Some(format!("; {} ({}) sees {}", part.part_no, shown(rating.pressure), shown(seen)))
    }

    fn write_inputs(&self, grid: &mut Grid) -> Result<(), WorkbookError> {
        for column in row::INPUTS {
            self.optional(grid, *column, self.numbers.get(*column))?;
        }
        if self.side.side == Side::Clamp {
            self.write_solved(grid, &self.circuit.figures)?;
        } else {
            SOLVED.iter().try_for_each(|column| self.optional(grid, *column, None))?;
        }
        for (column, name) in [(Col::Modulus, &self.numbers.modulus_name), (Col::FreeAir, &self.numbers.free_air_name)]
        {
            self.write_reference(grid, column, name.as_deref())?;
        }
        self.write_reference(grid, Col::Ratio, self.numbers.ratio_name)
    }

    /// A number, or an empty cell where it is unknown; where nothing asks for it, a sign that says so.
    fn optional(&self, grid: &mut Grid, column: Col, number: Option<f64>) -> Result<(), WorkbookError> {
        if is_asked(column, self.circuit, self.side.side, self.charging) {
            return grid.optional(column.index(), number);
        }
        grid.text(column.index(), NOT_ASKED)
    }

    /// The same of a figure of the hold, with what must be known of it.
    fn held(&self, grid: &mut Grid, column: Col, number: Option<f64>, digits: Digits) -> Result<(), WorkbookError> {
        match (number, Mark::of(self.circuit).code(digits)) {
            (Some(number), Some(code)) => {
                let format = grid.setup.styles.number(digits).set_num_format(code);
                grid.number_as(column.index(), number, &format)
            }
            (number, _) => self.optional(grid, column, number),
        }
    }

    /// An input that is a named cell of Basis.
    fn write_reference(&self, grid: &mut Grid, column: Col, name: Option<&str>) -> Result<(), WorkbookError> {
        match (name, self.numbers.get(column)) {
            (Some(name), Some(value)) if self.is_live => grid.formula(column.index(), name, value.to_string()),
            (_, value) => grid.optional(column.index(), value),
        }
    }

    fn write_solved(&self, grid: &mut Grid, figures: &CircuitFigures) -> Result<(), WorkbookError> {
        let units = grid.setup.units;
        let holding = &figures.holding;
        for (column, pressure) in [(Col::Cold, holding.cold), (Col::Hot, holding.hot)] {
            self.optional(grid, column, pressure.map(|pressure| units.pressure(pressure)))?;
        }
        let hold = holding.hold.map(|pressure| units.pressure(pressure));
        self.held(grid, Col::Hold, hold, units.pressure_digits())?;
        if holding.reserve_is_endless {
            // Without end at most is not known.
            let words = match Mark::of(self.circuit) {
                Mark { at_most: true, .. } => "",
                Mark { on_valve: true, .. } => "no leak*",
                Mark { .. } => "no leak",
            };
            grid.text(Col::HoldReserve.index(), words)?;
        } else {
            let hours = holding.reserve.map(|time| time.minutes() / 60.0);
            self.held(grid, Col::HoldReserve, hours, Digits::One)?;
        }
        self.optional(grid, Col::ClampTime, figures.clamp_time.map(Time::si))?;
        self.optional(grid, Col::UnclampTime, figures.unclamp_time.map(Time::si))?;
        let codes: Vec<&str> = self.circuit.not_assessed.iter().map(|gap| gap.rule).collect();
        grid.text(Col::NotAssessed.index(), &codes.join(" "))?;
        let mut reasons: Vec<&str> = self.circuit.not_assessed.iter().map(|gap| gap.because.as_str()).collect();
        reasons.sort_unstable();
        reasons.dedup();
        let more = reasons.len().saturating_sub(REASONS);
        let mut text = reasons.iter().take(REASONS).copied().collect::<Vec<_>>().join("; ");
        if more > 0 {
            text = format!("{text}; and {more} more");
        }
        if let Some(cell) = settles_most(&self.audit.plant, self.circuit) {
            text = format!("{text}. Settles most: {cell}");
        }
        if !holding.validity.is_empty() {
            let stop = if text.is_empty() { "" } else { "; " };
            text = format!("{text}{stop}outside validity, see Input");
        }
        grid.text(Col::Lacks.index(), &text)
    }

    /// A figure as a live formula where the row's inputs lead to what the engine found, else
    /// as the number alone.
    fn figure(&self, grid: &mut Grid, column: Col) -> Result<(), WorkbookError> {
        let found = self.numbers.get(column);
        match self.formulas.live(column) {
            _ if !is_asked(column, self.circuit, self.side.side, self.charging) => self.optional(grid, column, found),
            Some(live) if self.is_live && self.are_known(column, &live.needs) == found.is_some() => {
                let result = found.map_or_else(String::new, |number| number.to_string());
                grid.formula(column.index(), &live.on(self.row, ""), result)
            }
            _ => grid.optional(column.index(), found),
        }
    }

    fn are_known(&self, column: Col, needs: &[Col]) -> bool {
        if column == Col::Pump {
            return self.numbers.get(Col::PumpSetting).or(self.numbers.get(Col::PumpRating)).is_some();
        }
        needs.iter().all(|need| self.numbers.get(*need).is_some())
    }

    fn write_figures(&self, grid: &mut Grid) -> Result<(), WorkbookError> {
        FIGURES.iter().try_for_each(|column| self.figure(grid, *column))
    }

    fn write_rules(&self, grid: &mut Grid) -> Result<(), WorkbookError> {
        for (column, rule) in LIVE {
            let word = live_rule::word(self.audit, self.waiving, self.circuit, self.side.side, rule);
            self.write_rule(grid, *column, rule.code, word)?;
        }
        if self.is_live {
            grid.formula(Col::Current.index(), &self.formulas.current(self.row), "yes")?;
        } else if self.answers {
            grid.formula(Col::Current.index(), &unchanged(&self.audit.plant.policy), "yes")?;
        }
        Ok(())
    }

    fn write_rule(&self, grid: &mut Grid, column: Col, code: &str, word: Option<&str>) -> Result<(), WorkbookError> {
        let Some(word) = word else { return grid.text(column.index(), "off") };
        if matches!(column, Col::V01 | Col::V02) && self.charging != Charging::Cylinder {
            return Ok(());
        }
        if column == Col::P13 && !self.numbers.is_unrelieved {
            let answer = if self.side.kinds_are_known { "met" } else { "" };
            return grid.text(column.index(), answer);
        }
        let Some(live) = self.formulas.live(column) else { return Ok(()) };
        let is_known = self.are_known(column, &live.needs);
        let answer = match (self.has(code), is_known) {
            (true, _) => word,
            (false, true) => "met",
            (false, false) => "",
        };
        if !self.is_live {
            return grid.text(column.index(), answer);
        }
        grid.formula(column.index(), &live.on(self.row, word), answer)
    }

    /// Whether the run found the rule not met on this side.
    fn has(&self, code: &str) -> bool {
        self.circuit.findings.iter().any(|finding| finding.rule == code && finding.side == Some(self.side.side))
    }

    fn write_verdict(&self, grid: &mut Grid, shared: &Shared, last_row: u32) -> Result<(), WorkbookError> {
        let verdict = self.circuit.verdict;
        let others = shared.others(self.audit, self.circuit);
        let unassessed = match verdict {
            Verdict::NotAssessed => self.circuit.not_assessed.len().max(1),
            Verdict::DoesNotConform => self.circuit.not_assessed.len(),
            Verdict::ConformsWithWaivers | Verdict::Conforms => 0,
        };
        grid.number(Col::Others.index(), f64::from(others.counting))?;
        grid.number(Col::Waived.index(), f64::from(others.waived))?;
        grid.number(Col::Unassessed.index(), f64::from(u32::try_from(unassessed).unwrap_or(u32::MAX)))?;
        if self.answers && self.follows(others, unassessed) {
            return grid.formula(Col::Verdict.index(), &self.formulas.verdict(self.row, last_row), verdict.word());
        }
        grid.text(Col::Verdict.index(), verdict.word())
    }

    /// Whether the counts on the row lead to the verdict that the run gave.
    fn follows(&self, others: KeptCounts, unassessed: usize) -> bool {
        let mut counting = others.counting;
        let mut waived = others.waived;
        for finding in &self.circuit.findings {
            let is_live = live_rule::has_formula(finding);
            if !is_live || !finding.is_major_or_minor() {
                continue;
            }
            if finding.state == State::Waived { waived += 1 } else { counting += 1 }
        }
        let verdict = match (counting, unassessed, waived) {
            (1.., ..) => Verdict::DoesNotConform,
            (0, 1.., _) => Verdict::NotAssessed,
            (0, 0, 1..) => Verdict::ConformsWithWaivers,
            (0, 0, 0) => Verdict::Conforms,
        };
        verdict == self.circuit.verdict
    }

    fn repeat_verdict(&self, grid: &mut Grid, above: u32) -> Result<(), WorkbookError> {
        let verdict = self.circuit.verdict.word();
        if self.answers {
            return grid.formula(Col::Verdict.index(), &format!("{}{above}", Col::Verdict.letter()), verdict);
        }
        grid.text(Col::Verdict.index(), verdict)
    }
}
