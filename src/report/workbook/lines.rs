//! Lines: the lists as given, with remarks.

use std::collections::BTreeMap;

use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::{Audit, ListedRow};
use crate::rules::catalogue;
use crate::tables::column::{Holds, LISTS, Table};
use crate::tables::finding::Finding;
use crate::tables::origin::Source;
use crate::tables::words::State;

use super::findings::title;
use super::grid::{Grid, Layout, SheetColumn};
use super::places::Places;
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// File, sheet, row and remarks stand before the list's own columns.
const OWN: u16 = 4;
const REMARKS: u16 = 3;
/// Columns that a sheet may have.
const SHEET_COLUMNS: usize = 16_384;

/// Columns of the lists as given: known ones first, in their usual order, then the rest.
struct Headers {
    titles: Vec<String>,
    /// For each source, the sheet column of each of its header cells.
    of_source: Vec<Vec<u16>>,
}

/// Which header cells share a column: a known column does, but quantities only with the same
/// header text, since the unit stands in it.
type HeaderKey = (usize, String);

fn key_of(source_text: &str, column: Option<&str>) -> HeaderKey {
    let known = column.and_then(|name| LISTS.iter().position(|known| known.name == name));
    match known {
        Some(index) if !matches!(LISTS[index].holds, Holds::Quantity(..)) => (index, String::new()),
        Some(index) => (index, source_text.to_owned()),
        None => (LISTS.len(), source_text.to_owned()),
    }
}

impl Headers {
    fn of(sources: &[Source]) -> Self {
        let is_list = |source: &&Source| source.table == Some(Table::Lists);
        let mut titles: BTreeMap<HeaderKey, String> = BTreeMap::new();
        for cell in sources.iter().filter(is_list).flat_map(|source| &source.header) {
            let title = titles.entry(key_of(&cell.text, cell.column)).or_insert_with(|| cell.text.clone());
            // Spelt in more than one way: then by its own name.
            if *title != cell.text
                && let Some(name) = cell.column
            {
                name.clone_into(title);
            }
        }
        let room = SHEET_COLUMNS - usize::from(OWN);
        let numbers: BTreeMap<&HeaderKey, u16> = titles.keys().take(room).zip(OWN..).collect();
        let of_source = sources
            .iter()
            .map(|source| {
                let cells = source.header.iter();
                cells.map(|cell| numbers.get(&key_of(&cell.text, cell.column)).copied().unwrap_or(u16::MAX)).collect()
            })
            .collect();
        Self { of_source, titles: titles.into_values().take(room).collect() }
    }

    fn column(&self, source: u32, cell: usize) -> Option<u16> {
        self.of_source.get(source as usize)?.get(cell).copied().filter(|column| *column != u16::MAX)
    }
}

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let headers = Headers::of(&audit.plant.sources);
    let layout = layout(audit, &headers);
    let mut grid = Grid::new(setup, &layout)?;
    // Those with remarks first, and they alone are printed.
    let (with_remarks, others): (Vec<&ListedRow>, Vec<&ListedRow>) =
        audit.listed.iter().partition(|row| !places.remarks(row.origin).is_empty());
    for row in with_remarks {
        grid.begin_row()?;
        write_row(&mut grid, audit, &headers, places, row)?;
    }
    grid.print_until_here();
    for row in others {
        grid.begin_row()?;
        write_row(&mut grid, audit, &headers, places, row)?;
    }
    grid.finish()
}

fn layout(audit: &Audit, headers: &Headers) -> Layout {
    let width_of = |text: &dyn Fn(&Source) -> &str| {
        let lists = audit.plant.sources.iter().filter(|source| source.table == Some(Table::Lists));
        let longest = lists.map(|source| text(source).chars().count()).fold(6, usize::max);
        f64::from(u32::try_from(longest.min(32)).unwrap_or(32)) + 2.0
    };
    let mut columns = vec![
        SheetColumn::new("File", width_of(&|source| &source.file), Look::Text),
        SheetColumn::new("Sheet", width_of(&|source| &source.sheet), Look::Text),
        SheetColumn::new("Row", 8.0, Look::Number(Digits::Whole)),
        SheetColumn::new("Remarks", 40.0, Look::Wrapped),
    ];
    let widths = widths(audit, headers);
    columns.extend(
        headers.titles.iter().zip(widths).map(|(title, width)| SheetColumn::new(title.clone(), width, Look::Text)),
    );
    Layout { name: "Lines", note: note(audit), columns, frozen: OWN, printed: 0, pages_wide: 1 }
}

fn note(audit: &Audit) -> String {
    let whole = "Lines: the lists as given, never altered; the offending cell is bold in a heavy border. Lines with remarks stand first; they alone are printed, and columns that find no room on the page are on the screen.";
    if audit.listed_left_out == 0 {
        return whole.to_owned();
    }
    format!("{whole} Only lines with remarks are shown: {} lines without one are left out.", audit.listed_left_out)
}

fn widths(audit: &Audit, headers: &Headers) -> Vec<f64> {
    let longest_word = |title: &String| title.split(' ').map(|word| word.chars().count()).max().unwrap_or(0);
    let mut longest: Vec<usize> = headers.titles.iter().map(longest_word).collect();
    for row in &audit.listed {
        for (index, cell) in row.cells.iter().enumerate() {
            let Some(column) = headers.column(row.origin.source, index) else { continue };
            // Bytes: never fewer than characters, and quicker.
            if let Some(width) = longest.get_mut(usize::from(column - OWN)) {
                *width = (*width).max(cell.len());
            }
        }
    }
    #[allow(clippy::cast_precision_loss, reason = "clamped to a column's width")]
    longest.into_iter().map(|length| (length.clamp(6, 40) + 3) as f64).collect()
}

fn write_row(
    grid: &mut Grid,
    audit: &Audit,
    headers: &Headers,
    places: &Places,
    row: &ListedRow,
) -> Result<(), WorkbookError> {
    let Some(source) = audit.plant.source(row.origin) else { return Ok(()) };
    grid.text(0, &source.file)?;
    grid.text(1, &source.sheet)?;
    grid.number(2, f64::from(row.origin.row))?;
    let findings = places.remarks(row.origin);
    for (index, cell) in row.cells.iter().enumerate() {
        let Some(column) = headers.column(row.origin.source, index) else { continue };
        if is_offending(source, index, findings) {
            grid.text_as(column, cell, &grid.setup.styles.offending)?;
        } else {
            grid.text(column, cell)?;
        }
    }
    if findings.is_empty() { Ok(()) } else { grid.text(REMARKS, &remarks(findings)) }
}

fn is_offending(source: &Source, index: usize, findings: &[&Finding]) -> bool {
    findings.iter().any(|finding| {
        finding.column.is_some() && source.header.get(index).is_some_and(|cell| cell.column == finding.column)
    })
}

/// `P05 part rated below charge pressure; ...`
fn remarks(findings: &[&Finding]) -> String {
    let mut words: Vec<String> = findings
        .iter()
        .map(|finding| {
            let waived = if finding.state == State::Waived { " (waived)" } else { "" };
            format!("{} {} {}{waived}", finding.rule, finding.severity.word(), title(catalogue::rule(finding.rule)))
        })
        .collect();
    words.dedup();
    words.join(";\n")
}
