//! Lines: the lists as given, with remarks.

use std::borrow::Cow;
use std::collections::BTreeMap;

use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::{Audit, ListedRow};
use crate::rules::catalogue;
use crate::tables::column::{Holds, LISTS, Table};
use crate::tables::finding::Finding;
use crate::tables::origin::Source;
use crate::tables::words::State;

use super::findings::title;
use super::grid::{Grid, LINK_WIDTH, Layout, SheetColumn};
use super::places::Places;
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// File, sheet, row and remarks stand before the list's own columns.
const OWN: u16 = 4;
const REMARKS: u16 = 3;
/// Columns that say which line it is, and how many pieces.
const NAMING: [&str; 7] = ["plant", "pallet", "fixture", "circuit", "position", "part_no", "qty"];
/// Columns that a sheet may have.
const SHEET_COLUMNS: usize = 16_384;

/// Columns of the lists as given: known ones first, in their usual order, then the rest.
struct Headers {
    titles: Vec<String>,
    /// Of these, from the first, those that say which line it is and how many pieces.
    naming: usize,
    /// For each source, the sheet column of each of its header cells, and the unit that is written beside its numbers.
    of_source: Vec<Vec<(u16, String)>>,
}

/// Which header cells share a column: a known column does, others with the same text only.
type HeaderKey = (usize, String);

fn key_of(source_text: &str, column: Option<&str>) -> HeaderKey {
    match column.and_then(|name| LISTS.iter().position(|known| known.name == name)) {
        Some(index) => (index, String::new()),
        None => (LISTS.len(), source_text.to_owned()),
    }
}

/// The unit that a header of a quantity states, without its brackets.
fn unit_of(header: &str, key: &HeaderKey) -> String {
    if !LISTS.get(key.0).is_some_and(|column| matches!(column.holds, Holds::Quantity(..))) {
        return String::new();
    }
    let inside = |open: char, close: char| header.rsplit_once(open).and_then(|(_, rest)| rest.split_once(close));
    inside('[', ']').or_else(|| inside('(', ')')).map_or_else(String::new, |(unit, _)| unit.trim().to_owned())
}

/// What the header cells of one column say.
struct Title {
    text: String,
    unit: String,
    /// Whether the units of all of them are the same.
    has_one_unit: bool,
}

impl Headers {
    fn of(sources: &[Source]) -> Self {
        let is_list = |source: &&Source| source.table == Some(Table::Lists);
        let mut titles: BTreeMap<HeaderKey, Title> = BTreeMap::new();
        for cell in sources.iter().filter(is_list).flat_map(|source| &source.header) {
            let key = key_of(&cell.text, cell.column);
            let unit = unit_of(&cell.text, &key);
            let title = titles.entry(key).or_insert_with(|| Title {
                text: cell.text.clone(),
                unit: unit.clone(),
                has_one_unit: true,
            });
            title.has_one_unit &= title.unit == unit;
            // Spelt in more than one way: then by its own name.
            if title.text != cell.text
                && let Some(name) = cell.column
            {
                name.clone_into(&mut title.text);
            }
        }
        let room = SHEET_COLUMNS - usize::from(OWN) - 1;
        let numbers: BTreeMap<&HeaderKey, u16> = titles.keys().take(room).zip(OWN..).collect();
        let of_cell = |text: &str, column: Option<&str>| {
            let key = key_of(text, column);
            let beside = titles.get(&key).filter(|title| !title.has_one_unit).map(|_| unit_of(text, &key));
            (numbers.get(&key).copied().unwrap_or(u16::MAX), beside.unwrap_or_default())
        };
        let of_source = sources
            .iter()
            .map(|source| source.header.iter().map(|cell| of_cell(&cell.text, cell.column)).collect())
            .collect();
        let is_naming = |key: &&HeaderKey| LISTS.get(key.0).is_some_and(|column| NAMING.contains(&column.name));
        let naming = titles.keys().take_while(is_naming).count();
        Self { of_source, naming, titles: titles.into_values().take(room).map(Title::shown).collect() }
    }

    /// The column of a header cell, and the unit to be written beside its numbers.
    fn column(&self, source: u32, cell: usize) -> Option<(u16, &str)> {
        let (column, unit) = self.of_source.get(source as usize)?.get(cell)?;
        (*column != u16::MAX).then_some((*column, unit))
    }
}

impl Title {
    fn shown(self) -> String {
        if !self.has_one_unit {
            return self.text.split(['[', '(']).next().unwrap_or_default().trim_end().to_owned();
        }
        let says_it = self.unit.is_empty() || self.text.contains(['[', '(']);
        if says_it { self.text } else { format!("{} [{}]", self.text, self.unit) }
    }
}

