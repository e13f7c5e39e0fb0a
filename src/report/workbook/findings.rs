//! Findings: one row each, the worst first.

use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::rules::Rule;
use crate::rules::catalogue;
use crate::rules::wording;
use crate::tables::counted::counted;
use crate::tables::finding::Finding;
use crate::tables::words::{Side, State};

use super::grid::{Grid, LINK_WIDTH, Layout, SheetColumn};
use super::places::Places;
use super::style::{Digits, Look};
use super::widths::Widths;
use super::{Setup, Sheets, WorkbookError};

/// Columns that say what the finding is, printed; the rest says where it comes from.
pub const PRINTED: u16 = 7;

/// The columns that Findings and Changes share, in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u16)]
pub enum Col {
    Rule,
    Title,
    Severity,
    Where,
    Part,
    Reason,
    Remedy,
    RuleLink,
    CircuitLink,
    LineLink,
    RemedyLink,
    State,
    Waiver,
    Basis,
    Measured,
    Limit,
    Unit,
    Plant,
    Pallet,
    Fixture,
    Circuit,
    Side,
    Position,
    File,
    Sheet,
    Row,
    Column,
}

impl Col {
    #[must_use]
    pub const fn index(self) -> u16 {
        self as u16
    }
}

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
        text("Rule", 5.5),
        wrapped("Title", 20.0),
        text("Severity", 10.0),
        wrapped("Where", 23.0),
        wrapped("Part", names.part.min(15.0)),
        wrapped("Reason", 60.0),
        wrapped("Remedy", 41.0),
        text("Rule (link)", LINK_WIDTH),
        text("Circuit (link)", LINK_WIDTH),
        text("Line (link)", LINK_WIDTH),
        text("Remedy (link)", LINK_WIDTH),
        text("State", 8.5),
        wrapped("Waiver", 60.0),
        text("Basis", 26.0),
        SheetColumn::new("Measured", 10.5, Look::Number(Digits::General)),
        SheetColumn::new("Limit", 10.5, Look::Number(Digits::General)),
        text("Unit", 7.0),
        text("Plant", names.plant),
        text("Pallet", names.pallet),
        text("Fixture", names.fixture),
        text("Circuit", names.circuit),
        text("Side", 8.0),
        text("Position", 9.0),
        text("File", 24.0),
        text("Sheet", 14.0),
        SheetColumn::new("Row", 8.0, Look::Number(Digits::Whole)),
        text("Column", 9.0),
    ]
}

/// A place as one text: `Tarnholm / T02 / left / 2, clamp side, at C4`.
#[must_use]
pub fn place_in_words(place: &str, side: &str, position: &str) -> String {
    let side = if side.is_empty() || side == Side::Both.word() { String::new() } else { format!("{side} side") };
    let position = match (place, position) {
        (_, "") => String::new(),
        ("", position) => position.to_owned(),
        (_, position) => format!("at {position}"),
    };
    let words = [place, &side, &position];
    let words: Vec<&str> = words.into_iter().filter(|word| !word.is_empty()).collect();
    words.join(", ")
}

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, only: Sheets, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let purchase = only == Sheets::Purchase;
    let findings = places.findings();
    let layout = Layout {
        name: "Findings",
        note: note(findings, places.graver(), purchase),
        columns: columns(setup.widths),
        frozen: 1,
        printed: PRINTED,
        pages_wide: 1,
    };
    let mut grid = Grid::new(setup, &layout)?;
    for (index, finding) in findings.iter().enumerate() {
        // Observations are on the screen; of purchasing they are printed, there are few.
        if index == places.graver() && !purchase {
            grid.print_until_here();
        }
        grid.begin_row()?;
        write_finding(&mut grid, audit, places, finding)?;
    }
    grid.finish()
}

fn note(findings: &[&Finding], graver: usize, purchase: bool) -> String {
    let count = findings.len();
    let which = if purchase { "Findings of purchasing, and on what it rests on" } else { "Findings" };
    if count == 0 {
        return format!("{which}: none.");
    }
    if purchase {
        return format!("{which}: {count}, the gravest first.");
    }
    if graver == 0 {
        let observations = counted(count as u64, "observation");
        return format!("Findings: no major and no minor; {observations} below, on the screen.");
    }
    let waived = findings.iter().take(graver).filter(|finding| finding.state == State::Waived).count();
    let printed = counted((graver - waived) as u64, "major or minor");
    let printed = printed.replace("major or minors", "majors and minors");
    let waived = if waived > 0 { format!(", and {waived} waived") } else { String::new() };
    format!(
        "Findings: {count}, the gravest first, of each what is in service before what is planned. Printed: {printed}{waived}. \
         Right of Remedy: links to rule, circuit, line and remedy."
    )
}

