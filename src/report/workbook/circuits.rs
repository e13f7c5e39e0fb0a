//! Circuits: one row per circuit and side, with live formulas over the row's inputs.

pub mod column;
mod live_rule;
mod row;
pub use row::part_of;

use rust_xlsxwriter::Worksheet;

use crate::assess::audit::{Audit, CircuitAudit};
use crate::model::figures::{CircuitFigures, SideFigures};
use crate::model::words::{Charging, Severity, Side, State, Verdict};

use super::formulas::{Live, RowFormulas};
use super::grid::{Grid, Layout, FIRST_ROW};
use super::{Setup, WorkbookError};

use column::{Col, PRINTED};
use live_rule::{Counts, Shared, LIVE};
use row::Row;

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
pub fn write(audit: &Audit, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let is_live = is_live(audit, setup.row_limit);
    let layout = Layout {
        name: "Circuits",
        note: note(is_live),
        columns: Col::ALL.iter().map(|column| column.spec(setup.units)).collect(),
        frozen: Col::Verdict.index() + 1,
        printed: PRINTED,
        pages_wide: 2,
    };
    let shared = Shared::of(audit);
    let mut grid = Grid::new(setup, &layout)?;
    for circuit in &audit.circuits {
        write_circuit(&mut grid, audit, circuit, &shared, is_live)?;
    }
    grid.finish()
}

fn note(is_live: bool) -> String {
    let live = if is_live {
        "Formulas answer when a limit on Basis is changed; their inputs stand right of the printed columns."
    } else {
        "Values only: there are more rows than the policy's formula_rows."
    };
    format!("Circuits, one row per side. {live} An empty cell is unknown.")
}

fn write_circuit(
    grid: &mut Grid,
    audit: &Audit,
    circuit: &CircuitAudit,
    shared: &Shared,
    is_live: bool,
) -> Result<(), WorkbookError> {
    let mut first = None;
    let sides = u32::from(circuit.figures.unclamp.is_some());
    for side in circuit.figures.sides() {
        let row = grid.begin_row()? + 1;
        let writer = SideWriter {
            audit,
            circuit,
            side,
            is_live,
            formulas: RowFormulas { row, charging: circuit.circuit.service().charging() },
            row: Row::of(audit, circuit, side, grid.setup.units),
        };
        writer.write_key(grid)?;
        writer.write_inputs(grid)?;
        writer.write_figures(grid)?;
        writer.write_rules(grid)?;
        match first {
            None => writer.write_verdict(grid, shared, row + sides)?,
            Some(above) => writer.repeat_verdict(grid, above)?,
        }
        first.get_or_insert(row);
    }
    Ok(())
}

struct SideWriter<'a> {
    audit: &'a Audit,
    circuit: &'a CircuitAudit,
    side: &'a SideFigures,
    is_live: bool,
    formulas: RowFormulas,
    row: Row,
}