/// A cell as given; where the lists have different units in one column its own stands beside it.
fn with_unit<'a>(cell: &'a str, unit: &str) -> Cow<'a, str> {
    let is_number = cell.trim_end().ends_with(|letter: char| letter.is_ascii_digit());
    if unit.is_empty() || !is_number { Cow::Borrowed(cell) } else { Cow::Owned(format!("{cell} {unit}")) }
}

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let headers = Headers::of(&audit.plant.sources);

    // Those with remarks first, and they alone are printed.
    let (with_remarks, others): (Vec<&ListedRow>, Vec<&ListedRow>) =
        audit.listed.iter().partition(|row| !places.remarks(row.origin).is_empty());
    let layout = layout(audit, &headers, !with_remarks.is_empty());
    let mut grid = Grid::new(setup, &layout)?;
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

fn layout(audit: &Audit, headers: &Headers, has_remarks: bool) -> Layout {
    let width_of = |text: &dyn Fn(&Source) -> &str| {
        let lists = audit.plant.sources.iter().filter(|source| source.table == Some(Table::Lists));
        let longest = lists.map(|source| text(source).chars().count()).fold(6, usize::max);
        f64::from(u32::try_from(longest.min(32)).unwrap_or(32)) + 2.0
    };
    let mut columns = vec![
        SheetColumn::new("File", width_of(&|source| &source.file).min(27.0), Look::Wrapped),
        SheetColumn::new("Sheet", width_of(&|source| &source.sheet).min(12.0), Look::Wrapped),
        SheetColumn::new("Row", 6.0, Look::Number(Digits::Whole)),
        SheetColumn::new("Remarks", 56.0, Look::Wrapped),
    ];
    let widths = widths(audit, headers);
    columns.extend(headers.titles.iter().zip(widths).enumerate().map(|(at, (title, width))| {
        let column = SheetColumn::new(title.clone(), width, Look::Text);
        if at < headers.naming { column } else { column.beside_where_full() }
    }));
    columns.push(SheetColumn::new("Finding (link)", LINK_WIDTH, Look::Text));
    Layout {
        name: "Lines",
        note: note(audit, has_remarks),
        columns,
        frozen: OWN,
        printed: OWN + u16::try_from(headers.titles.len()).unwrap_or(0),
        pages_wide: 1,
    }
}

fn note(audit: &Audit, has_remarks: bool) -> String {
    if !has_remarks {
        return "Lines: no line has a remark; the lists as given stand below, on the screen.".to_owned();
    }
    let whole = "Lines: the lists as given; the offending cell is bold in a heavy border, and in Remarks where it is not on paper. Lines with remarks stand first and are printed; the last column leads to Findings.";
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
            let Some((column, unit)) = headers.column(row.origin.source, index) else { continue };
            // Bytes: never fewer than characters, and quicker.
            if let Some(width) = longest.get_mut(usize::from(column - OWN)) {
                *width = (*width).max(cell.len() + unit.len());
            }
        }
    }
    #[allow(clippy::cast_precision_loss, reason = "clamped to a column's width")]
    longest.into_iter().map(|length| (length.clamp(4, 40) + 2) as f64).collect()
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
        let Some((column, unit)) = headers.column(row.origin.source, index) else { continue };
        let cell = with_unit(cell, unit);
        if is_offending(source, index, findings) {
            grid.text_as(column, &cell, &grid.setup.styles.offending)?;
        } else {
            grid.text(column, &cell)?;
        }
    }
    let Some(first) = findings.iter().min_by_key(|finding| finding.severity) else { return Ok(()) };
    let words = remarks(findings, source, row, |cell| {
        headers.column(row.origin.source, cell).is_some_and(|(column, _)| grid.prints(column))
    });
    grid.text(REMARKS, &words)?;
    grid.link(OWN + u16::try_from(headers.titles.len()).unwrap_or(0), places.finding(first))
}

fn is_offending(source: &Source, index: usize, findings: &[&Finding]) -> bool {
    findings.iter().any(|finding| {
        finding.column.is_some() && source.header.get(index).is_some_and(|cell| cell.column == finding.column)
    })
}

/// `P05 major Part rated below charge pressure; ...`, with the offending cell where it stands beside the printed page.
fn remarks(findings: &[&Finding], source: &Source, row: &ListedRow, prints: impl Fn(usize) -> bool) -> String {
    let cell_of = |finding: &Finding| {
        let column = finding.column?;
        let at = source.header.iter().position(|cell| cell.column == Some(column))?;
        // What names the line is printed wherever there is room.
        if NAMING.contains(&column) && prints(at) {
            return None;
        }
        let text = row.cells.get(at).filter(|text| !text.is_empty())?;
        Some(format!(" ({}: {text})", source.header.get(at)?.text))
    };
    let mut words: Vec<String> = findings
        .iter()
        .map(|finding| {
            let waived = if finding.state == State::Waived { " (waived)" } else { "" };
            let cell = cell_of(finding).unwrap_or_default();
            let title = title(catalogue::rule(finding.rule));
            format!("{} {} {title}{cell}{waived}", finding.rule, finding.severity.word())
        })
        .collect();
    words.dedup();
    words.join(";\n")
}