/// The cells of one finding, in the shared columns.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write_finding(grid: &mut Grid, audit: &Audit, places: &Places, finding: &Finding) -> Result<(), WorkbookError> {
    let rule = catalogue::rule(finding.rule);
    let place = &finding.place;
    let side = finding.side.map_or("", Side::word);
    let where_it_is = place_in_words(&place.to_string(), side, &finding.position);
    let links = [
        (Col::RuleLink, places.rule(finding.rule)),
        (Col::CircuitLink, places.circuit(place)),
        (Col::LineLink, places.line(audit, finding)),
        (Col::RemedyLink, places.remedy(finding)),
    ];
    for (column, target) in links {
        grid.link(column.index(), target)?;
    }
    // The figures before and after stand on Remedies.
    let to_remedy = places.remedy(finding);
    let remedy = if to_remedy.is_some() { without_figures(remedy(finding)) } else { remedy(finding).to_owned() };
    let texts = [
        (Col::Rule, finding.rule),
        (Col::Where, &where_it_is),
        (Col::Part, &finding.part_no),
        (Col::Remedy, &remedy),
        (Col::Title, &titled(rule, finding.state)),
        (Col::Severity, finding.severity.word()),
        (Col::State, finding.state.word()),
        (Col::Reason, &reason(audit, finding)),
        (Col::Waiver, &waiver(audit, finding)),
        (Col::Basis, rule.map_or("", |rule| rule.basis)),
        (Col::Plant, &place.plant),
        (Col::Pallet, &place.pallet),
        (Col::Fixture, &place.fixture),
        (Col::Circuit, &place.circuit),
        (Col::Side, side),
        (Col::Position, &finding.position),
    ];
    for (column, text) in texts {
        grid.text(column.index(), text)?;
    }
    write_numbers(grid, finding)?;
    write_origin(grid, audit, finding)
}

/// A change without its figures before and after.
fn without_figures(remedy: &str) -> String {
    let before = remedy.split_once(" → ").and_then(|(before, _)| before.rsplit_once(": "));
    match before.map(|(what, _)| what.rsplit_once(". ").map_or(what, |(sentences, _)| sentences)) {
        Some(what) => format!("{what}."),
        None => remedy.to_owned(),
    }
}

/// The title, with what must not be overlooked where the state is not printed.
fn titled(rule: Option<&Rule>, state: State) -> String {
    match state {
        State::New | State::Waived => format!("{} ({})", title(rule), state.word()),
        State::Open | State::Standing => title(rule).to_owned(),
    }
}

fn write_numbers(grid: &mut Grid, finding: &Finding) -> Result<(), WorkbookError> {
    let setup = grid.setup;
    let mut unit_shown = "";
    for (column, value) in [(Col::Measured, &finding.measured), (Col::Limit, &finding.limit)] {
        let Some(value) = value else { continue };
        match setup.units.number(value) {
            Some((number, unit, digits)) => {
                unit_shown = unit;
                grid.number_as(column.index(), number, &setup.styles.number(digits))?;
            }
            None => grid.text(column.index(), &wording::shown(value, setup.units.system))?,
        }
    }
    grid.text(Col::Unit.index(), unit_shown)
}

fn write_origin(grid: &mut Grid, audit: &Audit, finding: &Finding) -> Result<(), WorkbookError> {
    let Some(origin) = finding.origin else { return Ok(()) };
    let Some(source) = audit.plant.source(origin) else { return Ok(()) };
    grid.text(Col::File.index(), &source.file)?;
    grid.text(Col::Sheet.index(), &source.sheet)?;
    grid.number(Col::Row.index(), f64::from(origin.row))?;
    let letter = finding.column.and_then(|column| source.letter_of(column));
    grid.text(Col::Column.index(), letter.as_deref().unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_is_told_without_its_figures() {
        for (remedy, told) in [
            ("Add WEIR-6 (71.50 EUR): fill 0.6697 → 0.6699.", "Add WEIR-6 (71.50 EUR)."),
            (
                "Split it: A (C1) on X-1, B (C2) on X-2. Oil is shared. A: fill 1.1 → 0.8; B: fill 1.1 → 0.6.",
                "Split it: A (C1) on X-1, B (C2) on X-2. Oil is shared.",
            ),
            ("Replace X-1 by X-2 (174.00 EUR).", "Replace X-1 by X-2 (174.00 EUR)."),
        ] {
            assert_eq!(without_figures(remedy), told);
        }
    }
}
