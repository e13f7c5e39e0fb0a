//! Findings: one row each, the worst first.

use std::collections::HashSet;

use rust_xlsxwriter::Worksheet;

use crate::audit::causes::reading_order;
use crate::audit::outcome::Audit;
use crate::rules::Rule;
use crate::rules::buying;
use crate::rules::catalogue;
use crate::rules::wording;
use crate::tables::circuit::{Circuit, CircuitKey};
use crate::tables::finding::Finding;
use crate::tables::words::Side;

use super::grid::{Grid, Layout, SheetColumn};
use super::places::Places;
use super::style::{Digits, Look};
use super::widths::Widths;
use super::{Setup, Sheets, WorkbookError};

/// Columns that say what the finding is, printed; the rest says where it comes from.
const PRINTED: u16 = 16;
const LINE_LINK: u16 = 22;
const CIRCUIT_LINK: u16 = 23;

/// Title of a rule, empty where the catalogue has none of the code.
#[must_use]
pub fn title(rule: Option<&Rule>) -> &'static str {
    rule.map_or("", |rule| rule.title)
}

/// The reason of a finding in words, with the waiver that accepts it.
#[must_use]
pub fn reason(audit: &Audit, finding: &Finding) -> String {
    catalogue::rule(finding.rule).map_or_else(String::new, |rule| wording::reason(finding, rule, &audit.plant))
}

/// What puts it right: proved, else what usually does.
#[must_use]
pub fn remedy(finding: &Finding) -> &str {
    match &finding.remedy {
        Some(remedy) => remedy,
        None => catalogue::rule(finding.rule).map_or("", |rule| rule.remedy),
    }
}

fn waiver(audit: &Audit, finding: &Finding) -> String {
    let Some(waiver) = finding.waiver.and_then(|index| audit.plant.waivers.get(index)) else {
        return String::new();
    };
    let until = waiver.expires.map_or_else(String::new, |date| format!(" until {date}"));
    format!("Waived by {}{until}: {}", waiver.approved_by, waiver.reason)
}

/// The columns that Findings and Changes share.
#[must_use]
pub fn columns(names: Widths) -> Vec<SheetColumn> {
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let wrapped = |header: &str, width| SheetColumn::new(header, width, Look::Wrapped);
    vec![
        text("Rule", 6.0),
        wrapped("Title", 20.0),
        text("Severity", 10.5),
        text("State", 8.5),
        wrapped("Plant", names.plant.min(11.0)),
        wrapped("Pallet", names.pallet.min(11.0)),
        wrapped("Fixture", names.fixture.min(13.0)),
        wrapped("Circuit", 7.5),
        text("Side", 8.0),
        wrapped("Position", 9.0),
        wrapped("Part", names.part.min(17.0)),
        SheetColumn::new("Measured", 10.5, Look::Number(Digits::General)),
        SheetColumn::new("Limit", 10.5, Look::Number(Digits::General)),
        text("Unit", 7.0),
        wrapped("Reason", 46.0),
        wrapped("Remedy", 40.0),
        wrapped("Waiver", 28.0),
        wrapped("Basis", 26.0),
        wrapped("File", 24.0),
        text("Sheet", 14.0),
        SheetColumn::new("Row", 8.0, Look::Number(Digits::Whole)),
        text("Column", 9.0),
    ]
}

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, only: Sheets, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let purchase = only == Sheets::Purchase;
    let mut findings: Vec<&Finding> =
        audit.findings().filter(|finding| !purchase || finding.rule.starts_with(buying::FAMILY.letter)).collect();
    let is_planned = |circuit: &&Circuit| !circuit.service.as_ref().is_some_and(|service| service.built);
    let circuits = audit.circuits.iter().map(|one| &one.circuit);
    let planned: HashSet<&CircuitKey> = circuits.filter(is_planned).map(|circuit| &circuit.key).collect();
    findings
        .sort_by_cached_key(|finding| reading_order(finding.severity, finding.rule, !planned.contains(&finding.place)));
    let mut columns = columns(setup.widths);
    if !purchase {
        columns.push(SheetColumn::new("Line (link)", 16.0, Look::Text));
        columns.push(SheetColumn::new("Circuit (link)", 16.0, Look::Text));
    }
    let layout = Layout {
        name: "Findings",
        note: note(findings.len(), purchase),
        columns,
        frozen: 1,
        printed: PRINTED,
        pages_wide: 1,
    };
    let mut grid = Grid::new(setup, &layout)?;
    for finding in findings {
        grid.begin_row()?;
        write_finding(&mut grid, audit, finding)?;
        if let Some(place) = places.line(audit, finding) {
            grid.link(LINE_LINK, "Lines", place)?;
        }
        if let Some(place) = places.circuit(&finding.place) {
            grid.link(CIRCUIT_LINK, "Circuits", place)?;
        }
    }
    grid.finish()
}

fn note(count: usize, purchase: bool) -> String {
    let which = if purchase { "Findings of the purchasing rules" } else { "Findings" };
    if count == 0 {
        return format!("{which}: none.");
    }
    format!(
        "{which}: {count}, the gravest first: by severity, then safety before lists and buying, circuits in service before planned ones. The columns right of Remedy are not printed."
    )
}

/// The cells of one finding, in the shared columns.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write_finding(grid: &mut Grid, audit: &Audit, finding: &Finding) -> Result<(), WorkbookError> {
    let rule = catalogue::rule(finding.rule);
    let place = &finding.place;
    let first = [
        finding.rule,
        title(rule),
        finding.severity.word(),
        finding.state.word(),
        &place.plant,
        &place.pallet,
        &place.fixture,
        &place.circuit,
        finding.side.map_or("", Side::word),
        &finding.position,
        &finding.part_no,
    ];
    for (column, text) in (0_u16..).zip(first) {
        grid.text(column, text)?;
    }
    write_numbers(grid, finding)?;
    grid.text(14, &reason(audit, finding))?;
    grid.text(15, remedy(finding))?;
    grid.text(16, &waiver(audit, finding))?;
    grid.text(17, rule.map_or("", |rule| rule.basis))?;
    write_origin(grid, audit, finding)
}

fn write_numbers(grid: &mut Grid, finding: &Finding) -> Result<(), WorkbookError> {
    let setup = grid.setup;
    let mut unit_shown = "";
    for (column, value) in [(11, &finding.measured), (12, &finding.limit)] {
        let Some(value) = value else { continue };
        match setup.units.number(value) {
            Some((number, unit, digits)) => {
                unit_shown = unit;
                grid.number_as(column, number, &setup.styles.number(digits))?;
            }
            None => grid.text(column, &wording::shown(value, setup.units.system))?,
        }
    }
    grid.text(13, unit_shown)
}

fn write_origin(grid: &mut Grid, audit: &Audit, finding: &Finding) -> Result<(), WorkbookError> {
    let Some(origin) = finding.origin else { return Ok(()) };
    let Some(source) = audit.plant.source(origin) else { return Ok(()) };
    grid.text(18, &source.file)?;
    grid.text(19, &source.sheet)?;
    grid.number(20, f64::from(origin.row))?;
    let letter = finding.column.and_then(|column| source.letter_of(column));
    grid.text(21, letter.as_deref().unwrap_or_default())
}