impl SideWriter<'_> {
    fn write_key(&self, grid: &mut Grid) -> Result<(), WorkbookError> {
        let key = &self.circuit.circuit.key;
        grid.text(Col::Plant.index(), &key.plant)?;
        grid.text(Col::Pallet.index(), &key.pallet)?;
        grid.text(Col::Fixture.index(), &key.fixture)?;
        grid.text(Col::Circuit.index(), &key.circuit)?;
        grid.text(Col::Side.index(), self.side.side.word())?;
        grid.text(Col::Charging.index(), self.formulas.charging.word())?;
        grid.text(Col::WeakestPart.index(), self.row.weakest_part(self.audit, self.circuit, self.side))
    }

    fn write_inputs(&self, grid: &mut Grid) -> Result<(), WorkbookError> {
        for column in row::INPUTS {
            grid.optional(column.index(), self.row.get(*column))?;
        }
        if self.side.side == Side::Clamp {
            self.write_solved(grid, &self.circuit.figures)?;
        }
        for (column, name) in [(Col::Modulus, &self.row.modulus_name), (Col::FreeAir, &self.row.free_air_name)] {
            self.write_reference(grid, column, name.as_deref())?;
        }
        self.write_reference(grid, Col::Ratio, self.row.ratio_name)
    }

    /// An input that is a named cell of Basis.
    fn write_reference(&self, grid: &mut Grid, column: Col, name: Option<&str>) -> Result<(), WorkbookError> {
        match (name, self.row.get(column)) {
            (Some(name), Some(value)) if self.is_live => grid.formula(column.index(), name, value.to_string()),
            (_, value) => grid.optional(column.index(), value),
        }
    }

    fn write_solved(&self, grid: &mut Grid, figures: &CircuitFigures) -> Result<(), WorkbookError> {
        let units = grid.setup.units;
        let holding = &figures.holding;
        for (column, pressure) in [(Col::Cold, holding.cold), (Col::Hot, holding.hot), (Col::Hold, holding.hold)] {
            grid.optional(column.index(), pressure.map(|pressure| units.pressure(pressure)))?;
        }
        if holding.reserve_is_endless {
            grid.text(Col::HoldReserve.index(), "no leak")?;
        } else {
            grid.optional(Col::HoldReserve.index(), holding.reserve.map(|time| time.minutes()))?;
        }
        grid.optional(Col::ClampTime.index(), figures.clamp_time.map(|time| time.si()))?;
        grid.optional(Col::UnclampTime.index(), figures.unclamp_time.map(|time| time.si()))?;
        let codes: Vec<&str> = self.circuit.not_assessed.iter().map(|gap| gap.rule).collect();
        grid.text(Col::NotAssessed.index(), &codes.join(" "))
    }

    /// A figure as a live formula where the row's inputs lead to what the engine found, else
    /// as the number alone.
    fn figure(&self, grid: &mut Grid, column: Col, live: &Live) -> Result<(), WorkbookError> {
        let found = self.row.get(column);
        let follows = live.needs.iter().all(|need| self.row.get(*need).is_some()) == found.is_some();
        if self.is_live && follows {
            return grid.formula(column.index(), &live.text, found.map_or_else(String::new, |number| number.to_string()));
        }
        grid.optional(column.index(), found)
    }

    fn write_figures(&self, grid: &mut Grid) -> Result<(), WorkbookError> {
        let formulas = &self.formulas;
        self.figure(grid, Col::Fill, &formulas.fill())?;
        self.figure(grid, Col::Demand, &formulas.demand())?;
        self.figure(grid, Col::Usable, &formulas.usable())?;
        self.figure(grid, Col::Reserve, &formulas.reserve())?;
        self.figure(grid, Col::Charge, &formulas.charge())?;
        self.figure(grid, Col::PumpNeeded, &formulas.pump_needed())?;
        self.figure(grid, Col::Potential, &formulas.potential())?;
        self.figure(grid, Col::Rest, &formulas.rest())?;
        self.figure(grid, Col::Compression, &formulas.compression())?;
        self.figure(grid, Col::Air, &formulas.air())?;
        self.figure(grid, Col::Dilation, &formulas.yielding(Col::DilationPer))?;
        self.figure(grid, Col::Elastic, &formulas.yielding(Col::ElasticPer))?;
        self.figure(grid, Col::Pump, &formulas.pump(self.row.get(Col::PumpSetting).is_some()))?;
        self.figure(grid, Col::Full, &formulas.full(self.row.has_station))
    }

    fn write_rules(&self, grid: &mut Grid) -> Result<(), WorkbookError> {
        for (column, code, usual) in LIVE {
            let word = live_rule::word(self.audit, self.circuit, self.side.side, code, *usual);
            self.write_rule(grid, *column, code, word)?;
        }
        if self.is_live {
            grid.formula(Col::Current.index(), &self.formulas.current(), "yes")?;
        }
        Ok(())
    }

    fn write_rule(&self, grid: &mut Grid, column: Col, code: &str, word: Option<&str>) -> Result<(), WorkbookError> {
        let Some(word) = word else { return grid.text(column.index(), "off") };
        if matches!(column, Col::V01 | Col::V02) && self.formulas.charging != Charging::Cylinder {
            return Ok(());
        }
        if column == Col::P13 && !self.row.is_unrelieved {
            let answer = if self.side.kinds_are_known { "met" } else { "" };
            return grid.text(column.index(), answer);
        }
        let live = self.formulas.rule(column, word);
        let is_known = live.needs.iter().all(|need| self.row.get(*need).is_some());
        let answer = match (self.has(code), is_known) {
            (true, _) => word,
            (false, true) => "met",
            (false, false) => "",
        };
        if self.is_live { grid.formula(column.index(), &live.text, answer) } else { grid.text(column.index(), answer) }
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
        if self.is_live && self.follows(others, unassessed) {
            return grid.formula(Col::Verdict.index(), &self.formulas.verdict(last_row), verdict.word());
        }
        grid.text(Col::Verdict.index(), verdict.word())
    }

    /// Whether the counts on the row lead to the verdict that the run gave.
    fn follows(&self, others: Counts, unassessed: usize) -> bool {
        let mut counting = others.counting;
        let mut waived = others.waived;
        for finding in &self.circuit.findings {
            let is_live = LIVE.iter().any(|(_, code, _)| *code == finding.rule);
            if !is_live || finding.severity == Severity::Observation {
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
        if self.is_live {
            return grid.formula(Col::Verdict.index(), &self.formulas.same(Col::Verdict, above), verdict);
        }
        grid.text(Col::Verdict.index(), verdict)
    }
}
